//! The cluster bootstrap: all arrangements by hand, and its spread against the sandwich formula
//! (`cl_sleepstudy_mean_expected.csv`, R sandwich and boot), tolerance 2 %.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, numbers, published, quantity};
use whereworn_stats::resampling::bootstrap::{cluster_bootstrap_mean, cluster_bootstrap_median};

/// Two groups, four arrangements: means 1, 3.25, 3.25 and 4 (the pooled mean of one 1 and three 4s twice). Quantiles of
/// type 7 at positions 0.075 and 2.925 of 0 to 3.
#[test]
fn two_groups_by_hand() {
    let interval = cluster_bootstrap_mean(&[1.0, 4.0, 4.0, 4.0], &[0, 1, 1, 1], 5).unwrap();
    close(interval.lower, 1.0 + 0.075 * 2.25, 1e-12, "lower");
    close(interval.upper, 3.25 + 0.925 * 0.75, 1e-12, "upper");
}

/// Three groups of one value, 27 arrangements of 0, 3 and 6: sums 0 (once), 3 (three times) ... 18 (once), so positions
/// 0.65 and 25.35 of 0 to 26 lie between the means 0 and 1, and 5 and 6.
#[test]
fn three_groups_by_hand() {
    let interval = cluster_bootstrap_mean(&[0.0, 3.0, 6.0], &[4, 8, 6], 5).unwrap();
    close(interval.lower, 0.65, 1e-12, "lower");
    close(interval.upper, 5.35, 1e-12, "upper");
}

#[test]
fn one_group_has_no_interval() {
    assert_eq!(cluster_bootstrap_mean(&[1.0, 2.0], &[0, 0], 5), None);
    assert_eq!(cluster_bootstrap_mean(&[], &[], 5), None);
}

/// The limit of the bootstrap's standard error is the sandwich CR0; the distribution is close to normal.
#[test]
fn reaction_times() {
    let data = published("mm_sleepstudy_data");
    let expected = published("cl_sleepstudy_mean_expected");
    let interval =
        cluster_bootstrap_mean(&numbers(&data, "reaction"), &codes(&data, "subject"), 20).unwrap();
    let std_error = (interval.upper - interval.lower) / (2.0 * 1.959_964);
    close_relative(
        std_error,
        quantity(&expected, "cluster_bootstrap_se_limit"),
        0.02,
        "standard error",
    );
    let again =
        cluster_bootstrap_mean(&numbers(&data, "reaction"), &codes(&data, "subject"), 20).unwrap();
    assert_eq!(interval, again);
}

#[test]
fn shifting_and_scaling() {
    let values: Vec<f64> = (0..40).map(|index| f64::from(index * index % 37)).collect();
    let groups: Vec<usize> = (0..40).map(|index| index % 7).collect();
    let plain = cluster_bootstrap_mean(&values, &groups, 5).unwrap();
    let moved: Vec<f64> = values.iter().map(|value| 3.0 * value - 100.0).collect();
    let moved = cluster_bootstrap_mean(&moved, &groups, 5).unwrap();
    close(moved.lower, 3.0 * plain.lower - 100.0, 1e-9, "lower");
    close(moved.upper, 3.0 * plain.upper - 100.0, 1e-9, "upper");
}

/// Medians of the four arrangements of {1} and {4, 6, 8}: 1, 5, 5 and 6, at positions 0.075 and 2.925 of 0 to 3.
#[test]
fn median_of_two_groups_by_hand() {
    let interval = cluster_bootstrap_median(&[6.0, 1.0, 8.0, 4.0], &[1, 0, 1, 1], 5).unwrap();
    close(interval.lower, 1.0 + 0.075 * 4.0, 1e-12, "lower");
    close(interval.upper, 5.0 + 0.925, 1e-12, "upper");
    assert_eq!(cluster_bootstrap_median(&[1.0, 2.0], &[0, 0], 5), None);
    assert_eq!(cluster_bootstrap_median(&[], &[], 5), None);
}

/// Blocks of sorted values give the plain median: of groups that are alike every draw has the same.
#[test]
fn median_of_many_groups_that_are_alike() {
    let groups: Vec<usize> = (0..50_000).map(|pair| pair % 100).collect();
    let values: Vec<f64> = (0..50_000)
        .map(|pair| f64::from(pair / 100 * 7919 % 500))
        .collect();
    let median = cluster_bootstrap_median(&values, &groups, 12).unwrap();
    assert_eq!((median.lower, median.upper), (249.5, 249.5));
}
