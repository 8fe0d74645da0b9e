//! Steps in which readings are written, where they are coarse.

use crate::quantile::quantile_of_sorted;

/// Minutes of readings that are looked at together, and least of them, and of their values, that tell a step.
const BLOCK: f64 = 1440.0;
const ENOUGH: usize = 24;
const VALUES: usize = 3;

/// Steps from here on are coarse, mg/dL: whole mg/dL and mmol/L with one decimal are not, and steps of 5 do no harm.
const COARSE: f64 = 7.0;

/// The step in which each reading is written, mg/dL; 0 where it is as fine as a sensor is.
///
/// Of the readings of a day it is the lower quartile of the distances between neighbouring values: in readings of 5 min
/// nearly every value between the lowest and the highest comes up. A part of a day too short to tell has the step of the day
/// before. Checked by `tests/coarse_nights.rs`.
#[must_use]
pub fn steps(minutes: &[f64], glucose: &[f64]) -> Vec<f64> {
    let mut steps = Vec::with_capacity(glucose.len());
    let mut known = None;
    let mut rest = glucose;
    let mut times = minutes;
    while let Some(begin) = times.first() {
        let count = times.partition_point(|at| at - begin < BLOCK);
        let (block, later) = rest.split_at(count.min(rest.len()));
        known = step(block).or(known);
        steps.extend(std::iter::repeat_n(known.unwrap_or(0.0), block.len()));
        rest = later;
        times = times.get(count..).unwrap_or_default();
    }
    steps
}

/// The step of some readings: 0 where it is fine, `None` where they do not tell.
fn step(glucose: &[f64]) -> Option<f64> {
    if glucose.len() < ENOUGH {
        return None;
    }
    let mut values = glucose.to_vec();
    values.sort_unstable_by(f64::total_cmp);
    values.dedup_by(|a, b| (*a - *b).abs() < 0.01);
    if values.len() < VALUES {
        return None;
    }
    let mut apart: Vec<f64> = values.windows(2).map(|two| two[1] - two[0]).collect();
    apart.sort_unstable_by(f64::total_cmp);
    let step = quantile_of_sorted(&apart, 0.25)?;
    Some(if step < COARSE { 0.0 } else { step })
}
