//! Scales, ticks and the frame of a panel.

use plotters::coord::ranged1d::{BoldPoints, Ranged};
use plotters::coord::types::RangedCoordf64;
use whereworn_model::format;

use super::canvas::{Canvas, Drawn, QUIET, SMALL, Stroke};
use super::lettering;
use crate::palette::{GHOST, INK, RULE};

/// A linear scale from values to CSS pixels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    pub low: f64,
    pub high: f64,
    pub from: f64,
    pub to: f64,
    /// Whether only whole numbers stand along it.
    pub whole: bool,
}

impl Scale {
    /// The pixel of a value; values beyond the scale stand at its end.
    pub fn map(&self, value: f64) -> f64 {
        let share = (value.clamp(self.low, self.high) - self.low) / (self.high - self.low);
        self.from + share * (self.to - self.from)
    }

    /// Round values along the scale, at most `most` of them.
    pub fn ticks(&self, most: usize) -> Vec<f64> {
        let mut ticks = RangedCoordf64::from(self.low..self.high).key_points(BoldPoints(most));
        ticks.retain(|tick| !self.whole || tick.fract() == 0.0);
        ticks
    }

    pub fn at(self, from: f64, to: f64) -> Self {
        Self { from, to, ..self }
    }
}

/// The scale that holds all values with a little air, though not across zero; never without extent. Along whole values
/// stand whole numbers: there is no sensor 1.5.
pub(crate) fn covering(values: impl Iterator<Item = f64>) -> Scale {
    let (mut low, mut high, mut whole) = (f64::INFINITY, f64::NEG_INFINITY, true);
    for value in values.filter(|value| value.is_finite()) {
        low = low.min(value);
        high = high.max(value);
        whole &= value.fract() == 0.0;
    }
    if low > high || (low, high) == (0.0, 0.0) {
        (low, high) = (0.0, 1.0);
    }
    if high - low <= 1e-9 * low.abs().max(high.abs()) {
        let air = low.abs() * 0.2;
        (low, high) = (low - air, high + air);
    }
    let air = (high - low) * 0.05;
    let (low, high) = (
        if low < 0.0 {
            low - air
        } else {
            (low - air).max(0.0)
        },
        if high > 0.0 {
            high + air
        } else {
            (high + air).min(0.0)
        },
    );
    Scale {
        low,
        high,
        from: 0.0,
        to: 1.0,
        whole,
    }
}

/// Ticks as text, all with the decimals that tell them exactly.
pub(crate) fn tick_texts(ticks: &[f64]) -> Vec<String> {
    let step = ticks
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .fold(f64::INFINITY, f64::min);
    let exact = |digits: i32| {
        let unit = 10f64.powi(digits);
        ticks
            .iter()
            .all(|tick| ((tick * unit).round() / unit - tick).abs() < step * 1e-3)
    };
    let digits = (0..6).find(|&digits| exact(digits)).unwrap_or(6);
    ticks
        .iter()
        .map(|tick| format::number(*tick, digits as usize))
        .collect()
}

/// A tick of an axis of dates: where it stands and what it says.
pub(crate) struct Tick {
    pub at: f64,
    pub text: String,
}

/// A panel's plot: where it lies and its scales.
#[derive(Clone, Copy)]
pub(crate) struct Plot {
    pub x: Scale,
    pub y: Scale,
}

impl Plot {
    /// Grid, horizontal axis and numbers along both, or dates along the horizontal one.
    pub fn frame(&self, canvas: &Canvas, dates: Option<&[Tick]>) -> Drawn {
        let (left, right) = (self.x.from, self.x.to);
        let (bottom, top) = (self.y.from, self.y.to);
        let rows = self.y.ticks(((bottom - top) / 25.0).max(2.0) as usize);
        for (tick, text) in rows.iter().zip(tick_texts(&rows)) {
            let y = self.y.map(*tick);
            canvas.line(&[(left, y), (right, y)], Stroke::new(RULE, 0.75))?;
            canvas.number((left - 5.0, y), &text, QUIET.end())?;
        }
        match dates {
            Some(ticks) => below(canvas, ticks, bottom)?,
            None => across(canvas, &self.x, bottom, None)?,
        }
        canvas.line(&[(left, bottom), (right, bottom)], Stroke::new(INK, 1.0))
    }

    /// A level line across the plot, where the level lies on it.
    pub fn level(&self, canvas: &Canvas, value: f64, stroke: Stroke) -> Drawn {
        if value < self.y.low || value > self.y.high {
            return Ok(());
        }
        let y = self.y.map(value);
        canvas.line(&[(self.x.from, y), (self.x.to, y)], stroke)
    }
}

/// Dates below a horizontal axis.
fn below(canvas: &Canvas, ticks: &[Tick], bottom: f64) -> Drawn {
    for tick in ticks {
        let ends = [(tick.at, bottom), (tick.at, bottom + 3.0)];
        canvas.line(&ends, Stroke::new(GHOST, 1.0))?;
        canvas.number((tick.at, bottom + 11.0), &tick.text, QUIET.middle())?;
    }
    Ok(())
}

/// Ticks that fit the width of a horizontal scale: as many as there is room for, and where that is one, the outermost of
/// a few instead, with zero between them where there is room.
pub(crate) fn fitting_ticks(x: &Scale) -> Vec<f64> {
    let room = x.to - x.from;
    let fits = |ticks: &Vec<f64>| {
        let texts = tick_texts(ticks);
        let widths = texts.iter().map(|text| lettering::width(text, SMALL));
        let widest = widths.fold(0.0, f64::max);
        let gaps = ticks.windows(2).map(|pair| x.map(pair[1]) - x.map(pair[0]));
        !ticks.is_empty()
            && (ticks.len() as f64) * widest < room
            && gaps.fold(f64::INFINITY, f64::min) > widest + 6.0
    };
    let all = (1..=9).rev().map(|most| x.ticks(most)).find(fits);
    let all = all.unwrap_or_default();
    if all.len() > 1 {
        return all;
    }
    let outermost = |(most, zero): (usize, bool)| {
        let mut ticks = x.ticks(most);
        let ends = (ticks.first().copied(), ticks.last().copied());
        ticks.retain(|&tick| ends.0 == Some(tick) || ends.1 == Some(tick) || (zero && tick == 0.0));
        ticks
    };
    let tries = (2..=6).flat_map(|most| [(most, true), (most, false)]);
    let mut few = tries.map(outermost);
    let few = few.find(|ticks| ticks.len() > 1 && fits(ticks));
    few.unwrap_or(all)
}

/// Numbers below a horizontal scale, and upright grid lines up to `grid_top` where one is given.
pub(crate) fn across(canvas: &Canvas, x: &Scale, bottom: f64, grid_top: Option<f64>) -> Drawn {
    let ticks = fitting_ticks(x);
    for (tick, text) in ticks.iter().zip(tick_texts(&ticks)) {
        let at = x.map(*tick);
        match grid_top {
            Some(top) => canvas.line(&[(at, top), (at, bottom)], Stroke::new(RULE, 0.75))?,
            None => canvas.line(&[(at, bottom), (at, bottom + 3.0)], Stroke::new(GHOST, 1.0))?,
        }
        canvas.number((at, bottom + 11.0), &text, QUIET.middle())?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_have_extent_whatever_comes() {
        for values in [
            vec![],
            vec![f64::NAN],
            vec![0.0],
            vec![5.0, 5.0],
            vec![-1e300, 1e300],
        ] {
            let scale = covering(values.into_iter());
            assert!(
                scale.high > scale.low && scale.map(0.3).is_finite(),
                "{scale:?}"
            );
        }
    }

    #[test]
    fn ticks_lie_on_their_scale_and_are_few() {
        let ends = [
            -1e12,
            -350.0,
            -1.0,
            0.0,
            1e-7,
            0.3,
            0.1 + 0.2,
            14.0,
            1e3,
            1e12,
        ];
        for (index, low) in ends.iter().enumerate() {
            for high in &ends[index..] {
                let scale = covering([*low, *high].into_iter()).at(0.0, 300.0);
                for most in 1..10 {
                    let ticks = scale.ticks(most);
                    assert!(ticks.len() <= most + 1, "{low} to {high}: {ticks:?}");
                    assert!(
                        ticks
                            .iter()
                            .all(|tick| (scale.low..=scale.high).contains(tick)),
                        "{ticks:?}"
                    );
                }
            }
        }
    }

    /// Whatever the values, they lie on their scale, which is not much longer than they are apart and crosses zero where they do.
    #[test]
    fn a_scale_holds_its_values() {
        for values in [
            &[][..],
            &[0.0],
            &[5.0],
            &[-3.0],
            &[1e-3, 1e-3],
            &[2.0, 8.0],
            &[0.0, 10.0],
            &[-4.0, -1.0],
            &[-10.0, 0.0],
            &[-2.0, f64::NAN, 6.0, f64::INFINITY],
        ] {
            let Scale { low, high, .. } = covering(values.iter().copied());
            let known = || values.iter().copied().filter(|value| value.is_finite());
            assert!(low < high, "{values:?}");
            assert!(known().all(|v| (low..=high).contains(&v)), "{values:?}");
            let least = known().fold(f64::INFINITY, f64::min);
            let most = known().fold(f64::NEG_INFINITY, f64::max);
            if least < most {
                let air = [least - low, high - most].map(|air| air / (most - least));
                for (air, end) in air.into_iter().zip([least, most]) {
                    let wanted = if end == 0.0 { 0.0..=0.0 } else { 0.01..=0.1 };
                    assert!(wanted.contains(&air), "{values:?}: {air}");
                }
            } else if least != 0.0 && known().count() > 0 {
                assert!(high - low <= least.abs(), "{values:?}: {low} to {high}");
                assert!(low * high > 0.0, "{values:?}: {low} to {high}");
            }
        }
    }

    /// What differs in the last digits alone is one value: no axis is drawn of rounding.
    #[test]
    fn values_that_differ_by_rounding_are_one() {
        for value in [1e-3, 100.0, -100.0] {
            let Scale { low, high, .. } = covering([value, value + 1e-12 * value].into_iter());
            assert!(high - low > 0.1 * f64::abs(value), "{low} to {high}");
        }
    }

    #[test]
    fn a_scale_of_nothing_but_zero_begins_there() {
        let Scale { low, high, .. } = covering([0.0, 0.0].into_iter());
        assert!(low == 0.0 && high >= 1.0, "{low} to {high}");
    }

    /// The first to the fourth sensor of a site, and one alone.
    #[test]
    fn whole_values_have_whole_ticks() {
        let ticks = |values: &[f64]| {
            let scale = covering(values.iter().copied()).at(0.0, 300.0);
            tick_texts(&fitting_ticks(&scale))
        };
        assert_eq!(ticks(&[1.0, 2.0, 3.0, 4.0]), ["1", "2", "3", "4"]);
        assert_eq!(ticks(&[1.0]), ["1"]);
        assert!(ticks(&[1.0, 2.2]).iter().any(|tick| tick.contains('.')));
    }

    #[test]
    fn a_narrow_scale_has_two_ticks() {
        let scale = |low, high| Scale {
            low,
            high,
            from: 0.0,
            to: 75.0,
            whole: false,
        };
        assert_eq!(fitting_ticks(&scale(-14.0, 17.0)), [-10.0, 10.0]);
        let wider = scale(-46.0, 46.0).at(0.0, 109.0);
        assert_eq!(fitting_ticks(&wider), [-40.0, 0.0, 40.0]);
        assert!(fitting_ticks(&scale(6.7, 14.2)).len() > 1);
        assert!(fitting_ticks(&scale(0.0, 1.0)).len() > 1);
    }

    #[test]
    fn ticks_are_round_and_told_apart() {
        let scale = Scale {
            low: -3.0,
            high: 12.0,
            from: 0.0,
            to: 300.0,
            whole: false,
        };
        assert_eq!(tick_texts(&scale.ticks(4)), ["0", "5", "10"]);
        assert_eq!(tick_texts(&[0.0, 0.25]), ["0.00", "0.25"]);
    }
}
