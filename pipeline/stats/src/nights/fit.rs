//! Fit of one candidate: the published shape against no event and against slow dips.

use super::scan::{Pair, Series};
use super::window::{Column, Dip, Mixture, Window};
use super::{Evidence, Settings};

/// A fitted event.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    /// Begin and end of the pressure, min.
    pub start: f64,
    pub end: f64,
    /// Time constants of the fall and of the recovery, min.
    pub fall: f64,
    pub rise: f64,
    /// Height of the fall, mg/dL.
    pub height: f64,
    pub evidence: Evidence,
}

/// Readings before and after the event that the baseline is drawn through, min.
const MARGIN: f64 = 100.0;
/// Shares of a slow ramp that may lie before the edge it stands for.
const PARTS: [f64; 4] = [0.0, 0.25, 0.5, 0.75];
/// Time constants after which a recovery is over (e⁻⁸ is left).
const TAIL: f64 = 8.0;
/// Weight of the likelihood in the choice between candidates that overlap.
const EXPLAINED: f64 = 0.2;

impl Fit {
    /// What decides between candidates that overlap: plausible first, then what explains more.
    pub fn score(&self, set: &Settings) -> f64 {
        set.logit(&self.evidence).min(3.0) + EXPLAINED * self.evidence.against_none
    }

    /// Fitted dip at a time, mg/dL.
    pub fn depth(&self, minute: f64) -> f64 {
        let done = response(minute - self.start, self.fall);
        self.height * (done - response(minute - self.end, self.rise))
    }

    /// Adds the fitted dip back to the readings.
    pub fn subtract(&self, minutes: &[f64], readings: &mut [f64]) {
        let first = minutes.partition_point(|&m| m < self.start);
        let last = minutes.partition_point(|&m| m <= self.end + TAIL * self.rise);
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
    let next = fits.partition_point(|f| f.end + TAIL * f.rise < from);
    fits.get(next).is_some_and(|f| f.start < to)
}

/// Fits a pair; `None` where no dip of the published shape explains enough.
pub(super) fn fit(series: &Series, readings: &[f64], pair: Pair, set: &Settings) -> Option<Fit> {
    let (t0, t1) = (series.minutes[pair.fall], series.minutes[pair.rise]);
    let window = Window::new(series, readings, t0 - MARGIN, t1 + MARGIN);
    let half = 0.5 * series.spacing;
    let (step, reach) = (half.max(2.5), series.spacing.max(5.0));
    let falls = edges(&window, t0 - half, &set.edge_minutes, step, reach);
    let rises = edges(&window, t1 - half, &set.edge_minutes, step, reach);
    let mut fast = Mixture::default();
    let mut best = search(&falls, &rises, set, &mut fast)?;
    if best.evidence.against_none < set.least_gain {
        return None;
    }
    let slow = slow_dip(&window, &best, &falls, &rises, set);
    if half < 1.0 {
        let fine_falls = edges(&window, best.start, &[best.fall], half.max(0.5), 2.0);
        let fine_rises = edges(&window, best.end, &[best.rise], half.max(0.5), 2.0);
        best = search(&fine_falls, &fine_rises, set, &mut Mixture::default()).unwrap_or(best);
    }
    best.height = fast.mean();
    best.evidence.against_slow = fast.log() - slow;
    let inside = series.minutes.partition_point(|&m| m < best.start)
        ..series.minutes.partition_point(|&m| m <= best.end);
    best.evidence.bottom = series.glucose[inside]
        .iter()
        .copied()
        .fold(f64::INFINITY, f64::min);
    best.evidence.spacing = series.spacing;
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

/// The best dip between any fall and any recovery; all of them are added to the mixture.
fn search(falls: &[Column], rises: &[Column], set: &Settings, all: &mut Mixture) -> Option<Fit> {
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
            all.add(against_none, dip.height);
            if best.is_none_or(|b| b.evidence.against_none < against_none) {
                best = Some(Fit {
                    start: fall.begin,
                    end: rise.begin,
                    fall: fall.width,
                    rise: rise.width,
                    height: dip.height,
                    evidence: Evidence {
                        against_none,
                        height_in_errors: dip.height * dip.information.sqrt(),
                        edges: fall.width + rise.width,
                        minutes: length,
                        ..Evidence::default()
                    },
                });
            }
        }
    }
    best
}

/// Log likelihood ratio of what blood glucose can do: a dip with a slow fall, a slow recovery or
/// both, or a slow fall or rise alone, none faster than the fastest.
fn slow_dip(
    window: &Window,
    best: &Fit,
    starts: &[Column],
    ends: &[Column],
    set: &Settings,
) -> f64 {
    let ramps = |at: f64, widths: [f64; 3]| -> Vec<Column> {
        let begins = widths.iter().flat_map(|&w| PARTS.map(|p| (at - p * w, w)));
        begins
            .map(|(begin, w)| window.column(begin, w, ramp))
            .collect()
    };
    let falls = ramps(best.start + best.fall, set.slow_falls);
    let rises = ramps(best.end + best.rise, set.slow_rises);
    let mut alone = Mixture::default();
    let mut dips = Mixture::default();
    let limit = |width: f64| set.fastest / STEEPEST * width;
    let add = |to: &mut Mixture, dip: Dip, most: f64| {
        let height = dip.height.clamp(0.0, most);
        to.add(dip.gain(height), height);
    };
    falls
        .iter()
        .for_each(|c| add(&mut alone, Dip::single(c, -1.0), limit(c.width)));
    rises
        .iter()
        .for_each(|c| add(&mut alone, Dip::single(c, 1.0), limit(c.width)));
    for fall in &falls {
        for rise in &rises {
            add(
                &mut dips,
                Dip::between(fall, rise),
                limit(fall.width.min(rise.width)),
            );
        }
        for rise in ends.iter().filter(|c| c.width == best.rise) {
            add(&mut dips, Dip::between(fall, rise), limit(fall.width));
        }
    }
    for fall in starts.iter().filter(|c| c.width == best.fall) {
        for rise in &rises {
            add(&mut dips, Dip::between(fall, rise), limit(rise.width));
        }
    }
    dips.log().max(alone.log())
}
