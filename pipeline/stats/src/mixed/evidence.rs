//! Evidence that two sites read differently, which may be looked at again and again.
//!
//! Like that on how long sensors stay on ([`crate::survival::evidence`]): a fifth of the capital on a likelihood ratio that
//! moves with every look, the rest on permutation tests at the looks of its schedule. Values are one figure for each
//! sensor that has ended, such as its mean difference in percent.

use crate::comparison::at_most;
use crate::resampling::permutation::permutation_test;
use crate::survival::evidence::{Look, PAYOFF, SCHEDULE};
use std::collections::BTreeMap;

/// The difference that the likelihood ratio is built for, in standard deviations between sensors' figures, in either
/// direction: 5 % of glucose where sensors' means scatter by 5 %. Its promise holds whatever the standard deviation is.
pub const EFFECT: f64 = 1.0;

/// The logarithm of the e-value of the two-sample t-test that does not depend on scale and level.
///
/// In a stratum with n1 and n2 sensors, n = n1 + n2 at least 3, and t the usual statistic, the ratio of the densities of
/// t under a difference of ±[`EFFECT`] and none is exp(-λ² / 2) 1F1((n - 1) / 2; 1 / 2; λ² t² / (2 (n - 2 + t²))), λ² =
/// effect² n1 n2 / n. Over more and more sensors these ratios are a test martingale; strata (wearers) multiply. `None`
/// where no stratum can be compared. All values of a stratum equal: 0. Source: Pérez-Ortiz, Lardy, de Heide and Grünwald
/// 2024 Ann Stat 52:1410 (E-statistics, group invariance and anytime-valid testing). Checked by `tests/evidence_means.rs`.
#[must_use]
pub fn safe_t(values: &[f64], groups: &[usize], strata: &[usize]) -> Option<f64> {
    let mut members = BTreeMap::<usize, [Vec<f64>; 2]>::new();
    for ((&value, &group), &stratum) in values.iter().zip(groups).zip(strata) {
        if group < 2 {
            members.entry(stratum).or_default()[group].push(value);
        }
    }
    let logs: Vec<f64> = members.values().filter_map(log_ratio).collect();
    (!logs.is_empty()).then(|| logs.iter().sum())
}

fn log_ratio(groups: &[Vec<f64>; 2]) -> Option<f64> {
    let [n1, n2] = [groups[0].len() as f64, groups[1].len() as f64];
    let n = n1 + n2;
    if n1 < 1.0 || n2 < 1.0 || n < 3.0 {
        return None;
    }
    let means = [0, 1].map(|g: usize| groups[g].iter().sum::<f64>() / groups[g].len() as f64);
    let squares: f64 = [0, 1]
        .iter()
        .flat_map(|&g| {
            groups[g]
                .iter()
                .map(move |value| (value - means[g]).powi(2))
        })
        .sum();
    let size = n1 * n2 / n;
    let explained = size * (means[1] - means[0]).powi(2);
    if explained + squares <= 0.0 {
        return Some(0.0);
    }
    let lambda_squared = EFFECT * EFFECT * size;
    // t² / (n - 2 + t²) is the share of the squares that the difference explains.
    let z = 0.5 * lambda_squared * explained / (explained + squares);
    Some(log_kummer(0.5 * (n - 1.0), 0.5, z) - 0.5 * lambda_squared)
}

/// ln of Kummer's function 1F1(a; b; z) for positive arguments, by its series (DLMF 13.2.2).
fn log_kummer(a: f64, b: f64, z: f64) -> f64 {
    let (mut term, mut sum, mut scale) = (1.0, 1.0, 0.0);
    for k in 0..100_000 {
        let k = f64::from(k);
        term *= (a + k) / (b + k) * z / (k + 1.0);
        sum += term;
        if sum > 1e200 {
            term *= 1e-200;
            sum *= 1e-200;
            scale += 200.0 * std::f64::consts::LN_10;
        }
        if term <= sum * f64::EPSILON {
            break;
        }
    }
    scale + sum.ln()
}

/// The evidence of one look at all sensors that have ended: two groups (0 and 1), `month` counted from 1. Groups are
/// shuffled within `blocks`, seeded. `strata` as in [`safe_t`].
#[must_use]
pub fn look(
    values: &[f64],
    groups: &[usize],
    strata: &[usize],
    blocks: &[usize],
    month: u32,
    seed: u64,
) -> Look {
    let share = SCHEDULE
        .iter()
        .find(|(at, _)| *at == month)
        .map(|due| due.1);
    let test = share.and_then(|_| shuffled(values, groups, blocks, seed));
    let pays = test.zip(share).is_some_and(|(p, share)| at_most(p, share));
    Look {
        log_e_likelihood: safe_t(values, groups, strata).unwrap_or(0.0),
        payoff: if pays { PAYOFF } else { 0.0 },
        p: test,
    }
}

/// p of the difference of means within blocks by permutation.
fn shuffled(values: &[f64], groups: &[usize], blocks: &[usize], seed: u64) -> Option<f64> {
    let mut totals = BTreeMap::<usize, (f64, f64)>::new();
    for (value, &block) in values.iter().zip(blocks) {
        let total = totals.entry(block).or_default();
        *total = (total.0 + value, total.1 + 1.0);
    }
    let off: Vec<f64> = values
        .iter()
        .zip(blocks)
        .map(|(value, block)| value - totals[block].0 / totals[block].1)
        .collect();
    let statistic = |groups: &[usize]| {
        let second = off.iter().zip(groups).filter(|(_, group)| **group == 1);
        second.map(|(off, _)| off).sum::<f64>().abs()
    };
    Some(permutation_test(groups, blocks, seed, statistic)?.p)
}
