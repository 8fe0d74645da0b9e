//! Estimates with their intervals along a horizontal axis.

use super::axis::{Scale, covering};
use super::canvas::{Canvas, Drawn, Stroke};
use crate::palette::group;

/// An interval so many times as wide as one that a quarter are narrower than does not set the axis.
const TOO_WIDE: f64 = 3.0;

/// Room for an arrow beyond the outermost mark, as a share of the axis.
const FOR_ARROW: f64 = 0.1;

/// An estimate and its interval.
#[derive(Clone, Copy)]
pub(crate) struct Estimate {
    pub value: f64,
    pub interval: Option<(f64, f64)>,
}

impl Estimate {
    /// Whether its interval goes on beyond the axis.
    pub fn goes_beyond(&self, x: &Scale) -> bool {
        let ends = self.interval;
        ends.is_some_and(|(lower, upper)| lower < x.low || upper > x.high)
    }

    /// Draws the interval at a height, with an arrow where it goes on beyond the axis, and the mark.
    pub fn draw(&self, canvas: &Canvas, x: &Scale, y: f64, mark: usize) -> Drawn {
        let colour = group(mark);
        if let Some((lower, upper)) = self.interval {
            let (from, to) = (x.map(lower), x.map(upper));
            canvas.line(&[(from, y), (to, y)], Stroke::new(colour, 2.5))?;
            for (end, tip, turn) in [(lower, from, 5.0), (upper, to, -5.0)] {
                if end < x.low || end > x.high {
                    let arrow = [(tip + turn, y - 4.0), (tip, y), (tip + turn, y + 4.0)];
                    canvas.line(&arrow, Stroke::new(colour, 2.0))?;
                }
            }
        }
        canvas.mark((x.map(self.value), y), mark, 5.0, colour)
    }
}

/// A scale for all estimates and for all intervals but those far wider than others, such as that of two sensors: on theirs
/// the others would be dots.
pub(crate) fn scale_of<'a>(estimates: impl Iterator<Item = &'a Estimate> + Clone) -> Scale {
    let intervals = estimates.clone().filter_map(|estimate| estimate.interval);
    let width = |(lower, upper): &(f64, f64)| upper - lower;
    let widths = intervals.clone().map(|ends| width(&ends));
    let mut widths: Vec<f64> = widths.filter(|width| *width > 0.0).collect();
    widths.sort_by(f64::total_cmp);
    let narrow = widths.get(widths.len() / 4).copied();
    let most = narrow.unwrap_or(f64::INFINITY) * TOO_WIDE;
    let ends = intervals.filter(|ends| width(ends) <= most);
    let values = estimates.clone().map(|estimate| estimate.value);
    let scale = covering(values.chain(ends.flat_map(|(lower, upper)| [lower, upper])));
    let beyond = |test: fn(&Scale, (f64, f64)) -> bool| {
        let mut intervals = estimates.clone().filter_map(|estimate| estimate.interval);
        intervals.any(|ends| test(&scale, ends))
    };
    let room = (scale.high - scale.low) * FOR_ARROW;
    let below = beyond(|scale, (lower, _)| lower < scale.low);
    let above = beyond(|scale, (_, upper)| upper > scale.high);
    Scale {
        low: scale.low - if below { room } else { 0.0 },
        high: scale.high + if above { room } else { 0.0 },
        ..scale
    }
}
