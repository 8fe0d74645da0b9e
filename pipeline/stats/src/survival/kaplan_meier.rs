//! The Kaplan-Meier estimate of survival.

pub use super::interval_scale::IntervalScale;
use super::interval_scale::share_interval;
use super::risk_table::risk_table;
use crate::comparison::{SLACK, at_most};
use crate::interval::Interval;

/// Survival at one time, with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Survival {
    /// Share still free of the event just after the time.
    pub survival: f64,
    /// Greenwood's standard error; 0 where survival is 1, `None` where it is 0.
    pub std_error: Option<f64>,
    /// 95 % interval; `None` where survival is 1 or 0.
    pub interval: Option<Interval>,
}

/// One distinct time at which something ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurvivalPoint {
    /// The time, in the unit of the input.
    pub time: f64,
    /// Subjects under watch just before `time`.
    pub at_risk: usize,
    /// Events at `time`.
    pub events: usize,
    /// Censored at `time`; an event at the same time comes first.
    pub censored: usize,
    /// Cumulative hazard by Nelson and Aalen, Σ d / n.
    pub hazard: f64,
    /// Its standard error, √(Σ d / n²).
    pub hazard_error: f64,
    /// Survival just after `time`.
    pub estimate: Survival,
}

/// A quantile of the time to the event, such as the median.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SurvivalQuantile {
    /// The time, `None` where the curve does not come down that far.
    pub value: Option<f64>,
    /// Lower end of the 95 % interval, where the lower curve comes down that far.
    pub lower: Option<f64>,
    /// Upper end, `None` where the upper curve does not come down that far.
    pub upper: Option<f64>,
}

/// The restricted mean time to the event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestrictedMean {
    /// Area under the survival curve from 0 to the horizon.
    pub mean: f64,
    /// Its standard error.
    pub std_error: f64,
}

/// A fitted Kaplan-Meier curve.
///
/// S(t) is the product over event times up to t of 1 - d/n, its standard error S √(Σ d / (n (n - d))) (Greenwood).
/// Intervals: see [`IntervalScale`]. Sources, from memory: Kaplan and Meier 1958 J Am Stat Assoc 53:457; for the hazard Nelson 1972
/// Technometrics 14:945 and Aalen 1978 Ann Stat 6:701. Checked by `tests/kaplan_meier.rs`.
#[derive(Debug, Clone, PartialEq)]
pub struct KaplanMeier {
    /// The distinct times, in order.
    pub points: Vec<SurvivalPoint>,
}

/// Ends every follow-up at `horizon`: a time beyond it becomes `horizon`, censored.
#[must_use]
pub fn truncate(time: f64, event: bool, horizon: f64) -> (f64, bool) {
    if at_most(time, horizon) {
        (time, event)
    } else {
        (horizon, false)
    }
}

impl KaplanMeier {
    /// Fits the curve. `times` are not negative and have no NaN; `events` is as long as `times`, false = censored.
    #[must_use]
    pub fn fit(times: &[f64], events: &[bool], scale: IntervalScale) -> Self {
        let causes = events.iter().map(|&event| event.then_some(0));
        let mut survival = 1.0;
        let mut variance_sum = 0.0;
        let (mut hazard, mut hazard_variance) = (0.0, 0.0);
        let points = risk_table(times, causes, 1)
            .into_iter()
            .map(|row| {
                let (events, at_risk) = (row.all_events(), row.at_risk as f64);
                let left = at_risk - events as f64;
                hazard += events as f64 / at_risk;
                hazard_variance += events as f64 / (at_risk * at_risk);
                if events > 0 {
                    survival *= left / at_risk;
                    variance_sum += events as f64 / (at_risk * left);
                }
                SurvivalPoint {
                    time: row.time,
                    at_risk: row.at_risk,
                    events,
                    censored: row.censored,
                    hazard,
                    hazard_error: hazard_variance.sqrt(),
                    estimate: with_uncertainty(survival, variance_sum, scale),
                }
            })
            .collect();
        Self { points }
    }

    /// Survival at `time`; `None` without subjects, or past the last follow-up of a curve that has not reached 0.
    #[must_use]
    pub fn at(&self, time: f64) -> Option<Survival> {
        let last = self.points.last()?;
        if last.estimate.survival > 0.0 && !at_most(time, last.time) {
            return None;
        }
        let start = with_uncertainty(1.0, 0.0, IntervalScale::LogLog);
        Some(
            self.points_until(time)
                .last()
                .map_or(start, |point| point.estimate),
        )
    }

    /// The time by which a share `p` has had the event, with the interval from the lower and upper curves.
    ///
    /// R's rule: the first time at which S <= 1 - p; where S equals 1 - p on a step (up to a relative 1e-9), the
    /// middle of that step, and of a last step that never falls, the middle up to the last follow-up.
    #[must_use]
    pub fn quantile(&self, p: f64) -> SurvivalQuantile {
        let end = |pick: fn(&Interval) -> f64| {
            self.crossing(1.0 - p, |estimate| estimate.interval.as_ref().map(pick))
        };
        SurvivalQuantile {
            value: self.crossing(1.0 - p, |estimate| Some(estimate.survival)),
            lower: end(|interval| interval.lower),
            upper: end(|interval| interval.upper),
        }
    }

    /// The median time to the event: [`Self::quantile`] of one half.
    #[must_use]
    pub fn median(&self) -> SurvivalQuantile {
        self.quantile(0.5)
    }

    /// The mean time to the event, or to `horizon` where that comes first; `None` without subjects.
    ///
    /// Area under S from 0 to `horizon`, the curve carried forward past the last follow-up; variance
    /// Σ A² d / (n (n - d)) over event times, A the area from that time to `horizon`.
    #[must_use]
    pub fn restricted_mean(&self, horizon: f64) -> Option<RestrictedMean> {
        self.points.first()?;
        let (mut mean, mut variance) = (0.0, 0.0);
        let mut next_time = horizon;
        for point in self.points_until(horizon).iter().rev() {
            let time = point.time.min(horizon);
            mean += point.estimate.survival * (next_time - time);
            let (events, at_risk) = (point.events as f64, point.at_risk as f64);
            if point.events > 0 && point.events < point.at_risk {
                variance += mean * mean * events / (at_risk * (at_risk - events));
            }
            next_time = time;
        }
        Some(RestrictedMean {
            mean: mean + next_time,
            std_error: variance.sqrt(),
        })
    }

    fn points_until(&self, time: f64) -> &[SurvivalPoint] {
        let count = self
            .points
            .partition_point(|point| at_most(point.time, time));
        &self.points[..count]
    }

    fn crossing(&self, level: f64, curve: impl Fn(&Survival) -> Option<f64>) -> Option<f64> {
        let slack = SLACK * level;
        let height = |point: &SurvivalPoint| curve(&point.estimate);
        let down_to = |limit: f64| {
            self.points
                .iter()
                .find(|point| height(point).is_some_and(|value| value <= limit))
        };
        let first = down_to(level + slack)?;
        if height(first)? < level - slack {
            return Some(first.time);
        }
        let step_end = down_to(level - slack).or(self.points.last())?;
        Some(0.5 * (first.time + step_end.time))
    }
}

fn with_uncertainty(survival: f64, variance_sum: f64, scale: IntervalScale) -> Survival {
    if survival <= 0.0 {
        return Survival {
            survival: 0.0,
            std_error: None,
            interval: None,
        };
    }
    let std_error = survival * variance_sum.sqrt();
    Survival {
        survival,
        std_error: Some(std_error),
        interval: share_interval(survival, std_error, scale),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(times: &[f64], events: &[bool]) -> KaplanMeier {
        KaplanMeier::fit(times, events, IntervalScale::LogLog)
    }

    #[test]
    fn nobody_has_no_curve() {
        let curve = fit(&[], &[]);
        assert_eq!(curve.at(0.0), None);
        assert_eq!(curve.restricted_mean(7.0), None);
        assert_eq!(curve.median(), SurvivalQuantile::default());
    }

    /// By hand: S falls to 2/3 at day 2 and stays; area to 14 is 2 + 12 · 2/3.
    #[test]
    fn carried_forward_in_the_mean_but_not_in_the_curve() {
        let curve = fit(&[2.0, 5.0, 9.0], &[true, false, false]);
        assert_eq!(curve.at(1.9).unwrap().survival, 1.0);
        assert_eq!(curve.at(9.0).unwrap().survival, 2.0 / 3.0);
        assert_eq!(curve.at(9.1), None);
        assert!((curve.restricted_mean(14.0).unwrap().mean - 10.0).abs() < 1e-12);
    }

    #[test]
    fn a_curve_at_zero_stays_known() {
        let curve = fit(&[2.0, 3.0], &[true, true]);
        let late = curve.at(100.0).unwrap();
        assert_eq!(
            (late.survival, late.std_error, late.interval),
            (0.0, None, None)
        );
    }

    #[test]
    fn truncation_keeps_an_event_exactly_at_the_horizon() {
        assert_eq!(truncate(14.0, true, 14.0), (14.0, true));
        assert_eq!(truncate(14.1, true, 14.0), (14.0, false));
        assert_eq!(truncate(3.0, false, 14.0), (3.0, false));
    }
}
