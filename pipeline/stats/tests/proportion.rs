//! Intervals of shares (R, scipy, statsmodels; Newcombe 1998 Stat Med 17:857), tolerance 1e-9, and the fewest
//! agreeing pairs whose exact one-sided 95 % bound clears a threshold (`reg_least_passing_count.csv`).

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, maybe, number, published};
use whereworn_stats::agreement::acceptance::{least_passing_count, one_sided_lower_bound};
use whereworn_stats::rates::proportion::{clopper_pearson, wilson, wilson_corrected};

#[test]
fn intervals_of_shares() {
    for row in published("prop_intervals_expected") {
        let (hits, total) = (number(&row, "x") as u64, number(&row, "n") as u64);
        let level = number(&row, "level");
        let exact = clopper_pearson(hits, total, level).unwrap();
        let score = wilson(hits, total, level).unwrap();
        let corrected = wilson_corrected(hits, total, level).unwrap();
        let one_sided = clopper_pearson(hits, total, 0.90).unwrap();
        for (actual, column) in [
            (exact.lower, "clopper_lower"),
            (exact.upper, "clopper_upper"),
            (score.lower, "wilson_lower"),
            (score.upper, "wilson_upper"),
            (corrected.lower, "wilson_cc_lower"),
            (corrected.upper, "wilson_cc_upper"),
            (one_sided.lower, "one_sided_95_lower_clopper"),
        ] {
            close(
                actual,
                number(&row, column),
                1e-9,
                &format!("{column} of {hits}/{total}"),
            );
        }
    }
}

#[test]
fn the_fewest_pairs_that_pass() {
    for row in published("reg_least_passing_count") {
        let total = number(&row, "n_pairs") as u64;
        let threshold = number(&row, "threshold_pct") / 100.0;
        let bound = |hits| one_sided_lower_bound(hits, total).unwrap();
        let fewest = least_passing_count(total, threshold);
        let expected = maybe(&row, "least_passing_count").map(|count| count as u64);
        assert_eq!(fewest, expected, "{row:?}");
        if let Some(fewest) = fewest {
            close(
                bound(fewest),
                number(&row, "exact_lower_bound_at_that_count"),
                1e-9,
                &format!("{row:?}"),
            );
        }
    }
}

#[test]
fn nothing_out_of_nothing() {
    assert_eq!(clopper_pearson(0, 0, 0.95), None);
    assert_eq!(wilson(0, 0, 0.95), None);
    assert_eq!(wilson_corrected(0, 0, 0.95), None);
    assert_eq!(clopper_pearson(3, 2, 0.95), None);
}

#[test]
fn hits_and_misses_mirror_each_other() {
    for hits in 0..=12 {
        let (one, other) = (
            wilson(hits, 12, 0.95).unwrap(),
            wilson(12 - hits, 12, 0.95).unwrap(),
        );
        close(one.lower, 1.0 - other.upper, 1e-12, "wilson");
        let (one, other) = (
            clopper_pearson(hits, 12, 0.95).unwrap(),
            clopper_pearson(12 - hits, 12, 0.95).unwrap(),
        );
        close(one.lower, 1.0 - other.upper, 1e-12, "exact");
    }
}

/// Printed by Newcombe 1998, Table I, to four digits: Wilson, Wilson corrected, Clopper and Pearson.
#[test]
fn printed_by_newcombe() {
    type Method = fn(u64, u64, f64) -> Option<whereworn_stats::interval::Interval>;
    let methods: [Method; 3] = [wilson, wilson_corrected, clopper_pearson];
    for (hits, total, printed) in [
        (
            81,
            263,
            [(0.2553, 0.3662), (0.2535, 0.3682), (0.2527, 0.3676)],
        ),
        (
            15,
            148,
            [(0.0624, 0.1605), (0.0598, 0.1644), (0.0578, 0.1617)],
        ),
        (0, 20, [(0.0, 0.1611), (0.0, 0.2005), (0.0, 0.1684)]),
        (
            1,
            29,
            [(0.0061, 0.1718), (0.0018, 0.1963), (0.0009, 0.1776)],
        ),
    ] {
        for (method, (lower, upper)) in methods.iter().zip(printed) {
            let interval = method(hits, total, 0.95).unwrap();
            close(interval.lower, lower, 5e-5, "lower");
            close(interval.upper, upper, 5e-5, "upper");
        }
    }
}
