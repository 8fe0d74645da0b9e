//! Intervals of shares (R, scipy, statsmodels; Newcombe 1998 Stat Med 17:857), tolerance 1e-9, and the fewest
//! agreeing pairs whose exact one-sided 95 % bound clears a threshold (`reg_least_passing_count.csv`).

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, maybe, number, published};
use whereworn_stats::agreement::acceptance::{least_passing_count, one_sided_lower_bound};
use whereworn_stats::rates::proportion::{clopper_pearson, wilson};

#[test]
fn intervals_of_shares() {
    for row in published("prop_intervals_expected") {
        let (hits, total) = (number(&row, "x") as u64, number(&row, "n") as u64);
        let level = number(&row, "level");
        let exact = clopper_pearson(hits, total, level).unwrap();
        let score = wilson(hits, total, level).unwrap();
        let one_sided = clopper_pearson(hits, total, 0.90).unwrap();
        for (actual, column) in [
            (exact.lower, "clopper_lower"),
            (exact.upper, "clopper_upper"),
            (score.lower, "wilson_lower"),
            (score.upper, "wilson_upper"),
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
