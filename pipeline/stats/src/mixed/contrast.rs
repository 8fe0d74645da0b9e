//! Tests of fixed effects with Satterthwaite's degrees of freedom.

use super::model::MixedModel;
use crate::distributions::{f_upper_tail, t_quantile, t_two_sided};
use crate::interval::Interval;
use crate::linear::Square;

/// A combination of fixed effects and its test against 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contrast {
    /// Σ weight · effect.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// 95 % interval by t.
    pub interval: Interval,
    /// Two-sided p of no difference.
    pub p: f64,
}

impl Contrast {
    /// Interval and p by t. Nothing speaks against 0 where both the estimate and its error are 0.
    pub(super) fn by_t(estimate: f64, std_error: f64, df: f64) -> Self {
        let certain = estimate == 0.0 && std_error == 0.0;
        Self {
            estimate,
            std_error,
            df,
            interval: Interval::around(estimate, t_quantile(0.975, df) * std_error),
            p: if certain {
                1.0
            } else {
                t_two_sided(estimate / std_error, df)
            },
        }
    }
}

/// Several combinations against 0 at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaldTest {
    /// F.
    pub f: f64,
    /// Number of combinations.
    pub df_numerator: f64,
    /// Degrees of freedom of the denominator.
    pub df_denominator: f64,
    /// p of no difference.
    pub p: f64,
}

/// How the variances of the fixed effects move with the variance parameters.
pub(super) struct Sensitivity {
    /// Covariance of the parameters: ln of the residual variance, then each relative standard deviation above 0.
    parameters: Square,
    /// Derivative of the covariance of the fixed effects in each of them.
    slopes: Vec<Square>,
}

impl MixedModel {
    /// A combination of effects, t with Satterthwaite's degrees of freedom, held to 1 to `most`.
    ///
    /// df = 2 V² / Var(V), V the variance of the combination and Var(V) by the delta method from the observed REML
    /// information, derivatives by central differences; a variance estimated as 0 is held there. Sources, from memory: Satterthwaite
    /// 1946 Biometrics Bull 2:110; Kuznetsova et al. 2017 J Stat Softw 82(13). Checked by `tests/mixed_model.rs`.
    #[must_use]
    pub fn contrast(&self, weights: &[f64], most: f64) -> Contrast {
        let df = self
            .sensitivity()
            .df(self, weights)
            .clamp(1.0, most.max(1.0));
        let estimate = self.combination(weights);
        let std_error = self.variance_of(weights).sqrt();
        Contrast::by_t(estimate, std_error, df)
    }

    /// All combinations against 0 by F; `None` where they are not independent of each other.
    ///
    /// The covariance of the combinations is turned to independent ones, each with its own degrees of freedom ν (held to
    /// 1 to `most`); F = Σ t² / q, and the denominator 2 E / (E - q) with E = Σ ν / (ν - 2), or the smallest ν where one
    /// is 2 or less. Source, from memory: Kuznetsova et al. 2017 J Stat Softw 82(13), section 2.2. Checked by `tests/mixed_model.rs`.
    #[must_use]
    pub fn wald(&self, combinations: &[Vec<f64>], most: f64) -> Option<WaldTest> {
        let q = combinations.len();
        let mut covariance = Square::zero(q);
        for i in 0..q {
            for j in 0..q {
                *covariance.at_mut(i, j) = self.covariance.form(&combinations[i], &combinations[j]);
            }
        }
        let (values, vectors) = covariance.eigen();
        let largest = values.iter().fold(0.0_f64, |a, b| a.max(*b));
        if q == 0 || values.iter().any(|value| *value <= 1e-10 * largest) {
            return None;
        }
        let sensitivity = self.sensitivity();
        let (mut f, mut dfs) = (0.0, Vec::with_capacity(q));
        for (i, value) in values.iter().enumerate() {
            let weights: Vec<f64> = (0..self.effects.len())
                .map(|effect| {
                    (0..q)
                        .map(|j| vectors.at(i, j) * combinations[j][effect])
                        .sum()
                })
                .collect();
            f += self.combination(&weights).powi(2) / value / q as f64;
            dfs.push(sensitivity.df(self, &weights).clamp(1.0, most.max(1.0)));
        }
        let df_denominator = joined(&dfs);
        Some(WaldTest {
            f,
            df_numerator: q as f64,
            df_denominator,
            p: f_upper_tail(f, q as f64, df_denominator),
        })
    }

    fn sensitivity(&self) -> Sensitivity {
        let free: Vec<usize> = (0..self.theta.len())
            .filter(|&k| self.theta[k] != 0.0)
            .collect();
        let df = self.data.count - self.data.effects as f64;
        let step = |k: usize| 2e-3 * self.theta[k];
        let at = |moves: &[(usize, f64)]| {
            let mut theta = self.theta.clone();
            for &(k, by) in moves {
                theta[k] += by;
            }
            self.data.profile(&theta, self.terms)
        };
        // The deviance with the residual variance held.
        let deviance = |moves: &[(usize, f64)]| {
            at(moves).map_or(f64::NAN, |profile| {
                profile.squares / self.residual_variance + profile.log_determinants
            })
        };
        let size = free.len() + 1;
        let mut information = Square::zero(size);
        *information.at_mut(0, 0) = df;
        let mut slopes = vec![self.covariance.clone()];
        let here = deviance(&[]);
        for (a, &k) in free.iter().enumerate() {
            let h = step(k);
            let (up, down) = (at(&[(k, h)]), at(&[(k, -h)]));
            let (Some(up), Some(down)) = (up, down) else {
                continue;
            };
            let cross = -(up.squares - down.squares) / (2.0 * h) / self.residual_variance;
            *information.at_mut(0, a + 1) = cross;
            *information.at_mut(a + 1, 0) = cross;
            let mut slope = up.unscaled.clone();
            for (cell, down) in slope.cells.iter_mut().zip(&down.unscaled.cells) {
                *cell = (*cell - down) / (2.0 * h) * self.residual_variance;
            }
            slopes.push(slope);
            let bend = (deviance(&[(k, h)]) - 2.0 * here + deviance(&[(k, -h)])) / (h * h);
            *information.at_mut(a + 1, a + 1) = bend;
            for (b, &l) in free.iter().enumerate().take(a) {
                let g = step(l);
                let corner = |s: f64, t: f64| deviance(&[(k, s * h), (l, t * g)]);
                let both =
                    corner(1.0, 1.0) - corner(1.0, -1.0) - corner(-1.0, 1.0) + corner(-1.0, -1.0);
                *information.at_mut(a + 1, b + 1) = both / (4.0 * h * g);
                *information.at_mut(b + 1, a + 1) = both / (4.0 * h * g);
            }
        }
        Sensitivity {
            parameters: twice_inverse(&information),
            slopes,
        }
    }
}

/// 2 H⁻¹; where H is not positive definite, only the residual variance is taken as uncertain.
fn twice_inverse(information: &Square) -> Square {
    let mut inverse = match information.cholesky(0.0) {
        Some(factor) => factor.inverse_of_product(),
        None => {
            let mut only = Square::zero(information.size);
            *only.at_mut(0, 0) = 1.0 / information.at(0, 0);
            only
        }
    };
    for cell in &mut inverse.cells {
        *cell *= 2.0;
    }
    inverse
}

impl Sensitivity {
    fn df(&self, model: &MixedModel, weights: &[f64]) -> f64 {
        let variance = model.variance_of(weights);
        let gradient: Vec<f64> = self
            .slopes
            .iter()
            .map(|slope| slope.form(weights, weights))
            .collect();
        2.0 * variance * variance / self.parameters.form(&gradient, &gradient)
    }
}

/// One denominator for independent t tests with these degrees of freedom.
fn joined(dfs: &[f64]) -> f64 {
    let least = dfs.iter().copied().fold(f64::INFINITY, f64::min);
    if least <= 2.0 {
        return least;
    }
    let expected: f64 = dfs.iter().map(|df| df / (df - 2.0)).sum();
    2.0 * expected / (expected - dfs.len() as f64)
}
