//! A mean over wearers: in a balanced design the mean of their means, with t between them. Pastes of lme4 with batches as
//! wearers and casks as sensors, 1e-5 relative.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, numbers, published, quantity};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::draws::normal;
use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::over_wearers::mean_over_wearers;
use whereworn_stats::mixed::random_intercept::random_intercept;
use whereworn_stats::mixed::sensor_means::{mean_of_sensors, sensor_means};

#[test]
fn pastes() {
    let data = published("mm_pastes_data");
    let expected = published("mm_pastes_expected");
    let (values, batches, casks) = (
        numbers(&data, "strength"),
        codes(&data, "batch"),
        codes(&data, "cask"),
    );
    let sensors: Vec<usize> = batches.iter().zip(&casks).map(|(b, c)| 3 * b + c).collect();
    let fit = mean_over_wearers(&values, &sensors, &batches).unwrap();
    assert_eq!(fit.wearers, 10);
    close_relative(
        fit.mean.estimate,
        quantity(&expected, "reml_mean"),
        1e-5,
        "mean",
    );
    close_relative(
        fit.mean.std_error,
        quantity(&expected, "reml_mean_se"),
        1e-5,
        "error",
    );
    close_relative(
        fit.sd_wearers.unwrap(),
        quantity(&expected, "reml_sd_batch"),
        1e-5,
        "batches",
    );
    close(fit.mean.df, 9.0, 1e-2, "df");
}

/// By hand, two wearers with two sensors of one value each. Means 1 and 9: wearers 8 apart, variance of a mean
/// (4² + 4²) / 1 / 2 = 16, t with 1 degree of freedom 12.7062 (any table). Means 3 and 3: nothing between wearers, sensors
/// ±1 about them with 2 degrees of freedom; REML without a variance between wearers is their standard deviation about one mean,
/// s² = 4 / 3, over 4 sensors, t with 2 degrees of freedom 4.302653.
#[test]
fn two_wearers_by_hand() {
    let (sensors, wearers) = ([0, 1, 2, 3], [0, 0, 1, 1]);
    let apart = mean_over_wearers(&[0.0, 2.0, 8.0, 10.0], &sensors, &wearers).unwrap();
    close(apart.mean.estimate, 5.0, 1e-9, "mean");
    close(apart.mean.std_error, 4.0, 1e-6, "error");
    close(
        apart.mean.interval.upper,
        5.0 + 12.7062 * 4.0,
        1e-3,
        "upper",
    );
    let alike = mean_over_wearers(&[2.0, 4.0, 4.0, 2.0], &sensors, &wearers).unwrap();
    close(alike.mean.df, 2.0, 1e-12, "df");
    let half = 4.302_653 * (1.0_f64 / 3.0).sqrt();
    close(alike.mean.interval.upper, 3.0 + half, 1e-5, "upper alike");
}

/// Four wearers alike, one of whom has two sensors: their one degree of freedom is not what tells how sure the mean is.
#[test]
fn one_sensor_more_than_wearers() {
    let wearers = [0, 0, 1, 2, 3];
    let values = [0.0, 10.0, 5.1, 5.0, 4.9];
    let fit = mean_over_wearers(&values, &[0, 1, 2, 3, 4], &wearers).unwrap();
    close(fit.mean.df, 3.0, 1e-12, "df");
}

/// By hand: sensor means 2, 4.5 and 6 (of two, two and four values), mean 25 / 6, s² = 49 / 12 (deviations -13/6, 2/6 and
/// 11/6), standard error √(49 / 36) = 7 / 6, t with 2 degrees of freedom at 0.975 is 4.302653 (any table).
#[test]
fn one_wearer_by_hand() {
    let values = [1.0, 3.0, 2.0, 7.0, 8.0, 4.0, 6.0, 6.0];
    let sensors = [0, 0, 1, 1, 2, 2, 2, 2];
    let fit = mean_over_wearers(&values, &sensors, &[5; 8]).unwrap();
    close(fit.mean.estimate, 25.0 / 6.0, 1e-12, "mean");
    close(fit.mean.std_error, 7.0 / 6.0, 1e-12, "error");
    let half = 4.302_653 * 7.0 / 6.0;
    close(fit.mean.interval.lower, 25.0 / 6.0 - half, 1e-5, "lower");
    close(fit.mean.interval.upper, 25.0 / 6.0 + half, 1e-5, "upper");
    // t = 25 / 7 with 2 degrees of freedom: p = 1 - t / √(t² + 2), Student's closed form.
    let t: f64 = 25.0 / 7.0;
    close(fit.mean.p, 1.0 - t / (t * t + 2.0).sqrt(), 1e-12, "p");
    assert_eq!(fit.sd_wearers, None);
    assert_eq!(mean_over_wearers(&values[..2], &[0; 2], &[0; 2]), None);
    assert_eq!(mean_over_wearers(&[], &[], &[]), None);
}

/// Equal numbers of pairs: the same as the random intercept's, whose variance between is above 0.
#[test]
fn equal_sensors_are_the_random_intercept() {
    let values = [1.0, 3.0, 2.0, 7.0, 8.0, 14.0];
    let sensors = [0, 0, 1, 1, 2, 2];
    let fit = mean_over_wearers(&values, &sensors, &[5; 6]).unwrap();
    let plain = random_intercept(&values, &sensors).unwrap();
    assert!(plain.sd_between.unwrap() > 0.0);
    let expected = plain.interval.unwrap();
    close(fit.mean.interval.lower, expected.lower, 1e-9, "lower");
    close(fit.mean.interval.upper, expected.upper, 1e-9, "upper");
}

/// A mean without any scatter: certain, and p says so.
#[test]
fn sensors_that_are_all_alike() {
    let alike = mean_over_wearers(&[2.0; 4], &[0, 1, 2, 3], &[0; 4]).unwrap();
    assert_eq!((alike.mean.interval.lower, alike.mean.p), (2.0, 0.0));
    let none = mean_over_wearers(&[0.0; 4], &[0, 1, 2, 3], &[0; 4]).unwrap();
    assert_eq!(none.mean.p, 1.0);
}

/// Four sensors of a site without bias, 60 pairs on the first and 1 to 4 on the others, standard deviation 5 between sensors and 9
/// within: the model's interval holds the truth in 89 of 100 studies, that of the means in 95, up to four standard errors.
#[test]
fn one_busy_sensor_shortens_the_interval_of_the_model_alone() {
    let (mut model, mut means) = (0, 0);
    let holds = |interval: Interval| usize::from(interval.lower <= 0.0 && interval.upper >= 0.0);
    for seed in 0..10_000 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let (mut values, mut sensors) = (Vec::new(), Vec::new());
        for sensor in 0..4 {
            let few = random.random_range(1..=4);
            let level = 5.0 * normal(&mut random);
            for _ in 0..if sensor == 0 { 60 } else { few } {
                values.push(level + 9.0 * normal(&mut random));
                sensors.push(sensor);
            }
        }
        model += holds(
            random_intercept(&values, &sensors)
                .unwrap()
                .interval
                .unwrap(),
        );
        means += holds(
            mean_of_sensors(&sensor_means(&values, &sensors))
                .unwrap()
                .interval,
        );
    }
    assert!((8_800..=9_050).contains(&model), "{model}");
    assert!((9_430..=9_590).contains(&means), "{means}");
}
