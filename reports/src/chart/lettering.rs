//! Widths of text that no font is at hand to measure: guesses on the wide side, for sans-serif faces.

use super::canvas::TEXT;

/// Width of a text in CSS pixels at a font size.
pub(crate) fn width(text: &str, size: f64) -> f64 {
    text.chars().map(em).sum::<f64>() * size
}

fn em(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' | ' ' | '(' | ')'
        | '[' | ']' | 't' | 'f' | 'r' => 0.40,
        'm' | 'w' | 'M' | 'W' | '%' | '@' => 0.92,
        'A'..='Z' => 0.70,
        '\u{0300}'..='\u{036F}' | '\u{200B}'..='\u{200F}' | '\u{FE00}'..='\u{FE0F}' => 0.0,
        '\u{1100}'..='\u{11FF}' | '\u{2E80}'..='\u{FFEF}' => 1.05,
        '\u{10000}'..='\u{10FFFF}' => 1.35,
        _ => 0.62,
    }
}

/// A text cut to a width, with an ellipsis where something is missing.
pub(crate) fn shorten(text: &str, size: f64, room: f64) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = em('…') * size;
    for c in text.chars() {
        used += em(c) * size;
        if used > room {
            break;
        }
        out.push(c);
    }
    format!("{}…", out.trim_end())
}

/// A text in at most `lines` lines of a width, broken at blanks and after hyphens, the last one shortened.
pub(crate) fn wrap(text: &str, size: f64, room: f64, lines: usize) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for (gap, piece) in text.split_whitespace().flat_map(pieces) {
        let joined = out.last().map(|line| format!("{line}{gap}{piece}"));
        let fits = joined
            .as_ref()
            .is_some_and(|line| width(line, size) <= room);
        match (joined, out.len()) {
            (Some(line), count) if fits || count >= lines => out[count - 1] = line,
            _ => out.push(piece.to_owned()),
        }
    }
    out.iter().map(|line| shorten(line, size, room)).collect()
}

/// A word's parts, broken after hyphens, each with what comes before it in a line.
fn pieces(word: &str) -> impl Iterator<Item = (&'static str, &str)> {
    let gaps = std::iter::once(" ").chain(std::iter::repeat(""));
    gaps.zip(word.split_inclusive('-'))
}

/// The lines of a panel's heading.
pub(crate) fn heading(text: &str, room: f64) -> Vec<String> {
    wrap(text, TEXT, room, HEADING_LINES)
}

/// A word a line, so that a phone's narrow panels lose none of "Mean absolute relative difference (%)", nor the second of
/// two sites that a panel compares.
const HEADING_LINES: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_wider_than_its_room() {
        for text in [
            "Inside of the upper arm",
            "Wwwwwwwwwwwwwwwwwwwww",
            "上腕の背面のとても長い名前",
            "a",
            "",
        ] {
            for line in wrap(text, 12.0, 80.0, 2) {
                assert!(width(&line, 12.0) <= 80.0, "{line}");
            }
        }
        assert_eq!(
            wrap("Back of the upper arm", 12.0, 90.0, 2),
            ["Back of the", "upper arm"]
        );
        assert_eq!(
            wrap("per 100 sensor-nights - or days", 12.0, 70.0, 4),
            ["per 100", "sensor-", "nights - or", "days"]
        );
    }

    #[test]
    fn a_heading_keeps_its_unit_on_a_phone() {
        let lines = heading("Mean absolute relative difference (%)", 70.0);
        assert_eq!(lines, ["Mean", "absolute", "relative", "difference", "(%)"]);
        let pair = "Difference in absolute error, points, Back of the upper arm – Forearm";
        assert_eq!(heading(pair, 92.0).last().unwrap(), "Forearm");
    }
}
