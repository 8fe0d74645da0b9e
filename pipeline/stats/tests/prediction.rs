//! The next sensor: prediction and tolerance limits against tables and by hand, usable days by hand. Coverage stands on the
//! page of `cargo xtask calibrate`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::prediction::level::{NextLevel, next_level};
use whereworn_stats::prediction::usable_days::next_days;

/// One pair a sensor: `count` values of mean `mean` and standard deviation 1, so that nothing is taken off for noise.
fn spread(count: usize, mean: f64) -> NextLevel {
    let scores: Vec<f64> = (0..count)
        .map(|i| i as f64 - 0.5 * (count - 1) as f64)
        .collect();
    let squares: f64 = scores.iter().map(|score| score * score).sum();
    let sd = (squares / (count - 1) as f64).sqrt();
    let values: Vec<f64> = scores.iter().map(|score| mean + score / sd).collect();
    let sensors: Vec<usize> = (0..count).collect();
    next_level(&values, &sensors, 15.0).unwrap()
}

/// Prediction of one more of a normal sample: t √(1 + 1 / n), t at 0.975 with 4 and 9 degrees of freedom 2.776445 and 2.262157
/// (any table).
#[test]
fn prediction_of_a_normal_sample() {
    for (count, t) in [(5_usize, 2.776_445_f64), (10, 2.262_157)] {
        let next = spread(count, 3.0);
        let reach = t * (1.0 + 1.0 / count as f64).sqrt();
        close(next.prediction.lower, 3.0 - reach, 1e-5, "lower");
        close(next.prediction.upper, 3.0 + reach, 1e-5, "upper");
    }
}

/// Two-sided factors for 95 % of a population with 95 % confidence by Howe's formula: √(9 · 1.1 · 1.959964² / 3.325113) = 3.381913
/// for ten (chi-square 0.05 with 9 degrees of freedom: 3.325113, any table); printed tables have 3.379.
#[test]
fn tolerance_limits_of_a_normal_sample() {
    let next = spread(10, 0.0);
    close(next.tolerance.upper, 3.381_913, 1e-5, "factor");
    close(next.tolerance.lower, -3.381_913, 1e-5, "factor");
    assert!((next.tolerance.upper - 3.379).abs() < 0.005);
}

/// One-sided factors for 95 % of a population with 95 % confidence, by the noncentral t distribution: 4.203 for five, 2.911 for
/// ten, 2.396 for twenty (Owen 1963, Factors for one-sided tolerance limits, recalled; scipy 1.17 nct.ppf gives 4.20268, 2.91096 and
/// 2.39600). A mean that many standard deviations from 0 leaves one in twenty on the other side, with 95 % confidence.
#[test]
fn sensors_agree_where_one_in_twenty_may_read_the_other_way() {
    for (count, factor) in [(5, 4.202_68), (10, 2.910_96), (20, 2.396_00)] {
        for side in [-1.0, 1.0] {
            let bound = spread(count, side * factor).other_way.upper_bound;
            close(bound, 0.05, 5e-4, "bound");
            assert!(spread(count, side * (factor + 0.05)).agree());
            assert!(!spread(count, side * (factor - 0.05)).agree());
        }
    }
}

/// The chance that the next is beyond 15: that of a t variate with 9 degrees of freedom beyond (15 - 14) / √1.1 or below
/// -29 / √1.1: scipy 1.17, t.sf(0.953463, 9) = 0.182630.
#[test]
fn chance_of_a_far_one() {
    let next = spread(10, 14.0);
    close(next.beyond.value, 0.182_630, 1e-3, "chance");
    assert!(next.beyond.interval.lower < 0.06 && next.beyond.interval.upper > 0.3);
    // None of ten was: 1 - 0.025^(1 / 10), exact (Clopper and Pearson 1934); normal levels alone would say below 1e-6.
    let none = spread(10, 0.0).beyond;
    assert!(none.value < 1e-6);
    close(none.interval.upper, 0.308_497, 1e-6, "none of ten");
    // Two of ten sensors read 20 % high, the others about 0: 2.52 to 55.6 % (the exact interval of 2 in 10, a common table value).
    let mut values = vec![-0.6, -0.4, -0.2, 0.0, 0.0, 0.2, 0.4, 0.6, 20.0, 20.0];
    let each: Vec<usize> = (0..10).collect();
    let two = next_level(&values, &each, 15.0).unwrap().beyond.interval;
    assert!(two.lower <= 0.025_22 && two.upper >= 0.556_09, "{two:?}");
    values[9] = -20.0;
    let either_way = next_level(&values, &each, 15.0).unwrap().beyond.interval;
    assert!(either_way.upper >= 0.556_09, "{either_way:?}");
    // The share beyond one limit, with 95 % confidence at most a half where the limit is 1.8331 / √10 above the mean (t at 0.95 with
    // 9 degrees of freedom: the bound of the median is that of the mean).
    let near = spread(10, 15.0 - 1.833_113 / 10.0_f64.sqrt());
    close(near.beyond.upper_bound, 0.5, 2e-3, "half");
}

/// Sensor means 2, 4 and 9 of two pairs each, ± 1 about them: within variance 2, noise 1 in a mean, s² = 13; v = 12.5.
/// Prediction 5 ± 4.302653 √(12.5 + 13 / 3).
#[test]
fn noise_of_few_pairs_is_half_taken_off() {
    let values = [1.0, 3.0, 3.0, 5.0, 8.0, 10.0];
    let next = next_level(&values, &[0, 0, 1, 1, 2, 2], 15.0).unwrap();
    let reach = 4.302_653 * (12.5_f64 + 13.0 / 3.0).sqrt();
    close(next.prediction.upper, 5.0 + reach, 1e-3, "upper");
    // Means 2, 2.1 and 2.2: s² = 0.01 is all noise, half of it stays.
    let values = [1.0, 3.0, 1.1, 3.1, 1.2, 3.2];
    let next = next_level(&values, &[0, 0, 1, 1, 2, 2], 15.0).unwrap();
    let reach = 4.302_653 * (0.005_f64 + 0.01 / 3.0).sqrt();
    close(next.prediction.upper, 2.1 + reach, 1e-5, "floor");
    assert_eq!(next_level(&[1.0, 2.0], &[0, 1], 15.0), None);
    let alike = next_level(&[16.0; 4], &[0, 1, 2, 3], 15.0).unwrap();
    assert_eq!(
        (alike.beyond.value, alike.other_way.upper_bound),
        (1.0, 0.0)
    );
}

/// By hand: 2 ended, 5 censored, 8 ended, two reached 14. Chances left: 5/6 after day 2, then 3/4 of it after day 8 (three still
/// worn), 5/8; of that 1 / 6 before day 14: 25/48 reach it.
#[test]
fn days_by_hand() {
    let days = [8.0, 2.0, 14.0, 20.0, 5.0];
    let next = next_days(&days, &[true, true, false, true, false], 14.0).unwrap();
    assert_eq!(next.sensors, 5);
    close(next.reaches, 25.0 / 48.0, 1e-12, "reaches");
    // 0.025 of 1/6 by day 2; a half is not reached.
    close(next.prediction.lower, 2.0 * 0.025 * 6.0, 1e-12, "lower");
    assert_eq!((next.median, next.prediction.upper), (14.0, 14.0));
}

/// By hand: endings on days 1, 2 and 3, none left: chances 3/4, 1/2 and 1/4 left, the last of which may reach day 14; of forty
/// on days 1 to 40 it is 1/41, less than 2.5 %, and 0.975 of all lie before 0.975 · 41 = 39.975 days.
#[test]
fn days_where_none_lasts() {
    let next = next_days(&[3.0, 1.0, 2.0], &[true; 3], 14.0).unwrap();
    close(next.median, 2.0, 1e-12, "median");
    close(next.prediction.lower, 0.1, 1e-12, "lower");
    assert_eq!(next.prediction.upper, 14.0);
    let forty: Vec<f64> = (1..=40).map(f64::from).collect();
    let many = next_days(&forty, &[true; 40], 60.0).unwrap();
    close(many.prediction.upper, 39.975, 1e-9, "of forty");
    assert_eq!(next.reaches, 0.0);
    assert_eq!(next_days(&[3.0, 1.0], &[true; 2], 14.0), None);
    // Two at once on the first day: 3/4 and then 2/3 of it left.
    let tied = next_days(&[0.0, 0.0, 14.0], &[true, true, false], 14.0).unwrap();
    assert_eq!(tied.prediction.lower, 0.0);
    close(tied.reaches, 0.5 * 0.75, 1e-12, "tied");
}
