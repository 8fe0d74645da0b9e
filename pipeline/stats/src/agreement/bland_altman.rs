//! Limits of agreement by the classical moment formulas.
//!
//! The report's limits come from [`crate::mixed::random_intercept`]; these are the published formulas they are
//! compared with.

use crate::distributions::t_quantile;
use crate::interval::Interval;
use crate::mixed::random_intercept::LIMIT_FACTOR;
use std::collections::BTreeMap;

/// Agreement from one difference per subject.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Mean difference.
    pub bias: f64,
    /// Standard deviation of the differences, divisor n - 1.
    pub sd: f64,
    /// Standard error of the bias, sd / √n.
    pub std_error: f64,
    /// 95 % interval of the bias, t with n - 1 degrees of freedom.
    pub interval: Interval,
    /// Bias ± 1.96 sd.
    pub limits: Interval,
    /// Standard error of a limit, sd √(1/n + 1.96² / 2 (n - 1)).
    pub limit_error: f64,
}

/// Limits of agreement of independent differences; `None` with fewer than two.
///
/// Source: Bland and Altman 1986 Lancet i:307; for the error of a limit 1999 Stat Methods Med Res 8:135, appendix. Checked by `tests/bland_altman.rs`.
#[must_use]
pub fn limits_of_agreement(differences: &[f64]) -> Option<Agreement> {
    if differences.len() < 2 {
        return None;
    }
    let n = differences.len() as f64;
    let bias = mean(differences);
    let sd = (squares(differences, bias) / (n - 1.0)).sqrt();
    let std_error = sd / n.sqrt();
    Some(Agreement {
        bias,
        sd,
        std_error,
        interval: Interval::around(bias, t_quantile(0.975, n - 1.0) * std_error),
        limits: Interval::around(bias, LIMIT_FACTOR * sd),
        limit_error: sd * (1.0 / n + LIMIT_FACTOR * LIMIT_FACTOR / (2.0 * (n - 1.0))).sqrt(),
    })
}

/// One-way analysis of variance of grouped values, and the limits of agreement that follow from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupedAgreement {
    /// Mean of all values.
    pub bias: f64,
    /// Mean square between groups.
    pub mean_square_between: f64,
    /// Mean square within groups.
    pub mean_square_within: f64,
    /// (N² - Σ n²) / ((k - 1) N), the size that stands for unequal groups.
    pub group_size: f64,
    /// (between - within) / `group_size`; may be negative.
    pub between_variance: f64,
    /// √ of between variance (not below 0) plus mean square within.
    pub total_sd: f64,
    /// Bias ± 1.96 `total_sd`.
    pub limits: Interval,
}

/// Limits of agreement of several differences per group, where the true value varies.
///
/// `None` with fewer than two groups, or with one value in each. Source: Bland and Altman 1999 Stat Methods Med Res
/// 8:135, section 5.3; 2007 J Biopharm Stat 17:571. Checked by `tests/bland_altman.rs`.
#[must_use]
pub fn grouped_limits_of_agreement(values: &[f64], groups: &[usize]) -> Option<GroupedAgreement> {
    let mut members = BTreeMap::<usize, Vec<f64>>::new();
    for (&value, &group) in values.iter().zip(groups) {
        members.entry(group).or_default().push(value);
    }
    let (n, k) = (values.len() as f64, members.len() as f64);
    if members.len() < 2 || members.len() == values.len() {
        return None;
    }
    let bias = mean(values);
    let (mut between, mut within, mut squared_sizes) = (0.0, 0.0, 0.0);
    for group in members.values() {
        let (size, centre) = (group.len() as f64, mean(group));
        between += size * (centre - bias).powi(2);
        within += squares(group, centre);
        squared_sizes += size * size;
    }
    let mean_square_between = between / (k - 1.0);
    let mean_square_within = within / (n - k);
    let group_size = (n * n - squared_sizes) / ((k - 1.0) * n);
    let between_variance = (mean_square_between - mean_square_within) / group_size;
    let total_sd = (between_variance.max(0.0) + mean_square_within).sqrt();
    Some(GroupedAgreement {
        bias,
        mean_square_between,
        mean_square_within,
        group_size,
        between_variance,
        total_sd,
        limits: Interval::around(bias, LIMIT_FACTOR * total_sd),
    })
}

/// Mean, summed from the first value on so that a large common part does not cost digits.
fn mean(values: &[f64]) -> f64 {
    let origin = values[0];
    origin + values.iter().map(|value| value - origin).sum::<f64>() / values.len() as f64
}

fn squares(values: &[f64], centre: f64) -> f64 {
    values.iter().map(|value| (value - centre).powi(2)).sum()
}
