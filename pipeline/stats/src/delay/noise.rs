//! The sensor's own noise, told from what a local cubic leaves over.
//!
//! Noise is taken relative to glucose, as a sum of independent parts that are correlated as exp(-|t - u| / minutes), one
//! for each of a few correlation times. What is unknown is the variance of each part.

use super::local_trend::LocalTrend;
use super::matrix::{Matrix, dot, form, product, project, trace_of_product, whiten};

/// How many correlation times are weighed against each other.
const CANDIDATES: usize = 7;

/// Correlation times of the noise, minutes; 0 is white noise.
const CORRELATION_MINUTES: [f64; CANDIDATES] = [0.0, 3.0, 5.0, 10.0, 15.0, 25.0, 40.0];

/// How many moments of the residuals are matched.
const MOMENTS: usize = 4;

/// The moments are r'Wr, with W the correlation at these of the times: 0, 5, 15 and 40 minutes.
const WEIGHTS: [usize; MOMENTS] = [0, 2, 4, 6];

/// The time for which the moments are weighted best: 10 minutes.
const REFERENCE: usize = 3;

/// One number for each of the correlation times.
pub(super) type PerCandidate = [f64; CANDIDATES];

/// What the fits of one or more sensors say of the noise. All of it adds up over fits and sensors.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct NoiseSums {
    /// r'Wr of the relative residuals r.
    observed: [f64; MOMENTS],
    /// What it is expected to be for noise of variance 1 and correlation R: tr M R M W, M the projection off the cubics.
    expected: [[f64; MOMENTS]; CANDIDATES],
    /// Covariance of the moments for the reference noise, up to a factor: tr W M R M W' M R M.
    covariance: [[f64; MOMENTS]; MOMENTS],
}

impl NoiseSums {
    /// The sums of one fit, with the correlations of its readings.
    pub fn new(trend: &LocalTrend, correlations: &Correlations) -> Self {
        let relative: Vec<f64> = trend.residuals.iter().map(|r| r / trend.level).collect();
        let weights = WEIGHTS.map(|c| &correlations.0[c]);
        let left_over: [Matrix; CANDIDATES] =
            std::array::from_fn(|c| project(&correlations.0[c], &trend.basis));
        let products = weights.map(|weight| product(weight, &left_over[REFERENCE]));
        Self {
            observed: weights.map(|weight| form(&relative, weight, &relative)),
            expected: std::array::from_fn(|c| {
                weights.map(|weight| trace_of_product(&left_over[c], weight))
            }),
            covariance: std::array::from_fn(|m| {
                std::array::from_fn(|n| trace_of_product(&products[m], &products[n]))
            }),
        }
    }

    /// Adds another fit or sensor.
    pub fn add(&mut self, other: &Self) {
        let sums = self
            .expected
            .iter_mut()
            .chain(&mut self.covariance)
            .chain([&mut self.observed]);
        let more = other
            .expected
            .iter()
            .chain(&other.covariance)
            .chain([&other.observed]);
        for (sum, more) in sums.flatten().zip(more.flatten()) {
            *sum += more;
        }
    }

    /// Variance of each part, by the generalised method of moments: of all mixes of two parts with variances of at least
    /// 0, the one whose expected moments come closest to the observed ones, as their covariance counts.
    pub fn variances(&self) -> PerCandidate {
        let mut expected = self.expected;
        let mut observed = [self.observed];
        whiten(&self.covariance, &mut expected);
        whiten(&self.covariance, &mut observed);
        let mut best = ([0.0; CANDIDATES], dot(&observed[0], &observed[0]));
        for one in 0..CANDIDATES {
            for other in 0..CANDIDATES {
                let (x, y) = two_parts(&expected[one], &expected[other], &observed[0]);
                let off: f64 = (0..MOMENTS)
                    .map(|m| {
                        (observed[0][m] - x * expected[one][m] - y * expected[other][m]).powi(2)
                    })
                    .sum();
                if x >= 0.0 && y >= 0.0 && off < best.1 {
                    best = ([0.0; CANDIDATES], off);
                    best.0[one] += x;
                    best.0[other] += y;
                }
            }
        }
        best.0
    }
}

/// Least squares of `target` on `a` and `b`; on `a` alone where they are the same.
fn two_parts(a: &[f64; MOMENTS], b: &[f64; MOMENTS], target: &[f64; MOMENTS]) -> (f64, f64) {
    let (aa, ab, bb) = (dot(a, a), dot(a, b), dot(b, b));
    let (at, bt) = (dot(a, target), dot(b, target));
    let determinant = aa * bb - ab * ab;
    if determinant <= 1e-12 * aa * bb {
        (at / aa, 0.0)
    } else {
        (
            (at * bb - bt * ab) / determinant,
            (bt * aa - at * ab) / determinant,
        )
    }
}

/// What noise of relative variance 1 does to one fit, for each correlation time.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct TrendError {
    /// Variance of the relative slope.
    pub slope_variance: PerCandidate,
    /// Covariance of relative level and relative slope.
    pub covariance: PerCandidate,
}

impl TrendError {
    /// The errors of one fit, with the correlations of its readings.
    pub fn new(trend: &LocalTrend, correlations: &Correlations) -> Self {
        let of = |a: &[f64], b: &[f64]| std::array::from_fn(|c| form(a, &correlations.0[c], b));
        Self {
            slope_variance: of(&trend.slope_weights, &trend.slope_weights),
            covariance: of(&trend.level_weights, &trend.slope_weights),
        }
    }
}

/// Correlations of the readings of one fit with each other, for each correlation time.
pub(super) struct Correlations([Matrix; CANDIDATES]);

impl Correlations {
    pub fn new(trend: &LocalTrend) -> Self {
        let minutes = &trend.minutes;
        Self(CORRELATION_MINUTES.map(|time| {
            let of = |gap: f64| match (gap == 0.0, time == 0.0) {
                (true, _) => 1.0,
                (false, true) => 0.0,
                (false, false) => (-gap / time).exp(),
            };
            minutes
                .iter()
                .map(|t| minutes.iter().map(|u| of((t - u).abs())).collect())
                .collect()
        }))
    }
}
