//! Drawings read back: the elements of an SVG, its axes by their own ticks, and where a value would lie on them.

use std::collections::BTreeMap;

use whereworn_model::settings::Settings;

use crate::fixture::{self, Study};
use crate::palette::Colour;

/// Units of a drawing in a CSS pixel.
const FINE: f64 = 4.0;

/// How far a mark may stand from its place, CSS pixels: coordinates are quarters of one.
const NEAR: f64 = 0.6;

/// An element with its attributes, the points of its path, and its text; lengths in CSS pixels.
#[derive(Clone, Debug, Default)]
pub(super) struct Element {
    pub name: String,
    pub attributes: BTreeMap<String, String>,
    pub points: Vec<(f64, f64)>,
    pub text: String,
}

impl Element {
    pub fn number(&self, name: &str) -> f64 {
        self.attributes
            .get(name)
            .map_or(0.0, |value| value.parse().unwrap())
    }

    pub fn length(&self, name: &str) -> f64 {
        self.number(name) / FINE
    }

    pub fn is(&self, name: &str, value: &str) -> bool {
        self.attributes
            .get(name)
            .is_some_and(|found| found == value)
    }
}

/// Points of a path of `M`, `h`, `v`, `l` and `z`, by SVG 1.1, section 8.3.
pub(super) fn points(path: &str) -> Vec<(f64, f64)> {
    let (mut out, mut at, mut command) = (Vec::new(), (0.0, 0.0), 'M');
    let spaced = path.chars().fold(String::new(), |mut text, c| {
        if c.is_alphabetic() {
            text.push(' ');
            text.push(c);
            text.push(' ');
        } else if c == '-' {
            text.push_str(" -");
        } else {
            text.push(c);
        }
        text
    });
    let mut words = spaced.split_whitespace().peekable();
    while let Some(word) = words.next() {
        let mut value: f64 = match word.parse() {
            Ok(value) => value,
            Err(_) => {
                command = word.chars().next().unwrap();
                match (command, words.next()) {
                    ('z', _) | (_, None) => break,
                    (_, Some(next)) => next.parse().unwrap(),
                }
            }
        };
        value /= FINE;
        match command {
            'h' => at.0 += value,
            'v' => at.1 += value,
            'l' | 'M' => {
                let y: f64 = words.next().unwrap().parse().unwrap();
                at = match command {
                    'M' => (value, y / FINE),
                    _ => (at.0 + value, at.1 + y / FINE),
                };
            }
            other => panic!("{other} in {path}"),
        }
        out.push(at);
    }
    out
}

/// The elements of a drawing; circles of a group have its attributes.
pub(super) fn elements(svg: &str) -> Vec<Element> {
    let mut out: Vec<Element> = Vec::new();
    let mut group = BTreeMap::new();
    for part in svg.split('<').skip(1) {
        let (tag, text) = part.split_once('>').unwrap();
        let (name, rest) = tag
            .trim_end_matches('/')
            .split_once(' ')
            .unwrap_or((tag, ""));
        let mut attributes: BTreeMap<String, String> = rest
            .split("\" ")
            .filter_map(|attribute| attribute.trim_end_matches('"').split_once("=\""))
            .map(|(name, value)| (name.trim().to_owned(), value.to_owned()))
            .collect();
        match name {
            "g" => group = attributes,
            "/g" => group = BTreeMap::new(),
            _ if name.starts_with('/') => {}
            _ => {
                for (key, value) in &group {
                    attributes
                        .entry(key.clone())
                        .or_insert_with(|| value.clone());
                }
                let points = attributes.get("d").map(|d| points(d)).unwrap_or_default();
                out.push(Element {
                    name: name.to_owned(),
                    attributes,
                    points,
                    text: text.trim().to_owned(),
                });
            }
        }
    }
    out
}

pub(super) fn drawn(study: &Study, name: &str) -> Vec<Element> {
    let report = study.report();
    let file = format!("{name}.svg");
    let figure = report
        .figures
        .iter()
        .find(|figure| figure.file_name == file);
    elements(&figure.unwrap_or_else(|| panic!("{name}")).svg)
}

/// The drawing for a narrow screen, from the page.
pub(super) fn narrow(study: &Study, name: &str) -> Vec<Element> {
    let html = study.report().html;
    let id = html.find(&format!("\"{name}-narrow-title")).unwrap();
    let from = html[..id].rfind("<svg").unwrap();
    let to = from + html[from..].find("</svg>").unwrap();
    elements(&html[from..to])
}

/// Every drawing of a page: its name, width and height in CSS pixels, and its elements.
pub(super) fn drawings(html: &str) -> Vec<(String, (f64, f64), Vec<Element>)> {
    let between = |text: &str, from: &str, to: &str| -> String {
        let (_, rest) = text.split_once(from).unwrap();
        rest.split_once(to).unwrap().0.to_owned()
    };
    let drawn = html
        .split("<svg ")
        .skip(1)
        .filter(|svg| svg.contains("viewBox=\"0 0 "));
    drawn
        .map(|svg| {
            let svg = svg.split_once("</svg>").unwrap().0;
            let size = between(svg, "viewBox=\"0 0 ", "\"");
            let (width, height) = size.split_once(' ').unwrap();
            let size = [width, height].map(|size| size.parse::<f64>().unwrap() / FINE);
            let name = between(svg, "<title id=\"", "\"");
            let (_, body) = svg.split_once('>').unwrap();
            (name, (size[0], size[1]), elements(body))
        })
        .collect()
}

/// The drawing of a table of the study's own.
pub(super) fn own(sql: &str, columns: &str, rows: &[&str]) -> Vec<Element> {
    let rows: Vec<String> = rows.iter().map(|row| (*row).to_owned()).collect();
    let mut table = fixture::table("own", sql, columns, &rows);
    table.own_query = true;
    let study = Study {
        settings: Settings::default(),
        tables: vec![table],
        wearer: None,
    };
    drawn(&study, "own")
}

/// Numbers that stand as text, with their places.
pub(super) fn numbers(elements: &[Element]) -> Vec<(f64, f64, f64)> {
    let text = |element: &Element| {
        let value: f64 = element.text.replace('\u{2212}', "-").parse().ok()?;
        Some((value, element.length("x"), element.length("y")))
    };
    elements
        .iter()
        .filter(|element| element.name == "text")
        .filter_map(text)
        .collect()
}

/// An axis by two of its ticks: the place of any value.
pub(super) fn axis(ticks: &[(f64, f64)]) -> impl Fn(f64) -> f64 + use<> {
    let (first, last) = (ticks[0], ticks[ticks.len() - 1]);
    assert!(ticks.len() > 1 && last.0 > first.0, "{ticks:?}");
    move |value| first.1 + (value - first.0) / (last.0 - first.0) * (last.1 - first.1)
}

/// The axis below everything: the lowest line of numbers, within a stretch of the width.
pub(super) fn across(elements: &[Element], from: f64, to: f64) -> impl Fn(f64) -> f64 + use<> {
    let numbers = numbers(elements);
    let within = || numbers.iter().filter(|(_, x, _)| (from..=to).contains(x));
    let foot = within().map(|(_, _, y)| *y).fold(0.0, f64::max);
    let mut ticks: Vec<(f64, f64)> = within()
        .filter(|(_, _, y)| (y - foot).abs() < 0.1)
        .map(|(value, x, _)| (*value, *x))
        .collect();
    ticks.sort_by(|a, b| a.1.total_cmp(&b.1));
    axis(&ticks)
}

/// The axis at the left: numbers that end at the same place.
pub(super) fn upright(elements: &[Element]) -> impl Fn(f64) -> f64 + use<> {
    let numbers = numbers(elements);
    let left = numbers
        .iter()
        .map(|(_, x, _)| *x)
        .fold(f64::INFINITY, f64::min);
    let mut ticks: Vec<(f64, f64)> = numbers
        .iter()
        .filter(|(_, x, _)| (x - left).abs() < 0.1)
        .map(|(value, _, y)| (*value, *y))
        .collect();
    ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert!(
        ticks.windows(2).all(|pair| pair[0].1 > pair[1].1),
        "more is higher: {ticks:?}"
    );
    axis(&ticks)
}

pub(super) fn close(found: f64, wanted: f64, what: &str) {
    assert!(
        (found - wanted).abs() <= NEAR,
        "{what}: {found} for {wanted}"
    );
}

/// Lines of a width, from end to end.
pub(super) fn strokes(elements: &[Element], width: f64) -> Vec<&Element> {
    let lines = elements.iter().filter(|element| element.name == "path");
    lines
        .filter(|line| (line.length("stroke-width") - width).abs() < 0.01)
        .collect()
}

/// The middle of a mark.
pub(super) fn middle(element: &Element) -> (f64, f64) {
    if element.name == "circle" {
        return (element.length("cx"), element.length("cy"));
    }
    let ends = |pick: fn(&(f64, f64)) -> f64| {
        let values = element.points.iter().map(pick);
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        });
        (low + high) / 2.0
    };
    (ends(|point| point.0), ends(|point| point.1))
}

#[test]
fn a_path_is_read_by_its_letters() {
    // By hand: 10,20 then 20 right, 15 up, 5 left and 4 down, 5 left and 7 up.
    let found = points("M40 80h80v-60l-20 16-20-28z");
    assert_eq!(
        found,
        [
            (10.0, 20.0),
            (30.0, 20.0),
            (30.0, 5.0),
            (25.0, 9.0),
            (20.0, 2.0)
        ]
    );
}

/// Texts with their places, in the order in which they were drawn.
pub(super) fn texts(elements: &[Element]) -> Vec<(&str, f64, f64)> {
    let texts = elements.iter().filter(|element| element.name == "text");
    texts
        .map(|e| (e.text.as_str(), e.length("x"), e.length("y")))
        .collect()
}

/// The place of a text that is drawn once.
pub(super) fn place_of(elements: &[Element], words: &str) -> (f64, f64) {
    let all = texts(elements).into_iter();
    let found: Vec<(&str, f64, f64)> = all.filter(|(text, _, _)| *text == words).collect();
    assert_eq!(found.len(), 1, "{words}: {:?}", texts(elements));
    (found[0].1, found[0].2)
}

/// A colour as a drawing names it.
pub(super) fn hex(colour: Colour) -> String {
    let (r, g, b) = colour.light;
    format!("#{r:02X}{g:02X}{b:02X}")
}

/// Elements of a fill or of a stroke.
pub(super) fn of_colour<'e>(
    elements: &'e [Element],
    attribute: &str,
    colour: Colour,
) -> Vec<&'e Element> {
    let colour = hex(colour);
    let all = elements.iter();
    all.filter(|element| element.is(attribute, &colour))
        .collect()
}
