//! Fit of one candidate: the published shape against no event and against slow dips.

use std::f64::consts::LN_2;

use super::scan::{Pair, Series};
use super::settings::{EXPLAINED, FINER, MARGIN, PARTS, SPARSE, STEP, TAIL};
use super::window::{Column, Dip, Mixture, Window};
use super::{Evidence, Settings};

/// A fitted event.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    /// Begin and end of the pressure, min.
    pub start: f64,
    pub end: f64,
    pub evidence: Evidence,
}

impl Fit {
    /// What decides between candidates that overlap: plausible first, then what explains more.
    pub fn score(&self, set: &Settings) -> f64 {
        set.logit(&self.evidence).min(3.0) + EXPLAINED * self.evidence.against_none
    }

    /// Fitted dip at a time, mg/dL.
    pub fn depth(&self, minute: f64) -> f64 {
        let done = response(minute - self.start, self.evidence.fall);
        self.evidence.height * (done - response(minute - self.end, self.evidence.rise))
    }

    /// First reading of the run, and the last before the recovery; `None` where no two lie in it.
    pub fn run(&self, series: &Series) -> Option<(usize, usize)> {
        let minutes = series.minutes;
        let sparse = series.spacing >= SPARSE;
        // An abrupt fall is over by the next reading: a reading at its very begin is not in it yet. Sparse
        // readings cannot tell when between two of them the fall began; theirs are in the run while half of the
        // fall is left.
        let abrupt = self.evidence.fall < 0.25 * series.spacing && !sparse;
        let left = if sparse {
            LN_2 * self.evidence.rise
        } else {
            0.0
        };
        let start = minutes.partition_point(|&m| m < self.start || abrupt && m <= self.start);
        let end = minutes
            .partition_point(|&m| m <= self.end + left)
            .checked_sub(1)?;
        (start < end).then_some((start, end))
    }

    /// Adds to the evidence what the readings show at and around the run.
    fn look(&mut self, series: &Series) -> Option<()> {
        let (start, end) = self.run(series)?;
        let (minutes, glucose) = (series.minutes, series.glucose);
        let step = series.spacing.max(STEP);
        let at = |minute: f64| {
            let next = minutes.partition_point(|&m| m < minute + 0.5 * series.spacing);
            glucose[next.max(1) - 1]
        };
        let around = |minute: f64, from: i32| -> [f64; 4] {
            std::array::from_fn(|k| at(minute + step * f64::from(from + k as i32)))
        };
        let [a, b, c, d] = around(minutes[start], -2);
        let [e, f, g, h] = around(minutes[end], -1);
        let run = glucose[start..=end].iter().copied();
        let gap = |k: usize| {
            let from = k.checked_sub(1).map_or(minutes[k], |k| minutes[k]);
            ((minutes[k] - from) / series.spacing).clamp(1.0, 10.0)
        };
        let before = series.before(self.start);
        self.evidence = Evidence {
            bottom: run.fold(f64::INFINITY, f64::min),
            before,
            after: (g + h + at(minutes[end] + 3.0 * step)) / 3.0 - before,
            steps: [b - a, c - b, d - c, f - e, g - f, h - g],
            gaps: [gap(start), gap((end + 1).min(minutes.len() - 1))],
            spacing: series.spacing,
            coarse: series.coarse.get(start).copied().unwrap_or_default(),
            ..self.evidence
        };
        Some(())
    }

    /// Adds the fitted dip back to the readings.
    pub fn subtract(&self, minutes: &[f64], readings: &mut [f64]) {
        let first = minutes.partition_point(|&m| m < self.start);
        let last = minutes.partition_point(|&m| m <= self.end + TAIL * self.evidence.rise);
        for (reading, minute) in readings[first..last].iter_mut().zip(&minutes[first..last]) {
            *reading += self.depth(*minute);
        }
    }
}

/// Share of a step of time constant `tau` done after some minutes.
fn response(since: f64, tau: f64) -> f64 {
    if since <= 0.0 {
        0.0
    } else {
        1.0 - (-since / tau).exp()
    }
}

/// Share done of a slow change of blood glucose that a lagging sensor sees: two first-order steps in
/// a row, 90 % in `width` min.
fn ramp(since: f64, width: f64) -> f64 {
    let x = TO_90_PERCENT * since.max(0.0) / width;
    1.0 - (1.0 + x) * (-x).exp()
}
/// Time constants in which 90 % of the slow course are done, and its steepest slope per width.
const TO_90_PERCENT: f64 = 3.89;
const STEEPEST: f64 = 1.43;

/// Whether the fit of a pair sees readings that any of `fits` (in order of time) touches.
pub(super) fn reaches(pair: &Pair, fits: &[Fit], minutes: &[f64]) -> bool {
    let (from, to) = (minutes[pair.fall] - MARGIN, minutes[pair.rise] + MARGIN);
    let next = fits.partition_point(|f| f.end + TAIL * f.evidence.rise < from);
    fits.get(next).is_some_and(|f| f.start < to)
}

/// Fits a pair; `None` where no dip of the published shape explains enough, or no two readings lie in it.
pub(super) fn fit(series: &Series, readings: &[f64], pair: Pair, set: &Settings) -> Option<Fit> {
    let (t0, t1) = (series.minutes[pair.fall], series.minutes[pair.rise]);
    let window = Window::new(series, readings, t0 - MARGIN, t1 + MARGIN);
    let half = 0.5 * series.spacing;
    let (step, reach) = (half.max(2.5), series.spacing.max(5.0));
    let falls = edges(&window, t0 - half, &set.edge_minutes, step, reach);
    let rises = edges(&window, t1 - half, &set.edge_minutes, step, reach);
    let mut coarse = Fast::default();
    let mut best = search(&falls, &rises, set, &mut coarse)?;
    if best.evidence.against_none < set.at(series.spacing).least_gain {
        return None;
    }
    let other = Other::new(&window, &best, (&falls, &rises), series, set);
    let fine = |at: f64, tau: f64| {
        let slowest = set.edge_minutes.last().copied().unwrap_or(tau);
        let taus = FINER.map(|factor| (factor * tau).min(slowest));
        edges(&window, at, &taus, (0.25 * step).max(0.5), 0.5 * step)
    };
    let fine_falls = fine(best.start, best.evidence.fall);
    let fine_rises = fine(best.end, best.evidence.rise);
    let mut finer = Fast::default();
    best = search(&fine_falls, &fine_rises, set, &mut finer).unwrap_or(best);
    // The finer grid divides one of the coarse one's cells, each of which has the same prior.
    let cells = ((falls.len() * rises.len()) as f64).ln();
    let refined = finer.any.log() - cells;
    best.evidence.height = if refined > coarse.any.log() {
        finer.any.mean()
    } else {
        coarse.any.mean()
    };
    best.evidence.against_slow = coarse.any.log().max(refined) - other.slow;
    best.evidence.against_low = coarse.usual.log().max(finer.usual.log() - cells) - other.low;
    best.look(series)?;
    Some(best)
}

/// Fast edges of several time constants within `reach` of a time.
fn edges(window: &Window, at: f64, taus: &[f64], step: f64, reach: f64) -> Vec<Column> {
    let count = (reach / step).round() as i32;
    taus.iter()
        .flat_map(|&tau| (-count..=count).map(move |k| (at + f64::from(k) * step, tau)))
        .map(|(begin, tau)| window.column(begin, tau, response))
        .collect()
}

/// Dips of the published shape.
#[derive(Default)]
struct Fast {
    /// Of whatever height fits best.
    any: Mixture,
    /// Of a usual height.
    usual: Mixture,
}

/// The best dip between any fall and any recovery; all of them are added to the mixtures.
fn search(falls: &[Column], rises: &[Column], set: &Settings, all: &mut Fast) -> Option<Fit> {
    let mut best: Option<Fit> = None;
    for fall in falls {
        for rise in rises {
            let length = rise.begin - fall.begin;
            if length < set.length.0 || length > set.length.1 {
                continue;
            }
            let dip = Dip::between(fall, rise);
            if dip.height <= 0.0 {
                continue;
            }
            let against_none = dip.gain(dip.height);
            all.any.add(against_none, dip.height);
            all.usual.add(dip.expected(set.usual_height), dip.height);
            if best.is_none_or(|b| b.evidence.against_none < against_none) {
                best = Some(Fit {
                    start: fall.begin,
                    end: rise.begin,
                    evidence: Evidence {
                        against_none,
                        height: dip.height,
                        height_in_errors: dip.height * dip.information.sqrt(),
                        fall: fall.width,
                        rise: rise.width,
                        minutes: length,
                        ..Evidence::default()
                    },
                });
            }
        }
    }
    best
}

/// Log likelihood ratios, against no event, of what blood glucose can do.
struct Other {
    /// A dip with a slow fall, a slow recovery or both, or a slow fall or rise alone, none faster than the
    /// fastest.
    slow: f64,
    /// A slow dip from the glucose before it to a usual low.
    low: f64,
}

impl Other {
    fn new(
        window: &Window,
        best: &Fit,
        (starts, ends): (&[Column], &[Column]),
        series: &Series,
        set: &Settings,
    ) -> Self {
        let ramps = |at: f64, widths: [f64; 3]| -> Vec<Column> {
            let begins = widths.iter().flat_map(|&w| PARTS.map(|p| (at - p * w, w)));
            begins
                .map(|(begin, w)| window.column(begin, w, ramp))
                .collect()
        };
        let falls = ramps(best.start + best.evidence.fall, set.slow_falls);
        let rises = ramps(best.end + best.evidence.rise, set.slow_rises);
        let to_low = (series.before(best.start) - set.usual_low.0, set.usual_low.1);
        let [mut alone, mut dips, mut low] = <[Mixture; 3]>::default();
        let limit = |width: f64| set.fastest / STEEPEST * width;
        let add = |to: &mut Mixture, dip: Dip, most: f64| {
            let height = dip.height.clamp(0.0, most);
            to.add(dip.gain(height), height);
        };
        for c in &falls {
            add(&mut alone, Dip::single(c, -1.0), limit(c.width));
        }
        for c in &rises {
            add(&mut alone, Dip::single(c, 1.0), limit(c.width));
        }
        for fall in &falls {
            for rise in &rises {
                let dip = Dip::between(fall, rise);
                low.add(dip.expected(to_low), dip.height);
                add(&mut dips, dip, limit(fall.width.min(rise.width)));
            }
            for rise in ends.iter().filter(|c| c.width == best.evidence.rise) {
                add(&mut dips, Dip::between(fall, rise), limit(fall.width));
            }
        }
        for fall in starts.iter().filter(|c| c.width == best.evidence.fall) {
            for rise in &rises {
                add(&mut dips, Dip::between(fall, rise), limit(rise.width));
            }
        }
        Self {
            slow: dips.log().max(alone.log()),
            low: low.log(),
        }
    }
}
