//! Linear mixed models: fixed effects, a random intercept and maybe slope per inner group (sensor), and a random
//! intercept per outer group (wearer), which may hold inner groups or cross them.

use super::cross_products::CrossProducts;
use crate::linear::{Square, dot};
use crate::minimise::{minimise, polish};

/// A value, or the mean of several that share groups and fixed effects.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Values of the fixed effects; the first is usually 1.
    pub fixed: Vec<f64>,
    /// The value, or the mean.
    pub value: f64,
    /// How many values it stands for.
    pub count: f64,
    /// Sum of their squares about the mean; 0 for one.
    pub squares: f64,
    /// Inner group, any number.
    pub inner: usize,
    /// What the random slope multiplies; unused without one.
    pub slope: f64,
    /// Outer group, any number; unused without that term.
    pub outer: usize,
}

impl Row {
    /// One value with its fixed effects and groups.
    #[must_use]
    pub fn new(fixed: Vec<f64>, value: f64, inner: usize, outer: usize) -> Self {
        Self {
            fixed,
            value,
            count: 1.0,
            squares: 0.0,
            inner,
            slope: 0.0,
            outer,
        }
    }
}

/// Which random effects there are besides the intercept per inner group.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RandomTerms {
    /// A slope per inner group, correlated with its intercept.
    pub slope: bool,
    /// An intercept per outer group.
    pub outer: bool,
}

/// A fitted model.
#[derive(Debug, Clone)]
pub struct MixedModel {
    pub(super) data: CrossProducts,
    pub(super) terms: RandomTerms,
    /// Relative standard deviations: the Cholesky factor of the inner covariance over the residual variance (1 or 3
    /// numbers), then that of the outer intercepts.
    pub(super) theta: Vec<f64>,
    /// Estimates of the fixed effects.
    pub effects: Vec<f64>,
    pub(super) covariance: Square,
    /// Residual variance.
    pub residual_variance: f64,
    /// -2 × the restricted log likelihood, the constant included.
    pub criterion: f64,
}

/// The parts of the likelihood at one set of relative standard deviations.
pub(super) struct Profile {
    pub effects: Vec<f64>,
    /// Inverse of X' V⁻¹ X, V the covariance over the residual variance.
    pub unscaled: Square,
    /// Generalised residual sum of squares.
    pub squares: f64,
    /// ln |V| + ln |X' V⁻¹ X|.
    pub log_determinants: f64,
}

/// Why a model could not be fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// Fixed effects that cannot be told apart in these data.
    NotTellable,
    /// No values left over for the residual variance.
    TooFewValues,
}

/// Fits fixed effects, an intercept per inner group and what `terms` add, by restricted maximum likelihood.
///
/// value = fixed' effects + inner intercept (+ slope · inner slope) (+ outer intercept) + residual, all normal. The
/// likelihood is profiled over the relative standard deviations, which a simplex search and Newton's steps find; one whose
/// absence costs nothing is 0. Sensors are eliminated one by one and wearers together, so that thousands of sensors are cheap.
///
/// # Errors
/// [`Refusal`]: fixed effects that are a combination of others, or no more values than fixed effects.
///
/// Source: Bates et al. 2015 J Stat Softw 67(1), sections 3.2 to 3.5. Checked by `tests/mixed_model.rs`.
pub fn mixed_model(rows: &[Row], terms: RandomTerms) -> Result<MixedModel, Refusal> {
    let data = CrossProducts::new(rows, terms);
    if data.count <= data.effects as f64 {
        return Err(Refusal::TooFewValues);
    }
    data.check_rank().ok_or(Refusal::NotTellable)?;
    let theta = data.least(terms).ok_or(Refusal::NotTellable)?;
    let profile = data.profile(&theta, terms).ok_or(Refusal::NotTellable)?;
    let df = data.count - data.effects as f64;
    let residual_variance = profile.squares / df;
    let mut covariance = profile.unscaled.clone();
    for cell in &mut covariance.cells {
        *cell *= residual_variance;
    }
    Ok(MixedModel {
        criterion: criterion(&profile, df),
        effects: profile.effects,
        covariance,
        residual_variance,
        data,
        terms,
        theta,
    })
}

fn criterion(profile: &Profile, df: f64) -> f64 {
    let scale = 2.0 * std::f64::consts::PI * profile.squares / df;
    df * (1.0 + scale.ln()) + profile.log_determinants
}

impl CrossProducts {
    /// The relative standard deviations at which the restricted likelihood is greatest.
    fn least(&self, terms: RandomTerms) -> Option<Vec<f64>> {
        let df = self.count - self.effects as f64;
        let mut deviance = |theta: &[f64]| {
            self.profile(theta, terms)
                .map_or(f64::INFINITY, |profile| criterion(&profile, df))
        };
        let mut start = self.starts(terms);
        let best = (0..start.len())
            .min_by(|&a, &b| deviance(&start[a]).total_cmp(&deviance(&start[b])))?;
        let mut theta = minimise(&start.swap_remove(best), 0.5, &mut deviance);
        let reached = deviance(&theta);
        if !reached.is_finite() {
            return None;
        }
        for k in self.scales(terms) {
            theta[k] = theta[k].abs();
            let kept = theta[k];
            theta[k] = 0.0;
            if kept > 0.0 && deviance(&theta) > reached + 1e-9 {
                theta[k] = kept;
            }
        }
        Some(polish(&theta, &mut deviance))
    }

    /// Places of `theta` that are standard deviations, not a covariance.
    fn scales(&self, terms: RandomTerms) -> Vec<usize> {
        match (terms.slope, terms.outer) {
            (false, false) => vec![0],
            (false, true) => vec![0, 1],
            (true, false) => vec![0, 2],
            (true, true) => vec![0, 2, 3],
        }
    }

    fn starts(&self, terms: RandomTerms) -> Vec<Vec<f64>> {
        let inner: &[f64] = &[0.05, 0.3, 1.0, 3.0];
        let outer: &[f64] = if terms.outer {
            &[0.05, 0.3, 1.0]
        } else {
            &[0.0]
        };
        let mut starts = Vec::new();
        for &i in inner {
            for &o in outer {
                let mut start = if terms.slope {
                    vec![i, 0.0, i * self.slope_scale()]
                } else {
                    vec![i]
                };
                if terms.outer {
                    start.push(o);
                }
                starts.push(start);
            }
        }
        starts
    }
}

impl MixedModel {
    /// Standard deviation of the residual.
    #[must_use]
    pub fn sd_residual(&self) -> f64 {
        self.residual_variance.sqrt()
    }

    /// Standard deviation of the inner intercepts.
    #[must_use]
    pub fn sd_inner(&self) -> f64 {
        self.theta[0] * self.sd_residual()
    }

    /// Standard deviation of the inner slopes, and their correlation with the intercepts; `None` without slopes.
    #[must_use]
    pub fn slopes(&self) -> Option<(f64, f64)> {
        if !self.terms.slope {
            return None;
        }
        let size = self.theta[1].hypot(self.theta[2]);
        Some((size * self.sd_residual(), self.theta[1] / size))
    }

    /// Standard deviation of the outer intercepts; `None` without them.
    #[must_use]
    pub fn sd_outer(&self) -> Option<f64> {
        let last = self.theta.last().filter(|_| self.terms.outer)?;
        Some(last * self.sd_residual())
    }

    /// Σ weight · effect.
    #[must_use]
    pub fn combination(&self, weights: &[f64]) -> f64 {
        dot(weights, &self.effects)
    }

    /// Variance of Σ weight · effect.
    #[must_use]
    pub fn variance_of(&self, weights: &[f64]) -> f64 {
        self.covariance.form(weights, weights)
    }
}
