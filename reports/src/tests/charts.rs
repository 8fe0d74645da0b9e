//! Charts of readings and of clock hours.

use whereworn_model::table::{Cell, ResultTable};
use whereworn_model::time::{format_utc, parse_instant};

use crate::Report;
use crate::fixture::{self, Study};

const TRACES: &str = "-- title = \"Nights that tell most\"\n-- section = \"nights\"\n-- order = 5\n-- show = 0\n\
    -- chart = { kind = \"traces\", x = \"time\", y = \"reading\", panel = \"panel\", marked = \"in_artefact\", points = \"fingerstick\" }\n\
    -- [columns]\n-- reading = { label = \"Reading\", unit = \"mg/dL\", digits = 0 }\n\
    -- fingerstick = { label = \"Fingerstick\" }\n-- in_artefact = { label = \"Night artefact\" }\nSELECT 1";

const HOURS: &str = "-- title = \"When night artefacts happen\"\n-- section = \"nights\"\n-- order = 4\n\
    -- chart = { kind = \"strip\", x = \"hour\", y = \"site\", value = \"rate\" }\n\
    -- [columns]\n-- artefacts = { label = \"Artefacts\" }\n-- rate = { label = \"Per 100 nights\", digits = 1 }\nSELECT 1";

/// Nights of a site from 22:00 UTC, readings 5 minutes apart with a gap, low from the 60th to the 70th.
fn night(site: &str, panel: usize) -> Vec<String> {
    let begin = parse_instant("2026-03-04T22:00:00Z").unwrap() + panel as i64 * 86_400_000_000;
    let row = |minute: i64, reading: String, stick: &str, marked: bool| {
        let at = format_utc(begin + minute * 60_000_000);
        format!(
            "{site};Keeper Ines;s-{panel};{panel};{at};{reading};{stick};{};unchecked",
            u8::from(marked)
        )
    };
    let mut rows: Vec<String> = (0..108)
        .filter(|n| !(20..30).contains(n))
        .map(|n| {
            let low = (60..=70).contains(&n);
            row(
                n * 5,
                (if low { 48 } else { 110 + n % 7 }).to_string(),
                "",
                low,
            )
        })
        .collect();
    rows.push(row(332, String::new(), "104", false));
    rows
}

/// A full study with tables for the two kinds.
pub(super) fn study(sites: &[&str]) -> Study {
    let mut study = fixture::full();
    study.tables.push(traces(sites, 3));
    study.tables.push(hours(sites));
    study
}

fn traces(sites: &[&str], nights: usize) -> ResultTable {
    let rows: Vec<String> = sites
        .iter()
        .flat_map(|site| (1..=nights).flat_map(|panel| night(site, panel)))
        .collect();
    let columns = "site;wearer;sensor;panel;time;reading;fingerstick;in_artefact;evidence";
    fixture::table("night_traces", TRACES, columns, &rows)
}

/// Nights from 22 to 7; artefacts at 3 only.
fn hours(sites: &[&str]) -> ResultTable {
    let row = |site: &str, hour: usize| match hour {
        22.. | ..=6 => format!("{site};{hour};50;{0};{0}", if hour == 3 { 4 } else { 0 }),
        _ => format!("{site};{hour};0;0;"),
    };
    let rows: Vec<String> = sites
        .iter()
        .flat_map(|site| (0..24).map(move |hour| row(site, hour)))
        .collect();
    fixture::table(
        "night_clock",
        HOURS,
        "site;hour;nights;artefacts;rate",
        &rows,
    )
}

fn figure<'r>(report: &'r Report, name: &str) -> &'r str {
    let file = format!("{name}.svg");
    let found = report
        .figures
        .iter()
        .find(|figure| figure.file_name == file);
    &found.unwrap().svg
}

#[test]
fn a_trace_is_broken_at_gaps_and_marked_once() {
    let report = study(&["calf"]).report();
    let svg = figure(&report, "night_traces");
    let desc =
        "Traces: 3 (Calf 3, 3 with a marked stretch, 3 fingersticks, lowest reading 48 mg/dL).";
    assert!(svg.contains(desc), "{svg}");
    let colour = crate::palette::group(8).light;
    let stroke = format!(
        "stroke=\"#{:02X}{:02X}{:02X}\"",
        colour.0, colour.1, colour.2
    );
    assert_eq!(
        svg.matches(&stroke).count(),
        9,
        "two runs and a marked stretch each"
    );
    assert!(svg.contains(">70</text>") && svg.contains("70 mg/dL"));
}

#[test]
fn the_low_line_and_fingersticks_follow_the_unit() {
    let mut study = study(&["calf"]);
    study.settings.study.unit = Some(whereworn_model::units::Unit::MmolL);
    let report = study.report();
    let svg = figure(&report, "night_traces");
    assert!(svg.contains("3.9 mmol/L") && svg.contains("lowest reading 2.7 mmol/L"));
    assert!(!svg.contains("mg/dL"), "{svg}");
}

#[test]
fn hours_run_from_evening_to_morning() {
    let report = study(&["calf", "lower-back"]).report();
    let svg = figure(&report, "night_clock");
    let written: Vec<f64> = svg
        .split("</text>")
        .filter_map(|part| part.rsplit('>').next()?.trim().parse().ok())
        .collect();
    assert_eq!(
        written,
        [22.0, 23.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 4.0, 4.0]
    );
    assert!(
        svg.contains("Calf highest from 03:00 to 04:00 with 4"),
        "{svg}"
    );
}

/// Of 49 nights a single artefact makes a rate of 2 in 100: such a cell is marked, one of 50 is not.
#[test]
fn a_cell_of_few_nights_is_marked() {
    let mut study = study(&["calf"]);
    let drawn = |study: &Study| {
        let svg = figure(&study.report(), "night_clock").to_owned();
        let outlines = svg.matches("<path").count();
        (svg.contains("fewer than 50 nights"), outlines)
    };
    let (marked, outlines) = drawn(&study);
    assert!(!marked);
    let columns = &mut study.table("night_clock").columns;
    let nights = columns.iter_mut().find(|column| column.name == "nights");
    nights.unwrap().cells[3] = Cell::Integer(49);
    // Its field has an outline, and so have field and sign in the legend.
    assert_eq!(drawn(&study), (true, outlines + 3));
}

/// Sixty pictures of a night each stay small.
#[test]
fn many_traces_stay_a_small_page() {
    let mut study = Study {
        settings: fixture::full().settings,
        tables: vec![traces(&["calf", "abdomen", "lower-back"], 21)],
        wearer: None,
    };
    study.tables[0].own_query = true;
    let report = study.report();
    assert!(report.markdown.contains("3 more are not drawn"));
    let size = report.html.len();
    assert!(size < 500_000, "{size}");
}

/// Sites that come with the program stand on the figure, the study's own beside it; one with few sensors is not judged.
#[test]
fn every_site_is_on_the_body_or_beside_it() {
    let mut study = fixture::full();
    let own = study.table("site_comparison");
    let site = own
        .columns
        .iter_mut()
        .find(|column| column.name == "site")
        .unwrap();
    site.cells[1] = whereworn_model::table::Cell::text("ear");
    let report = study.report();
    let svg = figure(&report, "site_body");
    for words in [
        "Abdomen: 8 sensors, off the label;",
        "Calf: 2 sensors, off the label, not enough yet",
        "ear: 11 sensors",
    ] {
        assert!(svg.contains(words), "{words}: {svg}");
    }
    assert_eq!(svg.matches("opacity=\"0.22\"").count(), 4);
    assert!(report.markdown.contains("listed below the figure"));
}

/// Every sensor has one end, in words, and quarters carry the first of their months and its year.
#[test]
fn the_calendar_counts_every_end_once() {
    let mut study = fixture::full();
    let sensors = study.table("sessions").rows();
    let report = study.report();
    let svg = figure(&report, "sessions");
    let (_, ends) = svg.split_once("How they ended: ").unwrap();
    let (ends, _) = ends.split_once(".</desc>").unwrap();
    let counts = ends.split("; ").map(|end| end.rsplit(' ').next().unwrap());
    let sum: usize = counts.map(|count| count.parse::<usize>().unwrap()).sum();
    assert_eq!(sum, sensors, "{ends}");
    for quarter in [">Oct 2025<", ">Jan 2026<"] {
        assert_eq!(svg.matches(quarter).count(), 2, "one for each wearer");
    }
}
