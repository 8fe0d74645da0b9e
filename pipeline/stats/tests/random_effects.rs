//! How people differ: against a meta-analysis and a random-effects model that others printed, and by hand.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, number, numbers, published, quantity};
use whereworn_stats::mixed::people::{of_means, of_rates, of_shares};
use whereworn_stats::mixed::random_effects::{Effect, random_effects};
use whereworn_stats::rates::clustered::Cluster;

/// Thirteen trials of a vaccine, log risk ratios: figures as a package for meta-analysis prints them, to their last digit.
#[test]
fn thirteen_trials() {
    let effects: Vec<Effect> = published("ra_bcg_data")
        .iter()
        .map(|row| {
            let [ill, well, control_ill, control_well] = [
                "vaccinated_ill",
                "vaccinated_well",
                "control_ill",
                "control_well",
            ]
            .map(|name| number(row, name));
            let (treated, control) = (ill + well, control_ill + control_well);
            Effect {
                estimate: (ill / treated / (control_ill / control)).ln(),
                variance: 1.0 / ill - 1.0 / treated + 1.0 / control_ill - 1.0 / control,
            }
        })
        .collect();
    let expected = published("ra_bcg_expected");
    let fit = random_effects(&effects, f64::INFINITY).unwrap();
    let spread = fit.spread;
    for (name, value) in [
        ("reml_mean", fit.mean),
        ("reml_mean_se", fit.std_error),
        ("reml_tau2", spread.estimate.powi(2)),
        ("q", fit.q),
        ("tau2_lower", spread.interval.lower.powi(2)),
        ("tau2_upper", spread.interval.upper.powi(2)),
    ] {
        close(value, quantity(&expected, name), 5.01e-5, name);
    }
    // The first trial, by the formula: 0.3132 / (0.3132 + 0.3256) of -0.8893 and the rest of -0.7145; statistics by scipy 1.17.
    close(fit.people[0].estimate, -0.800_234, 1e-5, "first trial");
}

/// Eight schools: medians and 95 % intervals of each school's effect that Gelman et al. 2013, Bayesian Data Analysis, table 5.3
/// print from 200 draws (rounded; the ends of so few draws are off by some points), and the same by quadrature with scipy
/// 1.17, to which the grid comes within 0.05. Restricted likelihood has τ = 0 here, and Q is 4.7 with p = 0.70.
#[test]
fn eight_schools() {
    let rows = published("ra_schools");
    let effects: Vec<Effect> = rows
        .iter()
        .map(|row| Effect {
            estimate: number(row, "effect"),
            variance: number(row, "std_error").powi(2),
        })
        .collect();
    let fit = random_effects(&effects, f64::INFINITY).unwrap();
    assert_eq!(fit.spread.estimate, 0.0);
    assert_eq!(fit.spread.interval.lower, 0.0);
    close(fit.q, 4.707_079, 1e-5, "Q");
    close(fit.p, 0.695_659, 1e-5, "p");
    close(fit.spread.interval.upper, 16.442_845, 1e-5, "spread");
    for (row, school) in rows.iter().zip(&fit.people) {
        close(school.interval.lower, number(row, "p2.5"), 3.0, "printed");
        close(school.interval.upper, number(row, "p97.5"), 10.0, "printed");
        close(school.estimate, 7.685_617, 1e-5, "all drawn to the mean");
    }
    for (school, lower, upper) in [
        (0, -2.105, 31.623_4),
        (2, -11.482_3, 20.459_2),
        (4, -8.904_9, 16.468_6),
        (7, -7.077_6, 25.579),
    ] {
        close(fit.people[school].interval.lower, lower, 0.05, "lower");
        close(fit.people[school].interval.upper, upper, 0.05, "upper");
    }
    let new = fit.new_person.unwrap();
    close(new.lower, -12.412_8, 0.1, "new one");
    close(new.upper, 28.860_3, 0.1, "new one");
}

/// Six batches of five (Davies and Goldsmith 1972): variances and the analysis of variance's p as lme4, nlme and statsmodels have
/// them, each batch drawn to the mean as statsmodels 0.15 (MixedLM, REML) draws it.
#[test]
fn batches_as_people() {
    let data = published("vc_dyestuff_data");
    let expected = published("vc_dyestuff_expected");
    let yields = numbers(&data, "yield");
    let effects = of_means(&yields, &codes(&data, "batch")).unwrap();
    assert_eq!((effects.people.len(), effects.df), (6, 24.0));
    let fit = random_effects(&effects.effects, effects.df).unwrap();
    for (name, value) in [
        ("reml_mean", fit.mean),
        ("reml_mean_se", fit.std_error),
        ("reml_between_var", fit.spread.estimate.powi(2)),
        ("anova_p", fit.p),
    ] {
        close_relative(value, quantity(&expected, name), 1e-5, name);
    }
    // t at 0.975 with 24 degrees of freedom: 2.063899 (any table); √(2451.25 / 5) = 22.141589.
    let own = effects.interval(&effects.effects[0]);
    close(own.upper, 1505.0 + 2.063_899 * 22.141_589, 1e-4, "own");
    close(fit.q / 5.0, quantity(&expected, "anova_F"), 1e-9, "F");
    for (batch, off) in [
        -17.606_85, 0.391_26, 28.562_23, -23.084_54, 56.733_19, -44.995_29,
    ]
    .into_iter()
    .enumerate()
    {
        close(fit.people[batch].estimate - fit.mean, off, 1e-3, "batch");
    }
    close(fit.spread.interval.lower, 14.976_923, 1e-4, "spread");
    close(fit.spread.interval.upper, 116.885_996, 1e-3, "spread");
}

/// Two people, 0 and 10 with variance 8 each: τ² = 50 - 8 = 42, each keeps 42 / 50; Q = 50 / 8. No new person from two.
#[test]
fn two_people_by_hand() {
    let effect = |estimate| Effect {
        estimate,
        variance: 8.0,
    };
    let fit = random_effects(&[effect(0.0), effect(10.0)], f64::INFINITY).unwrap();
    close(fit.spread.estimate.powi(2), 42.0, 1e-9, "spread");
    close(fit.people[0].estimate, 5.0 - 5.0 * 0.84, 1e-9, "first");
    close(fit.people[1].estimate, 5.0 + 5.0 * 0.84, 1e-9, "second");
    close(fit.q, 6.25, 1e-12, "Q");
    // Chi-square with one degree of freedom is a squared normal: 2.5 standard deviations.
    close(fit.p, 0.012_419, 1e-6, "p");
    assert_eq!(fit.new_person, None);
    assert_eq!(random_effects(&[effect(1.0)], f64::INFINITY), None);
    let certain = Effect {
        estimate: 1.0,
        variance: 0.0,
    };
    assert_eq!(random_effects(&[effect(1.0), certain], 5.0), None);
}

/// Rates by hand: 2 and 4 events in 10 nights of one person's sensors, 0 in 20 of the other's. φ = (1/3 + 1/3) / 1 = 2/3, held to
/// 1; rate of all with half an event more 6.5 / 40.
#[test]
fn rates_by_hand() {
    let sensor = |sum, size| Cluster { sum, size };
    let sensors = [sensor(2.0, 10.0), sensor(4.0, 10.0), sensor(0.0, 20.0)];
    let effects = of_rates(&sensors, &[3, 3, 8]).unwrap();
    assert_eq!((effects.people, effects.df), (vec![3, 8], 1.0));
    assert_eq!(effects.effects[0].estimate, 0.3);
    assert_eq!(effects.effects[1].estimate, 0.0);
    close(
        effects.effects[0].variance,
        6.5 / 40.0 / 20.0,
        1e-12,
        "variance",
    );
    // 0 and 6 events: φ = (3 + 3) / 1.
    let sensors = [sensor(0.0, 10.0), sensor(6.0, 10.0), sensor(0.0, 20.0)];
    let effects = of_rates(&sensors, &[3, 3, 8]).unwrap();
    close(
        effects.effects[1].variance,
        6.0 * 6.5 / 40.0 / 20.0,
        1e-12,
        "unlike",
    );
    assert_eq!(of_rates(&[], &[]), None);
}

/// Shares by hand: of one person one of two came off; of the other one is censored on day 5 and one reached the horizon. 3.5
/// sensors count, their incidence is 1 / 4: p = (3.5 / 4 + 1/2) / 4.5.
#[test]
fn shares_by_hand() {
    let days = [3.0, 14.0, 5.0, 14.0];
    let causes = [Some(0), None, None, None];
    let effects = of_shares(&days, &causes, &[0, 0, 1, 1], 14.0).unwrap();
    assert_eq!(effects.effects[0].estimate, 0.5);
    assert_eq!(effects.effects[1].estimate, 0.0);
    let p = 1.375 / 4.5;
    let upper = effects.interval(&effects.effects[0]).upper;
    let reach = 1.959_963_985 * (p * (1.0 - p) / 2.0_f64).sqrt();
    close(upper, 0.5 + reach, 1e-8, "own");
    close(
        effects.effects[0].variance,
        p * (1.0 - p) / 2.0,
        1e-12,
        "two",
    );
    close(
        effects.effects[1].variance,
        p * (1.0 - p) / 1.5,
        1e-12,
        "one and a half",
    );
    assert_eq!(of_shares(&[], &[], &[], 14.0), None);
    assert_eq!(of_means(&[1.0, 2.0], &[0, 1]), None);
}
