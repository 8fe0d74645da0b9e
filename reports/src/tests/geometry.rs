//! What is drawn, held to the numbers of its table: the SVG is parsed, axes are read off their own ticks, and marks, ends of
//! intervals, steps, bands, limits, spans, shades and numbers at risk have to lie where the ticks say that they do.

use super::svg::{
    Element, across, axis, close, drawn, elements, middle, narrow, numbers, own, place_of, strokes,
    texts, upright,
};
use crate::Edition;
use crate::fixture;
use crate::palette;
use whereworn_model::table::Cell;

#[test]
fn dots_and_intervals_lie_where_their_axis_says() {
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\", lower = \"low\", upper = \"high\" }\nSELECT 1";
    let all = own(sql, "k;v;low;high", &["a;2;-1;4", "b;5;3;9", "c;7;;"]);
    let x = across(&all, 0.0, 900.0);
    let lines = strokes(&all, 2.5);
    assert_eq!(lines.len(), 2);
    for (line, (low, high)) in lines.iter().zip([(-1.0, 4.0), (3.0, 9.0)]) {
        close(line.points[0].0, x(low), "lower end");
        close(line.points[1].0, x(high), "upper end");
        close(line.points[0].1, line.points[1].1, "level");
    }
    // The marks of the three groups: a disc, a square, a diamond.
    let disc = all.iter().find(|e| e.name == "circle").unwrap();
    let ink = "#22272D";
    let filled = |corners: usize, fill: &str| {
        let shapes = all
            .iter()
            .filter(move |e| e.name == "path" && e.points.len() == corners);
        shapes
            .filter(|e| e.is("fill", fill))
            .map(middle)
            .collect::<Vec<_>>()
    };
    close(middle(disc).0, x(2.0), "a");
    close(filled(4, "#575D66")[0].0, x(5.0), "b");
    close(filled(4, ink)[0].0, x(7.0), "c");
    close(middle(disc).1, lines[0].points[0].1, "row of a");
    close(filled(4, "#575D66")[0].1, lines[1].points[0].1, "row of b");
    let zero = all
        .iter()
        .find(|e| e.attributes.contains_key("stroke-dasharray"))
        .unwrap();
    close(zero.points[0].0, x(0.0), "zero");
}

/// The first screen: every site in its row, every measure in its panel, arrows where an interval goes on.
#[test]
fn sites_stand_side_by_side_where_their_axes_say() {
    let study = fixture::full();
    let all = drawn(&study, "site_comparison");
    let row = |name: &str| {
        let label = all
            .iter()
            .find(|e| e.name == "text" && e.text == name && e.length("x") < 20.0);
        label.unwrap_or_else(|| panic!("{name}")).length("y")
    };
    let shares = [
        ("Lower back", 9.0, Some((3.6, 14.4))),
        ("Abdomen", 38.0, Some((15.2, 60.8))),
        ("Upper thigh", 55.0, Some((22.0, 88.0))),
        ("Calf", 50.0, None),
    ];
    let x = across(&all, 170.0, 300.0);
    let lines = strokes(&all, 2.5);
    for (name, value, interval) in shares {
        let near = |y: f64| (y - row(name)).abs() < 20.0;
        let line = lines
            .iter()
            .find(|l| l.points.len() == 2 && l.points[0].0 < 300.0 && near(l.points[0].1));
        assert_eq!(line.is_some(), interval.is_some(), "{name}");
        if let (Some(line), Some((low, high))) = (line, interval) {
            close(line.points[0].0, x(low), name);
            close(line.points[1].0, x(high), name);
        }
        let marks = all
            .iter()
            .filter(|e| e.attributes.contains_key("fill") && !e.is("fill", "#FCFBF8"));
        let marks =
            marks.filter(|e| e.name == "circle" || (e.name == "path" && e.points.len() > 2));
        let mut own = marks.map(middle).filter(|(at, y)| *at < 300.0 && near(*y));
        close(own.next().unwrap().0, x(value), name);
        let text = all.iter().find(|e| {
            e.name == "text" && e.text.starts_with(&format!("{value:.0}")) && e.length("x") < 300.0
        });
        assert!(text.is_some(), "{name}");
    }
    let order = [
        "Back of the upper arm",
        "Lower back",
        "Abdomen",
        "Calf",
        "Upper thigh",
    ]
    .map(row);
    assert!(
        order.windows(2).all(|pair| pair[0] < pair[1]),
        "on the label, then by sensors lost: {order:?}"
    );
    for words in ["← less is better", "more is better →", "0 is best"] {
        assert!(all.iter().any(|e| e.text == words), "{words}");
    }
}

/// An interval many times as wide as the others is cut at the axis, with an arrow to where it goes on.
#[test]
fn one_wide_interval_does_not_set_the_axis() {
    let explained = "An arrow: the interval goes on beyond the axis.";
    for (end, value) in [("bias_upper", 900.0), ("bias_lower", -900.0)] {
        let mut study = fixture::full();
        let arrows = |study: &fixture::Study| {
            let all = drawn(study, "site_comparison");
            let values = numbers(&all).into_iter().map(|(value, _, _)| value.abs());
            assert!(values.fold(0.0, f64::max) < 200.0);
            let lines = strokes(&all, 2.0).into_iter();
            let arrows = lines.filter(|line| line.points.len() == 3);
            let onwards = arrows.map(|line| line.points[1].0 - line.points[0].0);
            onwards.filter(|onwards| onwards * value > 0.0).count()
        };
        let before = arrows(&study);
        for column in &mut study.table("site_comparison").columns {
            if column.name == end {
                column.cells[3] = whereworn_model::table::Cell::Number(value);
            }
        }
        assert_eq!(arrows(&study), before + 1, "{end}");
        assert!(study.report().markdown.contains(explained));
    }
}

/// Intervals of few sensors, far wider than those of the others, end in arrows, and their numbers stay whole.
#[test]
fn wide_intervals_do_not_set_the_axis() {
    let arrows = |all: &[Element]| {
        let lines = strokes(all, 2.0).into_iter();
        lines.filter(|line| line.points.len() == 3).count()
    };
    let mut study = fixture::full();
    let before = arrows(&drawn(&study, "site_comparison"));
    for (column, row, value) in [
        ("bias", 2, -10.4),
        ("bias_lower", 2, -117.8),
        ("bias_upper", 2, 97.3),
        ("bias_upper", 3, 88.1),
    ] {
        let columns = &mut study.table("site_comparison").columns;
        let found = columns.iter_mut().find(|found| found.name == column);
        found.unwrap().cells[row] = Cell::Number(value);
    }
    for all in [
        drawn(&study, "site_comparison"),
        narrow(&study, "site_comparison"),
    ] {
        let values = numbers(&all).into_iter().map(|(value, _, _)| value);
        assert!(values.fold(0.0, f64::min) > -80.0);
        assert_eq!(arrows(&all), before + 3);
        let whole = |words: &str| words.ends_with("(−117.8\u{a0}to\u{a0}97.3)");
        assert!(texts(&all).iter().any(|(words, _, _)| whole(words)));
        assert!(texts(&all).iter().all(|(words, _, _)| !words.contains('…')));
    }
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\", lower = \"low\", upper = \"high\" }\nSELECT 1";
    let rows = ["a;2;-1;4", "b;5;3;9", "c;-3;-60;55", "d;1;-2;3"];
    let all = own(sql, "k;v;low;high", &rows);
    let values = numbers(&all).into_iter().map(|(value, _, _)| value.abs());
    assert!(values.fold(0.0, f64::max) < 20.0);
    assert_eq!(arrows(&all), 2);
}

/// Where no sensor came off the axis is one of shares, from 0.
#[test]
fn no_share_is_below_nothing() {
    let mut study = fixture::full();
    for column in &mut study.table("site_comparison").columns {
        match column.name.as_str() {
            "came_off" => column.cells.fill(Cell::Number(0.0)),
            "came_off_lower" | "came_off_upper" => column.cells.fill(Cell::Empty),
            _ => {}
        }
    }
    let all = drawn(&study, "site_comparison");
    let x = across(&all, 170.0, 290.0);
    let left = strokes(&all, 1.0)[0].points[0].0;
    close(left, x(0.0), "0 at the left");
    assert!(
        numbers(&all)
            .iter()
            .any(|(value, at, _)| *value == 10.0 && *at < 300.0)
    );
}

#[test]
fn points_and_their_intervals_lie_where_their_axes_say() {
    let sql = "-- chart = { kind = \"points\", x = \"a\", y = \"b\", lower = \"low\", upper = \"high\" }\nSELECT 1";
    let all = own(
        sql,
        "a;b;low;high",
        &["1;10;8;13", "2;25;20;27", "5;-4;-9;-1"],
    );
    let (x, y) = (across(&all, 0.0, 900.0), upright(&all));
    let dots: Vec<&Element> = all.iter().filter(|e| e.name == "circle").collect();
    let lines = strokes(&all, 1.75);
    assert_eq!((dots.len(), lines.len()), (3, 3));
    let wanted = [
        (1.0, 10.0, 8.0, 13.0),
        (2.0, 25.0, 20.0, 27.0),
        (5.0, -4.0, -9.0, -1.0),
    ];
    for ((dot, line), (a, b, low, high)) in dots.iter().zip(&lines).zip(wanted) {
        close(middle(dot).0, x(a), "across");
        close(middle(dot).1, y(b), "upright");
        close(line.points[0].0, x(a), "its line");
        close(line.points[0].1, y(low), "lower end");
        close(line.points[1].1, y(high), "upper end");
    }
}

/// By hand from the fixture: the back of the upper arm has a bias of 2.1 and limits 31.5 to both sides.
#[test]
fn bias_and_limits_lie_on_the_axis_of_differences() {
    let all = drawn(&fixture::full(), "pairs");
    let numbers = numbers(&all);
    let left = numbers
        .iter()
        .map(|(_, x, _)| *x)
        .fold(f64::INFINITY, f64::min);
    let top = numbers
        .iter()
        .filter(|(_, x, _)| (x - left).abs() < 0.1)
        .map(|n| n.2)
        .fold(f64::INFINITY, f64::min);
    let mut ticks: Vec<(f64, f64)> = numbers
        .iter()
        .filter(|(_, x, y)| (x - left).abs() < 0.1 && *y < top + 200.0)
        .map(|(value, _, y)| (*value, *y))
        .collect();
    ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let y = axis(&ticks);
    let first = |line: &&&Element| {
        line.points[1].0 - line.points[0].0 > 100.0
            && line.points[0].0 < 60.0
            && line.points[0].1 < top + 200.0
    };
    let bias = strokes(&all, 2.0);
    close(bias.iter().find(first).unwrap().points[0].1, y(2.1), "bias");
    let limits: Vec<f64> = strokes(&all, 1.25)
        .iter()
        .filter(|l| l.attributes.contains_key("stroke-dasharray"))
        .filter(first)
        .map(|l| l.points[0].1)
        .collect();
    assert_eq!(limits.len(), 2);
    close(limits[0], y(2.1 - 31.5), "lower limit");
    close(limits[1], y(2.1 + 31.5), "upper limit");
}

#[test]
fn a_line_and_its_band_lie_where_their_axes_say() {
    let sql = "-- chart = { kind = \"line\", x = \"a\", y = \"b\", lower = \"low\", upper = \"high\" }\nSELECT 1";
    let all = own(
        sql,
        "a;b;low;high",
        &["1;10;8;13", "2;25;20;27", "5;14;9;30"],
    );
    let (x, y) = (across(&all, 0.0, 900.0), upright(&all));
    let line = strokes(&all, 2.25)[0];
    let wanted = [(1.0, 10.0), (2.0, 25.0), (5.0, 14.0)];
    assert_eq!(line.points.len(), 3);
    for (point, (a, b)) in line.points.iter().zip(wanted) {
        close(point.0, x(a), "across");
        close(point.1, y(b), "upright");
    }
    let band = all
        .iter()
        .find(|e| e.name == "path" && e.is("opacity", "0.18"))
        .unwrap();
    let outline = [
        (1.0, 13.0),
        (2.0, 27.0),
        (5.0, 30.0),
        (5.0, 9.0),
        (2.0, 20.0),
        (1.0, 8.0),
    ];
    assert_eq!(band.points.len(), outline.len());
    for (point, (a, b)) in band.points.iter().zip(outline) {
        close(point.0, x(a), "band, across");
        close(point.1, y(b), "band, upright");
    }
}

/// A share still attached: it begins at 1, keeps its value up to the next time, and says how many are followed.
#[test]
fn steps_keep_their_value_and_count_who_is_followed() {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"share\" }\n-- [columns]\n-- day = { unit = \"days\", digits = 0 }\n\
               -- share = { unit = \"share\" }\nSELECT 1";
    let rows = ["4;10;1;0;0.9", "8;9;3;0;0.6", "14;6;0;6;0.6"];
    let all = own(sql, "day;at_risk;detached;censored;share", &rows);
    let y = upright(&all);
    let line = strokes(&all, 2.25)[0];
    let below = numbers(&all);
    let foot = below.iter().map(|(_, _, y)| *y).fold(0.0, f64::max);
    // Days below the axis, numbers still followed below them.
    let days: Vec<(f64, f64)> = below
        .iter()
        .filter(|(_, x, at)| *x > 38.0 && *at < foot - 20.0)
        .map(|(v, x, _)| (*v, *x))
        .collect();
    let x = axis(&days);
    let wanted = [
        (0.0, 100.0),
        (4.0, 100.0),
        (4.0, 90.0),
        (8.0, 90.0),
        (8.0, 60.0),
        (14.0, 60.0),
    ];
    assert_eq!(line.points.len(), wanted.len(), "{:?}", line.points);
    for (point, (day, share)) in line.points.iter().zip(wanted) {
        close(point.0, x(day), "day");
        close(point.1, y(share), "share");
    }
    let followed: Vec<(f64, f64)> = below
        .iter()
        .filter(|(_, _, at)| (at - foot).abs() < 0.1)
        .map(|(v, x, _)| (*v, *x))
        .collect();
    assert_eq!(followed.len(), days.len());
    for ((count, at), (day, place)) in followed.iter().zip(&days) {
        close(*at, *place, "below its day");
        let wanted = match day {
            day if *day <= 4.0 => 10.0,
            day if *day <= 8.0 => 9.0,
            _ => 6.0,
        };
        assert_eq!(*count, wanted, "day {day}");
    }
}

/// Only steps of a share begin before their first row: all of a site at day 0 where it counts who is left, none of it where not.
#[test]
fn a_curve_begins_where_its_rows_do() {
    for (kind, unit, columns, first) in [
        ("line", "share", "day;v", (4.0, 90.0)),
        ("steps", "days", "day;v", (4.0, 0.9)),
        ("steps", "share", "day;v", (0.0, 0.0)),
        ("steps", "share", "day;v;at_risk", (0.0, 100.0)),
    ] {
        let sql = format!(
            "-- chart = {{ kind = \"{kind}\", x = \"day\", y = \"v\" }}\n-- [columns]\n\
             -- day = {{ unit = \"days\", digits = 0 }}\n-- v = {{ unit = \"{unit}\" }}\nSELECT 1"
        );
        let rows = ["4;0.9;9", "8;0.6;6", "14;0.3;3"];
        let all = own(&sql, columns, &rows);
        let numbers = numbers(&all);
        let level = place_of(&all, "14").1;
        let days: Vec<(f64, f64)> = numbers
            .iter()
            .filter(|n| (n.2 - level).abs() < 0.1)
            .map(|n| (n.0, n.1))
            .collect();
        let line = strokes(&all, 2.25)[0];
        let (x, y) = (axis(&days), upright(&all));
        close(line.points[0].0, x(first.0), kind);
        close(line.points[0].1, y(first.1), kind);
    }
}

#[test]
fn bars_begin_at_zero_and_are_as_long_as_their_numbers() {
    let sql = "-- chart = { kind = \"bars\", x = \"k\", y = \"n\" }\nSELECT 1";
    let all = own(sql, "k;n", &["a;10", "b;25", "c;5"]);
    let bars: Vec<&Element> = all
        .iter()
        .filter(|e| e.name == "rect" && e.length("height") < 20.0)
        .collect();
    assert_eq!(bars.len(), 3);
    let scale = bars[1].length("width") / 25.0;
    for (bar, value) in bars.iter().zip([10.0, 25.0, 5.0]) {
        close(bar.length("x"), bars[0].length("x"), "they begin together");
        close(bar.length("width"), value * scale, "length");
        let number = numbers(&all)
            .into_iter()
            .find(|(n, _, _)| *n == value)
            .unwrap();
        assert!(
            number.1 >= bar.length("x") + bar.length("width"),
            "the number stands at the end"
        );
        assert!((number.2 - bar.length("y")).abs() < 20.0, "in its row");
    }
}

/// From the fixture: each site half as likely as the one before, on tracks of one length.
#[test]
fn a_chance_fills_its_share_of_the_track() {
    let report = fixture::full().edition(Edition::Wearer);
    let mut figures = report.figures.iter();
    let figure = figures.find(|figure| figure.file_name == "best_sites.svg");
    let all = elements(&figure.unwrap().svg);
    let bars: Vec<&Element> = all
        .iter()
        .filter(|e| e.name == "rect" && e.length("height") < 20.0)
        .collect();
    assert_eq!(bars.len(), 10, "a track and a bar for each of five sites");
    for (place, pair) in bars.chunks(2).enumerate() {
        let share = 0.5_f64.powi(place as i32 + 1);
        let (track, bar) = (pair[0], pair[1]);
        close(
            bar.length("width"),
            share * track.length("width"),
            "its share",
        );
        close(bar.length("x"), track.length("x"), "from the beginning");
    }
}

/// A table that does not say how its spans ended: a row for each name, and no sign of an end in bars or legend.
#[test]
fn spans_without_ends_stand_on_rows_of_their_own() {
    let sql = "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";
    let rows = ["k;0;4", "l;5;9", "k;6;8"];
    let all = own(sql, "k;a;b", &rows);
    let bars: Vec<f64> = all
        .iter()
        .filter(|e| e.name == "rect" && e.is("opacity", "0.16"))
        .map(|bar| bar.length("y"))
        .collect();
    assert_eq!(bars.len(), 3);
    close(bars[0], bars[1], "both of k on one row");
    assert!(bars[2] > bars[0] + 10.0, "l below it: {bars:?}");
    let words = texts(&all);
    let ends = ["ended as planned", "came off", "no end yet"];
    assert!(!words.iter().any(|(word, _, _)| ends.contains(word)));
}

/// Spans from their beginning to their end, each with the sign of its cause.
#[test]
fn spans_reach_from_their_beginning_to_their_end() {
    let sql = "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";
    let rows = [
        "k;0;10;completed",
        "l;2;7;fell-off",
        "m;3;12;sensor-fault",
        "n;4;9;reaction",
    ];
    let all = own(sql, "k;a;b;cause", &rows);
    let x = across(&all, 0.0, 900.0);
    let bars: Vec<&Element> = all
        .iter()
        .filter(|e| e.name == "rect" && e.is("opacity", "0.16"))
        .collect();
    assert_eq!(bars.len(), 4);
    for (bar, (from, to)) in bars
        .iter()
        .zip([(0.0, 10.0), (2.0, 7.0), (3.0, 12.0), (4.0, 9.0)])
    {
        close(bar.length("x"), x(from), "beginning");
        close(bar.length("x") + bar.length("width"), x(to), "end");
    }
    let ink = format!(
        "#{:02X}{:02X}{:02X}",
        palette::INK.light.0,
        palette::INK.light.1,
        palette::INK.light.2
    );
    let near = |bar: &Element, (at, y): (f64, f64)| {
        let end = bar.length("x") + bar.length("width");
        (end - 8.0..end + 4.0).contains(&at) && (y - bar.length("y") - 8.0).abs() < 5.0
    };
    let signs = |bar: &Element| -> Vec<&Element> {
        let of_ink = all
            .iter()
            .filter(|e| e.name == "path" && (e.is("stroke", &ink) || e.is("fill", &ink)));
        of_ink
            .filter(|e| e.points.len() < 5 && near(bar, middle(e)))
            .collect()
    };
    let planned = signs(bars[0]);
    assert_eq!(planned.len(), 1);
    close(
        planned[0].points[0].0,
        planned[0].points[1].0,
        "an upright bar",
    );
    assert_eq!(signs(bars[1]).len(), 2, "a cross");
    assert_eq!(
        signs(bars[2])
            .iter()
            .map(|e| e.points.len())
            .collect::<Vec<_>>(),
        [2],
        "the stroke through a ring"
    );
    assert_eq!(
        signs(bars[3])
            .iter()
            .map(|e| e.points.len())
            .collect::<Vec<_>>(),
        [4],
        "a zigzag"
    );
}

/// A cell says the number that its shade shows, and a higher one is no lighter.
#[test]
fn shades_grow_with_their_numbers() {
    let sql = "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"rate\" }\n-- [columns]\n-- rate = { digits = 1 }\nSELECT 1";
    let rows = ["a;0;3;9", "a;1;0.5;1", "a;2;8;2", "a;3;20;5", "a;4;0;0"];
    let all = own(sql, "k;hour;rate;artefacts", &rows);
    let accent = format!(
        "#{:02X}{:02X}{:02X}",
        palette::ACCENT.light.0,
        palette::ACCENT.light.1,
        palette::ACCENT.light.2
    );
    let cells: Vec<&Element> = all
        .iter()
        .filter(|e| e.name == "rect" && e.is("fill", &accent))
        .collect();
    let shown = numbers(&all);
    let mut shades: Vec<(f64, f64)> = Vec::new();
    for cell in &cells {
        let (left, top) = (cell.length("x"), cell.length("y"));
        let within = |x: f64, y: f64| {
            (left..left + cell.length("width")).contains(&x)
                && (top..top + cell.length("height")).contains(&y)
        };
        if let Some(number) = shown.iter().find(|(_, x, y)| within(*x, *y)) {
            shades.push((number.0, cell.number("opacity")));
        }
    }
    shades.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert_eq!(
        shades.iter().map(|s| s.0).collect::<Vec<_>>(),
        [0.5, 3.0, 8.0, 20.0]
    );
    assert!(
        shades.windows(2).all(|pair| pair[0].1 <= pair[1].1),
        "{shades:?}"
    );
    assert!(shades[3].1 > shades[0].1, "{shades:?}");
}

/// Readings over clock time: more is higher, the line of lows lies at 70, what is marked has its shade, checks their place.
#[test]
fn a_trace_stands_upright() {
    let sql = "-- chart = { kind = \"traces\", x = \"time\", y = \"glucose\", panel = \"panel\", marked = \"low\", points = \"stick\" }\n\
               -- [columns]\n-- glucose = { unit = \"mg/dL\", digits = 0 }\n-- stick = { label = \"Check\" }\n-- low = { label = \"Low\" }\nSELECT 1";
    let values = [120, 110, 60, 55, 62, 115, 130];
    let mut rows: Vec<String> = values
        .iter()
        .enumerate()
        .map(|(n, value)| {
            format!(
                "1;2026-03-04T0{n}:00:00Z;{value};;{}",
                u8::from(*value < 70)
            )
        })
        .collect();
    rows.push("1;2026-03-04T03:00:00Z;;108;0".to_owned());
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let all = own(sql, "panel;time;glucose;stick;low", &rows);
    let y = upright(&all);
    let line = strokes(&all, 1.25);
    let line = line
        .iter()
        .find(|line| line.points.len() == values.len())
        .unwrap();
    for (point, value) in line.points.iter().zip(values) {
        close(point.1, y(f64::from(value)), "reading");
    }
    assert!(line.points.windows(2).all(|pair| pair[0].0 < pair[1].0));
    let low = all
        .iter()
        .find(|e| e.attributes.contains_key("stroke-dasharray"))
        .unwrap();
    close(low.points[0].1, y(70.0), "line of lows");
    let shade = all
        .iter()
        .find(|e| e.name == "rect" && e.is("opacity", "0.13"))
        .unwrap();
    close(shade.length("x"), line.points[2].0 - 1.0, "shade begins");
    close(
        shade.length("x") + shade.length("width"),
        line.points[4].0 + 1.0,
        "shade ends",
    );
    let check = all
        .iter()
        .find(|e| e.name == "path" && e.points.len() == 4 && e.is("fill", "#22272D"))
        .unwrap();
    close(middle(check).0, line.points[3].0, "check, at its time");
    close(middle(check).1, y(108.0), "check, at its level");
}
