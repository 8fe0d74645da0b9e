//! Headline intervals by hand: Korn and Graubard 1998 Surv Methodol 24:193 for shares, their idea for rates, t corrected
//! for skewness for means. Tolerance 1e-12 for closed forms; coverage stands on the page of `cargo xtask calibrate`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use std::f64::consts::PI;
use whereworn_stats::distributions::{normal_quantile, t_quantile};
use whereworn_stats::rates::clustered::{
    Cluster, clustered_mean, clustered_rate, clustered_ratio, clustered_share, spread_df,
};
use whereworn_stats::rates::poisson::exact_poisson_interval;
use whereworn_stats::rates::proportion::clopper_pearson;

fn cluster(sum: f64, size: f64) -> Cluster {
    Cluster { sum, size }
}

/// Shares 0.5, 0.7, 0.9 of ten each: variance 0.04 over 3. Uneven: by hand below.
#[test]
fn variance_of_a_ratio() {
    let even = [cluster(5.0, 10.0), cluster(7.0, 10.0), cluster(9.0, 10.0)];
    let ratio = clustered_ratio(&even).unwrap();
    close(ratio.ratio, 0.7, 1e-15, "ratio");
    close(ratio.variance, 0.04 / 3.0, 1e-15, "variance");
    // Weights 1/4 and 3/4, ratios 0.4 and 0.8, together 0.7: 0.075² / 0.75 + 0.075² / 0.25 = 0.03.
    let uneven = [cluster(4.0, 10.0), cluster(24.0, 30.0)];
    close(
        clustered_ratio(&uneven).unwrap().variance,
        0.03,
        1e-15,
        "uneven",
    );
    assert_eq!(clustered_ratio(&[]), None);
    assert_eq!(clustered_ratio(&[cluster(0.0, 0.0)]), None);
}

fn hits(by_sensor: &[(usize, usize)]) -> (Vec<f64>, Vec<usize>) {
    let (mut values, mut sensors) = (Vec::new(), Vec::new());
    for (sensor, &(hits, total)) in by_sensor.iter().enumerate() {
        for value in 0..total {
            values.push(f64::from(u8::from(value < hits)));
            sensors.push(sensor);
        }
    }
    (values, sensors)
}

/// 5, 7 and 9 of ten. Effective number 0.21 / (0.04 / 3) = 15.75, times (z / t)² with 2 degrees of freedom.
#[test]
fn a_share_by_hand() {
    let (values, sensors) = hits(&[(5, 10), (7, 10), (9, 10)]);
    let share = clustered_share(&values, &sensors).unwrap();
    assert_eq!(share.estimate, 0.7);
    let n = 15.75 * (normal_quantile(0.975) / t_quantile(0.975, 2.0)).powi(2);
    let interval = share.interval.unwrap();
    // n is 3.2682 and 0.7 n is 2.2877: between the exact intervals of whole numbers near it.
    close(n, 3.268, 1e-3, "effective number");
    let near = |x, n| clopper_pearson(x, n, 0.95).unwrap();
    assert!(near(2, 3).lower < interval.lower && interval.lower < near(3, 4).lower);
    assert!(near(2, 3).upper < interval.upper && interval.upper < near(3, 4).upper + 0.01);
    assert!(share.lower_bound.unwrap() > interval.lower);
}

#[test]
fn edges_of_a_share() {
    let (values, sensors) = hits(&[(10, 10), (10, 10)]);
    let two = clustered_share(&values, &sensors).unwrap();
    assert_eq!(
        (two.estimate, two.interval, two.lower_bound),
        (1.0, None, None)
    );
    let (values, sensors) = hits(&[(10, 10), (10, 10), (10, 10), (10, 10)]);
    let all = clustered_share(&values, &sensors)
        .unwrap()
        .interval
        .unwrap();
    assert_eq!(all.upper, 1.0);
    // 40 pairs with a correlation of 0.2 within sensors of ten are worth 40 / 2.8.
    let n = 40.0 / 2.8;
    close(all.lower, 0.025_f64.powf(1.0 / n), 1e-12, "lower");
    let none: Vec<f64> = values.iter().map(|hit| 1.0 - hit).collect();
    let none = clustered_share(&none, &sensors).unwrap().interval.unwrap();
    close(none.upper, 1.0 - all.lower, 1e-12, "mirror");
    assert_eq!(clustered_share(&[], &[]), None);
}

/// Sensor means 8, 10, 12 of two values each that do not differ: variance 4 / 3; with a third of the values each, h is
/// 2 / 3 · 0.99527 / √3 and t has 2 degrees of freedom.
#[test]
fn a_mean_by_hand() {
    let values = [8.0, 8.0, 10.0, 10.0, 12.0, 12.0];
    let mean = clustered_mean(&values, &[0, 0, 1, 1, 2, 2]).unwrap();
    // Moments of |Z|: mean √(2 / π), variance 1 - 2 / π, third moment 2 √(2 / π) about 0.
    let (m, v) = ((2.0 / PI).sqrt(), 1.0 - 2.0 / PI);
    let skewness = (2.0 * m - 3.0 * m * v - m.powi(3)) / v.powf(1.5);
    let h = 2.0 / 3.0 * skewness / 3.0_f64.sqrt();
    let (error, t) = ((4.0_f64 / 3.0).sqrt(), t_quantile(0.975, 2.0));
    let interval = mean.interval.unwrap();
    close(
        interval.lower,
        10.0 - error * (1.0 - (h * (h / 4.0 - t)).exp()) / h,
        1e-12,
        "lower",
    );
    close(
        interval.upper,
        10.0 + error * ((h * (t + h / 4.0)).exp() - 1.0) / h,
        1e-12,
        "upper",
    );
    let zero = clustered_mean(&[0.0; 3], &[0, 1, 2])
        .unwrap()
        .interval
        .unwrap();
    assert_eq!((zero.lower, zero.upper), (0.0, 0.0));
    assert_eq!(clustered_mean(&[1.0, 2.0], &[0, 1]).unwrap().interval, None);
}

/// Sensors with 1, 1, 1 and 2 of five values, the sums written out; three sensors of which one holds half are held to 2.
#[test]
fn degrees_of_freedom_of_uneven_sensors() {
    close(spread_df(&[0.25; 4]), 3.0, 1e-12, "even");
    close(spread_df(&[0.5, 0.25, 0.25]), 2.0, 1e-12, "held");
    let w = [0.2, 0.2, 0.2, 0.4];
    let all = 0.28;
    let d = w.map(|w: f64| w / (1.0 - w).sqrt());
    let (own, big) = (d[0] * d[0] * (0.6 + all), d[3] * d[3] * (0.2 + all));
    let (mates, mixed) = (d[0] * d[0] * (all - 0.4), d[0] * d[3] * (all - 0.6));
    let trace = 3.0 * own + big;
    let squares = 3.0 * own * own + big * big + 6.0 * mates * mates + 6.0 * mixed * mixed;
    close(spread_df(&w), trace * trace / squares, 1e-12, "uneven");
    assert_eq!(spread_df(&[0.5, 0.5]), 1.0);
}

/// Sensors that scatter less than Poisson: Garwood's interval of E (z / t)² events, over (z / t)² and the exposure. With
/// none: 3.6889 over the same.
#[test]
fn a_rate_by_hand() {
    let shrink = (normal_quantile(0.975) / t_quantile(0.975, 3.0)).powi(2);
    let none = clustered_rate(&[cluster(0.0, 10.0); 4]).unwrap();
    let interval = none.interval.unwrap();
    assert_eq!((none.estimate, interval.lower), (0.0, 0.0));
    close(
        interval.upper,
        3.688_879_454_113_94 / shrink / 40.0,
        1e-12,
        "none",
    );
    let even = clustered_rate(&[cluster(2.0, 10.0); 4])
        .unwrap()
        .interval
        .unwrap();
    let garwood = exact_poisson_interval(8, 0.95);
    assert!(even.lower < garwood.lower / 40.0 && even.upper > garwood.upper / 40.0);
    // The same total from one sensor alone is surer of nothing.
    let lumped = [
        cluster(8.0, 10.0),
        cluster(0.0, 10.0),
        cluster(0.0, 10.0),
        cluster(0.0, 10.0),
    ];
    let lumped = clustered_rate(&lumped).unwrap().interval.unwrap();
    assert!(lumped.lower < even.lower && lumped.upper > even.upper);
    assert_eq!(
        clustered_rate(&[cluster(1.0, 5.0); 2]).unwrap().interval,
        None
    );
}
