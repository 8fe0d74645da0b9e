//! Ratios of sums: the clustered mean of `cl_sleepstudy_mean_expected.csv` (R sandwich, statsmodels), tolerance 1e-9,
//! and a toy case by hand.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::collections::BTreeMap;

use common::{close, close_relative, codes, numbers, published, quantity};
use whereworn_stats::rates::ratio::ratio_of_sums;

/// A clustered mean is the ratio of the groups' sums to their sizes.
#[test]
fn reaction_times() {
    let data = published("mm_sleepstudy_data");
    let expected = published("cl_sleepstudy_mean_expected");
    let mut groups: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    let subjects = codes(&data, "subject");
    for (subject, value) in subjects.into_iter().zip(numbers(&data, "reaction")) {
        let group = groups.entry(subject).or_default();
        group.0 += value;
        group.1 += 1.0;
    }
    let (sums, sizes): (Vec<f64>, Vec<f64>) = groups.into_values().unzip();
    let ratio = ratio_of_sums(&sums, &sizes).unwrap();
    let value = |name| quantity(&expected, name);
    close_relative(ratio.value, value("mean"), 1e-9, "mean");
    let error = ratio.std_error.unwrap();
    close_relative(error, value("cluster_se_cr1"), 1e-9, "standard error");
    assert_eq!(ratio.df, 17.0);
    // 2.10981557783 is the quantile of Student's t for 17 degrees of freedom, printed in any table as 2.1098.
    let half = ratio.interval.unwrap().upper - ratio.value;
    close_relative(half / error, 2.1098, 1e-4, "half width");
}

/// 1 of 2, 0 of 4, 5 of 6: r = 1/2; residuals 0, -2, 2; variance 3/2 x 8 / 144 = 1/12.
#[test]
fn three_sensors_by_hand() {
    let ratio = ratio_of_sums(&[1.0, 0.0, 5.0, 0.0], &[2.0, 4.0, 6.0, 0.0]).unwrap();
    close(ratio.value, 0.5, 1e-15, "value");
    close(
        ratio.std_error.unwrap(),
        (1.0_f64 / 12.0).sqrt(),
        1e-15,
        "standard error",
    );
    assert_eq!(ratio.df, 2.0);
    // 4.302652729911 = sqrt(2) (2 x 0.975 - 1) / sqrt(1 - (2 x 0.975 - 1)^2), the closed form for two degrees of freedom.
    let interval = ratio.interval.unwrap();
    close(
        interval.upper,
        0.5 + 4.302_652_729_911 / 12.0_f64.sqrt(),
        1e-9,
        "upper",
    );
}

#[test]
fn too_few_or_all_alike() {
    assert_eq!(ratio_of_sums(&[], &[]), None);
    assert_eq!(ratio_of_sums(&[1.0], &[0.0]), None);
    let one = ratio_of_sums(&[1.0], &[4.0]).unwrap();
    assert_eq!((one.value, one.std_error, one.interval), (0.25, None, None));
    let two = ratio_of_sums(&[1.0, 2.0], &[4.0, 4.0]).unwrap();
    assert!(two.std_error.is_some() && two.interval.is_none());
    let none = ratio_of_sums(&[0.0; 5], &[3.0, 4.0, 5.0, 6.0, 7.0]).unwrap();
    assert_eq!((none.std_error, none.interval), (Some(0.0), None));
    assert_eq!(
        ratio_of_sums(&[1.0, 2.0, 3.0], &[2.0, 4.0, 6.0])
            .unwrap()
            .interval,
        None
    );
}
