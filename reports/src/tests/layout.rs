//! How drawings are laid out: nothing beyond their edges, no two texts on one another, no bare stretch at the end.

use super::svg::{self, Element, close, drawings, hex, of_colour, place_of, strokes, texts};
use crate::Edition;
use crate::chart::lettering;
use crate::fixture::{self, Study};
use crate::palette::{GHOST, INK, RULE};
use whereworn_model::table::Cell;

/// A box: left, top, right, bottom, CSS pixels.
type Room = (f64, f64, f64, f64);

/// The room that a text takes: three quarters of its guessed width, as guesses are on the wide side, and the height of
/// capitals, 0.7 of the size.
fn of_text(text: &Element) -> Room {
    let size = text.length("font-size");
    let plain = text.text.replace("&apos;", "'").replace("&amp;", "&");
    let plain = plain
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"");
    let width = lettering::width(&plain, size) * 0.75;
    let x = text.length("x");
    let left = match text.attributes.get("text-anchor").map(String::as_str) {
        Some("middle") => x - width / 2.0,
        Some("end") => x - width,
        _ => x,
    };
    let y = text.length("y");
    (left, y - size * 0.35, left + width, y + size * 0.35)
}

/// The room that any element takes.
fn room(element: &Element) -> Option<Room> {
    match element.name.as_str() {
        "text" => Some(of_text(element)),
        "circle" => {
            let (x, y, r) = (
                element.length("cx"),
                element.length("cy"),
                element.length("r"),
            );
            Some((x - r, y - r, x + r, y + r))
        }
        "rect" => {
            let (x, y) = (element.length("x"), element.length("y"));
            Some((
                x,
                y,
                x + element.length("width"),
                y + element.length("height"),
            ))
        }
        "path" => element.points.iter().fold(None, |room, &(x, y)| {
            let (l, t, r, b) = room.unwrap_or((x, y, x, y));
            Some((l.min(x), t.min(y), r.max(x), b.max(y)))
        }),
        _ => None,
    }
}

fn overlap(a: Room, b: Room) -> bool {
    let across = a.2.min(b.2) - a.0.max(b.0);
    let upright = a.3.min(b.3) - a.1.max(b.1);
    across > 0.5 && upright > 0.5
}

/// A study whose sites are these.
pub(super) fn crowd(sites: [&str; 5]) -> Study {
    let mut study = fixture::full();
    let known = study
        .table("site_comparison")
        .column("site")
        .unwrap()
        .cells
        .clone();
    let all = study.tables.iter_mut().flat_map(|table| &mut table.columns);
    let cells = all.flat_map(|column| &mut column.cells);
    for cell in cells {
        let place = known.iter().position(|site| cell == site);
        if let Some(place) = place {
            *cell = Cell::text(sites[place]);
        }
    }
    study
}

/// Holds every drawing of a report to the rules, and counts what is drawn.
pub(super) fn laid_out(study: &str, input: &Study, edition: Edition) -> usize {
    let mut seen = 0;
    let report = input.edition(edition);
    let html = report.html + &report.sheets.unwrap_or_default();
    for (name, (width, height), elements) in drawings(&html) {
        let name = format!("{study}, {}, {name}", edition.name());
        let (mut low, mut right) = (0.0_f64, 0.0_f64);
        // The first rectangle is the ground.
        let drawn = elements
            .iter()
            .filter(|e| e.name != "rect" || e.length("width") < width);
        for element in drawn.clone() {
            let Some(room) = room(element) else { continue };
            let within = room.0 >= -0.5 && room.1 >= -0.5;
            let within = within && room.2 <= width + 0.5 && room.3 <= height + 0.5;
            assert!(
                within,
                "{name}: {room:?} beyond {width} by {height}: {element:?}"
            );
            (low, right) = (low.max(room.3), right.max(room.2));
            seen += 1;
        }
        assert!(
            height - low < 30.0,
            "{name}: nothing below {low} of {height}"
        );
        assert!(
            width - right < 120.0,
            "{name}: nothing right of {right} of {width}"
        );
        let texts: Vec<&Element> = drawn
            .filter(|e| e.name == "text" && !e.text.is_empty())
            .collect();
        // Of a study with ordinary names nothing is cut off.
        for text in texts.iter().filter(|_| study == "full") {
            assert!(!text.text.ends_with('…'), "{name}: {}", text.text);
        }
        for (place, one) in texts.iter().enumerate() {
            for other in &texts[place + 1..] {
                assert!(
                    !overlap(of_text(one), of_text(other)),
                    "{name}: `{}` on `{}`",
                    one.text,
                    other.text
                );
            }
        }
    }
    seen
}

#[test]
fn nothing_is_beyond_an_edge_and_no_text_on_another() {
    let mut seen = 0;
    for (study, input) in super::all() {
        for edition in [Edition::Clinician, Edition::Wearer] {
            seen += laid_out(study, &input, edition);
        }
    }
    assert!(seen > 10_000, "{seen}");
}

/// Names of sites that crowd on one side of the body, or are on neither, find room.
#[test]
fn crowded_sites_find_room() {
    let ear = "left ear lobe";
    let neck = "side of the neck";
    for sites in [
        ["abdomen", "chest", "upper-thigh", "forearm", "calf"],
        [
            "abdomen",
            "upper-buttock",
            "lower-back",
            "upper-arm-back",
            ear,
        ],
        [ear, "right ear lobe", neck, "back of the hand", "calf"],
    ] {
        laid_out("full", &crowd(sites), Edition::Clinician);
    }
    // Beside the figure a name of some words takes one line.
    let all = svg::drawn(
        &crowd([ear, "right ear lobe", neck, "chest", "calf"]),
        "site_body",
    );
    assert!(
        texts(&all)
            .iter()
            .any(|(words, _, _)| words.to_lowercase() == neck)
    );
}

/// A leader begins between the name of its site and the figure, and ends beyond that.
#[test]
fn leaders_run_from_words_to_the_figure() {
    let sites = ["abdomen", "chest", "upper-thigh", "lower-back", "calf"];
    let study = crowd(sites);
    let all = svg::drawn(&study, "site_body");
    let names = ["Abdomen", "Chest", "Upper thigh", "Lower back", "Calf"];
    let leaders = of_colour(&all, "stroke", GHOST).into_iter();
    let leaders: Vec<&Element> = leaders
        .filter(|e| e.points.len() == 3 && e.points[0].1 == e.points[1].1)
        .collect();
    for name in names {
        let (x, y) = place_of(&all, name);
        let leader = leaders
            .iter()
            .find(|e| (e.points[0].1 - y).abs() < 0.6 && (e.points[0].0 < 420.0) == (x < 420.0));
        let points = &leader.unwrap_or_else(|| panic!("{name}")).points;
        let xs = [x, points[0].0, points[1].0, points[2].0];
        let right = xs.windows(2).all(|pair| pair[0] < pair[1]);
        let left = xs.windows(2).all(|pair| pair[0] > pair[1]);
        assert!(right || left, "{name}: {xs:?}");
    }
}

/// The last number of an axis and the first of the next are not read as one.
#[test]
fn axes_side_by_side_stand_apart() {
    for (name, _, all) in drawings(&fixture::full().report().html) {
        let feet = strokes(&all, 1.0).into_iter();
        let feet = feet.filter(|e| e.is("stroke", &hex(INK)) && e.points.len() == 2);
        let feet: Vec<&Element> = feet.collect();
        for pair in feet.windows(2).filter(|_| name.contains("site_comparison")) {
            let gap = pair[1].points[0].0 - pair[0].points[1].0;
            assert!(!(0.0..19.0).contains(&gap), "{name}: {gap}");
        }
    }
}

/// Panels beside one another are equally wide and apart, and reach as far to the right as the lines between rows; below one
/// another they begin at the same place. Lines of a long name of a row stand around its middle.
#[test]
fn panels_share_the_width() {
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\", series = \"s\" }\nSELECT 1";
    let long = "a long name that takes two lines";
    let rows = ["p", "q", "r"].map(|s| [format!("oak;{s};1"), format!("{long};{s};2")]);
    let mut table = fixture::table("own", sql, "k;s;v", &rows.concat());
    table.own_query = true;
    let mut study = fixture::empty();
    study.tables = vec![table];
    for (name, _, all) in drawings(&study.report().html) {
        let narrow = name.contains("narrow");
        let lines = |width, colour| {
            let lines = strokes(&all, width).into_iter();
            let level = lines.filter(|e| e.points.len() == 2 && e.points[0].1 == e.points[1].1);
            let own = level.filter(|e| e.is("stroke", &hex(colour)));
            own.map(|e| (e.points[0], e.points[1].0))
                .collect::<Vec<_>>()
        };
        let (feet, between) = (lines(1.0, INK), lines(0.75, RULE));
        assert_eq!(feet.len(), 3, "{name}");
        let (first, second, third) = (feet[0], feet[1], feet[2]);
        let width = |foot: ((f64, f64), f64)| foot.1 - foot.0.0;
        for foot in [second, third] {
            close(width(foot), width(first), "width");
        }
        let gap = second.0.0 - first.1;
        assert!(gap >= 12.0, "{name}: {gap}");
        let last = if narrow {
            close(third.0.0, first.0.0, "begins below");
            assert!(third.0.1 > first.0.1 + 60.0, "{name}: below");
            second
        } else {
            close(third.0.0 - second.1, gap, "apart");
            third
        };
        close(last.1, between[0].1, "to the right");
        if narrow {
            continue;
        }
        // Two rows of equal height: the line between them lies as far below the middle of one as above that of the other.
        let row = place_of(&all, "oak").1;
        let below: Vec<f64> = texts(&all)
            .into_iter()
            .filter(|(words, x, _)| *x < first.0.0 - 20.0 && *words != "oak" && !words.is_empty())
            .map(|(_, _, y)| y)
            .collect();
        assert_eq!(below.len(), 2, "{:?}", texts(&all));
        close(
            (below[0] + below[1]) / 2.0 - between[0].0.1,
            between[0].0.1 - row,
            "middle of two",
        );
        assert!((10.0..20.0).contains(&(below[1] - below[0])), "{below:?}");
    }
}
