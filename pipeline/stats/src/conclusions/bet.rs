//! Evidence that may be looked at at will: the capital of a bet against "no difference".
//!
//! With z the normal score of a comparison and I its information (an effective number of sensors), √I z moves like a
//! Brownian motion in I where there is no difference, and exp(d √I z - d² I / 2) is the capital of one who bets on a true
//! difference of d standard deviations of a sensor. The bet is spread over a few d in both directions; payoffs are
//! unbounded. Sources: Robbins 1970 Ann Math Stat 41:1397 (mixtures of such bets); Waudby-Smith, Arbour, Sinha, Kennedy and
//! Ramdas 2024 Ann Stat 52:2613 (that the limit holds over all looks). How well it holds with few sensors is simulated by
//! `cargo xtask sentences`.

use crate::distributions::normal_quantile;

/// Differences that are bet on, in standard deviations of a sensor, and the share of the capital on each.
const EFFECTS: [(f64, f64); 2] = [(1.4, 0.6), (0.7, 0.4)];

/// The share of the allowed error that the primary family has; the rest is for all other rows.
pub const PRIMARY_SHARE: f64 = 0.8;

/// Evidence from which on sites differ.
pub const ENOUGH: f64 = 20.0;

/// The normal score of a two-sided p, with the sign of a difference.
pub(super) fn normal_score(p: f64, difference: f64) -> f64 {
    let z = -normal_quantile((0.5 * p).clamp(1e-300, 0.5));
    if difference < 0.0 { -z } else { z }
}

/// The capital of a bet at one look.
pub(super) fn capital(z: f64, information: f64) -> f64 {
    let score = z * information.sqrt();
    let bets = EFFECTS.iter().map(|(effect, share)| {
        let cost = 0.5 * effect * effect * information;
        0.5 * share * ((effect * score - cost).exp() + (-effect * score - cost).exp())
    });
    bets.sum()
}

/// The least |z| with which the capital is at least so much.
pub(super) fn least_score(wanted: f64, information: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    while capital(high, information) < wanted && high < 1e3 {
        high *= 2.0;
    }
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if capital(middle, information) < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// Evidence that allows for the rows of both families, from the capitals of each.
///
/// Closed testing (Vovk and Wang 2021 Ann Stat 49:1736): the capital behind "none of these rows differs" is the mean over
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
