//! Log-rank tests against R survival, lifelines and statsmodels: leukaemia remission (Freireich et al. 1963), the same
//! stratified by pair and by sex, and maintained chemotherapy (Miller 1981). Chi-square to 1e-8, stratified by sex 1e-6.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, codes, numbers, published, quantity};
use whereworn_stats::survival::logrank::{
    EventWeight, LogRank, Subjects, log_rank, log_rank_permutation, weighted_log_rank,
};
use whereworn_stats::survival::score_permutation::score_test;

fn test_of(rows: &Rows, group_column: &str, strata: &[usize]) -> Option<LogRank> {
    let events: Vec<bool> = rows.iter().map(|row| row["event"] == "1").collect();
    log_rank(Subjects {
        times: &numbers(rows, "time"),
        events: &events,
        groups: &codes(rows, group_column),
        strata,
    })
}

#[test]
fn leukaemia_remission() {
    let data = published("km_freireich_data");
    let expected = published("km_freireich_expected_tests");
    let test = test_of(&data, "arm", &vec![0; data.len()]).unwrap();
    assert_eq!(test.df, 1);
    for (actual, name) in [
        (test.chi_square, "logrank_chisq"),
        (test.p, "logrank_p"),
        (test.observed[0], "logrank_observed_6MP"),
        (test.expected[0], "logrank_expected_6MP"),
        (test.observed[1], "logrank_observed_placebo"),
        (test.expected[1], "logrank_expected_placebo"),
        (test.variance[0][0], "logrank_var_OE"),
        (test.variance[1][1], "logrank_var_OE"),
        (-test.variance[0][1], "logrank_var_OE"),
        // The score test of a Cox model with exact ties is the log-rank test.
        (test.chi_square, "cox_exact_score_chisq"),
    ] {
        close(actual, quantity(&expected, name), 1e-8, name);
    }
}

#[test]
fn leukaemia_remission_in_matched_pairs() {
    let data = published("km_freireich_data");
    let expected = published("km_freireich_expected_tests");
    let test = test_of(&data, "arm", &codes(&data, "pair")).unwrap();
    close(
        test.chi_square,
        quantity(&expected, "logrank_stratified_by_pair_chisq"),
        1e-8,
        "chi-square",
    );
}

#[test]
fn leukaemia_remission_by_sex() {
    let data = published("km_leukaemia_sex_data");
    let expected = published("km_leukaemia_sex_expected_tests");
    let stratified = test_of(&data, "rx", &codes(&data, "sex")).unwrap();
    close(
        stratified.chi_square,
        quantity(&expected, "logrank_strat_sex_chisq"),
        1e-6,
        "stratified",
    );
    close(
        stratified.p,
        quantity(&expected, "logrank_strat_sex_p"),
        1e-6,
        "stratified p",
    );
    for sex in ["0", "1"] {
        let rows: Rows = data
            .iter()
            .filter(|row| row["sex"] == sex)
            .cloned()
            .collect();
        let test = test_of(&rows, "rx", &vec![0; rows.len()]).unwrap();
        let zero = codes(&rows, "rx")[rows.iter().position(|row| row["rx"] == "0").unwrap()];
        for (actual, name) in [
            (test.chi_square, "logrank_chisq"),
            (test.observed[zero], "observed_rx0"),
            (test.expected[zero], "expected_rx0"),
            (test.variance[zero][zero], "var_OE"),
        ] {
            let name = format!("{name}_sex{sex}");
            close(actual, quantity(&expected, &name), 1e-6, &name);
        }
    }
}

#[test]
fn maintained_chemotherapy() {
    let data = published("km_aml_data");
    let expected = published("km_aml_expected_tests");
    let test = test_of(&data, "arm", &vec![0; data.len()]).unwrap();
    for (actual, name) in [
        (test.chi_square, "logrank_chisq"),
        (test.p, "logrank_p"),
        (test.observed[0], "logrank_observed_maintained"),
        (test.expected[0], "logrank_expected_maintained"),
        (test.observed[1], "logrank_observed_nonmaintained"),
        (test.expected[1], "logrank_expected_nonmaintained"),
        (test.variance[0][0], "logrank_var_OE"),
    ] {
        close(actual, quantity(&expected, name), 1e-8, name);
    }
}

/// Three groups of two, one event time each, by hand.
///
/// Times 1 (group 0 and 1 have events, all six at risk) and 2 (group 2, four at risk, one of group 0, one of group 1, two
/// of group 2). E0 = 2 · 2/6 + 1/4 = 11/12 = E1, E2 = 2 · 2/6 + 2/4 = 7/6. At time 1 c = 2 · 4/5 = 8/5,
/// V00 = 8/5 · 1/3 · 2/3; at time 2 c = 1, V00 = 1/4 · 3/4. V22 = 8/5 · 2/9 + 1/4, V01 = -(8/5 / 9 + 1/16).
#[test]
fn three_groups_by_hand() {
    let test = log_rank(Subjects {
        times: &[1.0, 3.0, 1.0, 3.0, 2.0, 3.0],
        events: &[true, false, true, false, true, false],
        groups: &[0, 0, 1, 1, 2, 2],
        strata: &[0; 6],
    })
    .unwrap();
    assert_eq!(test.df, 2);
    for (actual, by_hand) in [
        (test.expected[0], 11.0 / 12.0),
        (test.expected[1], 11.0 / 12.0),
        (test.expected[2], 7.0 / 6.0),
        (test.variance[0][0], 8.0 / 5.0 * 2.0 / 9.0 + 3.0 / 16.0),
        (test.variance[2][2], 8.0 / 5.0 * 2.0 / 9.0 + 1.0 / 4.0),
        (test.variance[0][1], -(8.0 / 45.0 + 1.0 / 16.0)),
    ] {
        close(actual, by_hand, 1e-12, "by hand");
    }
    // Two groups that mirror each other: the sum 1/6 against V22 is all there is.
    let v22: f64 = 8.0 / 5.0 * 2.0 / 9.0 + 0.25;
    close(
        test.chi_square,
        (1.0_f64 / 6.0).powi(2) / v22,
        1e-12,
        "chi-square",
    );
}

#[test]
fn nothing_to_compare() {
    let of = |events: [bool; 4], groups: [usize; 4], strata: [usize; 4]| {
        log_rank(Subjects {
            times: &[1.0, 2.0, 3.0, 4.0],
            events: &events,
            groups: &groups,
            strata: &strata,
        })
    };
    let all = [true; 4];
    assert_eq!(of(all, [0; 4], [0; 4]), None, "one group");
    assert_eq!(of([false; 4], [0, 0, 1, 1], [0; 4]), None, "no event");
    assert_eq!(
        of(all, [0, 0, 1, 1], [0, 0, 1, 1]),
        None,
        "each stratum holds one group"
    );
    assert_eq!(
        log_rank(Subjects {
            times: &[],
            events: &[],
            groups: &[],
            strata: &[]
        }),
        None
    );
}

/// Strata that share no group: two comparisons among four groups, two degrees of freedom, chi-squares that add up.
#[test]
fn degrees_of_freedom_are_the_rank() {
    let times = [1.0, 4.0, 6.0, 2.0, 3.0, 9.0, 1.0, 2.0, 8.0, 5.0];
    let events = [
        true, true, false, true, true, false, true, true, true, false,
    ];
    let groups = [0, 0, 0, 1, 1, 2, 2, 2, 3, 3];
    let strata = [0, 0, 0, 0, 0, 1, 1, 1, 1, 1];
    let both = log_rank(Subjects {
        times: &times,
        events: &events,
        groups: &groups,
        strata: &strata,
    })
    .unwrap();
    let half = |range: std::ops::Range<usize>| {
        log_rank(Subjects {
            times: &times[range.clone()],
            events: &events[range.clone()],
            groups: &groups[range.clone()],
            strata: &strata[range],
        })
        .unwrap()
        .chi_square
    };
    assert_eq!(both.df, 2);
    close(
        both.chi_square,
        half(0..5) + half(5..10),
        1e-12,
        "sum of both strata",
    );
}

#[test]
fn names_of_groups_do_not_matter() {
    let times = [3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0];
    let events = [true, true, false, true, true, false, true, true];
    let of = |groups: [usize; 8]| {
        log_rank(Subjects {
            times: &times,
            events: &events,
            groups: &groups,
            strata: &[0; 8],
        })
        .unwrap()
    };
    let (one, other) = (of([0, 0, 0, 1, 1, 2, 2, 2]), of([2, 2, 2, 0, 0, 7, 7, 7]));
    assert_eq!(one.df, other.df);
    close(one.chi_square, other.chi_square, 1e-12, "chi-square");
    close(one.expected[1], other.expected[0], 1e-12, "expected");
}

/// Two against two without ties. By hand the six arrangements have three pairs of equal chi-squares (swapping the
/// labels), the observed one (early against late) the largest: p = (1 + 2) / (1 + 6).
#[test]
fn permutation_of_two_against_two() {
    let subjects = Subjects {
        times: &[1.0, 2.0, 3.0, 4.0],
        events: &[true; 4],
        groups: &[0, 0, 1, 1],
        strata: &[0; 4],
    };
    let test = log_rank_permutation(subjects, &[0; 4], 1).unwrap();
    assert_eq!((test.draws, test.as_extreme), (6, 2));
    assert_eq!((test.p, test.smallest_p), (3.0 / 7.0, 3.0 / 7.0));
    assert_eq!(
        log_rank_permutation(subjects, &[0, 0, 1, 1], 1),
        None,
        "no block holds two groups"
    );
}

/// 21 against 21: with random draws the permutation p of so clear a difference is the smallest there is.
#[test]
fn permutation_of_leukaemia_remission() {
    let data = published("km_freireich_data");
    let events: Vec<bool> = data.iter().map(|row| row["event"] == "1").collect();
    let subjects = Subjects {
        times: &numbers(&data, "time"),
        events: &events,
        groups: &codes(&data, "arm"),
        strata: &vec![0; data.len()],
    };
    let test = log_rank_permutation(subjects, subjects.strata, 7).unwrap();
    assert_eq!(test.draws, 10_000);
    // Exact p 2.6e-5 (R coin, mid-ranks): more than four of 10,000 draws have a chance below 1e-4.
    assert!(test.as_extreme <= 4, "{test:?}");
    assert_eq!(
        Some(test),
        log_rank_permutation(subjects, subjects.strata, 7),
        "same seed, same draws"
    );
}

/// Miller's data: exact p 0.0647 by R coin, with permutation variance and mid-rank scores, so only nearly ours.
#[test]
fn permutation_of_maintained_chemotherapy() {
    let data = published("km_aml_data");
    let events: Vec<bool> = data.iter().map(|row| row["event"] == "1").collect();
    let subjects = Subjects {
        times: &numbers(&data, "time"),
        events: &events,
        groups: &codes(&data, "arm"),
        strata: &vec![0; data.len()],
    };
    let test = log_rank_permutation(subjects, subjects.strata, 7).unwrap();
    let exact = quantity(
        &published("km_aml_expected_tests"),
        "coin_exact_logrank_p_two_sided",
    );
    close(test.p, exact, 0.02, "p");
}

/// 1,000 sessions, 9 groups, 20 strata: 10,000 draws take well under a second on one core when built with optimisation.
#[test]
fn permutation_of_a_large_study() {
    let count = 1000;
    let times: Vec<f64> = (0..count)
        .map(|index| 1.0 + ((index * 7919) % 1301) as f64 / 100.0)
        .collect();
    let events: Vec<bool> = (0..count).map(|index| index % 3 != 0).collect();
    let groups: Vec<usize> = (0..count).map(|index| (index * 31 / 7) % 9).collect();
    let strata: Vec<usize> = (0..count).map(|index| index % 20).collect();
    let subjects = Subjects {
        times: &times,
        events: &events,
        groups: &groups,
        strata: &strata,
    };
    let asymptotic = log_rank(subjects).unwrap();
    let permutation = log_rank_permutation(subjects, &strata, 3).unwrap();
    assert_eq!((asymptotic.df, permutation.draws), (8, 10_000));
    // No group differs, and with 1,000 sessions both p values are nearly the same.
    close(permutation.p, asymptotic.p, 0.03, "p");
}

/// Gehan-Breslow and Tarone-Ware (lifelines, statsmodels), Peto-Peto (R survival, rho 1): 1e-8.
#[test]
fn weighted_tests() {
    let weighted = |set: &str, weight: EventWeight| {
        let data = published(&format!("{set}_data"));
        let events: Vec<bool> = data.iter().map(|row| row["event"] == "1").collect();
        weighted_log_rank(
            Subjects {
                times: &numbers(&data, "time"),
                events: &events,
                groups: &codes(&data, "arm"),
                strata: &vec![0; data.len()],
            },
            weight,
        )
        .unwrap()
    };
    let of = |file: &str, name: &str| quantity(&published(file), name);
    for (set, weight, file, name) in [
        (
            "km_freireich",
            EventWeight::AtRisk,
            "km_freireich_expected_weighted_tests",
            "gehan_breslow_chisq",
        ),
        (
            "km_freireich",
            EventWeight::RootAtRisk,
            "km_freireich_expected_weighted_tests",
            "tarone_ware_chisq",
        ),
        (
            "km_freireich",
            EventWeight::Survival,
            "km_freireich_expected_tests",
            "peto_peto_rho1_chisq",
        ),
        (
            "km_aml",
            EventWeight::Survival,
            "km_aml_expected_tests",
            "peto_peto_rho1_chisq",
        ),
    ] {
        close(weighted(set, weight).chi_square, of(file, name), 1e-8, name);
    }
    close(
        weighted("km_freireich", EventWeight::Survival).p,
        of("km_freireich_expected_tests", "peto_peto_rho1_p"),
        1e-8,
        "p",
    );
}

/// Permutation of scores against R coin: exact p, and z of eight weights (its sign there depends on the order of arms).
#[test]
fn score_permutation() {
    let scores = |set: &str, weight: EventWeight| {
        let data = published(&format!("{set}_data"));
        let events: Vec<bool> = data.iter().map(|row| row["event"] == "1").collect();
        score_test(
            Subjects {
                times: &numbers(&data, "time"),
                events: &events,
                groups: &codes(&data, "arm"),
                strata: &vec![0; data.len()],
            },
            weight,
        )
        .unwrap()
    };
    let expected = published("km_freireich_expected_tests");
    for (weight, name) in [
        (EventWeight::Equal, "logrank"),
        (EventWeight::AtRisk, "Gehan-Breslow"),
        (EventWeight::RootAtRisk, "Tarone-Ware"),
        (EventWeight::Survival, "Peto-Peto"),
        (EventWeight::Prentice, "Prentice"),
        (EventWeight::PrenticeMarek, "Prentice-Marek"),
        (EventWeight::Andersen, "Andersen-Borgan-Gill-Keiding"),
        // With both its powers 0, as there, this family is the log-rank test.
        (EventWeight::Equal, "Fleming-Harrington"),
    ] {
        let z = quantity(&expected, &format!("coin_asymptotic_{name}_Z"));
        close(scores("km_freireich", weight).z.abs(), z, 1e-8, name);
    }
    for set in ["km_freireich", "km_aml"] {
        let exact = quantity(
            &published(&format!("{set}_expected_tests")),
            "coin_exact_logrank_p_two_sided",
        );
        let p = scores(set, EventWeight::Equal).exact_p.unwrap();
        close(p, exact, 1e-8, set);
    }
}

/// Two against two without ties: scores 3/4, 5/12, -1/12, -13/12 sum to 7/6 for the two early ones, one choice of six on
/// each side.
#[test]
fn score_permutation_by_hand() {
    let subjects = Subjects {
        times: &[1.0, 2.0, 3.0, 4.0],
        events: &[true; 4],
        groups: &[0, 0, 1, 1],
        strata: &[0; 4],
    };
    let test = score_test(subjects, EventWeight::Equal).unwrap();
    assert_eq!(test.exact_p, Some(2.0 / 6.0));
    let square: f64 = [9.0, 5.0, -1.0, -13.0]
        .map(|twelfth: f64| (twelfth / 12.0).powi(2))
        .iter()
        .sum();
    close(test.z, 14.0 / 12.0 / (square / 3.0).sqrt(), 1e-12, "z");
    let one_group = Subjects {
        groups: &[0; 4],
        ..subjects
    };
    assert_eq!(score_test(one_group, EventWeight::Equal), None);
    let censored = Subjects {
        events: &[false; 4],
        ..subjects
    };
    assert_eq!(score_test(censored, EventWeight::Equal), None);
}
