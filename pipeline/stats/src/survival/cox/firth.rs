//! Cox's model with Firth's penalty, which stays finite where all events lie on one side.

use super::maximise::{Peak, Start, maximise};
use super::partial::{Likelihood, partial_likelihood};
use super::{CoxData, CoxRefusal, Ties, carry, symmetric};
use crate::distributions::{chi_square_quantile, chi_square_upper_tail};
use crate::interval::Interval;

/// A fit with Firth's penalty, Efron's rule for ties.
#[derive(Debug, Clone)]
pub struct FirthFit<'a> {
    data: CoxData<'a>,
    /// Logarithms of hazard ratios, one for each column.
    pub coefficients: Vec<f64>,
    /// Inverse of the information at the fit (of the likelihood without the penalty).
    pub covariance: Vec<Vec<f64>>,
    /// Log partial likelihood with its penalty at the fit.
    pub penalised_log_likelihood: f64,
}

/// Maximises the log partial likelihood plus half the log determinant of its information.
///
/// The penalty takes off the first-order bias, and keeps estimates finite under separation. Sources, from memory: Firth 1993
/// Biometrika 80:27; Heinze and Schemper 2001 Biometrics 57:114. By hand (matched pairs) in `tests/cox.rs`.
///
/// # Errors
/// Without events, with fewer events than coefficients, without contrast, or where the search does not settle.
pub fn firth_cox(data: CoxData<'_>) -> Result<FirthFit<'_>, CoxRefusal> {
    carry(data)?;
    let peak = maximise(&|beta| penalised(data, beta), &Start::at_zero(data))?;
    Ok(FirthFit {
        data,
        covariance: symmetric::inverse(&peak.at.information).ok_or(CoxRefusal::NotConverged)?,
        coefficients: peak.beta,
        penalised_log_likelihood: peak.at.log_likelihood,
    })
}

fn penalised(data: CoxData<'_>, beta: &[f64]) -> Likelihood {
    let mut at = partial_likelihood(data, Ties::Efron, beta);
    let penalty =
        symmetric::log_determinant(&at.information).zip(symmetric::inverse(&at.information));
    let Some((log_determinant, inverse)) = penalty else {
        at.log_likelihood = f64::NEG_INFINITY;
        return at;
    };
    at.log_likelihood += 0.5 * log_determinant;
    for (score, slope) in at.score.iter_mut().zip(&at.slope) {
        let trace: f64 = inverse
            .iter()
            .zip(slope)
            .map(|(row, slope)| row.iter().zip(slope).map(|(a, b)| a * b).sum::<f64>())
            .sum();
        *score += 0.5 * trace;
    }
    at
}

impl FirthFit<'_> {
    /// p of the penalised likelihood-ratio test that a coefficient is 0; `None` where the search does not settle.
    #[must_use]
    pub fn p(&self, coefficient: usize) -> Option<f64> {
        let fall = self.penalised_log_likelihood
            - self
                .profile(coefficient, 0.0, &self.coefficients)?
                .at
                .log_likelihood;
        Some(chi_square_upper_tail(2.0 * fall, 1.0))
    }

    /// 95 % interval from the profile of the penalised likelihood: all values of the coefficient at which twice the fall
    /// from the maximum is at most the chi-square quantile. `None` where the search does not settle.
    #[must_use]
    pub fn interval(&self, coefficient: usize) -> Option<Interval> {
        Some(Interval {
            lower: self.end(coefficient, -1.0)?,
            upper: self.end(coefficient, 1.0)?,
        })
    }

    fn profile(&self, coefficient: usize, value: f64, near: &[f64]) -> Option<Peak> {
        let mut start = Start::at_zero(self.data);
        start.beta = near.to_vec();
        start.beta[coefficient] = value;
        start.held = Some(coefficient);
        start.ranges[coefficient] = 0.0;
        maximise(&|beta| penalised(self.data, beta), &start).ok()
    }

    /// Where the signed root of twice the fall, nearly straight in the coefficient, reaches the limit: by chords between
    /// a value inside and one outside (the Illinois rule keeps both moving).
    fn end(&self, coefficient: usize, direction: f64) -> Option<f64> {
        const TRIES: usize = 60;
        let limit = chi_square_quantile(0.95, 1.0).sqrt();
        let mut near = self.coefficients.clone();
        let mut over = |value: f64| -> Option<f64> {
            let peak = self.profile(coefficient, value, &near)?;
            let fall = self.penalised_log_likelihood - peak.at.log_likelihood;
            near = peak.beta;
            Some((2.0 * fall.max(0.0)).sqrt() - limit)
        };
        let (mut inside, mut outside) = ((self.coefficients[coefficient], -limit), None);
        let mut reach = limit * self.covariance[coefficient][coefficient].sqrt();
        for _ in 0..TRIES {
            let value = match outside {
                None => self.coefficients[coefficient] + direction * reach,
                Some((far, excess)) => far - excess * (far - inside.0) / (excess - inside.1),
            };
            let excess = over(value)?;
            if excess.abs() < 1e-9 {
                return Some(value);
            }
            if excess > 0.0 {
                inside.1 *= if outside.is_some() { 0.5 } else { 1.0 };
                outside = Some((value, excess));
            } else {
                inside = (value, excess);
                outside = outside.map(|(far, excess)| (far, 0.5 * excess));
                reach *= 2.0;
            }
        }
        None
    }
}
