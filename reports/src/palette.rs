//! Every colour of the report, for a light and a dark scheme.
//!
//! Marks and lines contrast with the panel by at least 3 to 1 and text by at least 4.5 to 1 (WCAG 2.2, success
//! criteria 1.4.11 and 1.4.3). No figure tells groups apart by colour alone: groups have panels, rows, marks or names
//! of their own.

use std::fmt::Write;

use plotters::style::RGBColor;

/// A colour in both schemes. Drawings hold the light one; a dark page replaces it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Colour {
    pub light: (u8, u8, u8),
    pub dark: (u8, u8, u8),
}

const fn colour(light: u32, dark: u32) -> Colour {
    Colour {
        light: split(light),
        dark: split(dark),
    }
}

const fn split(hex: u32) -> (u8, u8, u8) {
    ((hex >> 16) as u8, (hex >> 8) as u8, hex as u8)
}

pub(crate) const PAGE: Colour = colour(0xF3F0E8, 0x15181B);
pub(crate) const PANEL: Colour = colour(0xFCFBF8, 0x1D2124);
pub(crate) const INK: Colour = colour(0x22272D, 0xE9E6DF);
pub(crate) const MUTED: Colour = colour(0x575D66, 0xA9AFB6);
pub(crate) const RULE: Colour = colour(0xDCD7CC, 0x373D42);
pub(crate) const GHOST: Colour = colour(0xB3AEA3, 0x5B6268);
pub(crate) const ACCENT: Colour = colour(0x6A2E5C, 0xDDA6CE);

/// Colours of groups, in the order in which they are given out.
pub(crate) const GROUPS: [Colour; 9] = [
    colour(0x22577A, 0x7FB8DE),
    colour(0xB1520A, 0xF0A35E),
    colour(0x6B3FA0, 0xB99AE6),
    colour(0x2C7A4D, 0x7CC79A),
    colour(0x9C2F5B, 0xE88BB0),
    colour(0x5F6B1A, 0xB9C462),
    colour(0x007683, 0x5CC3CE),
    colour(0x7A4B2A, 0xCFA17E),
    colour(0x4A4F58, 0xB4BAC4),
];

/// The colour of the n-th group.
pub(crate) fn group(index: usize) -> Colour {
    GROUPS[index % GROUPS.len()]
}

impl Colour {
    /// The colour as a drawing holds it.
    pub fn drawn(self) -> RGBColor {
        RGBColor(self.light.0, self.light.1, self.light.2)
    }
}

fn hex((r, g, b): (u8, u8, u8)) -> String {
    format!("#{r:02X}{g:02X}{b:02X}")
}

/// The colours as style rules: variables of the page, and the dark scheme's colours of drawings.
pub(crate) fn css() -> String {
    let page = [
        ("page", PAGE),
        ("panel", PANEL),
        ("ink", INK),
        ("muted", MUTED),
        ("rule", RULE),
        ("accent", ACCENT),
    ];
    let variables = |pick: fn(Colour) -> (u8, u8, u8)| {
        page.iter().fold(String::new(), |mut out, (name, colour)| {
            let _ = write!(out, "--{name}:{};", hex(pick(*colour)));
            out
        })
    };
    let mut out = format!(
        ":root{{color-scheme:light dark;{}}}\n",
        variables(|c| c.light)
    );
    let _ = writeln!(
        out,
        "@media screen and (prefers-color-scheme:dark){{\n:root{{{}}}",
        variables(|c| c.dark)
    );
    for colour in [PANEL, INK, MUTED, RULE, GHOST, ACCENT]
        .iter()
        .chain(&GROUPS)
    {
        let (light, dark) = (hex(colour.light), hex(colour.dark));
        let _ = writeln!(
            out,
            "figure svg [fill=\"{light}\"]{{fill:{dark}}}figure svg [stroke=\"{light}\"]{{stroke:{dark}}}"
        );
    }
    out.push_str("}\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contrast by WCAG 2.2: (L1 + 0.05) / (L2 + 0.05) of relative luminances.
    fn contrast(a: (u8, u8, u8), b: (u8, u8, u8)) -> f64 {
        let channel = |value: u8| {
            let share = f64::from(value) / 255.0;
            if share <= 0.04045 {
                share / 12.92
            } else {
                ((share + 0.055) / 1.055).powf(2.4)
            }
        };
        let luminance = |(r, g, b): (u8, u8, u8)| {
            0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b)
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// White on black is 21 to 1 (WCAG 2.2, definition of contrast ratio).
    #[test]
    fn contrast_is_that_of_wcag() {
        assert!((contrast((255, 255, 255), (0, 0, 0)) - 21.0).abs() < 1e-9);
    }

    #[test]
    fn text_and_marks_stand_out_in_both_schemes() {
        for ground in [PAGE, PANEL] {
            for text in [INK, MUTED, ACCENT] {
                assert!(contrast(text.light, ground.light) >= 4.5, "{text:?}");
                assert!(contrast(text.dark, ground.dark) >= 4.5, "{text:?}");
            }
        }
        for mark in GROUPS {
            assert!(contrast(mark.light, PANEL.light) >= 3.0, "{mark:?}");
            assert!(contrast(mark.dark, PANEL.dark) >= 3.0, "{mark:?}");
        }
    }

    #[test]
    fn every_light_colour_is_another() {
        let mut all: Vec<_> = [PANEL, INK, MUTED, RULE, GHOST, ACCENT]
            .iter()
            .chain(&GROUPS)
            .map(|c| c.light)
            .collect();
        let count = all.len();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), count);
    }
}
