//! The ratio of two sites' rates, where sensors of one site differ beyond chance.

use super::heterogeneity::ExposedUnit;
use crate::distributions::{t_quantile, t_two_sided};
use crate::interval::Interval;
use crate::zero::zero_between;
use std::collections::{BTreeMap, BTreeSet};

/// A rate ratio, second group over first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QuasiRatio {
    /// The ratio; `None` where a group has no event.
    pub ratio: Option<f64>,
    /// 95 % interval; an end that does not exist is 0 or infinite.
    pub interval: Interval,
    /// How far counts of sensors scatter beyond Poisson, 1 at least.
    pub dispersion: f64,
    /// Degrees of freedom of the dispersion.
    pub df: f64,
    /// p of equal rates.
    pub p: f64,
}

/// One stratum in which both groups were exposed.
struct Stratum {
    events: f64,
    exposure: [f64; 2],
}

/// The ratio of the rates of two groups among `units` (sensors of all sites) within strata (wearers).
///
/// Given a stratum's events e, the second group's are binomial with share ρ T₂ / (T₁ + ρ T₂). ρ solves Σ e · share =
/// events of the second group; an interval holds the ρ with |that difference| - 1/2 ≤ t √(φ Σ e · share (1 - share)),
/// and p is that of ρ = 1. φ is Pearson's chi-square of all units about the rates of their group and stratum, over its
/// degrees of freedom (units - groups - strata + 1), 1 at least; t has as many. `None` where no stratum with events has
/// both groups, or no degree of freedom is left. Sources, from memory: Breslow and Day 1987, vol. II, section 3.4 (conditional
/// likelihood); McCullagh and Nelder 1989, section 9.2 (dispersion). Checked by `tests/quasi_ratio.rs`.
#[must_use]
pub fn quasi_ratio(units: &[ExposedUnit], first: usize, second: usize) -> Option<QuasiRatio> {
    let exposed: Vec<ExposedUnit> = units.iter().copied().filter(|u| u.exposure > 0.0).collect();
    let (strata, observed) = compared(&exposed, first, second);
    let events: f64 = strata.iter().map(|stratum| stratum.events).sum();
    let (dispersion, df) = dispersion(&exposed)?;
    if events <= 0.0 {
        return None;
    }
    // Expected events of the second group and their variance at a log ratio.
    let at = |log_ratio: f64| {
        let shares = strata.iter().map(|stratum| {
            let [one, two] = stratum.exposure;
            let share = 1.0 / (1.0 + one / two * (-log_ratio).exp());
            (
                stratum.events * share,
                stratum.events * share * (1.0 - share),
            )
        });
        shares.fold((0.0, 0.0), |(e, v), (expected, variance)| {
            (e + expected, v + variance)
        })
    };
    let t = t_quantile(0.975, df);
    let beyond = |side: f64, log_ratio: f64| {
        let (expected, variance) = at(log_ratio);
        let gap = side * (expected - observed);
        (gap - 0.5).max(0.0) - t * (dispersion * variance).sqrt()
    };
    let estimate = (observed > 0.0 && observed < events)
        .then(|| zero_between(-40.0, 40.0, |r| observed - at(r).0).exp());
    let centre = estimate.map_or(if observed > 0.0 { 30.0 } else { -30.0 }, f64::ln);
    let end = |side: f64| zero_between(centre, centre + side * 70.0, |r| beyond(side, r)).exp();
    let lower = if observed > 0.0 { end(-1.0) } else { 0.0 };
    let upper = if observed < events {
        end(1.0)
    } else {
        f64::INFINITY
    };
    let (expected, variance) = at(0.0);
    let gap = ((observed - expected).abs() - 0.5).max(0.0);
    Some(QuasiRatio {
        ratio: estimate,
        interval: Interval { lower, upper },
        dispersion,
        df,
        p: t_two_sided(gap / (dispersion * variance).sqrt(), df),
    })
}

/// Strata that hold both groups and events, and the second group's events in them.
fn compared(units: &[ExposedUnit], first: usize, second: usize) -> (Vec<Stratum>, f64) {
    let mut totals = BTreeMap::<usize, [(f64, f64); 2]>::new();
    for unit in units {
        let place = match unit.group {
            group if group == first => 0,
            group if group == second => 1,
            _ => continue,
        };
        let total = &mut totals.entry(unit.stratum).or_default()[place];
        total.0 += unit.events;
        total.1 += unit.exposure;
    }
    let both = |[one, two]: &&[(f64, f64); 2]| one.1 > 0.0 && two.1 > 0.0 && one.0 + two.0 > 0.0;
    let strata: Vec<_> = totals.values().filter(both).collect();
    let observed = strata.iter().map(|[_, two]| two.0).sum();
    let stratum = |[one, two]: &[(f64, f64); 2]| Stratum {
        events: one.0 + two.0,
        exposure: [one.1, two.1],
    };
    (strata.into_iter().map(stratum).collect(), observed)
}

/// Pearson's dispersion about rates of group times stratum, the rates by iterative proportional fitting.
fn dispersion(units: &[ExposedUnit]) -> Option<(f64, f64)> {
    let groups: BTreeSet<usize> = units.iter().map(|unit| unit.group).collect();
    let strata: BTreeSet<usize> = units.iter().map(|unit| unit.stratum).collect();
    let df = (units.len() + 1).checked_sub(groups.len() + strata.len())? as f64;
    if df < 1.0 {
        return None;
    }
    let mut expected: Vec<f64> = units.iter().map(|unit| unit.exposure).collect();
    for _ in 0..200 {
        scale(units, &mut expected, |unit| unit.group);
        scale(units, &mut expected, |unit| unit.stratum);
    }
    let chi_square: f64 = units
        .iter()
        .zip(&expected)
        .filter(|(_, expected)| **expected > 0.0)
        .map(|(unit, expected)| (unit.events - expected).powi(2) / expected)
        .sum();
    Some(((chi_square / df).max(1.0), df))
}

/// Scales expectations so that their totals by some margin are those observed.
fn scale(units: &[ExposedUnit], expected: &mut [f64], margin: impl Fn(&ExposedUnit) -> usize) {
    let mut totals = BTreeMap::<usize, (f64, f64)>::new();
    for (unit, expected) in units.iter().zip(expected.iter()) {
        let total = totals.entry(margin(unit)).or_default();
        total.0 += unit.events;
        total.1 += expected;
    }
    for (unit, expected) in units.iter().zip(expected) {
        let (observed, fitted) = totals[&margin(unit)];
        *expected *= if fitted > 0.0 { observed / fitted } else { 0.0 };
    }
}
