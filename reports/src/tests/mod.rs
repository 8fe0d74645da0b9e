//! The whole report, from invented tables to the page.

use std::path::{Path, PathBuf};

use whereworn_model::settings::{Language, Settings};
use whereworn_model::table::Cell;

use crate::fixture::{self, HOSTILE, Study};

mod annex;
mod best;
mod charts;
mod claims;
mod copies;
mod curves;
mod drawings;
mod editions;
mod geometry;
mod kinds;
mod layers;
mod layout;
mod limits;
mod own_charts;
mod page;
mod panels;
mod rare;
mod room;
mod said;
mod svg;
mod times;
mod wearer;
mod words;

/// Every kind of study that a report must stand.
fn all() -> Vec<(&'static str, Study)> {
    let mut mmol = fixture::full();
    mmol.settings.study.unit = Some(whereworn_model::units::Unit::MmolL);
    let mut german = fixture::full();
    german.settings.study.language = Language::German;
    vec![
        ("german", german),
        ("full", fixture::full()),
        ("one site", fixture::one_site()),
        ("empty", fixture::empty()),
        ("blank", fixture::blank()),
        ("hostile", fixture::hostile()),
        ("mmol", mmol),
        ("charts", charts::study(&["upper-arm-back", "lower-back"])),
        ("charts of odd names", charts::study(&HOSTILE)),
        (
            "nothing",
            Study {
                settings: Settings::default(),
                tables: vec![],
                wearer: None,
            },
        ),
    ]
}

fn golden_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src/tests/golden")
}

/// Holds a text to the file of a name among the golden ones, line by line. With WHEREWORN_GOLDEN=write the file is written
/// anew: look at what changed.
fn is_golden(name: &str, text: &str) {
    let path = golden_folder().join(name);
    if std::env::var_os("WHEREWORN_GOLDEN").is_some() {
        std::fs::write(&path, text).unwrap();
    }
    let wanted = std::fs::read_to_string(&path).unwrap();
    for (line, (a, b)) in wanted.lines().zip(text.lines()).enumerate() {
        assert_eq!(a, b, "{name}, line {}", line + 1);
    }
    assert_eq!(wanted.len(), text.len(), "{name}");
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    for (name, study) in all() {
        assert_eq!(study.report(), study.report(), "{name}");
    }
}

#[test]
fn a_number_that_is_none_is_no_value() {
    let mut study = fixture::full();
    for column in study.tables.iter_mut().flat_map(|table| &mut table.columns) {
        for (index, cell) in column.cells.iter_mut().enumerate() {
            if matches!(cell, Cell::Number(_)) {
                *cell = Cell::Number([f64::NAN, f64::INFINITY, f64::NEG_INFINITY][index % 3]);
            }
        }
    }
    page::no_nonsense("not finite", &study.report());
}

/// A researcher's query may give thousands of rows, whatever its chart.
#[test]
fn large_tables_stay_small_pages() {
    let rows: Vec<String> = (0..3000)
        .map(|n| format!("row {n};{n};{};{}", n as f64 * 0.7, n % 50))
        .collect();
    for (kind, x, y) in [
        ("bars", "a", "b"),
        ("intervals", "b", "a"),
        ("points", "b", "c"),
        ("line", "b", "c"),
        ("steps", "b", "c"),
    ] {
        for series in ["a", "d"] {
            let sql = format!(
                "-- chart = {{ kind = \"{kind}\", x = \"{x}\", y = \"{y}\", series = \"{series}\" }}\nSELECT 1"
            );
            let mut table = fixture::table("own", &sql, "a;b;c;d", &rows);
            table.own_query = true;
            let report = Study {
                settings: Settings::default(),
                tables: vec![table],
                wearer: None,
            }
            .report();
            assert_eq!(report.figures.len(), 1, "{kind} {series}");
            assert!(
                report.markdown.contains("First 40 of 3000 rows"),
                "{kind} {series}"
            );
            let size = report.html.len();
            assert!(size < 1_500_000, "{kind} {series}: {size}");
            page::no_nonsense(kind, &report);
        }
    }
}

#[test]
fn hostile_names_stay_text() {
    let report = fixture::hostile().report();
    for open in ["<script", "<details open", "<img", "<iframe"] {
        assert!(!report.html.contains(open), "{open}");
    }
    assert!(
        !report.html.contains("href=\"javascript:")
            && !report.html.contains("tracker.invalid/p.png\"")
    );
    for name in [HOSTILE[2], HOSTILE[3]] {
        assert!(
            report.html.contains(name) && report.markdown.contains(name),
            "{name}"
        );
    }
    for figure in &report.figures {
        let plain = figure
            .file_name
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || b"-_.".contains(&b));
        assert!(
            plain && !figure.svg.contains("<script"),
            "{}",
            figure.file_name
        );
    }
}
