//! Evidence that may be looked at at will: the capital of a bet against "no difference".
//!
//! The capital is the likelihood of the t statistic if sites truly lie d standard deviations of a sensor apart, over its
//! likelihood if they do not differ: the sequential two-sample t test, whose capital is a fair game at every look for normal
//! values of one unknown variance, whatever that is, and whoever stops when. The bet is spread over a few d in both directions;
//! payoffs are unbounded. With sites that scatter unlike it is that game in the limit of many sensors; staying on and night
//! artefacts, which are lopsided, have another bet in that limit ([`super::laws`]), fair at each look by itself (Waudby-Smith, Arbour, Sinha, Kennedy and Ramdas 2024 Ann Stat 52:2613, from memory); how well it holds with few is simulated by
//! `cargo xtask sentences`. Sources, from memory: Hajnal 1961 Biometrika 48:65 (the test); Robbins 1970 Ann Math Stat 41:1397 (mixtures
//! of such bets); Pérez-Ortiz, Lardy, de Heide and Grünwald 2024 Ann Stat 52:1410 (that it is fair, and best of its kind).

use crate::distributions::normal_quantile;
use crate::zero::zero_of_falling;

/// Differences that are bet on, in standard deviations of a sensor, and the share of the capital on each.
pub(super) const EFFECTS: [(f64, f64); 2] = [(1.5, 0.7), (0.7, 0.3)];

/// The share of the allowed error that the primary family has; the rest is for all other rows.
pub const PRIMARY_SHARE: f64 = 0.8;

/// Evidence from which on sites differ.
pub const ENOUGH: f64 = 20.0;

/// The normal score of a two-sided p, with the sign of a difference.
pub(super) fn normal_score(p: f64, difference: f64) -> f64 {
    let z = -normal_quantile((0.5 * p).clamp(1e-300, 0.5));
    if difference < 0.0 { -z } else { z }
}

/// The capital of a bet at one look, from the t statistic of a comparison, its degrees of freedom and its information (an
/// effective number of sensors, n m / (n + m)).
///
/// For a true difference of d standard deviations the likelihood ratio is exp(-δ² / 2) E exp(δ t √V) with δ = d √I, V gamma
/// of shape (ν + 1) / 2 and rate (ν + t²) / 2: what a variance can have been, given t. The mean is a sum over a grid of log V.
pub(super) fn capital(t: f64, df: f64, information: f64) -> f64 {
    let bets = EFFECTS.iter().map(|(effect, share)| {
        let shift = effect * information.sqrt();
        let both = likelihood_ratio(t, df, shift) + likelihood_ratio(-t, df, shift);
        0.5 * share * both
    });
    bets.sum()
}

/// Degrees of freedom from which on t is taken as normal.
const MANY: f64 = 1e5;

/// Steps of the grid of log V either side of its mode, in quarters of its standard deviation: more above, whither the shift
/// pulls.
const GRID: std::ops::Range<i32> = -32..64;

fn likelihood_ratio(t: f64, df: f64, shift: f64) -> f64 {
    if df >= MANY {
        return (shift * t - 0.5 * shift * shift).exp();
    }
    let (shape, rate) = (0.5 * (df + 1.0), 0.5 * (df + t * t));
    let (mode, step) = ((shape / rate).ln(), 0.25 / shape.sqrt());
    let (mut tilted, mut plain) = (0.0, 0.0);
    for place in GRID {
        let log = mode + f64::from(place) * step;
        let variance = log.exp();
        // Relative to the mode, so that nothing overflows.
        let density = shape * (log - mode) - rate * variance + shape;
        plain += density.exp();
        tilted += (density + shift * t * variance.sqrt() - 0.5 * shift * shift).exp();
    }
    tilted / plain
}

/// The least |z| with which the capital is at least so much.
pub(super) fn least_score(wanted: f64, information: f64) -> f64 {
    zero_of_falling(1.0, |z| wanted - capital(z, f64::INFINITY, information))
}

/// Evidence that allows for the rows of both families, from the capitals of each.
///
/// Closed testing (Vovk and Wang 2021 Ann Stat 49:1736, from memory): the capital behind "none of these rows differs" is the mean over
/// them, 0.8 of it on the primary rows and 0.2 on the others where there are both; a row has the least of any set that
/// holds it.
pub(super) fn allowing_for_rows(primary: &[f64], others: &[f64]) -> [Vec<f64>; 2] {
    let least = |capitals: &[f64]| capitals.iter().copied().reduce(f64::min);
    let shared = |own: &[f64], share: f64, rest: Option<f64>| -> Vec<f64> {
        crate::multiplicity::adjusted_e_values(own)
            .into_iter()
            .map(|alone| {
                rest.map_or(alone, |rest| {
                    alone.min(share * alone + (1.0 - share) * rest)
                })
            })
            .collect()
    };
    [
        shared(primary, PRIMARY_SHARE, least(others)),
        shared(others, 1.0 - PRIMARY_SHARE, least(primary)),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Continuous, StudentsT};

    /// A fair game at one look: the mean capital over Student's t is 1, whatever the degrees of freedom and the information.
    #[test]
    fn the_mean_capital_without_a_difference_is_one() {
        for (df, information) in [(3.0, 1.5), (9.0, 3.0), (18.0, 5.0), (38.0, 10.0)] {
            let density = StudentsT::new(0.0, 1.0, df).unwrap();
            // t = sinh(u) reaches far out.
            let mean: f64 = (-1200..=1200)
                .map(|step| {
                    let u = 0.01 * f64::from(step);
                    let t = u.sinh();
                    0.01 * u.cosh() * density.pdf(t) * capital(t, df, information)
                })
                .sum();
            assert!((mean - 1.0).abs() < 1e-4, "{df} {information}: {mean}");
        }
    }

    /// With many degrees of freedom it is the likelihood ratio of normal scores: by hand for I = 4 and z = 3.
    #[test]
    fn many_sensors_make_it_normal() {
        let ratio = |effect: f64| (2.0 * effect * 3.0 - 2.0 * effect * effect).exp();
        let by_hand: f64 = EFFECTS
            .iter()
            .map(|(effect, share)| 0.5 * share * (ratio(*effect) + ratio(-effect)))
            .sum();
        assert!((capital(3.0, f64::INFINITY, 4.0) / by_hand - 1.0).abs() < 1e-12);
        assert!((capital(3.0, 9e4, 4.0) / by_hand - 1.0).abs() < 1e-3);
        let least = least_score(by_hand, 4.0);
        assert!((least - 3.0).abs() < 1e-6);
    }

    /// Closed testing by hand: of capitals 100, 1 and 1 in one family the first has the mean of all, 34; with an unplanned
    /// row of 0.5 beside it 0.8 of that and 0.1.
    #[test]
    fn rows_share_the_allowance() {
        let [primary, others] = allowing_for_rows(&[100.0, 1.0, 1.0], &[]);
        assert!((primary[0] - 34.0).abs() < 1e-12 && others.is_empty());
        let [primary, others] = allowing_for_rows(&[100.0, 1.0, 1.0], &[0.5]);
        assert!((primary[0] - 27.3).abs() < 1e-12);
        assert!((others[0] - 0.5).abs() < 1e-12);
        assert_eq!(allowing_for_rows(&[1.0], &[1.0]), [vec![1.0], vec![1.0]]);
    }
}
