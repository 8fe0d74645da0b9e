//! What the annex says beside its tables: counts, notes and units that fit the rows shown.

use whereworn_model::table::Cell;

use crate::edition::Edition;
use crate::fixture::{self, Study};

/// What stands under a heading, up to the next one.
fn section<'m>(markdown: &'m str, title: &str) -> &'m str {
    let (_, rest) = markdown.split_once(&format!("# {title}\n")).unwrap();
    rest.split("\n#").next().unwrap()
}

fn set(study: &mut Study, table: &str, column: &str, cell: Cell) {
    let columns = &mut study.table(table).columns;
    let column = columns.iter_mut().find(|c| c.name == column).unwrap();
    column.cells.fill(cell);
}

/// "Confirmed" alone reads as a low that was confirmed.
#[test]
fn a_wearer_is_told_that_a_low_was_false() {
    for (evidence, words) in [
        ("confirmed", "| false (fingerstick was higher) |"),
        ("refuted", "| true low |"),
    ] {
        let mut study = fixture::full();
        set(
            &mut study,
            "night_artefacts",
            "evidence",
            Cell::text(evidence),
        );
        let markdown = study.edition(Edition::Wearer).markdown;
        let section = section(&markdown, "What does a night drop look like?");
        assert!(section.contains(words), "{section}");
    }
}
