//! Counts of rare events.

use crate::distributions::{beta_quantile, chi_square_quantile, normal_quantile};
use crate::interval::Interval;

/// Exact interval of the mean of a Poisson count, at a confidence `level` such as 0.95.
///
/// Half the chi-square quantiles at α/2 with 2 x degrees of freedom (0 for a count of 0) and at 1 - α/2 with 2 x + 2.
/// Divide by the exposure for a rate. Source: Garwood 1936 Biometrika 28:437. Checked by `tests/poisson.rs`.
#[must_use]
pub fn exact_poisson_interval(count: u64, level: f64) -> Interval {
    let tail = 0.5 * (1.0 - level);
    let twice = 2.0 * count as f64;
    Interval {
        lower: if count == 0 {
            0.0
        } else {
            0.5 * chi_square_quantile(tail, twice)
        },
        upper: 0.5 * chi_square_quantile(1.0 - tail, twice + 2.0),
    }
}

/// Byar's approximate interval of the mean of a Poisson count, narrower than [`exact_poisson_interval`]; `None` for a count of 0.
///
/// c (1 - 1 / 9c ± z / 3√c)³ with c = count + 1/2 at both ends, which comes near the mid-P interval. (With c = count below
/// and count + 1 above it would come near the exact one.) Source, from memory: Rothman and Boice 1979, Epidemiologic Analysis with a
/// Programmable Calculator, as in `pois.byar` of R epitools. Checked by `tests/poisson.rs`.
#[must_use]
pub fn byar_interval(count: u64, level: f64) -> Option<Interval> {
    let c = count as f64 + 0.5;
    let reach = normal_quantile(0.5 * (1.0 + level)) / (3.0 * c.sqrt());
    let end = |reach: f64| c * (1.0 - 1.0 / (9.0 * c) + reach).powi(3);
    (count > 0).then(|| Interval {
        lower: end(-reach),
        upper: end(reach),
    })
}

/// A count over an exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Events per unit of exposure.
    pub rate: f64,
    /// Exact 95 % interval.
    pub interval: Interval,
}

/// Events per unit of exposure with the exact 95 % interval; `None` without exposure.
#[must_use]
pub fn poisson_rate(count: u64, exposure: f64) -> Option<Rate> {
    let interval = exact_poisson_interval(count, 0.95);
    (exposure > 0.0).then(|| Rate {
        rate: count as f64 / exposure,
        interval: Interval {
            lower: interval.lower / exposure,
            upper: interval.upper / exposure,
        },
    })
}

/// The ratio of two rates, first over second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateRatio {
    /// The ratio; `None` where the second count is 0.
    pub ratio: Option<f64>,
    /// Lower end of the exact 95 % interval.
    pub lower: f64,
    /// Upper end, `None` where it is infinite (second count 0).
    pub upper: Option<f64>,
}

/// Ratio of two rates with the exact interval that conditions on the sum of the counts.
///
/// Given the sum, the first count is binomial; its Clopper-Pearson limits p turn into p / (1 - p) · time2 / time1.
/// `None` where both counts are 0 or an exposure is not positive. Source, from memory: Przyborowski and Wilenski 1940 Biometrika
/// 31:313. Checked by `tests/poisson.rs`.
#[must_use]
pub fn rate_ratio(first: u64, first_time: f64, second: u64, second_time: f64) -> Option<RateRatio> {
    if first + second == 0 || first_time <= 0.0 || second_time <= 0.0 {
        return None;
    }
    let (a, b) = (first as f64, second as f64);
    let to_ratio = |share: f64| share / (1.0 - share) * second_time / first_time;
    Some(RateRatio {
        ratio: (second > 0).then(|| a / b * second_time / first_time),
        lower: if first == 0 {
            0.0
        } else {
            to_ratio(beta_quantile(0.025, a, b + 1.0))
        },
        upper: (second > 0).then(|| to_ratio(beta_quantile(0.975, a + 1.0, b))),
    })
}

/// The 95 % interval of a rate ratio on the log scale, ratio · exp(± z √(1 / a + 1 / b)); `None` with an empty side.
///
/// Fit for dozens of events a side; [`rate_ratio`] for few. Source: Rothman, Epidemiology: An Introduction, chapter on
/// confidence intervals. Checked by `tests/poisson.rs`.
#[must_use]
pub fn wald_rate_ratio(
    first: u64,
    first_time: f64,
    second: u64,
    second_time: f64,
) -> Option<Interval> {
    if first == 0 || second == 0 || first_time <= 0.0 || second_time <= 0.0 {
        return None;
    }
    let (a, b) = (first as f64, second as f64);
    let centre = (a / b * second_time / first_time).ln();
    let log = Interval::around(centre, normal_quantile(0.975) * (1.0 / a + 1.0 / b).sqrt());
    Some(Interval {
        lower: log.lower.exp(),
        upper: log.upper.exp(),
    })
}

/// The exact two-sided p of equal rates: the chance, given the sum of the counts, of all splits no likelier than the one
/// seen (up to a relative 1e-7, as R counts ties). `None` where both counts are 0 or an exposure is not positive.
/// Source, from memory: Przyborowski and Wilenski 1940 Biometrika 31:313. Checked by `tests/poisson.rs`.
#[must_use]
pub fn equal_rates_p(first: u64, first_time: f64, second: u64, second_time: f64) -> Option<f64> {
    let total = first + second;
    if total == 0 || first_time <= 0.0 || second_time <= 0.0 {
        return None;
    }
    let log_odds = (first_time / second_time).ln();
    // Logarithms of the binomial chances, up to a constant.
    let mut logs = vec![0.0];
    for hits in 1..=total {
        let last = logs[hits as usize - 1];
        logs.push(last + log_odds + ((total - hits + 1) as f64 / hits as f64).ln());
    }
    let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let chances: Vec<f64> = logs.iter().map(|log| (log - largest).exp()).collect();
    let seen = chances[first as usize] * (1.0 + 1e-7);
    let extreme: f64 = chances.iter().filter(|chance| **chance <= seen).sum();
    Some((extreme / chances.iter().sum::<f64>()).min(1.0))
}
