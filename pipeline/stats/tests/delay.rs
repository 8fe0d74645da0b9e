//! The delay estimator: exact on ramps (closed forms of `delay_identities.csv`), and on simulated studies of known truth.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, number, published};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_stats::delay::first_order::{DelayPair, first_order_delay};
use whereworn_stats::delay::local_trend::local_trend;

/// On a ramp that has lasted, the sensor is behind by delay times rate: the published differences, seen through a gain of
/// 1.1, give the delay back.
#[test]
fn exact_on_ramps() {
    let ramps: Vec<_> = published("delay_identities")
        .into_iter()
        .filter(|row| row["case"] == "pure_shift_of_a_ramp")
        .collect();
    for delay in [5.0, 8.0, 15.0] {
        let pairs: Vec<DelayPair> = ramps
            .iter()
            .filter(|row| number(row, "tau_min") == delay)
            .flat_map(|row| [(row, 150.0), (row, 220.0)])
            .map(|(row, blood)| {
                let rate = number(row, "blood_rate_mg_dl_min");
                let behind = number(row, "sensor_minus_blood_mg_dl_or_fraction");
                let minutes: Vec<f64> = (-5..=5).map(|step| f64::from(step) * 5.0 + 1.0).collect();
                let glucose = minutes
                    .iter()
                    .map(|t| 1.1 * (blood + rate * t + behind))
                    .collect();
                DelayPair {
                    sensor: 0,
                    fingerstick: blood,
                    minutes,
                    glucose,
                }
            })
            .collect();
        let estimate = first_order_delay(&pairs).unwrap();
        assert_eq!(
            (estimate.sensors, estimate.pairs, estimate.interval),
            (1, 10, None)
        );
        close(estimate.minutes, delay, 1e-9, "delay");
    }
}

/// A cubic is fitted exactly, wherever the readings lie.
#[test]
fn level_and_slope_of_a_cubic() {
    let minutes = [-22.0, -17.5, -9.0, -1.0, 6.0, 13.0, 24.0];
    let glucose = minutes.map(|t: f64| 140.0 - 1.5 * t + 0.02 * t * t + 0.001 * t.powi(3));
    let trend = local_trend(&minutes, &glucose).unwrap();
    close(trend.level, 140.0, 1e-9, "level");
    close(trend.slope, -1.5, 1e-10, "slope");
}

#[test]
fn too_few_readings_for_a_trend() {
    let of = |minutes: &[f64]| local_trend(minutes, &vec![100.0; minutes.len()]).is_some();
    assert!(of(&[-20.0, -15.0, -10.0, 1.0, 5.0, 9.0]));
    assert!(
        of(&[-43.0, -28.0, -13.0, 2.0, 17.0, 32.0]),
        "a wider window for readings 15 min apart"
    );
    assert!(!of(&[-20.0, -15.0, -10.0, 1.0, 5.0]), "five");
    assert!(!of(&[-20.0, -15.0, -10.0, -5.0, -1.0, 9.0]), "one after");
    assert!(
        !of(&[-20.0, -20.0, -20.0, 5.0, 5.0, 9.0]),
        "three distinct times"
    );
}

#[test]
fn too_little_to_tell_a_delay() {
    assert_eq!(first_order_delay(&[]), None);
    let mut generator = ChaCha8Rng::seed_from_u64(1);
    let minutes: Vec<f64> = (-5..=5).map(|step| f64::from(step) * 5.0).collect();
    let flat: Vec<DelayPair> = (0..60)
        .map(|index| DelayPair {
            sensor: index % 4,
            fingerstick: 120.0 * (1.0 + 0.05 * normal(&mut generator)),
            glucose: minutes
                .iter()
                .map(|_| 120.0 * (1.0 + 0.03 * normal(&mut generator)))
                .collect(),
            minutes: minutes.clone(),
        })
        .collect();
    assert_eq!(first_order_delay(&flat), None, "slopes that are all noise");
    assert_eq!(first_order_delay(&flat[..9]), None, "nine pairs");
}

#[test]
fn units_and_gains_do_not_matter() {
    let mut generator = ChaCha8Rng::seed_from_u64(2);
    let pairs = study(
        &World {
            delay: 8.0,
            spacing: 5,
            noise: SPECIFIED,
        },
        &mut generator,
    );
    let plain = first_order_delay(&pairs).unwrap();
    let scaled: Vec<DelayPair> = pairs
        .iter()
        .map(|pair| DelayPair {
            fingerstick: pair.fingerstick / 18.0156,
            glucose: pair
                .glucose
                .iter()
                .map(|g| g / 18.0156 * (0.9 + 0.03 * pair.sensor as f64))
                .collect(),
            ..pair.clone()
        })
        .collect();
    let scaled = first_order_delay(&scaled).unwrap();
    assert_eq!(plain.pairs, scaled.pairs);
    close(plain.minutes, scaled.minutes, 1e-6, "delay");
}

/// A few readings pressed down by 60 mg/dL around a fingerstick do not move the estimate.
#[test]
fn artefacts_are_left_out() {
    let mut pairs = study(
        &World {
            delay: 8.0,
            spacing: 5,
            noise: SPECIFIED,
        },
        &mut ChaCha8Rng::seed_from_u64(3),
    );
    let clean = first_order_delay(&pairs).unwrap();
    for pair in pairs.iter_mut().step_by(40) {
        for (t, g) in pair.minutes.iter().zip(&mut pair.glucose) {
            if *t > -10.0 {
                *g = (*g - 60.0).max(20.0);
            }
        }
    }
    let pressed = first_order_delay(&pairs).unwrap();
    assert!(pressed.pairs < clean.pairs);
    close(pressed.minutes, clean.minutes, 1.0, "delay");
}

/// Ten sensors over 14 days, five fingersticks a day with 5 % noise, sensor noise of 3 % that is correlated over 15 min:
/// bias at most 1.5 min, and the 95 % interval holds the truth in at least nine studies of ten.
#[test]
fn true_delays_are_found_with_readings_5_min_apart() {
    known_truth(5);
}

/// The same with readings 15 min apart.
#[test]
fn true_delays_are_found_with_readings_15_min_apart() {
    known_truth(15);
}

/// The estimator does not know what kind of noise a sensor has: white, fast, or slow with a white part.
#[test]
fn true_delays_are_found_in_other_noise() {
    let kinds = [
        Noise {
            coloured: 0.0,
            minutes: 15.0,
            white: 0.03,
        },
        Noise {
            coloured: 0.03,
            minutes: 7.0,
            white: 0.0,
        },
        Noise {
            coloured: 0.045,
            minutes: 30.0,
            white: 0.01,
        },
    ];
    for (noise, spacing) in kinds.iter().flat_map(|noise| [(*noise, 5), (*noise, 15)]) {
        for delay in [2.0, 15.0] {
            let studies = 15;
            let sum: f64 = (0..studies)
                .map(|seed| {
                    let mut generator = ChaCha8Rng::seed_from_u64(seed);
                    let pairs = study(
                        &World {
                            delay,
                            spacing,
                            noise,
                        },
                        &mut generator,
                    );
                    first_order_delay(&pairs).unwrap().minutes
                })
                .sum();
            close(
                sum / studies as f64,
                delay,
                1.5,
                &format!("{noise:?} {spacing}"),
            );
        }
    }
}

fn known_truth(spacing: usize) {
    let studies = 60;
    let (mut held, mut all) = (0, 0);
    for delay in [2.0, 5.0, 10.0, 15.0] {
        let mut sum = 0.0;
        for seed in 0..studies {
            // Other studies for each delay, so that a chance finding is not counted four times.
            let seed = seed + 1000 * delay as u64;
            let mut generator = ChaCha8Rng::seed_from_u64(seed);
            let estimate = first_order_delay(&study(
                &World {
                    delay,
                    spacing,
                    noise: SPECIFIED,
                },
                &mut generator,
            ))
            .unwrap();
            let interval = estimate.interval.unwrap();
            sum += estimate.minutes;
            held += usize::from(interval.lower <= delay && delay <= interval.upper);
            all += 1;
        }
        close(sum / studies as f64, delay, 1.5, "mean of the estimates");
    }
    assert!(held * 10 >= all * 9, "{held} of {all}");
}

struct World {
    delay: f64,
    /// Minutes between readings.
    spacing: usize,
    noise: Noise,
}

/// Standard deviations relative to glucose.
#[derive(Clone, Copy, Debug)]
struct Noise {
    coloured: f64,
    /// Correlation time of the coloured part.
    minutes: f64,
    white: f64,
}

const SPECIFIED: Noise = Noise {
    coloured: 0.03,
    minutes: 15.0,
    white: 0.0,
};

const DAYS: usize = 14;
const MINUTES: usize = DAYS * 1440;

fn study(world: &World, generator: &mut ChaCha8Rng) -> Vec<DelayPair> {
    let mut pairs = Vec::new();
    for sensor in 0..10 {
        let blood = blood_glucose(generator);
        let readings = sensor_readings(world, &blood, generator);
        for _ in 0..5 * DAYS {
            let when = generator.random_range(0..MINUTES);
            let window =
                when.saturating_sub(45).div_ceil(world.spacing)..=(when + 45) / world.spacing;
            let (minutes, glucose) = window
                .filter_map(|index| {
                    Some((
                        (index * world.spacing) as f64 - when as f64,
                        *readings.get(index)?,
                    ))
                })
                .unzip();
            let fingerstick = blood[when] * (1.0 + 0.05 * normal(generator));
            pairs.push(DelayPair {
                sensor,
                fingerstick,
                minutes,
                glucose,
            });
        }
    }
    pairs
}

/// Minute by minute: excursions of 30 to 120 mg/dL every two to six hours, rising at up to 3 mg/dL/min.
fn blood_glucose(generator: &mut ChaCha8Rng) -> Vec<f64> {
    let mut blood = vec![110.0; MINUTES];
    let mut peak = 0.0;
    while peak < MINUTES as f64 {
        peak += 120.0 + 240.0 * generator.random::<f64>();
        let sign = if generator.random::<f64>() < 0.2 {
            -0.35
        } else {
            1.0
        };
        let height = sign * (30.0 + 90.0 * generator.random::<f64>());
        let rise = 24.0 + 16.0 * generator.random::<f64>();
        let fall = rise * (1.3 + generator.random::<f64>());
        let (from, to) = (
            (peak - 5.0 * rise).max(0.0) as usize,
            (peak + 5.0 * fall) as usize,
        );
        for (minute, glucose) in blood.iter_mut().enumerate().take(to).skip(from) {
            let off = minute as f64 - peak;
            let width = if off < 0.0 { rise } else { fall };
            *glucose += height * (-0.5 * (off / width).powi(2)).exp();
        }
    }
    blood.iter().map(|glucose| glucose.max(45.0)).collect()
}

/// The lag solved from minute to minute with blood glucose straight in between, times gain and noise, in whole mg/dL.
fn sensor_readings(world: &World, blood: &[f64], generator: &mut ChaCha8Rng) -> Vec<f64> {
    let keep = (-1.0 / world.delay).exp();
    let mut interstitial = blood.to_vec();
    for minute in 1..blood.len() {
        let rate = blood[minute] - blood[minute - 1];
        let behind = interstitial[minute - 1] - blood[minute - 1] + world.delay * rate;
        interstitial[minute] = blood[minute] - world.delay * rate + behind * keep;
    }
    let gain = (0.08 * normal(generator)).exp();
    let carry = (-(world.spacing as f64) / world.noise.minutes).exp();
    let mut noise = normal(generator);
    interstitial
        .iter()
        .step_by(world.spacing)
        .map(|glucose| {
            noise = carry * noise + (1.0 - carry * carry).sqrt() * normal(generator);
            let relative = world.noise.coloured * noise + world.noise.white * normal(generator);
            (gain * glucose * (1.0 + relative)).round()
        })
        .collect()
}

/// Box and Muller's normal deviate.
fn normal(generator: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (generator.random(), generator.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}
