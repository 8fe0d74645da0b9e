//! The study's own tables: each under its heading, with its chart, its numbers and its note, or with what is wrong with
//! its query file.

use crate::catalogue::fill;
use crate::chart;
use crate::context::Context;
use crate::document::{Block, Files, Kind};
use crate::error::ReportError;
use crate::view::{Shown, View};

use super::excerpts::{link, of_columns};
use whereworn_model::table::ResultTable;

/// Most rows shown of a table whose header does not say.
const SHOWN_ROWS: usize = 40;

/// Sections of the annex by the names that the headers of queries use.
const SHOWN_IN: [(&str, &str); 6] = [
    ("bottom-line", "sites"),
    ("compare", "pairs"),
    ("delay", "accuracy"),
    ("changes", "quality"),
    ("faults", "quality"),
    ("annex", "own"),
];

/// The section of the edition's annex in which a table of the study's own stands.
fn section_of<'t>(context: &Context, table: &'t ResultTable) -> &'t str {
    let named = table.header.section.as_deref().unwrap_or("own");
    let shown = SHOWN_IN.iter().find(|(name, _)| *name == named);
    let section = shown.map_or(named, |(_, section)| section);
    let known = context.plan().annex.iter().any(|known| known == section);
    if known { section } else { "own" }
}

/// The tables that came with the study for a section, in the order that their headers ask for.
pub(crate) fn blocks(context: &Context, section: &str) -> Result<Vec<Block>, ReportError> {
    let own = context
        .input
        .tables
        .iter()
        .filter(|table| table.own_query || table.fault.is_some());
    let mut tables: Vec<&ResultTable> = own
        .filter(|table| section_of(context, table) == section)
        .collect();
    tables.sort_by_key(|table| table.header.order.unwrap_or(u32::MAX));
    let mut out = Vec::new();
    for table in tables {
        self::table(context, table, &mut out)?;
    }
    Ok(out)
}

fn table(context: &Context, table: &ResultTable, out: &mut Vec<Block>) -> Result<(), ReportError> {
    let text = &context.text.table;
    out.push(Block::title(3, &table.title()));
    let mut own = fill(&text.own, &[("name", &table.name)]);
    if let Some(fault) = &table.fault {
        own = format!("{own} {}", fill(&text.fault, &[("fault", fault)]));
        if table.columns.is_empty() || !table.own_query {
            out.push(Block::Paragraph(own));
            return Ok(());
        }
    }
    if table.rows() == 0 {
        let missing = fill(&text.missing, &[("title", &table.title())]);
        out.push(Block::Paragraph(format!("{own} {missing}")));
        return Ok(());
    }
    out.push(Block::Paragraph(own));
    let view = View::new(context, table);
    out.extend(chart::of_table(&view)?.map(Block::Picture));
    let columns = view.shown();
    let most = table.header.show.unwrap_or(SHOWN_ROWS).min(view.rows.len());
    let mut remarks = Vec::new();
    if most > 0 && !columns.is_empty() {
        let rows = view.rows.get(..most).unwrap_or(&view.rows);
        out.push(Block::Table(of_columns(&view, &columns, rows)));
        remarks.extend(gaps(&view, &columns, rows));
    }
    remarks.extend(table.header.note.clone());
    if !remarks.is_empty() {
        out.push(Block::Paragraph(remarks.join(" ")));
    }
    let (shown, rows) = (most.to_string(), view.rows.len().to_string());
    if most < view.rows.len() {
        let lead = fill(&text.first_rows, &[("shown", &shown), ("rows", &rows)]);
        out.push(Block::Files(Files {
            lead,
            links: vec![link(table)],
        }));
    }
    Ok(())
}

/// What a missing value or a missing interval means, where the rows shown have one.
fn gaps(view: &View, columns: &[Shown], rows: &[usize]) -> Vec<String> {
    let text = &view.context.text.table;
    let any = |test: &dyn Fn(usize, &Shown) -> bool| {
        let mut rows = rows.iter();
        rows.any(|&row| columns.iter().any(|shown| test(row, shown)))
    };
    let value = |row, shown: &Shown| view.value(row, &shown.column.name);
    let no_interval = any(&|row, shown| {
        let interval = view.interval(row, &shown.column.name);
        shown.bounds.is_some() && value(row, shown).is_some() && interval.is_none()
    });
    let no_value =
        any(&|row, shown| view.kind(shown.column) == Kind::Number && value(row, shown).is_none());
    let mut out = Vec::new();
    out.extend(no_interval.then(|| text.no_interval.clone()));
    out.extend(no_value.then(|| text.no_value.clone()));
    out
}
