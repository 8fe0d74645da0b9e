//! Quantiles and tail probabilities of the usual distributions.
//!
//! Probabilities come from the incomplete gamma function and the error function of `statrs`, and from the
//! continued fraction of the incomplete beta function written out here (the one in `statrs` stops after 140
//! terms, too few for shapes beyond some ten thousand). Quantiles are zeros of those, so that
//! they are as exact as the probabilities: 1e-10 relative, checked by `tests/distributions.rs`.

use crate::zero::zero_of_falling;
use statrs::function::erf::{erfc, erfc_inv};
use statrs::function::gamma::{gamma_lr, gamma_ur, ln_gamma};

/// Lower-tail quantile of the standard normal distribution, `0 < p < 1`.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    let start = -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p);
    let density = (-0.5 * start * start).exp() / (2.0 * std::f64::consts::PI).sqrt();
    start - (normal_cdf(start) - p) / density
}

/// Lower-tail probability of the standard normal distribution.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// Upper-tail probability of the standard normal distribution.
#[must_use]
pub fn normal_upper_tail(z: f64) -> f64 {
    0.5 * erfc(z / std::f64::consts::SQRT_2)
}

/// Lower-tail quantile of Student's t with `df > 0` (fractions allowed), `0 < p < 1`.
#[must_use]
pub fn t_quantile(p: f64, df: f64) -> f64 {
    let tail = p.min(1.0 - p);
    let upper_tail = |t: f64| {
        let square = t * t;
        0.5 * regularised_beta(0.5 * df, 0.5, df / (df + square), square / (df + square))
    };
    let t = zero_of_falling(1.0, |t| upper_tail(t) - tail);
    if p < 0.5 { -t } else { t }
}

/// Two-sided p value of Student's t with `df > 0`: the chance of one at least as far from 0.
#[must_use]
pub fn t_two_sided(t: f64, df: f64) -> f64 {
    let square = t * t;
    if square.is_infinite() {
        return 0.0;
    }
    regularised_beta(0.5 * df, 0.5, df / (df + square), square / (df + square))
}

/// Upper-tail probability of the F distribution: the p value of an F of at least 0.
#[must_use]
pub fn f_upper_tail(f: f64, numerator: f64, denominator: f64) -> f64 {
    if f <= 0.0 {
        return 1.0;
    }
    let (explained, left) = (numerator * f, denominator);
    let total = explained + left;
    if total.is_infinite() {
        return 0.0;
    }
    regularised_beta(
        0.5 * denominator,
        0.5 * numerator,
        left / total,
        explained / total,
    )
}

/// Lower-tail quantile of the F distribution, `0 < p < 1`.
#[must_use]
pub fn f_quantile(p: f64, numerator: f64, denominator: f64) -> f64 {
    // A beta variate b of half the degrees of freedom gives F = (n / m) b / (1 - b).
    let odds = beta_odds_quantile(p, 0.5 * numerator, 0.5 * denominator);
    denominator / numerator * odds
}

/// Lower-tail quantile of the chi-square distribution with `df > 0`, `0 < p < 1`.
#[must_use]
pub fn chi_square_quantile(p: f64, df: f64) -> f64 {
    let shape = 0.5 * df;
    if p < 0.5 {
        2.0 * zero_of_falling(shape, |x| p - gamma_lr(shape, x))
    } else {
        2.0 * zero_of_falling(shape, |x| gamma_ur(shape, x) - (1.0 - p))
    }
}

/// Upper-tail probability of the chi-square distribution: the p value of a chi-square of at least 0.
#[must_use]
pub fn chi_square_upper_tail(chi_square: f64, df: f64) -> f64 {
    if chi_square <= 0.0 {
        1.0
    } else {
        gamma_ur(0.5 * df, 0.5 * chi_square)
    }
}

/// Lower-tail probability of the beta distribution with shapes `a, b > 0`.
#[must_use]
pub fn beta_cdf(x: f64, a: f64, b: f64) -> f64 {
    regularised_beta(a, b, x, 1.0 - x)
}

/// Lower-tail quantile of the beta distribution with shapes `a, b > 0`, `0 < p < 1`.
#[must_use]
pub fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    let odds = beta_odds_quantile(p, a, b);
    if odds.is_infinite() {
        return 1.0;
    }
    odds / (1.0 + odds)
}

/// The odds x / (1 - x) of a beta quantile x, which run over all positive numbers.
fn beta_odds_quantile(p: f64, a: f64, b: f64) -> f64 {
    zero_of_falling(a / b, |odds| {
        let x = odds / (1.0 + odds);
        let y = 1.0 / (1.0 + odds);
        if p < 0.5 {
            p - regularised_beta(a, b, x, y)
        } else {
            regularised_beta(b, a, y, x) - (1.0 - p)
        }
    })
}

/// The regularised incomplete beta function of `x`, with `y = 1 - x` given apart so that neither is rounded away.
///
/// Continued fraction DLMF 8.17.22 by the modified Lentz method, on the side where it converges fast.
fn regularised_beta(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if y <= 0.0 {
        return 1.0;
    }
    let front = beta_front(a, b, x, y);
    if x < (a + 1.0) / (a + b + 2.0) {
        front * beta_fraction(a, b, x) / a
    } else {
        1.0 - front * beta_fraction(b, a, y) / b
    }
}

/// x^a y^b / B(a, b), arranged around its peak so that large shapes do not cancel (Loader 2000, saddle point form, from memory).
fn beta_front(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let total = a + b;
    let off_peak = a * (x * total / a).ln() + b * (y * total / b).ln();
    let corrections = stirling_error(total) - stirling_error(a) - stirling_error(b);
    (a * b / (2.0 * std::f64::consts::PI * total)).sqrt() * (off_peak + corrections).exp()
}

/// ln Γ(z) less Stirling's (z - 1/2) ln z - z + ln(2π) / 2; series DLMF 5.11.1.
fn stirling_error(z: f64) -> f64 {
    if z < 15.0 {
        let stirling = (z - 0.5) * z.ln() - z + 0.5 * (2.0 * std::f64::consts::PI).ln();
        return ln_gamma(z) - stirling;
    }
    let square = z * z;
    (1.0 / 12.0 - (1.0 / 360.0 - (1.0 / 1260.0 - 1.0 / (1680.0 * square)) / square) / square) / z
}

fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let keep_off_zero = |value: f64| if value.abs() < TINY { TINY } else { value };
    let mut c = 1.0;
    let mut d = 1.0 / keep_off_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for m in 1..100_000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for term in [even, odd] {
            d = 1.0 / keep_off_zero(1.0 + term * d);
            c = keep_off_zero(1.0 + term / c);
            change = c * d;
            fraction *= change;
        }
        if (change - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    fraction
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beta(1, b) has the closed form 1 - (1 - p)^(1/b); shapes far beyond a study's size.
    #[test]
    fn beta_quantiles_of_large_shapes() {
        for b in [1.0, 20.0, 1e4, 1e6] {
            let exact = -((-0.975_f64).ln_1p() / b).exp_m1();
            assert!((beta_quantile(0.975, 1.0, b) / exact - 1.0).abs() < 1e-9);
        }
    }

    /// With one shape far below 1 nearly all lies at an end, closer to it than numbers can tell.
    #[test]
    fn beta_quantiles_of_small_shapes_are_the_ends() {
        for p in [1e-9, 0.025, 0.5, 0.975] {
            assert_eq!(beta_quantile(p, 1.0, 1e-12), 1.0);
            assert!(beta_quantile(p, 1e-12, 1.0) < 1e-100);
        }
        // I_x(a, b) tends to b / (a + b) at 0 where both shapes vanish.
        assert_eq!(beta_quantile(0.975, 1e-6, 1e-6), 1.0);
        assert!(beta_quantile(0.025, 1e-6, 1e-6) < 1e-100);
    }

    /// The exponential distribution is chi-square with two degrees of freedom, halved.
    #[test]
    fn chi_square_with_two_degrees_is_exponential() {
        for x in [0.1_f64, 3.0, 40.0] {
            assert!((chi_square_upper_tail(2.0 * x, 2.0) / (-x).exp() - 1.0).abs() < 1e-12);
        }
        assert_eq!(chi_square_upper_tail(0.0, 1.0), 1.0);
    }

    #[test]
    fn t_is_symmetric_and_tends_to_normal() {
        assert!((t_quantile(0.025, 7.0) + t_quantile(0.975, 7.0)).abs() < 1e-13);
        assert!((t_quantile(0.975, 1e7) - normal_quantile(0.975)).abs() < 1e-6);
    }
}
