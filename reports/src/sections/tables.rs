//! A section made of the tables that name it.

use whereworn_model::table::ResultTable;

use crate::catalogue::fill;
use crate::chart;
use crate::context::Context;
use crate::document::{Block, Heading, Kind, Table};
use crate::edition::Place;
use crate::error::ReportError;
use crate::sentences::chance;
use crate::view::{Shown, View};
use crate::words::SectionText;

/// Most rows shown of a table whose header does not say.
const SHOWN_ROWS: usize = 40;

/// Shown by sections of their own.
const ELSEWHERE: [&str; 2] = ["site_comparison", "fault_traces"];

/// A section: what its figures mean, then its tables, or what is missing. In the annex, a section of the body that has
/// nothing more to show is left out.
pub(crate) fn section(
    context: &Context,
    key: &str,
    text: &SectionText,
    place: Place,
) -> Result<Vec<Block>, ReportError> {
    let tables = of_section(context, key, place);
    let in_body = context.plan().body.iter().any(|body| body == key);
    let mut out = Vec::new();
    if tables.iter().all(|table| table.rows() == 0) {
        if place == Place::Annex && in_body {
            return Ok(out);
        }
        if !text.missing.is_empty() {
            out.push(Block::Paragraph(text.missing.clone()));
        }
        if key != "quality" && key != "annex" {
            return Ok(out);
        }
    } else if place == Place::Body || !in_body {
        out.extend(text.intro.iter().cloned().map(Block::Paragraph));
        out.extend(chance(context, key).map(Block::Paragraph));
    }
    for table in tables {
        self::table(context, table, &mut out)?;
    }
    Ok(out)
}

/// The tables of a section in one part of the edition. The researcher's own that name no section of the annex stand in
/// a section of theirs.
pub(crate) fn of_section<'a>(
    context: &Context<'a>,
    key: &str,
    place: Place,
) -> Vec<&'a ResultTable> {
    let known = |section: &str| context.plan().annex.iter().any(|known| known == section);
    let section_of = |table: &'a ResultTable| match table.header.section.as_deref() {
        Some(section) if !table.own_query || known(section) => Some(section),
        _ if table.own_query => Some("annex"),
        _ => None,
    };
    let mut tables: Vec<&ResultTable> = context
        .input
        .tables
        .iter()
        .filter(|table| section_of(table) == Some(key))
        .filter(|table| context.place(table) == Some(place))
        .filter(|table| !ELSEWHERE.contains(&table.name.as_str()))
        .collect();
    tables.sort_by_key(|table| table.header.order.unwrap_or(u32::MAX));
    tables
}

/// A table under its heading: what a row is, its chart, its numbers, its note.
pub(crate) fn table(
    context: &Context,
    table: &ResultTable,
    out: &mut Vec<Block>,
) -> Result<(), ReportError> {
    let text = &context.text.table;
    out.push(Block::title(3, &table.title()));
    let mut remarks = Vec::new();
    if table.own_query {
        remarks.push(fill(&text.own, &[("name", &table.name)]));
    }
    if table.rows() == 0 {
        remarks.push(context.missing(table));
        out.push(Block::Paragraph(remarks.join(" ")));
        return Ok(());
    }
    if !remarks.is_empty() {
        out.push(Block::Paragraph(remarks.join(" ")));
    }
    let view = View::new(context, table);
    let picture = chart::of_table(&view)?;
    let drawn = picture.is_some();
    out.extend(picture.map(Block::Picture));
    numbers(&view, drawn, out);
    Ok(())
}

/// The numbers of a table, folded where a chart stands before them, and its remarks.
pub(crate) fn numbers(view: &View, folded: bool, out: &mut Vec<Block>) {
    let text = &view.context.text.table;
    let most = view.table.header.show.unwrap_or(SHOWN_ROWS);
    let (rows, shown) = (
        view.rows.len().to_string(),
        view.rows.len().min(most).to_string(),
    );
    let values = [
        ("name", &*view.table.name),
        ("rows", &*rows),
        ("shown", &*shown),
    ];
    let columns = view.shown();
    let mut remarks = Vec::new();
    if most == 0 || columns.is_empty() {
        let template = if folded {
            &text.rows_in_file
        } else {
            &text.not_shown
        };
        remarks.push(fill(template, &values));
    } else {
        let table = of_columns(view, &columns, most);
        out.push(Block::Table(table));
        if view.rows.len() > most {
            remarks.push(fill(&text.first_rows, &values));
        }
        remarks.extend(gaps(view, &columns, most));
    }
    remarks.extend(view.table.header.note.clone());
    if !remarks.is_empty() {
        out.push(Block::Paragraph(remarks.join(" ")));
    }
}

fn of_columns(view: &View, columns: &[Shown], most: usize) -> Table {
    let headings = columns.iter().map(|shown| Heading {
        text: view.heading(&shown.column.name),
        kind: view.kind(shown.column),
    });
    let rows = view.rows.iter().take(most).map(|&row| {
        columns
            .iter()
            .map(|shown| view.estimate(row, &shown.column.name))
            .collect()
    });
    let caption = match &view.table.header.row {
        Some(row) => fill(&view.context.text.table.row, &[("row", row)]),
        None => view.table.title(),
    };
    Table {
        caption,
        headings: headings.collect(),
        rows: rows.collect(),
    }
}

/// What a missing value or a missing interval means, where the rows shown have one.
fn gaps(view: &View, columns: &[Shown], most: usize) -> Vec<String> {
    let text = &view.context.text.table;
    let any = |test: &dyn Fn(usize, &Shown) -> bool| {
        view.rows
            .iter()
            .take(most)
            .any(|&row| columns.iter().any(|shown| test(row, shown)))
    };
    let numeric = |shown: &Shown| view.kind(shown.column) == Kind::Number;
    let no_interval = any(&|row, shown| {
        let name = &shown.column.name;
        shown.bounds.is_some()
            && view.value(row, name).is_some()
            && view.interval(row, name).is_none()
    });
    let no_value =
        any(&|row, shown| numeric(shown) && view.value(row, &shown.column.name).is_none());
    let mut out = Vec::new();
    if no_interval {
        out.push(text.no_interval.clone());
    }
    if no_value {
        out.push(text.no_value.clone());
    }
    out
}
