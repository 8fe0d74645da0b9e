//! What few studies have: first rows on day 0, ends that nobody wrote down, numbers that are long, values at a limit.

use whereworn_model::table::Cell;

use super::layout;
use super::svg::{
    across, axis, close, drawn, elements, narrow, numbers, own, place_of, strokes, texts, upright,
};
use super::words::line;
use crate::Edition;
use crate::fixture::{self, Study};

/// A study of one table of its own.
fn study(sql: &str, columns: &str, rows: &[&str]) -> Study {
    let rows: Vec<String> = rows.iter().map(|row| (*row).to_owned()).collect();
    let mut table = fixture::table("own", sql, columns, &rows);
    table.own_query = true;
    let mut study = fixture::empty();
    study.tables = vec![table];
    study
}

fn set(study: &mut Study, table: &str, column: &str, row: usize, cell: Cell) {
    let columns = &mut study.table(table).columns;
    let column = columns.iter_mut().find(|found| found.name == column);
    column.unwrap().cells[row] = cell;
}

/// Sensors that came off on the day they were put on: the share of that day stands, not all of the site before it.
#[test]
fn a_curve_with_a_row_on_day_0_begins_with_it() {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"share\" }\n-- [columns]\n\
               -- day = { unit = \"days\", digits = 0 }\n-- share = { unit = \"share\" }\nSELECT 1";
    let rows = ["0;10;0.8", "5;8;0.4"];
    let all = own(sql, "day;at_risk;share", &rows);
    let first = strokes(&all, 2.25)[0].points[0];
    close(first.1, upright(&all)(80.0), "eight of ten");
}

/// A span whose end nobody wrote down is as long as its days.
#[test]
fn a_span_without_an_end_lasts_its_days() {
    let sql = "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";
    let all = own(sql, "k;a;b;days;cause", &["k;0;12;12;completed", "l;3;;5;"]);
    let x = across(&all, 0.0, 900.0);
    let bars: Vec<_> = all.iter().filter(|e| e.is("opacity", "0.16")).collect();
    close(bars[1].length("x"), x(3.0), "beginning");
    close(bars[1].length("x") + bars[1].length("width"), x(8.0), "end");
}

/// The line of midnight is explained where there is one.
#[test]
fn midnight_is_explained_where_it_is_drawn() {
    let sql = "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"rate\" }\nSELECT 1";
    for (rows, told) in [
        (["k;22;1", "k;23;2"], false),
        (["k;0;1", "k;1;2"], false),
        (["k;23;1", "k;0;2"], true),
    ] {
        let study = study(sql, "k;hour;rate", &rows);
        let thick = strokes(&drawn(&study, "own"), 2.0).len();
        let words = "The thick upright line is midnight.";
        let said = study.report().markdown.contains(words);
        assert_eq!((said, thick), (told, usize::from(told)), "{rows:?}");
    }
}

/// Numbers of many digits are written smaller, so that they do not run into the next panel.
#[test]
fn long_numbers_stay_in_their_panels() {
    let mut study = fixture::full();
    for (column, value) in [
        ("bias", -10_400.4),
        ("bias_lower", -1_117_800.5),
        ("bias_upper", 9_797_300.5),
    ] {
        set(&mut study, "site_comparison", column, 2, Cell::Number(value));
    }
    layout::laid_out("long numbers", &study, Edition::Clinician);
}

/// Fewer than five are few: five are not, and a sensor beside which there is none counts.
#[test]
fn sensors_with_few_fingersticks_are_counted() {
    let mut study = fixture::full();
    let pairs = &mut study.table("sensor_accuracy").columns;
    let pairs = pairs.iter_mut().find(|column| column.name == "pairs");
    let cells = &mut pairs.unwrap().cells;
    cells.fill(Cell::Integer(5));
    let told = |study: &Study| {
        let markdown = study.edition(Edition::Wearer).markdown;
        let found = markdown.lines().find(|line| line.starts_with("- **Fingersticks**"));
        found.map(|line| line.replace('\u{a0}', " "))
    };
    assert_eq!(told(&study), None);
    for (row, pairs) in [0, 3, 4].into_iter().enumerate() {
        set(&mut study, "sensor_accuracy", "pairs", row, Cell::Integer(pairs));
    }
    let said = told(&study).unwrap();
    assert!(said.contains(": 3 of 40 sensors."), "{said}");
}

/// All that the log has of a sensor stands on its sheet, for whoever asks.
#[test]
fn a_sheet_has_all_that_is_known_of_its_sensor() {
    let mut study = fixture::full();
    let sheet = study.table("fault_sheet").clone();
    let html = study.report().sheets.unwrap();
    let first = html.split("<h2").nth(1).unwrap();
    for column in sheet.columns.iter().filter(|column| column.name != "panel") {
        let label = column.header.label.as_deref().unwrap_or(&column.name);
        assert!(first.contains(label), "{label}: {first}");
    }
}
