//! How drawings are laid out: nothing beyond their edges, no two texts on one another, no bare stretch at the end.

use super::svg::{Element, drawings};
use crate::Edition;
use crate::chart::lettering;

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

#[test]
fn nothing_is_beyond_an_edge_and_no_text_on_another() {
    let mut seen = 0;
    for (study, input) in super::all() {
        for edition in [Edition::Clinician, Edition::Wearer] {
            for (name, (width, height), elements) in drawings(&input.edition(edition).html) {
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
        }
    }
    assert!(seen > 10_000, "{seen}");
}
