//! Charts of a study's own queries: what they draw where nothing is known of their columns.

use super::svg::{close, own, place_of, strokes, texts};
use super::times::at;

/// Instants and days along the axis of an own query: midnights stand where the axis says, values between them.
#[test]
fn instants_and_days_are_places_along_an_axis() {
    for (kind, mark) in [("line", "path"), ("steps", "path"), ("points", "circle")] {
        let sql = format!("-- chart = {{ kind = \"{kind}\", x = \"t\", y = \"n\" }}\nSELECT 1");
        let rows = [
            "2026-03-01T00:00:00Z;10",
            "2026-03-05T00:00:00Z;20",
            "2026-03-09T00:00:00Z;10",
        ];
        let all = own(&sql, "t;n", &rows);
        let tick = |words: &str| place_of(&all, words).0;
        let (first, fifth, last) = (tick("1 Mar"), tick("5 Mar"), tick("9 Mar"));
        close(fifth - first, last - fifth, "days are of one length");
        let places: Vec<f64> = match mark {
            "circle" => {
                let dots = all.iter().filter(|e| e.name == "circle");
                dots.map(|e| e.length("cx")).collect()
            }
            _ => {
                let lines = strokes(&all, 2.25);
                lines[0].points.iter().map(|point| point.0).collect()
            }
        };
        close(places[0], first, kind);
        close(places[places.len() - 1], last, kind);
    }
}

/// A share over time begins with its first row: the first day of 1970 is none of the study's.
#[test]
fn a_share_over_time_begins_with_its_first_row() {
    let sql = "-- chart = { kind = \"steps\", x = \"t\", y = \"n\" }\n-- [columns]\n-- n = { unit = \"share\" }\nSELECT 1";
    let rows = ["2026-03-01T00:00:00Z;0.5", "2026-03-09T00:00:00Z;0.25"];
    let all = own(sql, "t;n", &rows);
    let line = strokes(&all, 2.25)[0];
    close(line.points[0].0, place_of(&all, "1 Mar").0, "first row");
}

/// Without decimals in its header a value is short enough for its cell; one that is not is told by its shade alone.
#[test]
fn a_cell_has_a_number_that_fits() {
    let sql = "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"n\" }\nSELECT 1";
    let rows = ["oak;22;30.00", "oak;23;2.31", "oak;0;1234567890123.5"];
    let all = own(sql, "k;hour;n", &rows);
    let words: Vec<&str> = texts(&all).into_iter().map(|(words, _, _)| words).collect();
    assert!(words.contains(&"30") && words.contains(&"2.3"), "{words:?}");
    assert!(
        !words.iter().any(|word| word.starts_with("1234567890123")),
        "{words:?}"
    );
    assert!(words.contains(&"Hour of the clock, as the query counts it"));
}

/// Pictures of a query of the study's own carry the names of their panels.
#[test]
fn a_trace_has_the_name_of_its_panel() {
    let sql = "-- chart = { kind = \"traces\", x = \"time\", y = \"glucose\", panel = \"sensor\" }\nSELECT 1";
    let rows = [
        format!("fern;{};100", at(0)),
        format!("fern;{};110", at(5)),
        format!("moss;{};120", at(0)),
    ];
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let all = own(sql, "sensor;time;glucose", &rows);
    place_of(&all, "fern");
    place_of(&all, "moss");
}
