//! Sensors that read higher or lower than the fingersticks, and those that come to read otherwise in mid-wear, as one that fails
//! does: what they read is put at the level of the fingersticks before a clock, a date or a wearer is doubted, so that a site's
//! bias or a failing sensor is taken for nothing else.

use whereworn_model::rows::Check;

use crate::meters::bias::robust_mean;
use crate::readings::trace::{Trace, median, middle_and_scatter, minutes};

/// Least fingersticks before and after a change.
const SIDE: usize = 5;

/// Least change that matters, in logarithms, and least standard errors of it: it is looked for at every fingerstick.
const LEAST: f64 = 0.12;
const SURE: f64 = 4.5;

/// Robust standard deviations on either side that are believed, in logarithms: those of a body's own reach 0.108 (see
/// `unfit`), those of somebody else or by another clock are larger.
const LEAST_SCATTER: f64 = 0.06;
const MOST_SCATTER: f64 = 0.13;

/// How many times as much one side may scatter as the other.
const TIMES: f64 = 1.6;

/// Least fingersticks of a sensor whose level is known.
const ENOUGH: usize = 15;

/// How much lower than the fingersticks a sensor reads, in logarithms.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Steps {
    /// At first; 0 where that is not known.
    pub first: f64,
    /// Moments, minutes since 1970, from which on it reads lower than before, and by how much.
    later: Vec<(f64, f64)>,
}

impl Steps {
    /// Those of a sensor by the fingersticks of its wearer.
    pub fn of(trace: &Trace, checks: &[Check]) -> Self {
        let apart = |check: &Check| {
            let at = minutes(check.time);
            Some((at, check.glucose.ln() - trace.beside(at)?))
        };
        let within = trace.times.first().zip(trace.times.last());
        let is_within = |check: &&Check| {
            within.is_some_and(|(from, to)| (*from..=*to).contains(&minutes(check.time)))
        };
        let own: Vec<(f64, f64)> = checks.iter().filter(is_within).filter_map(apart).collect();
        let mut steps = Self::default();
        steps.split(&own);
        steps.later.sort_by(|a, b| a.0.total_cmp(&b.0));
        let rest = own.iter().map(|(at, apart)| apart - steps.at(*at));
        steps.first = level(rest.collect()).unwrap_or(0.0);
        steps
    }

    /// Whether it reads as the fingersticks do all the time, as far as is known.
    pub fn is_none(&self) -> bool {
        self.first == 0.0 && self.later.is_empty()
    }

    /// How much lower it reads at a time.
    pub fn at(&self, time: f64) -> f64 {
        let past = self.later.iter().take_while(|(at, _)| *at <= time);
        self.first + past.map(|(_, by)| by).sum::<f64>()
    }

    /// The trace at the level of the fingersticks.
    pub fn off(&self, trace: &Trace) -> Trace {
        let mut trace = trace.clone();
        for (time, level) in trace.times.iter().zip(&mut trace.levels) {
            *level += self.at(*time) as f32;
        }
        trace
    }

    /// The change between fingersticks, in logarithms off their readings, that explains most, and those before and after it.
    fn split(&mut self, own: &[(f64, f64)]) {
        let splits = SIDE..(own.len() + 1).saturating_sub(SIDE);
        let best = splits.map(|place| (place, off_middles(own, place)));
        let Some((place, _)) = best.min_by(|a, b| a.1.total_cmp(&b.1)) else {
            return;
        };
        let (before, after) = own.split_at(place);
        if let (Some(by), Some((at, _))) = (change(before, after), after.first()) {
            self.later.push((*at, by));
            self.split(before);
            self.split(after);
        }
    }
}

/// The middle of some values that scatter as those of one body and sensor do; `None` of few or others.
fn level(mut values: Vec<f64>) -> Option<f64> {
    let enough = values.len() >= ENOUGH;
    let (middle, scatter) = middle_and_scatter(&mut values).filter(|_| enough)?;
    (scatter <= MOST_SCATTER).then_some(middle)
}

fn values(own: &[(f64, f64)]) -> Vec<f64> {
    own.iter().map(|(_, apart)| *apart).collect()
}

fn scatter(own: &[(f64, f64)]) -> Option<f64> {
    Some(middle_and_scatter(&mut values(own))?.1)
}

/// How far values lie from the middle.
fn off_middle(own: &[(f64, f64)]) -> Vec<f64> {
    let middle = median(&mut values(own)).unwrap_or(0.0);
    own.iter()
        .map(|(_, apart)| (apart - middle).abs())
        .collect()
}

fn off_middles(own: &[(f64, f64)], place: usize) -> f64 {
    let (before, after) = own.split_at(place);
    off_middle(before).iter().chain(&off_middle(after)).sum()
}

/// By how much the later of two runs differs, where that is beyond doubt and both are those of one body and sensor.
fn change(before: &[(f64, f64)], after: &[(f64, f64)]) -> Option<f64> {
    let scatters = [scatter(before)?, scatter(after)?];
    let [least, most] = [scatters[0].min(scatters[1]), scatters[0].max(scatters[1])];
    // One that scatters more from some moment on is of another clock then.
    let is_alike = most <= MOST_SCATTER && most <= TIMES * least.max(LEAST_SCATTER);
    let (n, m) = (before.len() as f64, after.len() as f64);
    let error = most.max(LEAST_SCATTER) * (1.0 / n + 1.0 / m).sqrt();
    let by = robust_mean(&values(after)) - robust_mean(&values(before));
    let told = is_alike && by.abs() >= LEAST.max(SURE * error);
    told.then_some(by)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sensor that shows 100 mg/dL for ten days, and fingersticks every four hours of values by their number.
    fn steps(glucose: fn(usize) -> f64) -> Steps {
        let times: Vec<f64> = (0..2_880).map(|step| f64::from(step) * 5.0).collect();
        let trace = Trace {
            levels: vec![100_f64.ln() as f32; times.len()],
            times,
            spacing: 5.0,
            ..Trace::default()
        };
        let check = |number: usize| Check {
            time: crate::readings::trace::micros(number as f64 * 240.0),
            glucose: glucose(number),
            ..Check::default()
        };
        Steps::of(&trace, &(0..60).map(check).collect::<Vec<Check>>())
    }

    /// By hand: 10 % low from the first day on, and from the fortieth fingerstick, at 9,600 min, 30 % lower than that.
    #[test]
    fn a_sensor_that_fails_is_put_at_its_level() {
        let found = steps(|number| 110.0 * if number < 40 { 1.0 } else { 1.3 });
        assert!((found.first - 1.1_f64.ln()).abs() < 1e-6, "{found:?}");
        assert!((found.at(9_599.0) - found.first).abs() < 1e-12);
        assert!(
            (found.at(9_600.0) - 1.43_f64.ln()).abs() < 1e-6,
            "{found:?}"
        );
    }

    /// Of two changes the larger is found first, and may be the later: 15 % from the tenth fingerstick on, at 2,400 min, and
    /// 80 % more from the fortieth on. The level before the larger one is that of both runs before it, so that it is not exact.
    #[test]
    fn each_of_two_changes_begins_at_its_own_time() {
        let found = steps(|number| match number {
            0..10 => 100.0,
            10..40 => 115.0,
            _ => 207.0,
        });
        for (time, level) in [
            (2_399.0, 1.0_f64),
            (2_400.0, 1.15),
            (9_599.0, 1.15),
            (9_600.0, 2.07),
        ] {
            assert!((found.at(time) - level.ln()).abs() < 0.03, "{found:?}");
        }
    }

    /// Fingersticks that scatter by 40 % from some moment on are of another clock or body: nothing is put right for them.
    #[test]
    fn what_scatters_is_no_level() {
        let found = steps(|number| match (number < 20, number % 2) {
            (true, _) => 100.0,
            (_, 0) => 170.0,
            _ => 110.0,
        });
        assert_eq!(found, Steps::default());
    }
}
