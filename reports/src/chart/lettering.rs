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

/// A text in at most `lines` lines of a width, broken at blanks and after hyphens, long words also after a stroke, what is
/// still too long shortened.
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

/// A text with hyphens put into every word that is wider than a line, which make it parts of about one width; [`wrap`] breaks
/// it there.
pub(crate) fn hyphenated(text: &str, size: f64, room: f64) -> String {
    // A part ends with the letter that passes its width, and a hyphen.
    let most = (room - em('-') * size - size).max(size);
    let mut out = String::new();
    for (gap, piece) in text.split_whitespace().flat_map(pieces) {
        out.push_str(gap);
        let whole = width(piece, size);
        let part = match whole <= room {
            true => f64::INFINITY,
            false => whole / (whole / most).ceil(),
        };
        let mut used = 0.0;
        for c in piece.chars() {
            if used >= part {
                out.push('-');
                used = 0.0;
            }
            used += em(c) * size;
            out.push(c);
        }
    }
    out.trim_start().to_owned()
}

/// A word's parts, broken after hyphens and strokes, each with what comes before it in a line. A unit stays whole.
fn pieces(word: &str) -> impl Iterator<Item = (&'static str, &str)> {
    let long = word.chars().count() > LONGEST_UNIT;
    let gaps = std::iter::once(" ").chain(std::iter::repeat(""));
    gaps.zip(word.split_inclusive(move |c| c == '-' || (long && c == '/')))
}

/// Letters of the longest unit with its brackets, "(mg/dL/min)".
const LONGEST_UNIT: usize = 12;

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

    /// A word of its own that no line holds loses no letter; a unit is not broken.
    #[test]
    fn a_long_word_is_broken_and_kept_whole() {
        let name = "Äußerer Oberschenkel-Übergangsbereich/Hüftknochenvorsprungsnähe links";
        let lines = wrap(&hyphenated(name, 12.0, 98.0), 12.0, 98.0, 8);
        let letters = |text: &str| text.replace(['-', ' '], "");
        assert_eq!(letters(&lines.concat()), letters(name), "{lines:?}");
        assert!(
            lines.iter().all(|line| width(line, 12.0) <= 98.0),
            "{lines:?}"
        );
        assert_eq!(hyphenated("Bias (mg/dL)", 12.0, 98.0), "Bias (mg/dL)");
        assert_eq!(wrap("Bias (mg/dL)", 12.0, 50.0, 3), ["Bias", "(mg/d…"]);
    }

    #[test]
    fn a_heading_keeps_its_unit_on_a_phone() {
        let lines = heading("Mean absolute relative difference (%)", 70.0);
        assert_eq!(lines, ["Mean", "absolute", "relative", "difference", "(%)"]);
        let pair = "Difference in absolute error, points, Back of the upper arm – Forearm";
        assert_eq!(heading(pair, 92.0).last().unwrap(), "Forearm");
    }
}
