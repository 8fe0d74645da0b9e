//! Legends: signs with their words, in as many lines as the width asks for.

use super::canvas::{Canvas, Drawn, QUIET, SMALL};
use super::lettering::{shorten, width as text_width};

/// Height of a line of a legend, CSS pixels.
const LINE: f64 = 17.0;

/// Room for a sign before its words.
const SIGN: f64 = 22.0;

/// Entries of a legend at their places.
pub(crate) struct Legend<'t, T> {
    entries: Vec<(f64, f64, &'t T, String)>,
}

impl<'t, T> Legend<'t, T> {
    /// Entries set into lines of a width.
    pub fn new(items: &'t [(T, String)], width: f64) -> Self {
        let (mut x, mut y) = (8.0, 0.0);
        let mut entries = Vec::new();
        for (sign, words) in items {
            let words = shorten(words, SMALL, width - 16.0 - SIGN);
            let room = SIGN + text_width(&words, SMALL) + 14.0;
            if x + room - 14.0 > width - 8.0 && x > 8.0 {
                (x, y) = (8.0, y + LINE);
            }
            entries.push((x, y, sign, words));
            x += room;
        }
        Self { entries }
    }

    /// Height of all lines.
    pub fn height(&self) -> f64 {
        self.entries.last().map_or(0.0, |entry| entry.1 + LINE)
    }

    /// Draws the entries below `top`; `sign` draws a sign around a point.
    pub fn draw(&self, canvas: &Canvas, top: f64, sign: impl Fn(&T, (f64, f64)) -> Drawn) -> Drawn {
        for (x, y, what, words) in &self.entries {
            let middle = top + y + LINE / 2.0;
            sign(what, (x + 8.0, middle))?;
            canvas.text((x + SIGN, middle), words, QUIET)?;
        }
        Ok(())
    }
}
