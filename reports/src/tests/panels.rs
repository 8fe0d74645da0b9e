//! Rows and panels, held to their tables: whose mark stands beside which name, in which colour, under which title.

use super::svg::{
    Element, across, axis, close, drawn, elements, hex, middle, narrow, numbers, of_colour, own,
    place_of, strokes, texts, upright,
};
use crate::Edition;
use crate::fixture::{self, Study};
use crate::palette::{self, GHOST, INK, MUTED, PANEL};
use whereworn_model::table::Cell;

/// Sites of the fixture, in the order of reports.
const SITES: [&str; 5] = [
    "Back of the upper arm",
    "Abdomen",
    "Lower back",
    "Upper thigh",
    "Calf",
];

/// Their places among the sites that come with the program, by which their marks and colours go.
const MARKS: [usize; 5] = [0, 4, 5, 7, 8];

/// A site keeps its mark whatever other sites there are.
#[test]
fn a_site_keeps_its_mark() {
    for study in [fixture::full(), fixture::two_sites()] {
        let all = drawn(&study, "site_body");
        let lower_back = palette::group(MARKS[2]);
        assert!(!of_colour(&all, "fill", lower_back).is_empty());
    }
}

/// What a drawing says to those who do not see it.
fn said(elements: &[Element]) -> &str {
    let desc = elements.iter().find(|element| element.name == "desc");
    &desc.unwrap().text
}

fn set(study: &mut Study, table: &str, column: &str, row: usize, cell: Cell) {
    let columns = &mut study.table(table).columns;
    let column = columns.iter_mut().find(|found| found.name == column);
    column.unwrap().cells[row] = cell;
}

#[test]
fn a_row_has_its_name_beside_its_mark() {
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\", lower = \"low\", upper = \"high\", series = \"s\" }\nSELECT 1";
    let rows = [
        "oak;one;2;1;3",
        "elm;one;7;5;8",
        "oak;two;-4;-6;-3",
        "elm;two;;;",
    ];
    let all = own(sql, "k;s;v;low;high", &rows);
    let (oak, elm) = (place_of(&all, "oak").1, place_of(&all, "elm").1);
    let (one, two) = (place_of(&all, "v, one").0, place_of(&all, "v, two").0);
    assert!(oak < elm && one < two);
    let lines = strokes(&all, 2.5);
    assert_eq!(lines.len(), 3);
    for (line, (from, to, row, low, high)) in lines.iter().zip([
        (one, two, oak, 1.0, 3.0),
        (one, two, elm, 5.0, 8.0),
        (two, 900.0, oak, -6.0, -3.0),
    ]) {
        let x = across(&all, from - 8.0, to - 8.0);
        close(line.points[0].0, x(low), "lower end");
        close(line.points[1].0, x(high), "upper end");
        close(line.points[0].1, row, "beside its name");
    }
    let (x, y) = place_of(&all, "–");
    assert!(x > two && (y - elm).abs() < 1.0, "no value, and said so");
    let words = said(&all);
    assert!(
        words.contains("v, one, from lowest to highest: oak 2; elm 7."),
        "{words}"
    );
    assert!(words.contains("v, two, from lowest to highest: oak −4."));
    let turned = own(sql, "k;s;v;low;high", &["oak;one;9;;", "elm;one;7;;"]);
    assert!(said(&turned).contains("highest: elm 7; oak 9."));
}

/// The panel of the bias: zero where it belongs, every number in its row, and a light core for a site of two sensors.
#[test]
fn each_site_has_its_bias_in_its_row() {
    let mut study = fixture::full();
    set(&mut study, "site_comparison", "bias", 2, Cell::Empty);
    let all = drawn(&study, "site_comparison");
    let from = place_of(&all, "0 is best").0;
    let to = texts(&all)
        .iter()
        .filter(|(words, x, _)| *words == "← less is better" && *x > from)
        .map(|(_, x, _)| *x)
        .fold(900.0, f64::min);
    let x = across(&all, from - 8.0, to - 8.0);
    let here = |at: f64| (from - 1.0..to - 10.0).contains(&at);
    let zeros: Vec<&Element> = all
        .iter()
        .filter(|e| e.attributes.contains_key("stroke-dasharray") && here(e.points[0].0))
        .collect();
    assert_eq!(zeros.len(), SITES.len(), "zero in every row");
    zeros
        .iter()
        .for_each(|line| close(line.points[0].0, x(0.0), "zero"));
    let numbers = [
        "2.1 (−1.5 to 5.7)",
        "–",
        "−9.6 (−12.1 to −7.1)",
        "0.4 (−4.2 to 5.0)",
        "12.5",
    ];
    let signs = |colour, at: f64| -> Vec<(f64, f64)> {
        let marks = of_colour(&all, "fill", colour).into_iter();
        let marks = marks.filter(|e| e.name == "circle" || e.name == "path");
        marks
            .map(middle)
            .filter(|(x, y)| here(*x) && (y - at).abs() < 16.0)
            .collect()
    };
    for (place, (site, number)) in SITES.iter().zip(numbers).enumerate() {
        let label = texts(&all)
            .iter()
            .find(|(words, x, _)| site.starts_with(words) && *x < 20.0)
            .map(|(_, _, y)| *y);
        let row = label.unwrap();
        let text = texts(&all)
            .into_iter()
            .find(|(_, x, y)| here(*x) && (y - row).abs() < 16.0);
        let (words, _, height) = text.unwrap();
        assert_eq!(words.replace('\u{a0}', " "), number, "{site}");
        let beside =
            |line: &&Element| line.points[1].1 < height - 6.0 || line.points[0].1 > height + 8.5;
        let through = number != "–" && !zeros.iter().all(beside);
        assert!(!through, "{site}: zero runs through its number");
        let marks = signs(palette::group(MARKS[place]), row);
        let value = [Some(2.1), None, Some(-9.6), Some(0.4), Some(12.5)][place];
        assert_eq!(marks.len(), usize::from(value.is_some()), "{site}");
        if let (Some(mark), Some(value)) = (marks.first(), value) {
            close(mark.0, x(value), site);
        }
        let light = signs(PANEL, row).len();
        assert_eq!(light, usize::from(*site == "Calf"), "{site}");
    }
    let narrow = narrow(&study, "site_comparison");
    let short = texts(&narrow);
    assert!(short.iter().any(|(words, _, _)| *words == "−9.6"));
    assert!(
        !short
            .iter()
            .any(|(words, _, _)| words.starts_with("−9.6 ("))
    );
}

/// By hand from the fixture: biases of the sites, limits 31.5 to both sides, 20 points a sensor.
#[test]
fn every_panel_has_its_own_bias_and_limits() {
    let mut study = fixture::full();
    set(
        &mut study,
        "site_accuracy",
        "loa_upper",
        0,
        Cell::Number(170.0),
    );
    let all = drawn(&study, "pairs");
    let wanted = [
        ("Back of the upper arm (280)", 2.1, Some((-29.4, 170.0))),
        ("Lower back (220)", -9.6, Some((-41.1, 21.9))),
        ("Abdomen (160)", 6.4, Some((-25.1, 37.9))),
        ("Upper thigh (100)", 0.4, Some((-31.1, 31.9))),
        ("Calf (40)", 12.5, None),
    ];
    for (title, bias, limits) in wanted {
        let (left, top) = place_of(&all, title);
        let here = |e: &&&Element| {
            let (x, y) = e.points[0];
            (x - left).abs() < 0.6 && (top..top + 235.0).contains(&y)
        };
        // Rows of panels share their levels, which stand at the left of each.
        let levels = numbers(&all).into_iter();
        let mut ticks: Vec<(f64, f64)> = levels
            .filter(|(_, x, y)| (left - 40.0..left).contains(x) && (top..top + 235.0).contains(y))
            .map(|(value, _, y)| (value, y))
            .collect();
        ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let y = axis(&ticks);
        let length = |e: &Element| e.points[1].0 - e.points[0].0;
        let thick = strokes(&all, 2.0);
        let (sample, line): (Vec<&&Element>, Vec<&&Element>) =
            thick.iter().filter(here).partition(|e| length(e) < 30.0);
        assert_eq!((sample.len(), line.len()), (1, 1), "{title}");
        close(line[0].points[0].1, y(bias), title);
        let words = texts(&all);
        let beside = |y: f64| {
            let beside = |(_, x, at): &&(&str, f64, f64)| {
                (at - y).abs() < 0.6 && (left + 20.0..left + 30.0).contains(x)
            };
            words.iter().find(beside).map(|(words, _, _)| *words)
        };
        let written = whereworn_model::format::number;
        let said = format!("bias {}", written(bias, 1));
        assert_eq!(beside(sample[0].points[0].1), Some(&*said));
        let dashed = strokes(&all, 1.25);
        let (sample, lines): (Vec<&&Element>, Vec<&&Element>) = dashed
            .iter()
            .filter(|e| e.attributes.contains_key("stroke-dasharray"))
            .filter(here)
            .partition(|e| length(e) < 30.0);
        assert_eq!(lines.len(), if limits.is_some() { 2 } else { 0 }, "{title}");
        if let Some((lower, upper)) = limits {
            close(lines[0].points[0].1, y(lower), "lower limit");
            close(lines[1].points[0].1, y(upper), "upper limit");
            let said = format!("limits {} to {}", written(lower, 0), written(upper, 0));
            assert_eq!(beside(sample[0].points[0].1), Some(&*said));
        }
        let zero = strokes(&all, 0.75);
        let muted = hex(MUTED);
        let zero = zero.iter().filter(here).find(|e| e.is("stroke", &muted));
        close(zero.unwrap().points[0].1, y(0.0), "zero");
    }
    assert!(said(&all).contains("Lower back 220, bias −9.6"));
}

/// A bias beyond all points sets no axis, and is not drawn at the edge as if it lay there.
#[test]
fn a_bias_off_the_plot_is_not_drawn_at_its_edge() {
    let mut study = fixture::full();
    for (column, cell) in [
        ("bias", Cell::Number(900.0)),
        ("loa_lower", Cell::Empty),
        ("loa_upper", Cell::Empty),
    ] {
        set(&mut study, "site_accuracy", column, 0, cell);
    }
    let long = |all: &[Element]| {
        let lines = strokes(all, 2.0);
        let long = lines
            .iter()
            .filter(|e| e.points[1].0 - e.points[0].0 > 100.0);
        long.count()
    };
    assert_eq!(long(&drawn(&fixture::full(), "pairs")), 5);
    assert_eq!(long(&drawn(&study, "pairs")), 4);
}

/// The points of one site are where its rows say, thinned to at most 200.
#[test]
fn points_are_those_of_their_panel() {
    let mut study = fixture::full();
    let table = study.table("pairs").clone();
    let all = drawn(&study, "pairs");
    let (left, top) = place_of(&all, "Calf (40)");
    let here = |x: f64, y: f64| (left - 1.0..left + 240.0).contains(&x) && y > top;
    let foot = numbers(&all).iter().map(|n| n.2).fold(0.0, f64::max);
    let ticks: Vec<(f64, f64)> = numbers(&all)
        .into_iter()
        .filter(|(_, x, y)| here(*x, *y) && (y - foot).abs() < 0.1)
        .map(|(value, x, _)| (value, x))
        .collect();
    let x = axis(&ticks);
    let colour = palette::group(8);
    let dots = of_colour(&all, "fill", colour);
    let mut found: Vec<f64> = dots.iter().map(|dot| middle(dot).0).collect();
    let rows = table.rows_where("site", "calf");
    let mut wanted: Vec<f64> = rows
        .iter()
        .filter_map(|&row| Some(x(table.number(row, "fingerstick")?)))
        .collect();
    found.sort_by(f64::total_cmp);
    wanted.sort_by(f64::total_cmp);
    assert_eq!(found.len(), wanted.len());
    for (found, wanted) in found.iter().zip(wanted) {
        close(*found, wanted, "a fingerstick");
    }
    let first = of_colour(&all, "fill", palette::group(0)).len();
    assert!((100..=200).contains(&first), "{first} of 280 points");
}

/// Two groups: each has a panel with its own line in front and the other's behind.
#[test]
fn the_other_groups_stand_behind() {
    let sql = "-- chart = { kind = \"line\", x = \"a\", y = \"b\", series = \"k\" }\nSELECT 1";
    let rows = ["oak;0;1", "oak;10;2", "elm;0;5", "elm;4;9"];
    let all = own(sql, "k;a;b", &rows);
    let (oak, elm) = (place_of(&all, "oak").0, place_of(&all, "elm").0);
    let y = upright(&all);
    let own = strokes(&all, 2.25);
    let ghosts: Vec<&Element> = of_colour(&all, "stroke", GHOST)
        .into_iter()
        .filter(|e| (e.points[0].1 - e.points[1].1).abs() > 5.0 && e.points[1].0 > e.points[0].0)
        .collect();
    assert_eq!((own.len(), ghosts.len()), (2, 2));
    let levels = |line: &Element| (line.points[0], line.points[1]);
    for (line, left, (from, to)) in [
        (own[0], oak, (1.0, 2.0)),
        (own[1], elm, (5.0, 9.0)),
        (ghosts[0], oak, (5.0, 9.0)),
        (ghosts[1], elm, (1.0, 2.0)),
    ] {
        let (first, last) = levels(line);
        close(first.0, left, "its panel");
        close(first.1, y(from), "first value");
        close(last.1, y(to), "last value");
    }
    close(
        own[1].points[1].0 - elm,
        0.4 * (own[0].points[1].0 - oak),
        "one axis for all",
    );
    let words = said(&all);
    assert!(words.contains("oak 2 at 10; elm 9 at 4."), "{words}");
}

#[test]
fn a_bar_below_zero_goes_the_other_way() {
    let sql = "-- chart = { kind = \"bars\", x = \"k\", y = \"n\" }\nSELECT 1";
    let all = own(sql, "k;n", &["a;10", "b;-5"]);
    let bars: Vec<&Element> = all
        .iter()
        .filter(|e| e.name == "rect" && e.length("height") < 20.0)
        .collect();
    let zero = bars[0].length("x");
    close(
        bars[1].length("x") + bars[1].length("width"),
        zero,
        "they meet at zero",
    );
    close(
        2.0 * bars[1].length("width"),
        bars[0].length("width"),
        "half as long",
    );
    let ink = of_colour(&all, "stroke", INK);
    assert!(ink.iter().any(|e| (e.points[0].0 - zero).abs() < 0.6));
    let (x, y) = place_of(&all, "−5");
    assert!(x > zero && y > place_of(&all, "10").1);
    assert!(said(&all).contains("n: a 10; b −5."));
}

/// A site has one colour in every figure, and bars in groups stand under the name of theirs.
#[test]
fn bars_of_sites_have_their_colours() {
    let study = fixture::full();
    let table = study.tables.iter().find(|t| t.name == "site_endings");
    let table = table.unwrap().clone();
    let all = drawn(&study, "site_endings");
    let bars: Vec<&Element> = all
        .iter()
        .filter(|e| e.name == "rect" && e.length("height") < 20.0)
        .collect();
    assert_eq!(bars.len(), table.rows());
    let keys = [
        "upper-arm-back",
        "abdomen",
        "lower-back",
        "upper-thigh",
        "calf",
    ];
    let most = (0..table.rows()).filter_map(|row| table.number(row, "sessions"));
    let most = most.fold(0.0, f64::max);
    let longest = bars.iter().map(|b| b.length("width")).fold(0.0, f64::max);
    let causes = ["completed", "fell-off", "sensor-fault"];
    let titles = ["completed", "fell off", "sensor fault"];
    for (place, bar) in bars.iter().enumerate() {
        let (cause, site) = (place / keys.len(), place % keys.len());
        let wanted = (0..table.rows()).find(|&row| {
            table.text(row, "cause") == causes[cause] && table.text(row, "site") == keys[site]
        });
        let count = table.number(wanted.unwrap(), "sessions").unwrap();
        close(bar.length("width"), count / most * longest, "length");
        assert!(bar.is("fill", &hex(palette::group(MARKS[site]))));
        let row = bar.length("y") + bar.length("height") / 2.0;
        let label = texts(&all)
            .into_iter()
            .find(|(_, x, y)| (y - row).abs() < 1.0 && *x < bar.length("x"));
        assert_eq!(label.unwrap().0, SITES[site]);
        let above = place_of(&all, titles[cause]).1;
        let next = titles.get(cause + 1).map_or(9e9, |t| place_of(&all, t).1);
        assert!(above < row && row < next, "{}", titles[cause]);
    }
}

/// From the fixture: each site half as likely as the one before.
#[test]
fn a_chance_is_written_beside_its_bar() {
    let report = fixture::full().edition(Edition::Wearer);
    let mut figures = report.figures.iter();
    let figure = figures.find(|figure| figure.file_name == "best_sites.svg");
    let all = elements(&figure.unwrap().svg);
    let mut last = 0.0;
    let sites = [SITES[0], SITES[2], SITES[1], SITES[3], SITES[4]];
    for (site, words) in sites.iter().zip(["50 %", "25 %", "12 %", "6 %", "3 %"]) {
        let (name, number) = (place_of(&all, site), place_of(&all, words));
        assert!(name.1 > last && (number.1 - name.1 - 15.0).abs() < 1.0);
        last = name.1;
    }
    let remark = |words: &str| place_of(&all, words).1;
    close(remark("14 sensors"), remark(SITES[0]), "on the label");
    close(
        remark("2 sensors, not on the maker&apos;s list"),
        remark("Calf"),
        "off it",
    );
}

/// Discs lie where leaders end, as large as there are sensors, and each leader comes from the site's own name.
#[test]
fn leaders_go_from_a_name_to_its_place() {
    let all = drawn(&fixture::full(), "site_body");
    let discs: Vec<&Element> = all
        .iter()
        .filter(|e| e.is("opacity", "0.22") || e.is("fill-opacity", "0.22"))
        .collect();
    let front = place_of(&all, "front").0;
    let back = place_of(&all, "back").0;
    assert!(front < back);
    let leaders: Vec<&Element> = of_colour(&all, "stroke", GHOST)
        .into_iter()
        .filter(|e| e.points.len() == 3 && (e.points[0].1 - e.points[1].1).abs() < 0.3)
        .collect();
    for (place, (site, on, sensors)) in SITES
        .iter()
        .zip([
            (back, 14.0),
            (front, 8.0),
            (back, 11.0),
            (front, 5.0),
            (back, 2.0),
        ])
        .map(|(site, (on, sensors))| (*site, on, sensors))
        .enumerate()
    {
        let colour = hex(palette::group(MARKS[place]));
        let disc = discs.iter().find(|e| e.is("fill", &colour)).unwrap();
        let (x, y) = middle(disc);
        assert!((x - on).abs() < 80.0, "{site} on its side of the body");
        let radius = (14.0 * f64::sqrt(sensors / 14.0)).max(7.0);
        close(disc.length("r"), radius, site);
        let leader = leaders.iter().find(|e| {
            let end = e.points[2];
            (end.0 - x).abs() < 0.6 && (end.1 - y).abs() < 0.6
        });
        let start = leader.unwrap().points[0];
        let (_, height) = place_of(&all, site);
        close(start.1, height, "beside its name");
    }
    // Two sensors are too few to judge: a mark with a light core, on the figure and beside the name.
    let light = of_colour(&all, "fill", PANEL);
    let small = light.iter().filter(|e| e.name != "rect");
    assert_eq!(small.count(), 2 * (SITES.len() + 1));
}

/// On a narrow screen numbers stand for names.
#[test]
fn numbers_on_the_figure_are_those_of_the_list() {
    let all = narrow(&fixture::full(), "site_body");
    let names = [
        "Abdomen",
        "Upper thigh",
        "Back of the upper arm",
        "Lower back",
        "Calf",
    ];
    for (place, name) in names.iter().enumerate() {
        let (x, y) = place_of(&all, name);
        let number = (place + 1).to_string();
        let words = texts(&all);
        let found: Vec<_> = words
            .iter()
            .filter(|(text, _, _)| *text == number)
            .collect();
        assert_eq!(found.len(), 2, "{number}: on the figure and in the list");
        close(found[1].2, y, "beside the name");
        assert!(found[1].1 < x);
        let colour = palette::group(MARKS[SITES.iter().position(|site| site == name).unwrap()]);
        let disc = all
            .iter()
            .find(|e| e.name == "circle" && e.is("fill", &hex(colour)) && e.length("r") >= 7.0);
        let (at, height) = middle(disc.unwrap());
        let (_, beside, level) = *found[0];
        close((beside - at).abs(), 17.0, name);
        close(level, height - 1.0, name);
    }
}
