//! Every kind of drawing, wide and narrow, as one page that can be opened and looked at. Marks are held to their numbers by the
//! tests of geometry; here the rest is: titles, legends, rows and columns, lengths of signs, what stands where.

use whereworn_model::table::Cell;

use super::{charts, is_golden};
use crate::Edition;
use crate::fixture::{self, Study};

/// Tables of a study's own, for the kinds that the program's own tables do not bring: name, header, columns, rows.
const OWN: [(&str, &str, &str, &[&str]); 6] = [
    (
        "own_intervals",
        "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\", lower = \"low\", upper = \"high\", series = \"s\" }\nSELECT 1",
        "k;s;v;low;high",
        &[
            "oak;one;2;1;3",
            "elm;one;7;5;8",
            "oak;two;-4;-6;-3",
            "elm;two;;;",
            "ash;two;0.5;-30;40",
        ],
    ),
    (
        "own_points",
        "-- chart = { kind = \"points\", x = \"a\", y = \"b\", lower = \"low\", upper = \"high\", series = \"s\" }\nSELECT 1",
        "s;a;b;low;high",
        &[
            "oak;1;10;8;13",
            "oak;2;25;20;27",
            "elm;5;-4;-9;-1",
            "elm;6;3;;",
        ],
    ),
    (
        "own_line",
        "-- chart = { kind = \"line\", x = \"a\", y = \"b\", lower = \"low\", upper = \"high\", series = \"s\" }\nSELECT 1",
        "s;a;b;low;high",
        &[
            "oak;1;10;8;13",
            "oak;2;25;20;27",
            "oak;5;14;9;30",
            "elm;1;4;;",
            "elm;4;6;;",
        ],
    ),
    (
        "own_bars",
        "-- chart = { kind = \"bars\", x = \"k\", y = \"n\", series = \"s\" }\nSELECT 1",
        "k;s;n",
        &["oak;one;10", "oak;two;-5", "elm;one;2.5"],
    ),
    (
        "own_bars_alone",
        "-- chart = { kind = \"bars\", x = \"k\", y = \"n\" }\nSELECT 1",
        "k;n",
        &["oak;10", "elm;4"],
    ),
    (
        "own_spans",
        "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\", series = \"s\" }\nSELECT 1",
        "s;k;a;b;cause",
        &[
            "one;oak;0;10;completed",
            "one;elm;2;7;fell-off",
            "two;ash;3;12;sensor-fault",
            "two;oak;4;4.2;reaction",
        ],
    ),
];

fn study() -> Study {
    let mut study = fixture::two_sites();
    let mut more = charts::study(&["upper-arm-back", "lower-back"]).tables;
    more.retain(|table| ["night_traces", "night_clock"].contains(&&*table.name));
    study.tables.extend(more);
    let clock = &mut study.table("night_clock").columns;
    if let Some(nights) = clock.iter_mut().find(|column| column.name == "nights") {
        nights.cells[2..5].fill(Cell::Integer(37));
    }
    for column in &mut study.table("pairs").columns {
        column.cells = column.cells.iter().step_by(20).cloned().collect();
    }
    for (name, sql, columns, rows) in OWN {
        let rows: Vec<String> = rows.iter().map(|row| (*row).to_owned()).collect();
        let mut table = fixture::table(name, sql, columns, &rows);
        table.own_query = true;
        study.tables.push(table);
    }
    study
}

/// The drawings of a page, an element a line.
fn drawings(html: &str) -> Vec<String> {
    let drawings = html.split("<svg ").skip(1);
    let drawings = drawings.filter_map(|rest| rest.split_once("</svg>"));
    drawings
        .map(|(svg, _)| format!("<svg {}\n</svg>\n", svg.replace("><", ">\n<")))
        .collect()
}

#[test]
fn every_drawing_is_as_it_was_looked_at() {
    let study = study();
    let clinician = study.report();
    let mut all = drawings(&clinician.html);
    all.extend(drawings(&clinician.sheets.unwrap()));
    let wearer = drawings(&study.edition(Edition::Wearer).html).into_iter();
    all.extend(wearer.filter(|drawing| drawing.contains("\"best_sites-")));
    let text = format!("<!DOCTYPE html>\n<title>Drawings</title>\n{}", all.concat());
    is_golden("drawings.html", &text);
}
