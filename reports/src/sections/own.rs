//! The study's own tables: each under its heading, with its chart, its numbers and its note, or with what is wrong with
//! its query file.

use crate::catalogue::fill;
use crate::chart;
use crate::context::Context;
use crate::document::{Block, Files, Kind};
use crate::error::ReportError;
use crate::view::{Shown, View};
use crate::words::TableText;

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
        own = format!("{own} {}", failed(text, fault));
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

/// That a query failed, in the report's language but for the message itself, which the engine has in English after the file,
/// its line and its column.
fn failed(text: &TableText, fault: &str) -> String {
    let in_words = |part: &str| {
        let numbered = |name: &str| part.strip_prefix(name).filter(|at| is_number(at));
        let at = |words: &String, at: &str| fill(words, &[("at", at)]);
        let line = numbered("line ").map(|number| at(&text.line, number));
        line.or_else(|| numbered("column ").map(|number| at(&text.column, number)))
    };
    let found = fault.split_once(": ").and_then(|(place, message)| {
        let (file, rest) = place.split_at(place.find(".sql")? + ".sql".len());
        let rest = rest.split(", ").skip(1).map(in_words);
        let place: Option<Vec<String>> =
            std::iter::once(Some(file.to_owned())).chain(rest).collect();
        Some((place?.join(", "), message))
    });
    match found {
        Some((place, message)) => fill(&text.fault_at, &[("place", &place), ("fault", message)]),
        None => fill(&text.fault, &[("fault", fault)]),
    }
}

fn is_number(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
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

#[cfg(test)]
mod tests {
    use whereworn_model::settings::Language;

    use super::*;
    use crate::catalogue::Catalogue;
    use crate::edition::Edition;

    #[test]
    fn a_failed_query_is_told_in_the_language_of_the_report() {
        let [english, german] = [Language::English, Language::German]
            .map(|language| Catalogue::read(language, Edition::Clinician).unwrap().table);
        let fault =
            "queries/a, b.sql, line 2, column 18: there is no column `x`: the columns are y";
        assert_eq!(
            failed(&german, fault),
            "Diese Abfrage der Studie ist gescheitert: queries/a, b.sql, Zeile 2, Spalte 18. Die Meldung dazu ist auf \
             Englisch: there is no column `x`: the columns are y"
        );
        assert_eq!(
            failed(&german, "queries/q.sql: is empty"),
            "Diese Abfrage der Studie ist gescheitert: queries/q.sql. Die Meldung dazu ist auf Englisch: is empty"
        );
        let unplaced = "queries/q.sql, somewhere: odd";
        let said = "gescheitert. Die Meldung dazu ist auf Englisch: queries/q.sql, somewhere: odd";
        assert!(failed(&german, unplaced).ends_with(said));
        for fault in [fault, "queries/q.sql, line 3: odd", unplaced, "no file"] {
            let whole = format!("This query file of the study failed: {fault}");
            assert_eq!(failed(&english, fault), whole);
        }
    }
}
