//! Cox's proportional hazards model, stratified, with three ways to treat ties.

mod exact;
pub mod exposed;
pub mod firth;
mod maximise;
pub mod partial;
mod symmetric;

use maximise::{Start, maximise};
use partial::{Likelihood, partial_likelihood};

/// Follow-ups with covariates.
#[derive(Debug, Clone, Copy)]
pub struct CoxData<'a> {
    /// Length of follow-up, not negative, no NaN.
    pub times: &'a [f64],
    /// True where it ended with the event, false where censored; as long as `times`.
    pub events: &'a [bool],
    /// One column for each coefficient, each as long as `times`. Coefficients are logarithms of hazard ratios for one
    /// unit more of the column: positive where more of it means earlier events.
    pub covariates: &'a [Vec<f64>],
    /// Stratum of each subject, any numbers: each has a baseline hazard of its own.
    pub strata: &'a [usize],
}

/// How events at the same time share a risk set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ties {
    /// Efron 1977 (J Am Stat Assoc 72:557, from memory): tied subjects leave the risk set step by step, in equal parts.
    Efron,
    /// Breslow 1974 (Biometrics 30:89): all tied events see the whole risk set.
    Breslow,
    /// Cox 1972: the conditional probability of the tied set among all sets of its size.
    Exact,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoxRefusal {
    /// No subject had the event.
    NoEvents,
    /// Fewer events than coefficients.
    TooFewEvents,
    /// A covariate, or a combination of them, does not vary among those at risk when events happen.
    NoContrast,
    /// The likelihood still rises as a coefficient goes to infinity: all events lie on one side.
    Separation,
    /// The search did not settle.
    NotConverged,
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct CoxFit {
    /// Logarithms of hazard ratios, one for each column.
    pub coefficients: Vec<f64>,
    /// Their covariance: the inverse of the observed information.
    pub covariance: Vec<Vec<f64>>,
    /// Log partial likelihood with all coefficients 0.
    pub null_log_likelihood: f64,
    /// Log partial likelihood at the fit.
    pub log_likelihood: f64,
    /// Chi-square of the score at 0, with as many degrees of freedom as coefficients.
    pub score_test: f64,
    /// Chi-square of the coefficients in their covariance.
    pub wald_test: f64,
    /// Twice the rise of the log likelihood.
    pub likelihood_ratio_test: f64,
}

impl CoxFit {
    /// Standard error of a coefficient.
    #[must_use]
    pub fn std_error(&self, coefficient: usize) -> f64 {
        self.covariance[coefficient][coefficient].sqrt()
    }
}

/// Fits the model by maximum partial likelihood (Newton's steps, halved where they overshoot).
///
/// Source, from memory: Cox 1972 J R Stat Soc B 34:187. No subjects or no event: [`CoxRefusal::NoEvents`]; one event carries one
/// coefficient, though it mostly separates. Checked by `tests/cox.rs`.
///
/// # Errors
/// Where the data cannot carry the model: see [`CoxRefusal`].
pub fn cox(data: CoxData<'_>, ties: Ties) -> Result<CoxFit, CoxRefusal> {
    carry(data)?;
    let evaluate = |beta: &[f64]| partial_likelihood(data, ties, beta);
    let null = evaluate(&vec![0.0; data.covariates.len()]);
    let peak = maximise(&evaluate, &Start::at_zero(data))?;
    let covariance = symmetric::inverse(&peak.at.information).ok_or(CoxRefusal::Separation)?;
    let at_null = symmetric::inverse(&null.information).ok_or(CoxRefusal::NoContrast)?;
    Ok(CoxFit {
        score_test: symmetric::quadratic(&at_null, &null.score),
        wald_test: symmetric::quadratic(&peak.at.information, &peak.beta),
        likelihood_ratio_test: 2.0 * (peak.at.log_likelihood - null.log_likelihood),
        null_log_likelihood: null.log_likelihood,
        log_likelihood: peak.at.log_likelihood,
        coefficients: peak.beta,
        covariance,
    })
}

/// Whether the data can carry the coefficients at all.
fn carry(data: CoxData<'_>) -> Result<(), CoxRefusal> {
    let events = data.events.iter().filter(|event| **event).count();
    if events == 0 {
        return Err(CoxRefusal::NoEvents);
    }
    if events < data.covariates.len() {
        return Err(CoxRefusal::TooFewEvents);
    }
    let zero = vec![0.0; data.covariates.len()];
    let Likelihood { information, .. } = partial_likelihood(data, Ties::Breslow, &zero);
    symmetric::inverse(&information)
        .map(|_| ())
        .ok_or(CoxRefusal::NoContrast)
}
