//! Evidence that two sites have different rates of night artefacts, which may be looked at again and again.
//!
//! Built like [`crate::mixed::evidence`], from whole sensors, so that artefacts may cluster in a sensor as they like.

use super::heterogeneity::{ExposedUnit, rate_test};
use crate::comparison::at_most;
use crate::survival::evidence::{Look, PAYOFF, SCHEDULE};
use std::collections::BTreeMap;

/// The rate ratio that the likelihood ratio is built for, in either direction.
pub const RATE_RATIO: f64 = 2.0;

/// A sensor that has ended.
#[derive(Debug, Clone, PartialEq)]
pub struct NightlySensor {
    /// Its site, 0 or 1.
    pub group: usize,
    /// Its wearer, any number.
    pub stratum: usize,
    /// When it ended, in any unit.
    pub ended: f64,
    /// Events in each of its nights, in order.
    pub nights: Vec<f64>,
}

/// The logarithm of the e-value of matched sensors.
///
/// Within a stratum the first sensor of one group to end is matched with the first of the other, and so on. Of both only
/// as many first nights count as the shorter one has, so that without a difference it is even odds which of the two had
/// which number of events, however they cluster. With x events in the second group's sensor and y in the first's a pair
/// multiplies the evidence by 2 / (1 + h^(y - x)), the likelihood of a rate ratio h given both numbers over one half.
/// The result is the mean over h = [`RATE_RATIO`] and its inverse. `None` without a matched pair that has a night.
/// Source: the conditional test of two Poisson counts (Przyborowski and Wilenski 1940 Biometrika 31:313) made a product
/// of exchangeable pairs. Checked by `tests/evidence_rates.rs`.
#[must_use]
pub fn safe_pairs(sensors: &[NightlySensor]) -> Option<f64> {
    let mut strata = BTreeMap::<usize, [Vec<&NightlySensor>; 2]>::new();
    for sensor in sensors {
        if sensor.group < 2 && !sensor.nights.is_empty() {
            strata.entry(sensor.stratum).or_default()[sensor.group].push(sensor);
        }
    }
    let mut gaps = Vec::new();
    for groups in strata.values_mut() {
        for group in groups.iter_mut() {
            group.sort_by(|a, b| a.ended.total_cmp(&b.ended));
        }
        for (one, two) in groups[0].iter().zip(&groups[1]) {
            let nights = one.nights.len().min(two.nights.len());
            let events = |sensor: &NightlySensor| sensor.nights[..nights].iter().sum::<f64>();
            gaps.push(events(two) - events(one));
        }
    }
    if gaps.is_empty() {
        return None;
    }
    let of = |log_ratio: f64| -> f64 {
        let pair = |gap: &f64| (2.0 / (1.0 + (-log_ratio * gap).exp())).ln();
        gaps.iter().map(pair).sum()
    };
    let (up, down) = (of(RATE_RATIO.ln()), of(-RATE_RATIO.ln()));
    Some(up.max(down) + (0.5 * (1.0 + (-(up - down).abs()).exp())).ln())
}

/// The evidence of one look at all sensors that have ended, `month` counted from 1; the permutation test is that of
/// [`rate_test`], seeded.
#[must_use]
pub fn look(sensors: &[NightlySensor], month: u32, seed: u64) -> Look {
    let share = SCHEDULE
        .iter()
        .find(|(at, _)| *at == month)
        .map(|due| due.1);
    let test = share.and_then(|_| {
        let unit = |sensor: &NightlySensor| ExposedUnit {
            group: sensor.group,
            stratum: sensor.stratum,
            events: sensor.nights.iter().sum(),
            exposure: sensor.nights.len() as f64,
        };
        let units: Vec<ExposedUnit> = sensors.iter().map(unit).collect();
        Some(rate_test(&units, seed)?.permutation?.p)
    });
    let pays = test.zip(share).is_some_and(|(p, share)| at_most(p, share));
    Look {
        log_e_likelihood: safe_pairs(sensors).unwrap_or(0.0),
        payoff: if pays { PAYOFF } else { 0.0 },
        p: test,
    }
}
