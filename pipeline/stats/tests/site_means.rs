//! A mean over wearers: in a balanced design the mean of their means, with t between them. Pastes of lme4 with batches as
//! wearers and casks as sensors, 1e-5 relative.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, numbers, published, quantity};
use whereworn_stats::mixed::over_wearers::mean_over_wearers;
use whereworn_stats::mixed::random_intercept::random_intercept;

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

#[test]
fn one_wearer_is_the_random_intercept() {
    let values = [1.0, 3.0, 2.0, 7.0, 8.0, 4.0];
    let sensors = [0, 0, 1, 1, 2, 2];
    let fit = mean_over_wearers(&values, &sensors, &[5; 6]).unwrap();
    let plain = random_intercept(&values, &sensors).unwrap();
    assert_eq!(Some(fit.mean.interval), plain.interval);
    assert_eq!(fit.sd_wearers, None);
    assert_eq!(mean_over_wearers(&values, &[0; 6], &[0; 6]), None);
    assert_eq!(mean_over_wearers(&[], &[], &[]), None);
}
