//! Do rates differ between groups, beyond what the wearers differ?

use crate::resampling::permutation::{PermutationTest, permutation_test};

/// One unit that was exposed, such as a sensor over its counted nights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExposedUnit {
    /// Its group (site), numbered from 0.
    pub group: usize,
    /// Its stratum (wearer), any number: groups are compared and shuffled within it.
    pub stratum: usize,
    /// Events, such as night artefacts.
    pub events: f64,
    /// Exposure, such as nights; not negative.
    pub exposure: f64,
}

/// A test of equal rates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateTest {
    /// Σ over groups of (observed - expected)² / expected.
    pub statistic: f64,
    /// Its permutation p; `None` where no stratum holds two groups.
    pub permutation: Option<PermutationTest>,
}

/// Tests whether groups have equal event rates within strata.
///
/// A group expects Σ over strata of its exposure there times that stratum's own rate (all its events over all its
/// exposure). The statistic is Σ (O - E)² / E over groups with E > 0. Units are whole sensors, so that events that
/// cluster in a sensor do not pass for many independent ones: the permutation shuffles the groups among the units of
/// a stratum, each unit keeping its events and exposure, and expectations are computed anew. No chi-square p is
/// given, since clustered counts are not Poisson. Returns `None` with fewer than two groups exposed.
/// Source: the indirect standardisation of Breslow and Day 1987, vol. II, chapter 2 (from memory), with a permutation in place of
/// its reference distribution. Checked by `tests/heterogeneity.rs`.
#[must_use]
pub fn rate_test(units: &[ExposedUnit], seed: u64) -> Option<RateTest> {
    let exposed: Vec<ExposedUnit> = units
        .iter()
        .copied()
        .filter(|unit| unit.exposure > 0.0)
        .collect();
    let groups: Vec<usize> = exposed.iter().map(|unit| unit.group).collect();
    let strata: Vec<usize> = exposed.iter().map(|unit| unit.stratum).collect();
    let expected = expected_per_unit(&exposed);
    let group_count = groups.iter().max().map_or(0, |&group| group + 1);
    let mut sums = vec![(0.0, 0.0); group_count];
    let mut statistic = |groups: &[usize]| {
        sums.fill((0.0, 0.0));
        for ((unit, &group), expected) in exposed.iter().zip(groups).zip(&expected) {
            sums[group].0 += unit.events;
            sums[group].1 += expected;
        }
        sums.iter()
            .filter(|(_, expected)| *expected > 0.0)
            .map(|(observed, expected)| (observed - expected).powi(2) / expected)
            .sum()
    };
    groups.iter().find(|&&group| group != groups[0])?;
    Some(RateTest {
        statistic: statistic(&groups),
        permutation: permutation_test(&groups, &strata, seed, statistic),
    })
}

fn expected_per_unit(units: &[ExposedUnit]) -> Vec<f64> {
    let mut totals = std::collections::BTreeMap::<usize, (f64, f64)>::new();
    for unit in units {
        let total = totals.entry(unit.stratum).or_default();
        total.0 += unit.events;
        total.1 += unit.exposure;
    }
    units
        .iter()
        .map(|unit| {
            let (events, exposure) = totals[&unit.stratum];
            unit.exposure * events / exposure
        })
        .collect()
}
