//! Spread and drift of a site by hand: limits where the exact intervals are known, and the rule of the classes.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative};
use whereworn_stats::agreement::steadiness::{STEADY_LIMIT, SteadinessClass, steadiness};
use whereworn_stats::distributions::{chi_square_quantile, normal_quantile, t_quantile};

/// Sensors at these levels, four pairs each on days 1 to 4, `noise` about the level.
fn site(levels: &[f64], noise: f64) -> (Vec<f64>, Vec<usize>, Vec<f64>) {
    let (mut values, mut sensors, mut days) = (Vec::new(), Vec::new(), Vec::new());
    for (sensor, level) in levels.iter().enumerate() {
        for (pair, sign) in [1.0, -1.0, -1.0, 1.0].into_iter().enumerate() {
            values.push(level + noise * sign);
            sensors.push(sensor);
            days.push(1.0 + pair as f64);
        }
    }
    (values, sensors, days)
}

/// Where sensors hardly scatter within, the variance between them is that of their means, 11.5, and its interval 11.5 df over
/// chi-square quantiles, df = 2 / (2 / 4 + 1 / 5) = 2.857143: scipy 1.17 stats.chi2.ppf at 0.975 and 0.025.
#[test]
fn spread_between_with_little_within() {
    let (values, sensors, days) = site(&[-4.0, 0.0, 1.0, 3.0, 5.0], 1e-5);
    let fit = steadiness(&values, &sensors, &days).unwrap();
    let spread = fit.sd_between.unwrap();
    // Mean 1; squares 25 + 1 + 0 + 4 + 16 = 46.
    close(spread.value, 11.5_f64.sqrt(), 1e-4, "SD");
    let interval = spread.interval.unwrap();
    close_relative(interval.lower, 1.902258, 1e-4, "lower");
    close_relative(interval.upper, 13.318499, 1e-4, "upper");
    // Within: four values a sensor at ± noise have kurtosis 1, so that all 15 degrees of freedom count.
    let within = fit.sd_within.unwrap().interval.unwrap();
    let squares = 20.0 * 1e-10;
    close_relative(
        within.lower,
        (squares / chi_square_quantile(0.975, 15.0)).sqrt(),
        1e-6,
        "within",
    );
}

/// Three sensors of two values each, ± 1, 2 and 3: squares 2, 8 and 18 with a degree of freedom each, variance 28 / 3, its
/// clustered variance ((2 - v)² + (8 - v)² + (18 - v)²) / 9 / (2/3); kurtosis 6 · (2 + 32 + 162) / 28² = 1.5 takes nothing off.
#[test]
fn sensors_whose_scatter_differs() {
    let values = [-1.0, 1.0, -2.0, 2.0, -3.0, 3.0];
    let sensors = [0, 0, 1, 1, 2, 2];
    let fit = steadiness(&values, &sensors, &[0.0; 6]).unwrap();
    let v = 28.0_f64 / 3.0;
    let of_v = [2.0, 8.0, 18.0]
        .map(|own: f64| (own - v).powi(2))
        .iter()
        .sum::<f64>()
        / 6.0;
    let shrink = (normal_quantile(0.975) / t_quantile(0.975, 2.0)).powi(2);
    let df = (2.0 * v * v / of_v * shrink).max(1.0);
    let interval = fit.sd_within.unwrap().interval.unwrap();
    let end = |p: f64| (v * df / chi_square_quantile(p, df)).sqrt();
    close_relative(interval.lower, end(0.975), 1e-9, "lower");
    close_relative(interval.upper, end(0.025), 1e-9, "upper");
}

#[test]
fn sensors_that_do_not_differ() {
    let (values, sensors, days) = site(&[2.0; 6], 3.0);
    let spread = steadiness(&values, &sensors, &days)
        .unwrap()
        .sd_between
        .unwrap();
    assert_eq!((spread.value, spread.interval.unwrap().lower), (0.0, 0.0));
}

/// Slopes 0, 1 and 2 a day with equal spread of days: mean 1, variance 1 over 3, t with 2 degrees of freedom.
#[test]
fn drift_by_hand() {
    let (mut values, sensors, days) = site(&[0.0, 10.0, 20.0], 0.0);
    for ((value, sensor), day) in values.iter_mut().zip(&sensors).zip(&days) {
        *value += *sensor as f64 * day;
    }
    let drift = steadiness(&values, &sensors, &days).unwrap().drift.unwrap();
    close(drift.value, 1.0, 1e-12, "drift");
    let half_width = t_quantile(0.975, 2.0) * (1.0_f64 / 3.0).sqrt();
    close(
        drift.interval.unwrap().upper,
        1.0 + half_width,
        1e-9,
        "upper",
    );
    let all_at_once = vec![3.0; values.len()];
    assert_eq!(
        steadiness(&values, &sensors, &all_at_once).unwrap().drift,
        None
    );
}

#[test]
fn classes_by_their_rule() {
    let class = |levels: &[f64]| {
        let (values, sensors, days) = site(levels, 0.5);
        steadiness(&values, &sensors, &days).unwrap().class()
    };
    assert_eq!(class(&[1.0, -1.0]), SteadinessClass::TooFewSensors);
    assert_eq!(class(&[-1.0, 0.0, 1.0, 0.5, -0.5]), SteadinessClass::Steady);
    assert_eq!(
        class(&[9.0, 10.0, 11.0, 10.5, 9.5]),
        SteadinessClass::SteadyHigh
    );
    assert_eq!(
        class(&[-9.0, -10.0, -11.0, -10.5, -9.5]),
        SteadinessClass::SteadyLow
    );
    assert_eq!(
        class(&[-40.0, -10.0, 0.0, 20.0, 35.0]),
        SteadinessClass::Scattered
    );
    assert_eq!(class(&[-8.0, 0.0, 8.0]), SteadinessClass::NotClearYet);
    // Two standard deviations of the limit are the 15 % of the standards.
    assert_eq!(2.0 * STEADY_LIMIT, 15.0);
}

#[test]
fn hardly_any_data() {
    assert_eq!(steadiness(&[], &[], &[]), None);
    let one = steadiness(&[3.0], &[0], &[1.0]).unwrap();
    assert_eq!(
        (one.bias.value, one.sd_between, one.drift),
        (3.0, None, None)
    );
    let singles = steadiness(&[1.0, 2.0, 3.0], &[0, 1, 2], &[1.0, 1.0, 1.0]).unwrap();
    assert_eq!((singles.sd_between, singles.sd_within), (None, None));
}
