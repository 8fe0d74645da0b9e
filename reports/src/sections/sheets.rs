//! Sheets of sensors that failed or never started: one on each, its facts and its last day.

use whereworn_model::table::Cell;
use whereworn_model::tables::fault_sheet::{self, column as sheet};
use whereworn_model::tables::fault_traces;

use crate::catalogue::fill;
use crate::chart::last_day::LastDay;
use crate::chart::small;
use crate::context::Context;
use crate::document::{Block, Files, Heading, Kind, Part, Table};
use crate::error::ReportError;
use crate::view::View;

/// Most sheets; the list has every sensor.
const MOST_SHEETS: usize = 100;

/// Causes that a maker would look into.
const FAULTS: [&str; 2] = ["sensor-fault", "not-started"];

/// Rows of sensors that failed or never started, the last first.
fn failed(view: &View) -> Vec<usize> {
    let rows = view.rows.iter().copied();
    rows.filter(|&row| FAULTS.contains(&view.table.text(row, sheet::CAUSE)))
        .collect()
}

/// Whether there is a sensor to draw a sheet of, in an edition that has sheets.
pub(crate) fn any(context: &Context) -> bool {
    let view = View::named(context, fault_sheet::NAME);
    context.plan().sheets && view.is_some_and(|view| !failed(&view).is_empty())
}

/// The sheets, the sensor that ended last first; none where no sensor failed.
pub(crate) fn blocks(context: &Context, intro: &[String]) -> Result<Vec<Block>, ReportError> {
    let Some(view) = View::named(context, fault_sheet::NAME) else {
        return Ok(Vec::new());
    };
    let rows = failed(&view);
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let mut out: Vec<Block> = intro.iter().cloned().map(Block::Paragraph).collect();
    out.push(Block::contents(&context.text.page.contents_sheets, 2));
    let traces = View::named(context, fault_traces::NAME);
    for (number, &row) in (1..=MOST_SHEETS).zip(&rows) {
        sheet(&view, traces.as_ref(), (number, row), &mut out)?;
    }
    if rows.len() > MOST_SHEETS {
        let counts = [MOST_SHEETS.to_string(), rows.len().to_string()];
        let values = [("shown", &*counts[0]), ("rows", &*counts[1])];
        let lead = fill(&context.text.table.first_rows, &values);
        let links = vec![super::excerpts::link(view.table)];
        out.insert(intro.len(), Block::Files(Files { lead, links }));
    }
    Ok(out)
}

fn sheet(
    view: &View,
    traces: Option<&View>,
    (number, row): (usize, usize),
    out: &mut Vec<Block>,
) -> Result<(), ReportError> {
    let words = &view.context.text.sheets;
    let values = [
        ("number", &*number.to_string()),
        ("sensor", &*view.text(row, sheet::SENSOR)),
    ];
    let title = fill(&words.title, &values);
    out.push(Block::in_part(2, &title, Part::Sheet));
    out.push(Block::Table(facts(view, row)));
    let drawn = match (traces, view.table.cell(row, sheet::ENDED)) {
        (Some(traces), Cell::Time(end)) => last_day(traces, view, row, *end as f64),
        _ => None,
    };
    let picture = drawn.map(|day| small(view, &day, &format!("fault_sheet_{number}"), title));
    out.push(match picture.transpose()? {
        Some(picture) => Block::Picture(picture),
        None => Block::Paragraph(words.no_reading.clone()),
    });
    Ok(())
}

fn last_day<'a>(traces: &'a View<'a>, view: &View, row: usize, end: f64) -> Option<LastDay<'a>> {
    let panel = view.table.number(row, sheet::PANEL)?;
    let rows = traces.rows.iter().copied();
    let own =
        rows.filter(|&row| traces.table.number(row, fault_traces::column::PANEL) == Some(panel));
    LastDay::of(traces, &own.collect::<Vec<usize>>(), end)
}

/// Every column of the sensor, one below the other.
fn facts(view: &View, row: usize) -> Table {
    let words = &view.context.text.sheets;
    let columns = view.table.columns.iter().filter(|c| c.name != sheet::PANEL);
    let heading = |text: &String| Heading {
        text: text.clone(),
        kind: Kind::Text,
    };
    Table {
        caption: fill(&words.caption, &[("cause", &view.text(row, sheet::CAUSE))]),
        headings: vec![heading(&words.fact), heading(&words.recorded)],
        rows: columns
            .map(|column| vec![view.heading(&column.name), view.text(row, &column.name)])
            .collect(),
    }
}
