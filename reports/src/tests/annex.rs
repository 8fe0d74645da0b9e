//! What the annex says beside its tables: counts, notes and units that fit the rows shown.

use whereworn_model::header::Header;
use whereworn_model::table::Cell;
use whereworn_model::tables::site_nights;
use whereworn_model::units::Unit;

use super::words::line;
use crate::edition::{Edition, Plans};
use crate::fixture::{self, Study};
use crate::html::STYLE;

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

/// 39 confirmed and 2 refuted at each of five sites.
#[test]
fn checked_nights_are_counted() {
    use site_nights::column::{CONFIRMED, REFUTED, UNCHECKED, UNDECIDED};
    let mut study = fixture::full();
    for (column, count) in [
        (CONFIRMED, 39),
        (REFUTED, 2),
        (UNDECIDED, 0),
        (UNCHECKED, 0),
    ] {
        set(&mut study, site_nights::NAME, column, Cell::Integer(count));
    }
    let markdown = study.report().markdown;
    let section = section(&markdown, "When do night artefacts happen?");
    let said = "195 confirmed by a fingerstick, 10 refuted, 0 undecided, 0 unchecked.";
    assert!(section.contains(said), "{section}");
}

#[test]
fn without_a_counted_night_no_zeros_stand_for_quiet() {
    let mut study = fixture::full();
    set(
        &mut study,
        site_nights::NAME,
        site_nights::column::NIGHTS,
        Cell::Integer(0),
    );
    for (edition, title, words) in [
        (
            Edition::Clinician,
            "When do night artefacts happen?",
            "no night had enough readings",
        ),
        (
            Edition::Wearer,
            "Your nights",
            "No night had enough readings",
        ),
    ] {
        let markdown = study.edition(edition).markdown;
        let section = section(&markdown, title);
        assert!(
            section.contains(words) && !section.contains('|'),
            "{section}"
        );
    }
}

/// A note explains no column that the excerpt leaves out.
#[test]
fn notes_are_of_columns_that_are_shown() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../queries/tables");
    for (key, excerpt) in Plans::read().unwrap().excerpts() {
        let Some(table) = &excerpt.table else {
            continue;
        };
        let sql = std::fs::read_to_string(folder.join(format!("{table}.sql"))).unwrap();
        let header = Header::parse(&sql).unwrap();
        let note = header.note.unwrap_or_default().to_lowercase();
        let label = |name: &str| {
            let label = header.columns.get(name)?.label.as_deref()?;
            Some(label.to_lowercase())
        };
        let shown: Vec<String> = excerpt.columns.iter().filter_map(|c| label(c)).collect();
        for name in header.columns.keys() {
            let hidden = label(name).filter(|label| label.len() > 3 && !shown.contains(label));
            let told = hidden.filter(|label| note.contains(label));
            assert_eq!(told, None, "{key}: {name}");
        }
    }
}

/// A bias is glucose: 9.0078 mg/dL are 0.5 mmol/L. A share is none.
#[test]
fn glucose_among_other_measures_follows_the_study() {
    let mut study = fixture::full();
    study.settings.study.unit = Some(Unit::MmolL);
    study.tables.push(fixture::table(
        "site_between_wearers",
        include_str!("../../../queries/tables/site_between_wearers.sql"),
        "site;measure;wearers;mean;spread;spread_lower;spread_upper;p;prediction_lower;prediction_upper",
        &[
            "abdomen;stays-on;3;0.2;0.11;0.05;0.3;0.4;0.01;0.5".to_owned(),
            "abdomen;reads-high-or-low;3;1.1;9.0078;5.4047;18.0156;0.4;-36.0312;27.0234".to_owned(),
        ],
    ));
    let markdown = study.report().markdown.replace('\u{a0}', " ");
    let section = section(&markdown, "Does it hold for everyone here?");
    for said in [
        "**Each row is one measure at a site where several people wore sensors.**",
        "Artefacts at night: per 100 sensor-nights.",
        "| 0.11 (0.05 to 0.30) | 0.400 | 0.01 | 0.50 |",
        "| 0.50 (0.30 to 1.00) | 0.400 | −2.00 | 1.50 |",
        "Reads high or low: mmol/L.",
    ] {
        assert!(section.contains(said), "{said}: {section}");
    }
    // There is no picture that the text could point to.
    assert!(!section.contains("picture"), "{section}");
}

/// The wearer reads that one or two sensors give no range.
#[test]
fn a_wearer_sees_no_interval_of_two_sensors() {
    let mut study = fixture::full();
    let comparison = study.table("site_comparison");
    let row = comparison.rows_where("site", "abdomen")[0];
    for (name, value) in [
        ("sensors", Cell::Integer(2)),
        ("sessions", Cell::Integer(2)),
        ("came_off", Cell::Number(0.0)),
        ("came_off_lower", Cell::Number(0.0)),
        ("came_off_upper", Cell::Number(0.78)),
    ] {
        let column = comparison.columns.iter_mut().find(|c| c.name == name);
        column.unwrap().cells[row] = value;
    }
    let of = |edition, title| {
        let markdown = study.edition(edition).markdown.replace('\u{a0}', " ");
        let section = section(&markdown, title);
        let line = section.lines().find(|line| line.starts_with("| Abdomen"));
        line.unwrap().to_owned()
    };
    let [clinician, wearer] =
        [Edition::Clinician, Edition::Wearer].map(|edition| of(edition, "Sites side by side"));
    assert!(clinician.contains("| 0 (0 to 78) |"), "{clinician}");
    assert!(
        wearer.contains("| 0 |") && !wearer.contains('('),
        "{wearer}"
    );
}

/// Of the sensors knocked off all were at one site, or most.
#[test]
fn most_is_not_said_of_all() {
    let mut study = fixture::full();
    set(&mut study, "sessions", "cause", Cell::text("completed"));
    let knocks = |study: &Study| {
        let markdown = study.edition(Edition::Wearer).markdown;
        line(&markdown, "- **Knocks**").to_owned()
    };
    for (rows, words) in [
        (vec!["calf"], " sensors, at Calf. "),
        (vec!["calf", "abdomen"], " sensors, at Abdomen, Calf. "),
        (vec!["calf", "abdomen", "calf"], " sensors, most at Calf. "),
    ] {
        for (row, site) in rows.into_iter().enumerate() {
            for (name, value) in [("cause", "knocked-off"), ("site", site)] {
                let columns = &mut study.table("sessions").columns;
                let column = columns.iter_mut().find(|c| c.name == name);
                column.unwrap().cells[row] = Cell::text(value);
            }
        }
        let said = knocks(&study);
        assert!(said.contains(words), "{said}");
    }
}

/// Sensors that ended early but did not fail have no sheet, and leave no gap in the numbers of sheets.
#[test]
fn sheets_are_numbered_from_one() {
    let mut study = fixture::full();
    let numbers: Vec<Cell> = [7, 11, 30].map(Cell::Integer).into();
    let columns = &mut study.table("fault_sheet").columns;
    let panel = columns.iter_mut().find(|c| c.name == "panel").unwrap();
    for (cell, number) in panel.cells.iter_mut().zip(numbers) {
        *cell = number;
    }
    let sheets = study.report().sheets.unwrap();
    assert!(sheets.contains("Sheet 1: ") && sheets.contains("Sheet 2: "));
    assert!(!sheets.contains("Sheet 7: ") && !sheets.contains("Sheet 11: "));
}

#[test]
fn evidence_beyond_doubt_is_no_figure() {
    let mut study = fixture::full();
    for (evidence, words) in [
        (24_555_386.0, "| above 1000 |"),
        (1000.0, "| 1000.0 |"),
        (31.5, "| 31.5 |"),
    ] {
        set(
            &mut study,
            "conclusions",
            "evidence",
            Cell::Number(evidence),
        );
        let markdown = study.report().markdown;
        let section = section(&markdown, "Which sites differ, pair by pair?");
        assert!(section.contains(words), "{section}");
    }
}

/// Kept on one line, intervals push the last columns of a wide table off the screen; on paper they wrap as well.
#[test]
fn intervals_of_wide_tables_may_wrap() {
    let rules = STYLE.split('}');
    for rule in rules.filter(|rule| rule.contains("nowrap")) {
        assert!(
            !rule.contains(".wide") && !rule.contains(".across"),
            "{rule}"
        );
    }
}

/// By hand from the fixture: of five sites one has two sensors, which leaves six pairs in each of four measures.
#[test]
fn the_pairs_shown_are_of_every_measure_and_counted() {
    let markdown = fixture::full().report().markdown;
    let section = section(&markdown, "Which sites differ, pair by pair?");
    assert!(section.contains("16 of 24 rows."), "{section}");
    let rows = |name: &str| section.matches(&format!("| {name} |")).count();
    for name in [
        "staying on",
        "reading true",
        "reading high or low",
        "quiet nights",
    ] {
        assert_eq!(rows(name), 4, "{name}: {section}");
    }
    assert!(
        !section.contains("| Calf |"),
        "two sensors are too few: {section}"
    );
}

/// A row without an interval says nothing that can be weighed.
#[test]
fn a_pair_without_an_interval_is_not_shown() {
    let mut study = fixture::full();
    for column in &mut study.table("conclusions").columns {
        if column.name == "lower" {
            column.cells.fill(Cell::Empty);
        }
    }
    let markdown = study.report().markdown;
    let section = section(&markdown, "Which sites differ, pair by pair?");
    assert!(
        section.contains("that takes three sensors on each of two."),
        "{section}"
    );
}
