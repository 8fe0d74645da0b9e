//! Curves in steps, held to their rows: lines, bands, who is left.

use super::svg::{Element, across, close, numbers, own, place_of, strokes, upright};

/// A share that grows from nothing, in a line for each cause: it keeps its value to the end, where its name stands.
#[test]
fn causes_have_lines_of_their_own() {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"share\", series = \"site\" }\n-- [columns]\n\
               -- day = { unit = \"days\", digits = 0 }\n-- share = { unit = \"share\" }\nSELECT 1";
    let rows = [
        "calf;came off;4;0.1",
        "calf;came off;8;0.3",
        "calf;fault;6;0.05",
    ];
    let all = own(sql, "site;cause;day;share", &rows);
    let y = upright(&all);
    let x = across(&all, 0.0, 900.0);
    let lines = strokes(&all, 1.75);
    assert_eq!(lines.len(), 2);
    for (line, wanted) in lines.iter().zip([
        vec![
            (0.0, 0.0),
            (4.0, 0.0),
            (4.0, 10.0),
            (8.0, 10.0),
            (8.0, 30.0),
            (14.0, 30.0),
        ],
        vec![(0.0, 0.0), (6.0, 0.0), (6.0, 5.0), (14.0, 5.0)],
    ]) {
        assert_eq!(line.points.len(), wanted.len(), "{:?}", line.points);
        for (point, (day, share)) in line.points.iter().zip(wanted) {
            close(point.0, x(day), "day");
            close(point.1, y(share), "share");
        }
    }
    let dash = |line: &Element| line.attributes.get("stroke-dasharray").cloned();
    assert_eq!(dash(lines[0]), None);
    assert!(dash(lines[1]).is_some(), "told apart without colours");
    for (line, name) in lines.iter().zip(["came off", "fault"]) {
        let end = line.points[line.points.len() - 1];
        let (at, height) = place_of(&all, name);
        close(height, end.1, "its name, at its end");
        assert!(at > end.0);
        let words = all.iter().find(|e| e.text == name).unwrap();
        assert_eq!(
            words.attributes.get("fill"),
            line.attributes.get("stroke"),
            "{name}"
        );
    }
}

/// Bands of steps: as long as the interval holds, and none where there is no interval.
#[test]
fn a_band_keeps_its_height_up_to_the_next_step() {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"share\", lower = \"low\", upper = \"high\" }\n-- [columns]\n\
               -- day = { unit = \"days\", digits = 0 }\n-- share = { unit = \"share\" }\nSELECT 1";
    let rows = [
        "2;10;0.9;0.8;0.95",
        "4;9;0.8;0.6;0.9",
        "6;8;0.7;;",
        "10;6;0.6;0.4;0.7",
        "12;5;0.5;0.3;0.6",
    ];
    let all = own(sql, "day;at_risk;share;low;high", &rows);
    let y = upright(&all);
    let line = strokes(&all, 2.25)[0];
    let x = |day: f64| {
        line.points[0].0 + day / 12.0 * (line.points[line.points.len() - 1].0 - line.points[0].0)
    };
    let bands: Vec<&Element> = all.iter().filter(|e| e.is("opacity", "0.18")).collect();
    let wanted = [
        vec![
            (2.0, 95.0),
            (4.0, 95.0),
            (4.0, 90.0),
            (6.0, 90.0),
            (6.0, 60.0),
            (4.0, 60.0),
            (4.0, 80.0),
            (2.0, 80.0),
        ],
        vec![
            (10.0, 70.0),
            (12.0, 70.0),
            (12.0, 60.0),
            (12.0, 30.0),
            (12.0, 40.0),
            (10.0, 40.0),
        ],
    ];
    assert_eq!(bands.len(), wanted.len());
    for (band, wanted) in bands.iter().zip(wanted) {
        let mut corners = band.points.clone();
        corners.dedup();
        assert_eq!(corners.len(), wanted.len(), "{corners:?}");
        for (point, (day, share)) in corners.iter().zip(wanted) {
            close(point.0, x(day), "day");
            close(point.1, y(share), "share");
        }
    }
}

/// Of ten, one came off on day 4 and two were followed no longer: seven are left, up to the rated days. All of a share is drawn.
#[test]
fn who_is_left_after_the_last_event() {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"share\" }\n-- [columns]\n-- day = { unit = \"days\", digits = 0 }\n\
               -- share = { unit = \"share\" }\nSELECT 1";
    let all = own(
        sql,
        "day;at_risk;detached;censored;share",
        &["4;10;1;2;0.9"],
    );
    let foot = numbers(&all).iter().map(|n| n.2).fold(0.0, f64::max);
    let levels: Vec<f64> = numbers(&all)
        .iter()
        .filter(|(_, x, _)| *x < 38.0)
        .map(|n| n.0)
        .collect();
    assert!(
        levels.contains(&0.0) && levels.contains(&100.0),
        "{levels:?}"
    );
    let row = |at: f64| -> Vec<f64> {
        let here = numbers(&all).into_iter();
        let here = here.filter(|(_, x, y)| (y - at).abs() < 0.1 && *x > 38.0);
        here.map(|(value, _, _)| value).collect()
    };
    let left = row(foot);
    let days = row(foot - 32.0);
    assert_eq!(days.last(), Some(&14.0));
    assert_eq!(days.len(), left.len());
    for (day, left) in days.iter().zip(left) {
        assert_eq!(left, if *day <= 4.0 { 10.0 } else { 7.0 }, "day {day}");
    }
}
