//! Differences within people over people: against a meta-analysis that a package printed, and by hand.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, number, published, quantity};
use whereworn_stats::mixed::meta_analysis::{
    differences, meta_analysis, of_mean_differences, without_each,
};
use whereworn_stats::mixed::people::Effects;
use whereworn_stats::mixed::random_effects::Effect;

fn effect(estimate: f64, variance: f64) -> Effect {
    Effect { estimate, variance }
}

/// Thirteen trials of a vaccine (Colditz et al. 1994 JAMA 271:698, from memory), log risk ratios.
fn trials() -> Vec<Effect> {
    let of = |row: &std::collections::BTreeMap<String, String>| {
        let [ill, well, control_ill, control_well] = [
            "vaccinated_ill",
            "vaccinated_well",
            "control_ill",
            "control_well",
        ]
        .map(|name| number(row, name));
        let (treated, control) = (ill + well, control_ill + control_well);
        effect(
            (ill / treated / (control_ill / control)).ln(),
            1.0 / ill - 1.0 / treated + 1.0 / control_ill - 1.0 / control,
        )
    };
    published("ra_bcg_data").iter().map(of).collect()
}

/// metafor 3.8-1 under R 4.2.2: `rma(yi, vi, test = "knha")`, its `weights`.
#[test]
fn thirteen_trials_with_the_interval_of_hartung_and_knapp() {
    let expected = published("ra_bcg_knapp_expected");
    let fit = meta_analysis(&trials(), f64::INFINITY).unwrap();
    for (name, value, tolerance) in [
        ("mean", fit.effects.mean, 1e-8),
        ("std_error", fit.std_error, 1e-8),
        ("p", fit.p, 1e-9),
        ("lower", fit.interval.lower, 1e-8),
        ("upper", fit.interval.upper, 1e-8),
        ("weight_1", fit.weights[0], 1e-8),
        ("weight_8", fit.weights[7], 1e-8),
        ("weight_12", fit.weights[11], 1e-8),
    ] {
        close(value, quantity(&expected, name), tolerance, name);
    }
    close(fit.weights.iter().sum(), 1.0, 1e-12, "weights");
}

/// metafor 3.8-1 under R 4.2.2: `leave1out` with `test = "adhoc"`, the interval of Hartung and Knapp no narrower than the usual error
/// makes it (without the sixth trial it would be).
#[test]
fn each_trial_left_out() {
    let rows = published("ra_bcg_without_expected");
    let without = without_each(&trials());
    assert_eq!(without.len(), rows.len());
    for (row, mean) in rows.iter().zip(without) {
        let mean = mean.unwrap();
        close(mean.estimate, number(row, "estimate"), 1e-7, "estimate");
        close(mean.interval.lower, number(row, "lower"), 1e-7, "lower");
        close(mean.interval.upper, number(row, "upper"), 1e-7, "upper");
    }
}

/// Eight schools, where Hartung and Knapp's error is smaller than the one given the spread (3.339 against 4.072): metafor 3.8-1
/// under R 4.2.2, `rma(yi, vi, test = "adhoc")`.
#[test]
fn people_who_agree_too_well_give_no_narrower_interval() {
    let schools: Vec<Effect> = published("ra_schools")
        .iter()
        .map(|row| effect(number(row, "effect"), number(row, "std_error").powi(2)))
        .collect();
    let fit = meta_analysis(&schools, f64::INFINITY).unwrap();
    close(fit.std_error, 4.071_919_16, 1e-7, "standard error");
    close(fit.p, 0.101_050_77, 1e-7, "p");
    close(fit.interval.lower, -1.942_942_07, 1e-6, "lower");
    close(fit.interval.upper, 17.314_175_52, 1e-6, "upper");
    let without = without_each(&schools);
    close(without[4].unwrap().estimate, 9.921_153_3, 1e-6, "without E");
    close(
        without[4].unwrap().interval.upper,
        21.093_680,
        1e-5,
        "without E",
    );
}

/// By hand: person 1 has 2, 4 at the first site and 7 at the second, person 2 has 1 and 3, 5; person 3 wore the second alone.
/// Scatter within cells 2 + 2 + 2 over 7 - 5 - ... : cells {2, 4}, {7}, {1}, {3, 5}, {6, 8} hold 8 sensors, so v = 6 / 3 = 2.
#[test]
fn differences_of_means_by_hand() {
    let values = [2.0, 4.0, 7.0, 1.0, 3.0, 5.0, 6.0, 8.0];
    let people = [1, 1, 1, 2, 2, 2, 3, 3];
    let second = [false, false, true, false, true, true, true, true];
    let found = of_mean_differences(&values, &people, &second).unwrap();
    assert_eq!(found.people, [1, 2]);
    assert_eq!(found.df, 3.0);
    for (effect, estimate) in found.effects.iter().zip([4.0, 3.0]) {
        close(effect.estimate, estimate, 1e-12, "difference");
        close(effect.variance, 2.0 * (1.0 / 2.0 + 1.0), 1e-12, "variance");
    }
    assert_eq!(
        of_mean_differences(&[1.0, 2.0], &[1, 1], &[false, true]),
        None
    );
}

/// By hand: the second less the first of those who have both, their variances added up, and the degrees of freedom.
#[test]
fn differences_of_those_who_have_both() {
    let of = |people: &[usize], estimates: &[f64], df: f64| Effects {
        people: people.to_vec(),
        effects: estimates.iter().map(|e| effect(*e, 0.5)).collect(),
        df,
    };
    let first = of(&[1, 4, 5], &[1.0, 2.0, 3.0], 6.0);
    let found = differences(&first, &of(&[4, 5, 9], &[7.0, 5.0, 1.0], 4.0));
    assert_eq!(found.people, [4, 5]);
    assert_eq!(found.effects, [effect(5.0, 1.0), effect(2.0, 1.0)]);
    assert_eq!(found.df, 10.0);
    assert_eq!(
        differences(&first, &of(&[4], &[7.0], f64::INFINITY)).df,
        6.0
    );
    let known = of(&[4], &[7.0], f64::INFINITY);
    assert_eq!(differences(&known, &known).df, f64::INFINITY);
}

/// One person tells of no other; of two, none is left to be brought together without the other.
#[test]
fn too_few_people() {
    assert_eq!(meta_analysis(&[effect(1.0, 1.0)], f64::INFINITY), None);
    let two = [effect(1.0, 1.0), effect(2.0, 1.0)];
    assert!(meta_analysis(&two, f64::INFINITY).is_some());
    assert_eq!(without_each(&two), [None, None]);
}
