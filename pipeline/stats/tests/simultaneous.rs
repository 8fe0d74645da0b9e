//! Two sensors worn at once: worked by hand, and on simulated sensors of known delay and gain.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_simulate::delay::{World, worn_at_once};
use whereworn_stats::simultaneous::pair_mean::{SensorPair, pair_mean};
use whereworn_stats::simultaneous::two_sensors::{CommonReading, two_sensors};

fn common(minutes: f64, first: f64, offset: f64, second: f64) -> CommonReading {
    CommonReading {
        minutes,
        first,
        offset,
        second,
    }
}

/// By hand: 110 and 90, 105 and 95 differ by 20 and 10, that is 20 % and 10 % of their mean 100; the farther candidate
/// of the first is not used. Mean 15, standard deviation √50.
#[test]
fn two_readings_by_hand() {
    let two = two_sensors(&[
        common(0.0, 110.0, 2.0, 60.0),
        common(0.0, 110.0, -1.0, 90.0),
        common(5.0, 105.0, 0.0, 95.0),
    ])
    .unwrap();
    assert_eq!((two.readings, two.lag), (2, None));
    close(two.difference, 15.0, 1e-12, "difference");
    close(two.percent, 15.0, 1e-12, "percent");
    close(
        two.sd.unwrap(),
        50.0_f64.sqrt(),
        1e-12,
        "standard deviation",
    );
    close(two.absolute_relative, 0.15, 1e-12, "relative");
}

#[test]
fn too_little_for_two_sensors() {
    assert_eq!(two_sensors(&[]), None);
    let one = two_sensors(&[common(0.0, 100.0, 0.0, 90.0)]).unwrap();
    assert_eq!((one.difference, one.sd, one.lag), (10.0, None, None));
}

/// Delays of 12 and 5 min, read 3 min apart, gains of 10 % apart: a lag of 7 min.
#[test]
fn the_lag_between_two_sensors_is_found() {
    let worlds = [World::with_delay(12.0), World::with_delay(5.0)];
    let lags: Vec<f64> = (0..20)
        .map(|seed| {
            let traces = worn_at_once(&worlds, seed);
            let readings: Vec<CommonReading> = (0..traces[0].len())
                .map(|index| common(5.0 * index as f64, traces[0][index], 0.0, traces[1][index]))
                .collect();
            two_sensors(&readings).unwrap().lag.unwrap()
        })
        .collect();
    close(lags.iter().sum::<f64>() / 20.0, 7.0, 1.0, "lag");
}

/// The same trace read 6 min later by the second sensor: no lag between them.
#[test]
fn readings_taken_apart_are_no_lag() {
    let blood = |t: f64| 130.0 + 40.0 * (t / 57.0).sin() + 10.0 * (t / 23.0).cos();
    let readings: Vec<CommonReading> = (0..200)
        .map(|index| 15.0 * f64::from(index))
        .map(|t| common(t, blood(t), 6.0, blood(t + 6.0)))
        .collect();
    close(
        two_sensors(&readings).unwrap().lag.unwrap(),
        0.0,
        0.5,
        "lag",
    );
}

fn pair(value: f64, first: usize, second: usize, wearer: usize) -> SensorPair {
    SensorPair {
        value,
        first,
        second,
        wearer,
    }
}

/// By hand: 1, 2, 6 without a shared sensor: mean 3, s² = 7, squared error 7/3 with 2 degrees of freedom.
#[test]
fn pairs_without_a_shared_sensor_are_a_plain_mean() {
    let mean = pair_mean(&[pair(1.0, 0, 1, 0), pair(2.0, 2, 3, 0), pair(6.0, 4, 5, 0)]).unwrap();
    close(mean.mean, 3.0, 1e-12, "mean");
    let (error, df) = mean.error.unwrap();
    close(error, (7.0_f64 / 3.0).sqrt(), 1e-12, "error");
    assert_eq!(df, 2.0);
}

/// By hand: 0 and 3 share a sensor (correlation 0.495), 3 and 0 apart from the third, 6: R⁻¹1 is 1/1.495 for the two and 1
/// for the third, so the mean is (3/1.495 + 6) / (2/1.495 + 1).
#[test]
fn a_shared_sensor_counts_for_less() {
    let pairs = [pair(0.0, 0, 1, 0), pair(3.0, 0, 2, 0), pair(6.0, 3, 4, 0)];
    let mean = pair_mean(&pairs).unwrap();
    close(
        mean.mean,
        (3.0 / 1.495 + 6.0) / (2.0 / 1.495 + 1.0),
        1e-12,
        "mean",
    );
    assert_eq!(mean.error.unwrap().1, 2.0);
}

#[test]
fn edges_of_a_mean_over_pairs() {
    assert_eq!(pair_mean(&[]), None);
    let one = pair_mean(&[pair(4.0, 0, 1, 0)]).unwrap();
    assert_eq!((one.mean, one.error, one.p()), (4.0, None, None));
    let wearers = pair_mean(&[pair(1.0, 0, 1, 0), pair(3.0, 2, 3, 1)]).unwrap();
    close(wearers.mean, 2.0, 1e-12, "mean over wearers");
    assert_eq!(wearers.error.unwrap().1, 1.0);
}
