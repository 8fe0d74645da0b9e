//! The readings around a candidate, whitened, and shapes fitted to them.

use super::model::{Step, whiten};
use super::scan::Series;

/// A whitened step: begin time and width (time constant or length of the ramp), min.
pub(super) struct Column {
    pub begin: f64,
    pub width: f64,
    /// First index that is not zero.
    from: usize,
    values: Vec<f64>,
    with_readings: f64,
    with_itself: f64,
}

/// A dip fitted by generalised least squares.
#[derive(Clone, Copy)]
pub(super) struct Dip {
    /// Best height, mg/dL; negative for a bump.
    pub height: f64,
    /// Inverse of its variance.
    pub information: f64,
}

impl Dip {
    /// A dip that falls along one column and recovers along another.
    pub fn between(fall: &Column, rise: &Column) -> Self {
        let from = fall.from.max(rise.from);
        let both = dot(&fall.values[from..], &rise.values[from..]);
        let information = (fall.with_itself + rise.with_itself - 2.0 * both).max(1e-9);
        Self {
            height: (rise.with_readings - fall.with_readings) / information,
            information,
        }
    }

    /// A single step: up for `sign` 1, down for −1.
    pub fn single(column: &Column, sign: f64) -> Self {
        let information = column.with_itself.max(1e-9);
        Self {
            height: sign * column.with_readings / information,
            information,
        }
    }

    /// Log Bayes factor against no dip of a dip whose height is normal with this mean and standard
    /// deviation, mg/dL (conjugate prior; Gelman et al. 2013, Bayesian Data Analysis, 2.5, from memory).
    pub fn expected(&self, (mean, sd): (f64, f64)) -> f64 {
        let prior = 1.0 / (sd * sd);
        let sum = self.information + prior;
        let pull = self.information * self.height + prior * mean;
        0.5 * ((prior / sum).ln() + pull * pull / sum - prior * mean * mean)
    }

    /// Log likelihood ratio against no dip of a dip of this height.
    pub fn gain(&self, height: f64) -> f64 {
        self.information * height * (self.height - 0.5 * height)
    }
}

/// Readings around a candidate.
pub(super) struct Window<'a> {
    minutes: &'a [f64],
    steps: Vec<Step>,
    readings: Vec<f64>,
}

impl<'a> Window<'a> {
    /// The window from one time to another, min.
    pub fn new(series: &'a Series, readings: &[f64], from: f64, to: f64) -> Self {
        let lo = series.minutes.partition_point(|&m| m < from);
        let hi = series.minutes.partition_point(|&m| m <= to);
        let minutes = &series.minutes[lo..hi];
        let mut steps = Vec::with_capacity(hi - lo);
        series.noise.model.gains(
            minutes,
            &series.scale[lo..hi],
            &series.white[lo..hi],
            &mut steps,
        );
        let mut whitened = vec![0.0; hi - lo];
        let near = &readings[lo..hi];
        whiten(&steps, 0, |i| near[i] - near[0], &mut whitened);
        Self {
            minutes,
            steps,
            readings: whitened,
        }
    }

    /// A step up at `begin` whose course `shape` gives from minutes since then and the width.
    pub fn column(&self, begin: f64, width: f64, shape: impl Fn(f64, f64) -> f64) -> Column {
        let from = self.minutes.partition_point(|&m| m <= begin);
        let mut values = vec![0.0; self.minutes.len()];
        whiten(
            &self.steps,
            from,
            |i| shape(self.minutes[i] - begin, width),
            &mut values,
        );
        Column {
            begin,
            width,
            from,
            with_readings: dot(&values[from..], &self.readings[from..]),
            with_itself: dot(&values[from..], &values[from..]),
            values,
        }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; 4];
    let (x, y) = (a.chunks_exact(4), b.chunks_exact(4));
    let tail: f64 = x
        .remainder()
        .iter()
        .zip(y.remainder())
        .map(|(p, q)| p * q)
        .sum();
    for (p, q) in x.zip(y) {
        for (lane, (p, q)) in lanes.iter_mut().zip(p.iter().zip(q)) {
            *lane += p * q;
        }
    }
    lanes.iter().sum::<f64>() + tail
}

/// Running log of the mean of exp(gain), and the mean of a value under those weights.
pub(super) struct Mixture {
    most: f64,
    sum: f64,
    weighted: f64,
    count: f64,
}

impl Default for Mixture {
    fn default() -> Self {
        Self {
            most: f64::NEG_INFINITY,
            sum: 0.0,
            weighted: 0.0,
            count: 0.0,
        }
    }
}

impl Mixture {
    /// Adds a member with its log likelihood ratio and its value.
    pub fn add(&mut self, gain: f64, value: f64) {
        self.count += 1.0;
        if gain > self.most {
            let fade = (self.most - gain).exp();
            self.sum = self.sum * fade + 1.0;
            self.weighted = self.weighted * fade + value;
            self.most = gain;
        } else if gain > self.most - NEGLIGIBLE {
            let weight = (gain - self.most).exp();
            self.sum += weight;
            self.weighted += weight * value;
        }
    }

    /// Log likelihood ratio of the mixture.
    pub fn log(&self) -> f64 {
        self.most + (self.sum / self.count).max(f64::MIN_POSITIVE).ln()
    }

    /// Mean value; NaN where no member explained anything.
    pub fn mean(&self) -> f64 {
        self.weighted / self.sum
    }
}

/// Members that much (in log likelihood) below the best add less than 1e-5 of it.
const NEGLIGIBLE: f64 = 12.0;
