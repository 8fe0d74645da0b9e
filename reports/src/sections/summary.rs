//! The table of the bottom line: a row for each site, from several results.

use crate::catalogue::fill;
use crate::document::{Heading, Kind, Table};
use crate::edition::SummaryColumn;
use crate::view::View;

/// The columns that the edition's plan names, as far as there are results for them.
pub(crate) fn table(comparison: &View) -> Table {
    let context = comparison.context;
    let plan = context.plan();
    let mut headings = vec![Heading {
        text: comparison.heading("site"),
        kind: Kind::Text,
    }];
    let mut rows: Vec<Vec<String>> = comparison
        .rows
        .iter()
        .map(|&row| vec![comparison.text(row, "site")])
        .collect();
    for column in &plan.summary {
        let Some((table, name)) = column.value.split_once('.') else {
            continue;
        };
        let found = View::named(context, table)
            .and_then(|view| Some((view.kind(view.table.column(name)?), view)));
        let Some((kind, view)) = found else { continue };
        headings.push(Heading {
            text: view.heading(name),
            kind,
        });
        for (cells, &row) in rows.iter_mut().zip(&comparison.rows) {
            let site = comparison.table.text(row, "site");
            cells.push(cell(&view, site, name, column));
        }
    }
    Table {
        caption: context.text.bottom.caption.clone(),
        headings,
        rows,
    }
}

/// The estimate of a site with its interval, and the number that it rests on.
fn cell(view: &View, site: &str, name: &str, column: &SummaryColumn) -> String {
    let text = &view.context.text.bottom;
    let row_of = |view: &View| {
        let rows = view.table.rows_where("site", site);
        rows.first().copied()
    };
    let Some(row) = row_of(view) else {
        return whereworn_model::format::NO_VALUE.to_owned();
    };
    let value = view.estimate(row, name);
    let count = column.count.as_deref().and_then(|count| {
        let (table, name) = count.split_once('.')?;
        let view = View::named(view.context, table)?;
        let row = row_of(&view)?;
        view.value(row, name).map(|_| view.text(row, name))
    });
    match count {
        Some(count) => fill(&text.counted, &[("value", &value), ("count", &count)]),
        None => value,
    }
}
