//! Hours, days and months: cells, traces and spans, held to their tables.

use super::svg::{
    Element, close, drawn, elements, hex, middle, of_colour, own, place_of, strokes, texts, upright,
};
use crate::fixture::{self, Study};
use crate::palette::{ACCENT, GHOST, INK, MUTED, RULE};
use whereworn_model::table::Cell;
use whereworn_model::time::{format_utc, parse_instant};
use whereworn_model::units::Unit;

const STRIP: &str = "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"rate\" }\n-- [columns]\n\
    -- rate = { label = \"Rate\", digits = 1 }\nSELECT 1";

/// Hours of two rows: one has a value at 3 and nothing at 2, the other nothing but zeros.
fn night() -> Vec<Element> {
    let rows = [
        "oak;22;1.5",
        "oak;23;0.0",
        "oak;0;2",
        "oak;1;0",
        "oak;3;20",
        "elm;22;0",
        "elm;3;0",
    ];
    own(STRIP, "k;hour;rate", &rows)
}

/// A cell: the hour above it, and two corners of its outline.
type Hour = (String, (f64, f64), (f64, f64));

/// The cells of a row, from their outlines.
fn cells(all: &[Element], row: &str) -> Vec<Hour> {
    let height = place_of(all, row).1;
    let outlines = of_colour(all, "stroke", GHOST);
    let outlines = outlines.iter().filter(|e| e.points.len() == 5);
    let hours: Vec<(&str, f64, f64)> = texts(all)
        .into_iter()
        .filter(|(words, _, y)| words.len() == 2 && *y < height - 10.0)
        .collect();
    let cell = |e: &&Element| {
        let (from, to) = (e.points[0], e.points[2]);
        let within = (from.1..to.1).contains(&height);
        let middle = (from.0 + to.0) / 2.0;
        let hour = hours.iter().find(|(_, x, _)| (x - middle).abs() < 0.6);
        within.then(|| Some((hour?.0.to_owned(), from, to)))?
    };
    outlines.filter_map(cell).collect()
}

#[test]
fn a_cell_stands_below_its_hour_and_in_its_row() {
    let all = night();
    for (row, values) in [
        ("oak", ["1.5", "", "2.0", "", "?", "20.0"]),
        ("elm", ["", "?", "?", "?", "?", ""]),
    ] {
        let cells = cells(&all, row);
        let hours: Vec<&str> = cells.iter().map(|(hour, _, _)| hour.as_str()).collect();
        assert_eq!(hours, ["22", "23", "00", "01", "02", "03"], "{row}");
        for ((hour, from, to), value) in cells.iter().zip(values) {
            let within = |(x, y): (f64, f64)| {
                (from.0 + 0.5..to.0 - 0.5).contains(&x) && (from.1 + 0.5..to.1 - 0.5).contains(&y)
            };
            let words = texts(&all);
            let number = words.iter().find(|(_, x, y)| within((*x, *y)));
            let hatches = of_colour(&all, "stroke", RULE).into_iter();
            let hatches = hatches.filter(|e| e.points.len() == 2 && within(middle(e)));
            let hatches: Vec<&Element> = hatches.collect();
            for (start, end) in hatches.iter().map(|e| (e.points[0], e.points[1])) {
                let inside = |(x, y): (f64, f64)| {
                    (from.0 - 0.3..=to.0 + 0.3).contains(&x)
                        && (from.1 - 0.3..=to.1 + 0.3).contains(&y)
                };
                assert!(
                    inside(start) && inside(end),
                    "{row} {hour}: {start:?} {end:?}"
                );
                close(end.0 - start.0, start.1 - end.1, "slanting up");
            }
            let hatched = hatches.len() > 2;
            let shaded = of_colour(&all, "fill", ACCENT).iter().any(|e| {
                let (x, y) = (e.length("x"), e.length("y"));
                within((x + e.length("width") / 2.0, y + e.length("height") / 2.0))
            });
            assert_eq!(hatched, value == "?", "{row} {hour}");
            assert_eq!(shaded, !["", "?"].contains(&value), "{row} {hour}");
            let wanted = Some(value).filter(|value| !["", "?"].contains(value));
            assert_eq!(number.map(|n| n.0), wanted, "{row} {hour}");
        }
        let midnight = strokes(&all, 2.0);
        let midnight = midnight
            .iter()
            .find(|e| (e.points[0].1 - cells[2].1.1).abs() < 5.0);
        close(midnight.unwrap().points[0].0, cells[2].1.0, "midnight");
    }
    let desc = &all.iter().find(|e| e.name == "desc").unwrap().text;
    assert!(
        desc.contains("oak highest from 03:00 to 04:00 with 20.0; elm none"),
        "{desc}"
    );
}

/// A long name takes two lines, as far above the middle of its row's cells as below.
#[test]
fn lines_of_a_name_stand_around_its_row() {
    let long = "an oak beside the old mill and the pond";
    let rows = [format!("{long};22;1.5"), format!("{long};23;2")];
    let all = own(STRIP, "k;hour;rate", &rows.each_ref().map(String::as_str));
    let cell = of_colour(&all, "stroke", GHOST);
    let cell = cell.iter().find(|e| e.points.len() == 5).unwrap();
    let words = texts(&all);
    let lines: Vec<&(&str, f64, f64)> = words
        .iter()
        .filter(|(w, _, _)| long.contains(w) && w.len() > 2)
        .collect();
    assert_eq!(lines.len(), 2, "{words:?}");
    assert_eq!(format!("{} {}", lines[0].0, lines[1].0), long);
    close((lines[0].2 + lines[1].2) / 2.0, middle(cell).1, "middle");
    let apart = lines[1].2 - lines[0].2;
    assert!((10.0..16.0).contains(&apart), "{apart}");
}

/// The legend has the shades in order, from none to the strongest, and so do the cells: 1 and 2 lie in the first step, 20 in
/// the last.
#[test]
fn the_legend_has_the_shades_of_the_cells() {
    let all = night();
    let shade = |e: &Element| e.number("opacity");
    let below = place_of(&all, "elm").1 + 20.0;
    let (legend, cells): (Vec<&Element>, Vec<&Element>) = of_colour(&all, "fill", ACCENT)
        .into_iter()
        .partition(|e| e.length("y") > below);
    let steps: Vec<f64> = legend
        .iter()
        .map(|e| shade(e))
        .filter(|s| *s > 0.0)
        .collect();
    assert!(
        steps.len() > 1 && steps.windows(2).all(|pair| pair[0] < pair[1]),
        "{steps:?}"
    );
    let words: Vec<&str> = texts(&all)
        .into_iter()
        .filter(|(words, _, y)| *y > below && !words.is_empty())
        .map(|(words, _, _)| words)
        .collect();
    assert_eq!(words[..2], ["no nights", "none"]);
    let mut last = "0".to_owned();
    for words in &words[2..words.len() - 1] {
        let (from, to) = words.split_once(" to ").unwrap();
        assert_eq!(from, last);
        last = to.to_owned();
    }
    assert_eq!(words[words.len() - 1], format!("above {last}"));
    assert_eq!(words.len() - 2, steps.len());
    let shades: Vec<f64> = cells.iter().map(|e| shade(e)).collect();
    let (first, strongest) = (steps[0], steps[steps.len() - 1]);
    assert_eq!(shades, [first, first, strongest]);
}

const TRACES: &str = "-- chart = { kind = \"traces\", x = \"time\", y = \"glucose\", panel = \"panel\", points = \"stick\" }\n\
    -- [columns]\n-- glucose = { unit = \"mg/dL\", digits = 0 }\n-- stick = { label = \"Check\" }\nSELECT 1";

fn trace(rows: &[String], unit: Unit) -> Vec<Element> {
    let mut table = fixture::table("own", TRACES, "panel;time;glucose;stick", rows);
    table.own_query = true;
    let mut study = Study {
        settings: fixture::full().settings,
        tables: vec![table],
        wearer: None,
    };
    study.settings.study.unit = Some(unit);
    drawn(&study, "own")
}

/// Minutes after 22:00 UTC of 4 March.
pub(super) fn at(minute: usize) -> String {
    let start = parse_instant("2026-03-04T22:00:00Z").unwrap();
    format_utc(start + minute as i64 * 60_000_000)
}

/// 180.156 mg/dL are 10 mmol/L, 70 are 3.9 (molar mass of glucose 180.156 g/mol).
#[test]
fn a_trace_follows_the_unit_with_all_that_is_on_it() {
    let mut rows: Vec<String> = (0..13)
        .map(|n| format!("1;{};180.156;", at(5 * n)))
        .collect();
    rows.push(format!("1;{};;90.078", at(30)));
    for (unit, level, check, low) in [
        (Unit::MgDl, 180.156, 90.078, "70"),
        (Unit::MmolL, 10.0, 5.0, "3.9"),
    ] {
        let all = trace(&rows, unit);
        let line = strokes(&all, 1.25);
        let line = line
            .iter()
            .find(|e| !e.attributes.contains_key("stroke-dasharray"));
        let dashed = all
            .iter()
            .find(|e| e.attributes.contains_key("stroke-dasharray"));
        let low_at = place_of(&all, low).1;
        close(dashed.unwrap().points[0].1, low_at, "line of lows");
        let numbers = super::svg::numbers(&all);
        let mut ticks: Vec<(f64, f64)> = numbers
            .iter()
            .filter(|(_, x, _)| *x < 36.0)
            .map(|(value, _, y)| (*value, *y))
            .collect();
        ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let y = super::svg::axis(&ticks);
        assert!(
            (line.unwrap().points[0].1 - y(level)).abs() < 1.5,
            "{level}"
        );
        let point = of_colour(&all, "fill", INK);
        let point = point.iter().find(|e| e.points.len() == 4).unwrap();
        assert!((middle(point).1 - y(check)).abs() < 1.5, "{check}");
    }
}

/// Two pictures: an hour is as long in both, and each begins at its left. A gap breaks the line.
#[test]
fn pictures_have_one_scale() {
    let mut rows: Vec<String> = (0..25)
        .filter(|n| *n < 6 || *n > 12)
        .map(|n| format!("1;{};120;", at(5 * n)))
        .collect();
    rows.extend((0..13).map(|n| format!("2;{};150;", at(5 * n + 600))));
    let all = trace(&rows, Unit::MgDl);
    let lines: Vec<&Element> = strokes(&all, 1.25)
        .into_iter()
        .filter(|e| !e.attributes.contains_key("stroke-dasharray"))
        .collect();
    assert_eq!(lines.len(), 4, "the first in two runs, and the legend");
    let ends = |line: &Element| (line.points[0].0, line.points[line.points.len() - 1].0);
    let [(begin, before), (after, end), (second, short)] = [0, 1, 2].map(|n| ends(lines[n]));
    let minute = (end - begin) / 120.0;
    close(before - begin, 25.0 * minute, "up to the gap");
    close(after - begin, 65.0 * minute, "from the gap on");
    close(short - second, 60.0 * minute, "half as long");
    // Lisbon is at UTC in March.
    let clock = texts(&all);
    let clock = clock
        .iter()
        .find(|(words, _, _)| *words == "23:00")
        .unwrap();
    close(clock.1, begin + 60.0 * minute, "the clock");
}

/// Of 400 readings 160 or so are drawn, and no peak among them is lost.
#[test]
fn a_long_trace_keeps_its_peaks() {
    let level = |n: usize| match n {
        137 => 300,
        251 => 45,
        0 | 399 => 110,
        _ => 120 + n % 3,
    };
    let rows: Vec<String> = (0..400)
        .map(|n| format!("1;{};{};", at(n), level(n)))
        .collect();
    let all = trace(&rows, Unit::MgDl);
    let y = upright(&all);
    let lines = strokes(&all, 1.25);
    let line = lines
        .iter()
        .find(|e| !e.attributes.contains_key("stroke-dasharray"));
    let line = &line.unwrap().points;
    assert!((80..=170).contains(&line.len()), "{}", line.len());
    let minute = (line[line.len() - 1].0 - line[0].0) / 399.0;
    for (n, level) in [(137.0, 300.0), (251.0, 45.0)] {
        let at = line[0].0 + n * minute;
        let peak = line
            .iter()
            .find(|p| (p.0 - at).abs() < 0.6 && (p.1 - y(level)).abs() < 0.6);
        assert!(peak.is_some(), "{level}");
    }
}

/// Below a picture of some days stand clock times, below one of weeks or months the days at whose midnights they lie, as many
/// as there is room for. By hand from 4 March, 22:00.
#[test]
fn long_pictures_have_days_below() {
    for (days, first, last, count) in [
        (1, "00:00", "20:00", 11),
        (3, "00:00", "18:00", 12),
        (9, "00:00", "00:00", 8),
        (20, "6 Mar", "24 Mar", 10),
        (25, "11 Mar", "25 Mar", 3),
        (60, "11 Mar", "29 Apr", 8),
        (300, "1 Apr", "1 Dec", 9),
    ] {
        let hours = 0..=days * 24;
        let rows: Vec<String> = hours
            .map(|hour| format!("p;{};{};", at(hour * 60), 80 + hour % 50))
            .collect();
        let all = trace(&rows, Unit::MgDl);
        let words = texts(&all);
        let level = words
            .iter()
            .find(|(words, _, _)| *words == first)
            .unwrap()
            .2;
        let below: Vec<_> = words.iter().filter(|(_, _, y)| *y == level).collect();
        assert_eq!(
            (below[0].0, below[below.len() - 1].0),
            (first, last),
            "{days}"
        );
        assert_eq!(below.len(), count, "{days}");
        let least = if first.contains(':') { 46.0 } else { 62.0 };
        assert!(
            below.windows(2).all(|pair| pair[1].1 - pair[0].1 >= least),
            "{below:?}"
        );
    }
}

/// A clock time that would reach beyond the edge is not written: there is no room for 22:00 after an end at 21:57.
#[test]
fn no_clock_time_at_the_edge() {
    let mut study = fixture::full();
    let ended = study
        .table("fault_sheet")
        .columns
        .iter_mut()
        .find(|c| c.name == "ended");
    let ended = &mut ended.unwrap().cells[0];
    let day = &ended.to_text()[..10];
    *ended = Cell::Time(parse_instant(&format!("{day}T21:57:00Z")).unwrap());
    let all = sheet(&study);
    assert_eq!(clock_times(&all), ["18:00", "19:00", "20:00", "21:00"]);
}

/// The clock times in a picture.
fn clock_times(all: &[Element]) -> Vec<&str> {
    let words = texts(all).into_iter().map(|text| text.0);
    words.filter(|words| words.contains(':')).collect()
}

/// Clock times below a picture as an axis of minutes of the day.
fn clock(all: &[Element]) -> impl Fn(f64) -> f64 + use<> {
    let ticks: Vec<(f64, f64)> = texts(all)
        .into_iter()
        .filter_map(|(words, x, _)| {
            let (hour, minute) = words.split_once(':')?;
            let minutes: f64 = hour.parse::<f64>().ok()? * 60.0 + minute.parse::<f64>().ok()?;
            Some((minutes, x))
        })
        .collect();
    super::svg::axis(&ticks)
}

fn sheet(study: &Study) -> Vec<Element> {
    let html = study.report().sheets.unwrap();
    let from = html.find("<svg").unwrap();
    let to = from + html[from..].find("</svg>").unwrap();
    elements(&html[from..to])
}

/// From the fixture: readings every five minutes from 18:00 on, a fingerstick of 104 at 19:32, errors at 20:31, 20:36 and
/// 20:41, the end at 21:30. Lisbon is at UTC in March.
#[test]
fn the_last_day_ends_where_the_sensor_did() {
    let all = sheet(&fixture::full());
    let (x, y) = (clock(&all), upright(&all));
    let page = fixture::full().report().sheets.unwrap();
    for words in [
        "times by the clock of Europe/Lisbon. Dashed: the level at which a low begins.",
        "Diamonds: fingersticks.",
        "Ticks at the foot: readings marked as errors.",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert_eq!(clock_times(&all), ["18:00", "19:00", "20:00", "21:00"]);
    let end = strokes(&all, 2.0);
    let end = end.iter().find(|e| e.is("stroke", &hex(ACCENT))).unwrap();
    close(end.points[0].0, x(21.5 * 60.0), "the end");
    let line = strokes(&all, 1.5)[0];
    assert_eq!(line.points.len(), 30);
    for (n, point) in line.points.iter().enumerate() {
        close(point.0, x(18.0 * 60.0 + 5.0 * n as f64), "time");
        close(point.1, y((58 + (n * 37) % 114) as f64), "level");
    }
    let point = of_colour(&all, "fill", INK);
    let point = middle(point.iter().find(|e| e.points.len() == 4).unwrap());
    close(point.0, x(19.0 * 60.0 + 32.0), "fingerstick, its time");
    close(point.1, y(104.0), "fingerstick, its level");
    let dashed = all
        .iter()
        .find(|e| e.attributes.contains_key("stroke-dasharray"));
    close(dashed.unwrap().points[0].1, y(70.0), "line of lows");
    let foot = end.points[1].1.max(end.points[0].1);
    let errors: Vec<&Element> = strokes(&all, 1.25)
        .into_iter()
        .filter(|e| e.is("stroke", &hex(INK)))
        .collect();
    assert_eq!(errors.len(), 3);
    for (error, minute) in errors.iter().zip([31.0, 36.0, 41.0]) {
        close(error.points[0].0, x(20.0 * 60.0 + minute), "an error");
        close(error.points[1].1, foot, "at the foot");
    }
    let desc = &all.iter().find(|e| e.name == "desc").unwrap().text;
    assert!(
        desc.contains("30 readings, 1 fingersticks, 3 marked as errors"),
        "{desc}"
    );
}

/// An error two days before the end does not stretch the picture beyond a day.
#[test]
fn the_last_day_is_one_day() {
    let mut study = fixture::full();
    let table = study.table("fault_traces");
    for column in &mut table.columns {
        if let ("time", whereworn_model::table::Cell::Time(at)) =
            (column.name.as_str(), &mut column.cells[0])
        {
            *at -= 2 * 86_400_000_000;
        }
    }
    let all = sheet(&study);
    let words = texts(&all);
    let ticks: Vec<&(&str, f64, f64)> = words.iter().filter(|(w, _, _)| w.contains(':')).collect();
    let step = |pair: &[&(&str, f64, f64)]| pair[1].1 - pair[0].1;
    let hour = |words: &str| words[..2].parse::<f64>().unwrap();
    let hours = (hour(ticks[1].0) - hour(ticks[0].0)).rem_euclid(24.0);
    let end = strokes(&all, 2.0);
    let end = end.iter().find(|e| e.is("stroke", &hex(ACCENT))).unwrap();
    let day = (end.points[0].0 - 34.0) / step(&ticks[..2]) * hours;
    assert!((day - 24.0).abs() < 0.2, "{day}");
}

const SPANS: &str =
    "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";

/// A quarter of a year by hand: January 31, February 28, March 31 days; a span without an end goes on up to the cut-off, at
/// 22:00 UTC of 31 March.
#[test]
fn a_quarter_is_a_scale_of_days() {
    let rows = [
        "oak;2026-01-11T00:00:00Z;2026-01-21T00:00:00Z;completed",
        "elm;2026-03-22T00:00:00Z;;",
    ];
    let all = own(SPANS, "k;a;b;cause", &rows);
    let (january, february, march) = (
        place_of(&all, "Jan 2026").0,
        place_of(&all, "Feb").0,
        place_of(&all, "Mar").0,
    );
    let day = (march - february) / 28.0;
    close(february - january, 31.0 * day, "January");
    let x = |days: f64| january + days * day;
    let bars: Vec<&Element> = all.iter().filter(|e| e.is("opacity", "0.16")).collect();
    assert_eq!(bars.len(), 2);
    let cut_off = 89.0 + 22.0 / 24.0;
    for (bar, (from, to)) in bars.iter().zip([(10.0, 20.0), (80.0, cut_off)]) {
        close(bar.length("x"), x(from), "beginning");
        close(bar.length("x") + bar.length("width"), x(to), "end");
    }
    let month: Vec<&Element> = of_colour(&all, "fill", MUTED)
        .into_iter()
        .filter(|e| e.name == "rect" && e.is("opacity", "0.1"))
        .collect();
    assert_eq!(month.len(), 1);
    close(month[0].length("x"), march, "the month of the report");
    close(
        month[0].length("x") + month[0].length("width"),
        x(90.0),
        "its end",
    );
    let foot = |e: &Element| e.length("y") + e.length("height");
    let below = foot(month[0]) - foot(bars[0]);
    assert!((0.0..8.0).contains(&below), "as high as the lanes: {below}");
    for (bar, name) in bars.iter().zip(["oak", "elm"]) {
        let words = texts(&all);
        let on = words
            .iter()
            .find(|(words, _, y)| *words == name && (bar.length("y")..foot(bar)).contains(y));
        close(on.unwrap().1, bar.length("x") + 15.0, "beside its mark");
    }
    let desc = &all.iter().find(|e| e.name == "desc").unwrap().text;
    assert!(
        desc.ends_with("How they ended: ended as planned 1; no end yet 1."),
        "{desc}"
    );
}

/// Signs of a legend or of an end, by their corners: an upright bar, the two lines of a cross, a ring with a
/// stroke through it, a zigzag, an arrow: none is the mark of a site, which are filled.
fn shape(all: &[Element], (x, y): (f64, f64)) -> Vec<usize> {
    let ink = hex(INK);
    let near = |e: &&Element| {
        let (at, height) = middle(e);
        (at - x).abs() < 4.0 && (height - y).abs() < 3.0
    };
    let signs = all.iter().filter(|e| e.name == "path");
    let signs = signs.filter(|e| e.is("stroke", &ink) || e.is("fill", &ink));
    signs.filter(near).map(|e| e.points.len()).collect()
}

#[test]
fn a_sign_is_the_one_of_the_legend() {
    let causes = ["completed", "fell-off", "sensor-fault", "reaction"];
    let words = [
        ("ended as planned", vec![2]),
        ("came off", vec![2, 2]),
        ("fault, or never started", vec![17, 2]),
        ("skin or pain", vec![4]),
        ("no end yet", vec![3]),
    ];
    let all = own(SPANS, "k;a;b;cause", &["k;0;9;completed"]);
    for (words, sign) in words {
        let (x, y) = place_of(&all, words);
        assert_eq!(shape(&all, (x - 14.0, y)), sign, "legend: {words}");
    }
    for (cause, sign) in causes
        .iter()
        .zip([vec![2], vec![2, 2], vec![17, 2], vec![4]])
    {
        let one = format!("k;0;10;{cause}");
        let all = own(SPANS, "k;a;b;cause", &[&one]);
        let bar = all.iter().find(|e| e.is("opacity", "0.16")).unwrap();
        let end = bar.length("x") + bar.length("width");
        let inset = if *cause == "completed" { 1.0 } else { 5.0 };
        assert_eq!(
            shape(&all, (end - inset, bar.length("y") + 8.0)),
            sign,
            "{cause}"
        );
    }
}

/// Spans that overlap lie in lanes of their own, those that follow each other in one.
#[test]
fn lanes_do_not_overlap() {
    let rows = ["k;0;5;completed", "k;4;8;completed", "k;5;9;completed"];
    let all = own(SPANS, "k;a;b;cause", &rows);
    let bars: Vec<&Element> = all.iter().filter(|e| e.is("opacity", "0.16")).collect();
    let at = |n: usize| (bars[n].length("x"), bars[n].length("y"));
    assert_eq!(bars.len(), 3);
    close(at(0).1, at(1).1, "one after the other");
    assert!(at(1).0 > at(0).0 && at(2).1 > at(0).1 + 16.0);
}

/// The sign of a sensor that never started, at the end of another, lies beside that one's.
#[test]
fn signs_of_short_spans_lie_beside_others() {
    let rows = ["k;0;9;fell-off", "l;9;9;sensor-fault", "m;9.1;20;completed"];
    let all = own(SPANS, "k;a;b;cause", &rows);
    let bars: Vec<&Element> = all.iter().filter(|e| e.is("opacity", "0.16")).collect();
    let rings = all.iter().filter(|e| e.points.len() == 17);
    let ring = rings.map(middle).next().unwrap();
    let end = bars[0].length("x") + bars[0].length("width");
    assert!(ring.0 >= end + 4.5, "beside the cross");
    assert!(
        bars[2].length("y") > bars[0].length("y") + 16.0,
        "below both"
    );
}
