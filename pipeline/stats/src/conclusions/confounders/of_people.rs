//! People of whom sites are not alike, each for themselves: what holds for their mean holds for few of them.

use super::super::blocks::Member;
use super::super::contrast::{Contrast, contrast};
use super::super::rows::Row;
use super::super::study::Study;
use super::whole_blocks;
use crate::distributions::{normal_quantile, t_quantile};
use crate::mixed::random_effects::{Effect, spread_between};
use std::collections::BTreeMap;

/// The chance, if people are alike, of the differences between them that are taken for more.
const BY_CHANCE: f64 = 0.05;

/// Whether sites differ by more than a margin in someone, or would in 5 of 100 people like these, who differ by more than their
/// sensors' scatter.
///
/// Of k people one is beyond the margin where the interval of their own difference is, at 1 - 0.05 / k (intersection-union: Berger and
/// Hsu 1996 Stat Sci 11:283); people differ by Cochran's Q (Cochran 1954 Biometrics 10:101). Sources from memory.
pub(in super::super) fn differ(study: &Study<'_>, row: &Row, margin: f64) -> bool {
    let mut of_wearer = BTreeMap::<usize, Vec<Member>>::new();
    for member in &row.members {
        let wearer = study.sensors[member.sensor].wearer;
        of_wearer.entry(wearer).or_default().push(*member);
    }
    let own = |members| contrast(&whole_blocks(members)).filter(|own| own.p().is_some());
    let people: Vec<Contrast> = of_wearer.into_values().filter_map(own).collect();
    if people.len() < 2 {
        return false;
    }
    let tail = 0.5 * BY_CHANCE / people.len() as f64;
    let beyond = |own: &Contrast| {
        own.difference.abs() - t_quantile(1.0 - tail, own.df) * own.std_error > margin
    };
    let effects: Vec<Effect> = people
        .iter()
        .map(|own| Effect {
            estimate: own.difference,
            variance: own.std_error.powi(2),
        })
        .collect();
    let df = people.iter().map(|own| own.df).sum();
    people.iter().any(beyond)
        || spread_between(&effects, df).is_some_and(|between| {
            let reach = normal_quantile(0.975) * between.spread;
            between.p < BY_CHANCE && between.mean.abs() + reach > margin
        })
}
