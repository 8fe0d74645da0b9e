//! The hazard of one group against the rest, with and without adjustment.

use super::firth::firth_cox;
use super::{CoxData, CoxRefusal, Ties, carry, cox};
use crate::distributions::{chi_square_upper_tail, normal_quantile};
use crate::interval::Interval;

/// Events that each coefficient of an adjusted model needs (Vittinghoff and McCulloch 2007 Am J Epidemiol 165:710, from memory).
pub const EVENTS_PER_COEFFICIENT: usize = 5;

/// How the exposed compare with the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposed {
    /// Logarithm of the hazard ratio: positive where the exposed have their events earlier.
    pub log_hazard_ratio: f64,
    /// 95 % interval of the logarithm: Wald's, or from the profile where penalised.
    pub interval: Interval,
    /// p of the same test.
    pub p: f64,
    /// Whether all events lay on one side, so that Firth's penalty was needed.
    pub penalised: bool,
    /// Coefficients of the model, that of the exposed among them.
    pub coefficients: usize,
}

/// Fits [`cox`] (Efron) with `exposed` (0 or 1) first and as many of the `others` as vary among those at risk; where the
/// exposed have all events or none, [`firth_cox`]. Slices as in [`CoxData`]. Checked by `tests/cox.rs`.
///
/// # Errors
/// As [`cox`], and [`CoxRefusal::TooFewEvents`] where there are others and fewer than five events for each coefficient.
pub fn exposed_hazard(
    times: &[f64],
    events: &[bool],
    exposed: Vec<f64>,
    others: Vec<Vec<f64>>,
    strata: &[usize],
) -> Result<Exposed, CoxRefusal> {
    let bare = CoxData {
        times,
        events,
        covariates: &[],
        strata,
    };
    let mut covariates = vec![exposed];
    carry(CoxData {
        covariates: &covariates,
        ..bare
    })?;
    for other in others {
        covariates.push(other);
        if carry(CoxData {
            covariates: &covariates,
            ..bare
        }) == Err(CoxRefusal::NoContrast)
        {
            covariates.pop();
        }
    }
    let happened = events.iter().filter(|event| **event).count();
    let coefficients = covariates.len();
    if coefficients > 1 && happened < EVENTS_PER_COEFFICIENT * coefficients {
        return Err(CoxRefusal::TooFewEvents);
    }
    let data = CoxData {
        covariates: &covariates,
        ..bare
    };
    match cox(data, Ties::Efron) {
        Ok(fit) => {
            let (estimate, error) = (fit.coefficients[0], fit.std_error(0));
            Ok(Exposed {
                log_hazard_ratio: estimate,
                interval: Interval::around(estimate, normal_quantile(0.975) * error),
                p: chi_square_upper_tail((estimate / error).powi(2), 1.0),
                penalised: false,
                coefficients,
            })
        }
        Err(CoxRefusal::Separation) => {
            let fit = firth_cox(data)?;
            Ok(Exposed {
                log_hazard_ratio: fit.coefficients[0],
                interval: fit.interval(0).ok_or(CoxRefusal::NotConverged)?,
                p: fit.p(0).ok_or(CoxRefusal::NotConverged)?,
                penalised: true,
                coefficients,
            })
        }
        Err(refusal) => Err(refusal),
    }
}
