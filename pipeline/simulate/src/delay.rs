//! Studies with a known delay, for tests and calibration.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_stats::delay::point::DelayPair;

use crate::draws::normal;

/// Noise of a sensor's readings: standard deviations relative to glucose.
#[derive(Clone, Copy, Debug)]
pub struct Noise {
    /// Of the part that is correlated as exp(-|t - u| / `minutes`).
    pub coloured: f64,
    /// Correlation time of that part.
    pub minutes: f64,
    /// Of the part that one reading does not share with the next.
    pub white: f64,
}

/// What is true of the sensors of a site.
#[derive(Clone, Copy, Debug)]
pub struct World {
    /// Mean time constant of the lag, minutes.
    pub delay: f64,
    /// Standard deviation of that between sensors, minutes.
    pub delay_sd: f64,
    /// Standard deviation of the logarithm of the gain between sensors.
    pub gain_sd: f64,
    /// Mean of that logarithm.
    pub gain: f64,
    /// Mean of what is added to its readings whatever their size, mg/dL.
    pub offset: f64,
    /// Standard deviation of that between sensors, mg/dL.
    pub offset_sd: f64,
    /// Minutes between readings.
    pub spacing: usize,
    /// Noise of the readings.
    pub noise: Noise,
}

impl World {
    /// A site with a delay: readings every 5 min, gains that differ by 8 %, noise of 3 % that lasts 15 min.
    #[must_use]
    pub fn with_delay(delay: f64) -> Self {
        Self {
            delay,
            delay_sd: 0.0,
            gain_sd: 0.08,
            gain: 0.0,
            offset: 0.0,
            offset_sd: 0.0,
            spacing: 5,
            noise: Noise {
                coloured: 0.03,
                minutes: 15.0,
                white: 0.0,
            },
        }
    }
}

/// Days that a sensor is worn.
pub const DAYS: usize = 14;
const MINUTES: usize = DAYS * 1440;

/// Fingersticks a day and their relative standard deviation.
const FINGERSTICKS: usize = 5;
const FINGERSTICK_NOISE: f64 = 0.05;

/// Sensors worn one after another for 14 days, numbered from 0, with five fingersticks a day at random times.
#[must_use]
pub fn study(world: &World, sensors: usize, seed: u64) -> Vec<DelayPair> {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    let mut pairs = Vec::new();
    for sensor in 0..sensors {
        let blood = blood_glucose(&mut generator);
        let readings = sensor_readings(world, &blood, &mut generator);
        for _ in 0..FINGERSTICKS * DAYS {
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
            let fingerstick = blood[when] * (1.0 + FINGERSTICK_NOISE * normal(&mut generator));
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

/// Readings of sensors of several sites worn at once for 14 days, one of each world.
#[must_use]
pub fn worn_at_once(worlds: &[World], seed: u64) -> Vec<Vec<f64>> {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    let blood = blood_glucose(&mut generator);
    worlds
        .iter()
        .map(|world| sensor_readings(world, &blood, &mut generator))
        .collect()
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

/// Interstitial glucose minute by minute, from `start` on: delay · dI/dt = G - I, solved exactly with blood glucose straight between
/// its values. `delay` in minutes, above 0.
#[must_use]
pub fn interstitial(blood: &[f64], start: f64, delay: f64) -> Vec<f64> {
    let keep = (-1.0 / delay).exp();
    let mut now = start;
    let steps = blood.windows(2).map(|pair| {
        let rate = pair[1] - pair[0];
        now = pair[1] - delay * rate + (now - pair[0] + delay * rate) * keep;
        now
    });
    std::iter::once(start).chain(steps).collect()
}

/// The lag, times gain, with its offset and noise, in whole mg/dL.
fn sensor_readings(world: &World, blood: &[f64], generator: &mut ChaCha8Rng) -> Vec<f64> {
    let delay = (world.delay + world.delay_sd * normal(generator)).max(0.1);
    let interstitial = interstitial(blood, blood[0], delay);
    let gain = (world.gain + world.gain_sd * normal(generator)).exp();
    // Drawn only where sensors differ, so that other studies stay as they were.
    let own = if world.offset_sd > 0.0 {
        world.offset_sd * normal(generator)
    } else {
        0.0
    };
    let offset = world.offset + own;
    let carry = (-(world.spacing as f64) / world.noise.minutes).exp();
    let mut noise = normal(generator);
    interstitial
        .iter()
        .step_by(world.spacing)
        .map(|glucose| {
            noise = carry * noise + (1.0 - carry * carry).sqrt() * normal(generator);
            let relative = world.noise.coloured * noise + world.noise.white * normal(generator);
            ((gain * glucose + offset) * (1.0 + relative)).round()
        })
        .collect()
}
