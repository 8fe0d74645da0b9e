//! What few studies have: first rows on day 0, ends that nobody wrote down, numbers that are long, values at a limit.

use whereworn_model::table::Cell;

use super::svg::{Element, across, close, drawn, of_colour, own, strokes, texts, upright};
use super::{charts, layout};
use crate::Edition;
use crate::fixture::{self, Study};
use crate::palette::GHOST;
use whereworn_model::units::Unit;

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
    let sql =
        "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"rate\" }\nSELECT 1";
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
        set(
            &mut study,
            "site_comparison",
            column,
            2,
            Cell::Number(value),
        );
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
        let found = markdown
            .lines()
            .find(|line| line.starts_with("- **Fingersticks**"));
        found.map(|line| line.replace('\u{a0}', " "))
    };
    assert_eq!(told(&study), None);
    for (row, pairs) in [0, 3, 4].into_iter().enumerate() {
        set(
            &mut study,
            "sensor_accuracy",
            "pairs",
            row,
            Cell::Integer(pairs),
        );
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

/// Whose night a picture shows stands on it where there are several people, and is left out where it would say nothing.
#[test]
fn a_picture_names_its_wearer_among_several() {
    let mut study = charts::study(&["calf"]);
    let named = |study: &Study| {
        let all = drawn(study, "night_traces");
        let words = texts(&all);
        words
            .iter()
            .filter(|(words, _, _)| words.contains("Keeper Ines"))
            .count()
    };
    assert_eq!(named(&study), 3, "on each picture");
    let wearers = study.table("sessions").columns.iter_mut();
    wearers
        .filter(|column| column.name == "wearer")
        .for_each(|column| column.cells.fill(Cell::text("Keeper Ines")));
    assert_eq!(named(&study), 0);
}

/// Nobody is asked about falls at night that were all checked.
#[test]
fn checked_nights_are_no_question() {
    let mut study = fixture::full();
    let asked = |study: &Study| study.report().markdown.contains("- **Unchecked nights**");
    assert!(asked(&study));
    let nights = study.table("site_nights").columns.iter_mut();
    nights
        .filter(|column| column.name == "unchecked")
        .for_each(|column| column.cells.fill(Cell::Integer(0)));
    assert!(!asked(&study));
}

/// A word that is also the key of a site is one only where the column has sites.
#[test]
fn keys_of_sites_are_names_in_columns_of_sites() {
    let sql = "-- [columns]\n-- place = { class = \"site\" }\n-- site = { class = \"category\" }\nSELECT 1";
    let study = study(sql, "word;place;site", &["calf;calf;calf"]);
    let markdown = study.report().markdown;
    assert!(
        markdown.contains("\n| calf | Calf | calf |\n"),
        "{markdown}"
    );
    let plain = self::study("SELECT 1", "word;site", &["calf;calf"]);
    let markdown = plain.report().markdown;
    assert!(markdown.contains("\n| calf | Calf |\n"), "{markdown}");
}

/// By hand: 5.26 mg/dL are 0.292 mmol/L, 100.4 are 5.573; a share is shown in percent, a count without decimals.
#[test]
fn numbers_have_the_decimals_of_their_kind() {
    let sql = "-- [columns]\n-- g = { unit = \"mg/dL\" }\n-- h = { unit = \"mg/dL\", digits = 0 }\n\
               -- s = { unit = \"share\" }\n-- t = { unit = \"share\", digits = 1 }\n-- d = { digits = 1 }\nSELECT 1";
    let row = "5.26;100.4;0.256;0.2556;1.2345;7;1.26;0.00004";
    for (unit, glucose) in [(Unit::MgDl, "5.3 | 100"), (Unit::MmolL, "0.29 | 5.6")] {
        let mut study = study(sql, "g;h;s;t;n;w;d;p", &[row]);
        study.settings.study.unit = Some(unit);
        let markdown = study.report().markdown.replace('\u{a0}', " ");
        let wanted = format!("\n| {glucose} | 26 | 25.6 | 1.23 | 7 | 1.3 | \\< 0.001 |\n");
        assert!(markdown.contains(&wanted), "{markdown}");
    }
}

/// Rows of so many groups of a line with a band or without, followed or not.
fn curves(groups: usize, columns: &str, rest: &str) -> Study {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"v\", series = \"k\" }\nSELECT 1";
    let row = |n: usize, day: usize| format!("k{n};{day};{}{rest}", n + day);
    let rows: Vec<String> = (0..groups).flat_map(|n| [row(n, 1), row(n, 5)]).collect();
    study(
        sql,
        columns,
        &rows.iter().map(String::as_str).collect::<Vec<_>>(),
    )
}

/// What is drawn of curves is explained, and nothing else: others behind up to nine panels, bands, numbers followed, names.
#[test]
fn what_curves_show_is_explained() {
    let words = [
        "The thin grey lines are the other groups.",
        "The band is a 95 % interval.",
        "Below the axis: sensors still followed at that time.",
        "Each line carries its name at its end.",
    ];
    let bands = "k;day;v;v_lower;v_upper";
    let causes = "site;cause;day;v;at_risk";
    let named =
        "-- chart = { kind = \"steps\", x = \"day\", y = \"v\", series = \"site\" }\nSELECT 1";
    for (study, told, behind) in [
        (curves(1, "k;day;v", ""), [false; 4], 0),
        (curves(2, "k;day;v", ""), [true, false, false, false], 2),
        (curves(9, "k;day;v", ""), [true, false, false, false], 72),
        (curves(10, "k;day;v", ""), [false; 4], 0),
        (curves(1, bands, ";0.5;9"), [false, true, false, false], 0),
        (
            curves(1, "k;day;v;at_risk", ";8"),
            [false, false, true, false],
            0,
        ),
        (
            study(named, causes, &["calf;off;1;2;9", "calf;off;5;3;8"]),
            [false, false, false, true],
            0,
        ),
    ] {
        let markdown = study.report().markdown;
        assert_eq!(
            words.map(|words| markdown.contains(words)),
            told,
            "{markdown}"
        );
        let all = drawn(&study, "own");
        let lines = of_colour(&all, "stroke", GHOST).into_iter();
        let lines =
            lines.filter(|e: &&Element| e.points.len() > 2 || e.length("stroke-width") > 1.5);
        assert_eq!(lines.count(), behind, "{told:?}");
    }
}
