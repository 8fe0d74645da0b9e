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
/// The sign at an edge beyond which a table goes on.
pub(crate) const SHADE: Colour = colour(0xC9C2B4, 0x4A5157);
pub(crate) const GHOST: Colour = colour(0xB3AEA3, 0x5B6268);
pub(crate) const ACCENT: Colour = colour(0x6A2E5C, 0xDDA6CE);

/// Colours of sites in their order; on a dark page each keeps its hue.
pub(crate) const GROUPS: [Colour; 9] = [
    colour(0x246F9E, 0x5D86B0),
    colour(0x6F5C05, 0xC19D25),
    colour(0x8013C4, 0xB971FF),
    colour(0x1F4631, 0x70A083),
    colour(0x992466, 0xF8ACCE),
    colour(0x596C33, 0x758A4A),
    colour(0x159D2F, 0x74EA72),
    colour(0x60674C, 0xD5DCB3),
    colour(0x262971, 0xC1B3FF),
];

/// Marks of what is no site count from here on, a multiple of the number of shapes: their colours mean nothing else.
pub(crate) const NO_SITE: usize = 120;

/// Colours of what is no site.
const NEUTRALS: [Colour; 2] = [INK, MUTED];

/// The colour of the n-th site, or of what is no site.
pub(crate) fn group(index: usize) -> Colour {
    match index.checked_sub(NO_SITE) {
        Some(place) => NEUTRALS[place % NEUTRALS.len()],
        None => GROUPS[index % GROUPS.len()],
    }
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
        ("shade", SHADE),
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

    /// A colour as CIE 1976 L*a*b*, as it is and as who sees no green or no red sees it: matrices on linear light after
    /// Machado, Oliveira and Fernandes 2009, severity 1, from memory.
    fn seen((r, g, b): (u8, u8, u8)) -> [[f64; 3]; 3] {
        const DEUTAN: [[f64; 3]; 3] = [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ];
        const PROTAN: [[f64; 3]; 3] = [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ];
        let linear = [r, g, b].map(|value| {
            let share = f64::from(value) / 255.0;
            if share <= 0.04045 {
                share / 12.92
            } else {
                ((share + 0.055) / 1.055).powf(2.4)
            }
        });
        let through = |m: [[f64; 3]; 3]| {
            m.map(|row| {
                (0..3)
                    .map(|i| row[i] * linear[i])
                    .sum::<f64>()
                    .clamp(0.0, 1.0)
            })
        };
        [linear, through(DEUTAN), through(PROTAN)].map(|[r, g, b]| {
            let cube = |t: f64| {
                if t > 0.008856 {
                    t.cbrt()
                } else {
                    7.787 * t + 16.0 / 116.0
                }
            };
            let x = cube((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.95047);
            let y = cube(0.2126 * r + 0.7152 * g + 0.0722 * b);
            let z = cube((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.08883);
            [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
        })
    }

    /// A site is of one hue by day and by night: at most 25 degrees of L*a*b* apart, and no colour turns grey.
    #[test]
    fn a_site_keeps_its_hue_on_a_dark_page() {
        for site in GROUPS {
            let [light, dark] = [site.light, site.dark].map(|c| seen(c)[0]);
            let hue = |[_, a, b]: [f64; 3]| b.atan2(a).to_degrees();
            let apart = (hue(light) - hue(dark) + 540.0).rem_euclid(360.0) - 180.0;
            assert!(apart.abs() <= 25.0, "{site:?}: {apart:.0}");
            let strength = |[_, a, b]: [f64; 3]| a.hypot(b);
            assert!(strength(dark) >= 0.6 * strength(light), "{site:?}");
        }
    }

    /// Any two sites stay apart by 12 units of L*a*b* to any eye, and on a dark page by 20: a difference of 2 to 3 is just
    /// seen (common practice, no source).
    #[test]
    fn sites_are_told_apart_by_the_colour_blind() {
        type Scheme = fn(&Colour) -> (u8, u8, u8);
        let schemes: [(Scheme, f64); 2] = [(|c| c.light, 12.0), (|c| c.dark, 20.0)];
        for (pick, least) in schemes {
            for (at, a) in GROUPS.iter().enumerate() {
                for b in &GROUPS[at + 1..] {
                    for (a, b) in seen(pick(a)).iter().zip(seen(pick(b))) {
                        let apart = (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt();
                        assert!(apart >= least, "{a:?} {b:?}: {apart:.1}");
                    }
                }
            }
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
