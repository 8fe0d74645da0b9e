//! How far the clocks of two sensors worn at once lie apart.
//!
//! Both follow the same blood, so one trace moved along the other fits best where the clocks agree, delays aside. The
//! scatter of the difference is taken within quarters of a day, so that neither gains nor drifts matter.

use crate::clocks::lag::{LAGS, REACH, STEP, value};
use crate::log::Session;
use crate::readings::trace::Trace;

/// Least hours in common.
const HOURS: f64 = 24.0;

/// Minutes between the times at which traces are compared.
const EVERY: f64 = 15.0;

/// The noise of a sensor lasts about so many minutes: a comparison in that time tells as much as one.
const MEMORY: f64 = 45.0;

/// A block whose mean difference is taken off, minutes.
const BLOCK: f64 = 360.0;

/// No lag is less likely than this, whatever the traces say: they may have been disturbed.
const FLOOR: f64 = -25.0;

/// Two sensors worn at once.
#[derive(Clone, Debug)]
pub(crate) struct Pair {
    /// One, a position among the wearer's sensors.
    pub first: usize,
    /// The other.
    pub second: usize,
    /// Log-likelihood of each lag of the first behind the second, by position in the grid, 0 at its top.
    pub profile: Vec<f64>,
}

impl Pair {
    /// Log-likelihood of the lag of one of the two behind the other, in steps.
    pub fn lag_of(&self, sensor: usize, steps: i32) -> f64 {
        value(
            &self.profile,
            if sensor == self.first { steps } else { -steps },
        )
    }

    /// The other of the two.
    pub fn other(&self, sensor: usize) -> Option<usize> {
        match sensor {
            one if one == self.first => Some(self.second),
            one if one == self.second => Some(self.first),
            _ => None,
        }
    }
}

/// All pairs of sensors with a day and more in common.
pub(crate) fn pairs(sessions: &[&Session], traces: &[&Trace]) -> Vec<Pair> {
    let mut pairs = Vec::new();
    let spans: Vec<Option<(f64, f64)>> = traces
        .iter()
        .map(|trace| {
            trace
                .times
                .first()
                .copied()
                .zip(trace.times.last().copied())
        })
        .collect();
    for (second, (trace, span)) in traces.iter().zip(&spans).enumerate() {
        let Some((from, to)) = span else {
            continue;
        };
        for (first, (other, others)) in traces.iter().zip(&spans).enumerate().take(second) {
            let Some((begin, end)) = others.map(|(a, b)| (a.max(*from), b.min(*to))) else {
                continue;
            };
            if end - begin >= 60.0 * HOURS && sessions.len() == traces.len() {
                let profile = profile(other, trace, begin, end);
                pairs.extend(profile.map(|profile| Pair {
                    first,
                    second,
                    profile,
                }));
            }
        }
    }
    pairs
}

/// Log-likelihood of each lag of one trace behind another.
fn profile(first: &Trace, second: &Trace, begin: f64, end: f64) -> Option<Vec<f64>> {
    let offsets: Vec<f64> = (-REACH..=REACH).map(|lag| f64::from(lag) * STEP).collect();
    let (mut row, mut here) = (Vec::with_capacity(LAGS), Vec::with_capacity(1));
    // Within the block: number, sum and sum of squares; over all blocks: number and squares around the means.
    let mut block = vec![(0.0, 0.0, 0.0); LAGS];
    let mut all = vec![(0.0, 0.0); LAGS];
    let (mut at, mut wanted, mut until) = (begin, 0.0, begin + BLOCK);
    let end_block = |block: &mut Vec<(f64, f64, f64)>, all: &mut Vec<(f64, f64)>| {
        for (block, all) in block.iter_mut().zip(all) {
            if block.0 >= 6.0 {
                all.0 += block.0 - 1.0;
                all.1 += block.2 - block.1 * block.1 / block.0;
            }
            *block = (0.0, 0.0, 0.0);
        }
    };
    while at <= end {
        if at >= until {
            end_block(&mut block, &mut all);
            until += BLOCK;
        }
        second.around(at, &[0.0], &mut here);
        if let Some(level) = here.first().copied().filter(|level| !level.is_nan()) {
            wanted += 1.0;
            first.around(at, &offsets, &mut row);
            for (reading, block) in row.iter().zip(&mut block) {
                if !reading.is_nan() {
                    // What is far off is a night artefact or a fall of one sensor's signal.
                    let off = f64::from(reading - level).clamp(-1.0, 1.0);
                    *block = (block.0 + 1.0, block.1 + off, block.2 + off * off);
                }
            }
        }
        at += EVERY;
    }
    end_block(&mut block, &mut all);
    if wanted * EVERY < 60.0 * HOURS {
        return None;
    }
    let most = all.iter().map(|(count, _)| *count).fold(0.0, f64::max);
    let independent = most * EVERY / MEMORY;
    let mut profile: Vec<f64> = all
        .iter()
        .map(|(count, squares)| {
            if *count < 0.5 * most {
                return f64::NEG_INFINITY;
            }
            // Not surer than a noise of 4 % allows.
            -independent / 2.0 * (squares / count + 0.0016).ln()
        })
        .collect();
    let top = profile.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return None;
    }
    profile
        .iter_mut()
        .for_each(|value| *value = (*value - top).max(FLOOR));
    Some(profile)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reading every 5 min for ten days, some minutes late; of quarters of an hour two in five are missing.
    fn trace(late: f64, seed: i64) -> Trace {
        let has = |quarter: i64| (quarter * quarter * 7 + quarter * seed * 13) % 101 % 5 > 1;
        let minutes = (0..14_400).step_by(5);
        let times: Vec<f64> = minutes
            .filter(|minute| has(minute / 15))
            .map(|minute| minute as f64)
            .collect();
        let wave = |minute: f64, period: f64| (minute / period * std::f64::consts::TAU).sin();
        let level = |minute: &f64| {
            let minute = minute - late;
            (5.0 + 0.2 * wave(minute, 233.0) + 0.1 * wave(minute, 97.0)) as f32
        };
        Trace {
            levels: times.iter().map(level).collect(),
            times,
            spacing: 5.0,
            breaks: Vec::new(),
        }
    }

    /// Few comparisons have readings of both then, at any lag: the true one is not impossible for that.
    #[test]
    fn what_is_missing_leaves_the_lag_where_it_is() {
        for seed in 1..9 {
            let (first, second) = (trace(15.0, seed), trace(5.0, seed + 9));
            let profile = profile(&first, &second, 0.0, 14_400.0).unwrap();
            let lag = crate::clocks::lag::highest(&profile, -REACH..=REACH).0;
            assert!((lag - 4).abs() <= 3, "{seed}: {lag}");
        }
    }
}
