//! People of whom sites are not alike, each for themselves: what holds for their mean holds for few of them.

use super::super::blocks::Member;
use super::super::contrast::{Contrast, contrast};
use super::super::rows::Row;
use super::super::study::Study;
use super::whole_blocks;
use crate::distributions::normal_quantile;
use crate::mixed::random_effects::{Effect, spread_between};
use std::collections::BTreeMap;

/// The chance, if people are alike, of the differences between them that are taken for more.
const BY_CHANCE: f64 = 0.05;

/// Whether people differ by more than their sensors' scatter, so that sites differ by more than a margin in at least 1 of 20 people
/// like these: Cochran's Q (Cochran 1954 Biometrics 10:101, from memory), and the spread between people by restricted maximum
/// likelihood.
pub(in super::super) fn differ(study: &Study<'_>, row: &Row, margin: f64) -> bool {
    let mut of_wearer = BTreeMap::<usize, Vec<Member>>::new();
    for member in &row.members {
        let wearer = study.sensors[member.sensor].wearer;
        of_wearer.entry(wearer).or_default().push(*member);
    }
    let own = |members| contrast(&whole_blocks(members)).filter(|own| own.p().is_some());
    let people: Vec<Contrast> = of_wearer.into_values().filter_map(own).collect();
    let effects: Vec<Effect> = people
        .iter()
        .map(|own| Effect {
            estimate: own.difference,
            variance: own.std_error.powi(2),
        })
        .collect();
    let df = people.iter().map(|own| own.df).sum();
    spread_between(&effects, df).is_some_and(|between| {
        let reach = normal_quantile(0.975) * between.spread;
        between.p < BY_CHANCE && between.mean.abs() + reach > margin
    })
}
