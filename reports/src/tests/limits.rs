//! What is too much to be drawn: so many marks, and how many more there are, for every kind of drawing.

use super::svg::{Element, of_colour, own, texts};
use crate::fixture::{self, Study};
use crate::palette::{INK, group};
use whereworn_model::settings::Settings;

/// The Markdown of a table of the study's own, and its drawing.
fn drawn(sql: &str, columns: &str, rows: &[String]) -> (String, Vec<Element>) {
    let mut table = fixture::table("own", sql, columns, rows);
    table.own_query = true;
    let study = Study {
        settings: Settings::default(),
        tables: vec![table],
        wearer: None,
    };
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    (study.report().markdown, own(sql, columns, &rows))
}

/// By hand: 80 bars, 60 rows of intervals, 24 panels, 40 rows of hours, 120 lanes, 60 pictures.
#[test]
fn what_is_not_drawn_is_counted() {
    let chart = |rest: &str| format!("-- chart = {{ {rest} }}\nSELECT 1");
    let days = |n: usize| format!("{};{}", n % 7, n % 5 + 1);
    let cases: [(&str, String, &str, Vec<String>, usize); 8] = [
        (
            "bars",
            chart("kind = \"bars\", x = \"k\", y = \"n\""),
            "k;n",
            (0..85).map(|n| format!("k{n};{}", n + 1)).collect(),
            5,
        ),
        (
            "bars in groups",
            chart("kind = \"bars\", x = \"k\", y = \"n\", series = \"s\""),
            "k;s;n",
            (0..90)
                .map(|n| format!("k{};s{};{}", n / 30, n % 30, n + 1))
                .collect(),
            10,
        ),
        (
            "intervals",
            chart("kind = \"intervals\", x = \"v\", y = \"k\""),
            "k;v",
            (0..67).map(|n| format!("k{n};{}", n % 9)).collect(),
            7,
        ),
        (
            "points",
            chart("kind = \"points\", x = \"a\", y = \"b\", series = \"s\""),
            "s;a;b",
            (0..54).map(|n| format!("s{};{}", n / 2, days(n))).collect(),
            3,
        ),
        (
            "line",
            chart("kind = \"line\", x = \"a\", y = \"b\", series = \"s\""),
            "s;a;b",
            (0..52).map(|n| format!("s{};{}", n / 2, days(n))).collect(),
            2,
        ),
        (
            "strip",
            chart("kind = \"strip\", x = \"h\", y = \"k\", value = \"v\""),
            "k;h;v",
            (0..44).map(|n| format!("k{n};3;{}", n % 4)).collect(),
            4,
        ),
        (
            "spans",
            chart("kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\""),
            "k;a;b;cause",
            (0..240)
                .map(|n| format!("k;{};{};completed", n % 2 * 3, n % 2 * 3 + 2))
                .collect(),
            0,
        ),
        (
            "traces",
            chart("kind = \"traces\", x = \"t\", y = \"g\", panel = \"p\""),
            "p;t;g",
            (0..189)
                .map(|n| format!("{};2026-03-04T0{}:00:00Z;{}", n / 3, n % 3, 100 + n % 5))
                .collect(),
            3,
        ),
    ];
    for (kind, sql, columns, rows, left_out) in cases {
        let (markdown, all) = drawn(&sql, columns, &rows);
        let words = format!(" {left_out} more are not drawn; see the table.");
        assert_eq!(markdown.contains(&words), left_out > 0, "{kind}: {words}");
        assert_eq!(markdown.contains("are not drawn"), left_out > 0, "{kind}");
        assert!(all.len() > 20, "{kind}");
        let bars = all
            .iter()
            .filter(|e| e.name == "rect" && e.length("height") < 20.0);
        if kind.starts_with("bars") {
            assert_eq!(bars.count(), 80, "{kind}");
        }
        if kind == "spans" {
            let spans = all.iter().filter(|e| e.is("opacity", "0.16"));
            assert_eq!(spans.count(), 240, "two in each of 120 lanes");
        }
    }
    // Of overlapping spans those that find no lane are left out together.
    let rows: Vec<String> = (0..121).map(|_| "k;0;5;completed".to_owned()).collect();
    let sql = chart("kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\"");
    let (markdown, _) = drawn(&sql, "k;a;b;cause", &rows);
    assert!(markdown.contains("121 more are not drawn; see the table."));
}

/// A long list of findings is cut after the twelfth.
#[test]
fn a_finding_names_twelve() {
    let sql = "-- chart = { kind = \"bars\", x = \"k\", y = \"n\" }\nSELECT 1";
    for (count, cut) in [(12, false), (13, true)] {
        let rows: Vec<String> = (0..count).map(|n| format!("k{n};{}", n + 1)).collect();
        let (_, all) = drawn(sql, "k;n", &rows);
        let desc = &all.iter().find(|e| e.name == "desc").unwrap().text;
        assert_eq!(desc.contains("k11 12; …"), cut, "{desc}");
        assert!(
            desc.contains("k10 11; k11 12") && !desc.contains("k12"),
            "{desc}"
        );
    }
}

/// A title, a label or a name that is too long ends with a sign for the rest and stays in its place.
#[test]
fn long_names_are_cut() {
    let long = "a very long name that goes on and on and never seems to come to any end at all, however wide the page";
    let sql = "-- chart = { kind = \"bars\", x = \"k\", y = \"n\" }\nSELECT 1";
    let (_, all) = drawn(sql, "k;n", &[format!("{long};3"), "short;4".to_owned()]);
    let words = texts(&all);
    let cut = words
        .iter()
        .find(|(words, _, _)| words.starts_with("a very"))
        .unwrap();
    assert!(
        cut.0.ends_with('…') && cut.0.len() < 40 && cut.0.len() > 20,
        "{}",
        cut.0
    );
    let (short, _, _) = words
        .iter()
        .find(|(words, _, _)| *words == "short")
        .unwrap();
    assert_eq!(*short, "short");
}

/// Each of twelve groups has a mark of its own around its point, and the thirteenth the first again.
#[test]
fn twelve_groups_have_twelve_marks() {
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\" }\nSELECT 1";
    let rows: Vec<String> = (0..12).map(|n| format!("k{n};{n}")).collect();
    let (_, all) = drawn(sql, "k;v", &rows);
    let mut shapes: Vec<String> = Vec::new();
    for (place, row) in rows.iter().enumerate() {
        let name = row.split(';').next().unwrap();
        let height = texts(&all).iter().find(|t| t.0 == name).unwrap().2;
        let mark = of_colour(&all, "fill", group(crate::palette::NO_SITE + place))
            .into_iter()
            .find(|e| {
                let y = if e.name == "circle" {
                    e.length("cy")
                } else {
                    e.points.first().map_or(0.0, |p| p.1)
                };
                (y - height).abs() < 8.0 && e.name != "rect"
            });
        let mark = mark.unwrap_or_else(|| panic!("{name}"));
        let (x, y) = super::svg::middle(mark);
        let shape: Vec<(i64, i64)> = mark
            .points
            .iter()
            .map(|(a, b)| {
                (
                    ((a - x) * 4.0).round() as i64,
                    ((b - y) * 4.0).round() as i64,
                )
            })
            .collect();
        assert!((y - height).abs() < 2.5, "{name}: {y} for {height}");
        assert!(
            shape.iter().all(|(a, b)| a.abs() <= 28 && b.abs() <= 28),
            "{name}: {shape:?}"
        );
        // All but the last look the same in a mirror, the one before it upside down.
        let turned = |(a, b): &(i64, i64)| if place == 10 { (*a, -b) } else { (-a, *b) };
        let mut mirrored: Vec<_> = shape.iter().map(turned).collect();
        let mut sorted = shape.clone();
        mirrored.sort_unstable();
        sorted.sort_unstable();
        assert!(mirrored == sorted || place == 11, "{name}: {shape:?}");
        let shape = format!("{} {shape:?}", mark.name);
        assert!(!shapes.contains(&shape), "{name}: {shape}");
        shapes.push(shape);
    }
    assert!(!of_colour(&all, "stroke", INK).is_empty());
}
