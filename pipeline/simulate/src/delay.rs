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

/// When fingersticks are taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checks {
    /// At any minute.
    Random,
    /// 5 to 30 min before a meal.
    BeforeMeals,
    /// 15 to 40 min after its first bite.
    AfterMeals,
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
    /// Three meals a day that glucose turns sharply upwards at, and when it is checked; without, smooth excursions and checks at
    /// random.
    pub meals: Option<Checks>,
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
            meals: None,
        }
    }
}

/// Days that a sensor is worn.
pub const DAYS: usize = 14;
const MINUTES: usize = DAYS * 1440;

/// Fingersticks a day and their relative standard deviation.
const FINGERSTICKS: usize = 5;
const FINGERSTICK_NOISE: f64 = 0.05;

/// Sensors worn one after another for 14 days, numbered from 0, with five fingersticks a day at random times, or three around
/// meals.
#[must_use]
pub fn study(world: &World, sensors: usize, seed: u64) -> Vec<DelayPair> {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    let mut pairs = Vec::new();
    for sensor in 0..sensors {
        let (blood, checks) = match world.meals {
            None => (blood_glucose(&mut generator), Vec::new()),
            Some(checks) => around_meals(checks, &mut generator),
        };
        let readings = sensor_readings(world, &blood, &mut generator);
        for index in 0..FINGERSTICKS * DAYS {
            let when = match (world.meals, checks.get(index)) {
                (None, _) => generator.random_range(0..MINUTES),
                (_, Some(&when)) => when,
                _ => break,
            };
            pairs.push(pair(sensor, when, world, &blood, &readings, &mut generator));
        }
    }
    pairs
}

/// The checks of one sensor that is worn for so many days, at most 14: so many at any minute, or of those around meals as many as
/// there are.
pub fn of_sensor(
    world: &World,
    days: f64,
    checks: usize,
    generator: &mut ChaCha8Rng,
) -> Vec<DelayPair> {
    let until = ((days * 1440.0) as usize).clamp(1, MINUTES);
    let (blood, mut times) = match world.meals {
        None => (blood_glucose(generator), Vec::new()),
        Some(checks) => around_meals(checks, generator),
    };
    let mut readings = sensor_readings(world, &blood, generator);
    readings.truncate(until.div_ceil(world.spacing));
    times.retain(|when| *when < until);
    (0..checks)
        .map_while(|_| {
            let when = match (world.meals, times.len()) {
                (None, _) => generator.random_range(0..until),
                (Some(_), 0) => return None,
                (Some(_), left) => times.swap_remove(generator.random_range(0..left)),
            };
            Some(pair(0, when, world, &blood, &readings, generator))
        })
        .collect()
}

/// A fingerstick at some minute, with the readings around it.
fn pair(
    sensor: usize,
    when: usize,
    world: &World,
    blood: &[f64],
    readings: &[f64],
    generator: &mut ChaCha8Rng,
) -> DelayPair {
    let window = when.saturating_sub(45).div_ceil(world.spacing)..=(when + 45) / world.spacing;
    let (minutes, glucose) = window
        .filter_map(|index| {
            Some((
                (index * world.spacing) as f64 - when as f64,
                *readings.get(index)?,
            ))
        })
        .unzip();
    DelayPair {
        sensor,
        fingerstick: blood[when] * (1.0 + FINGERSTICK_NOISE * normal(generator)),
        minutes,
        glucose,
    }
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

/// Minute by minute, and when it is checked: 125 mg/dL with slow swings of 7 % (5 h) and faster ones of 12 % (70 min, smoothed
/// over 25), and meals about 8, 13 and 19 o'clock that have glucose rise at once, by 2.4 to 5.7 mg/dL/min at first, to a peak of 36 to 84 mg/dL
/// after 40 min.
fn around_meals(checks: Checks, generator: &mut ChaCha8Rng) -> (Vec<f64>, Vec<usize>) {
    let slow = swings(300.0, generator);
    let fast = swings(70.0, generator);
    let mut blood: Vec<f64> = (0..MINUTES)
        .map(|minute| {
            let near = &fast[minute.saturating_sub(12)..(minute + 13).min(MINUTES)];
            let mean = near.iter().sum::<f64>() / near.len() as f64;
            125.0 * (0.07 * slow[minute] + 0.12 * mean).exp()
        })
        .collect();
    let mut times = Vec::new();
    for (day, hour) in (0..DAYS).flat_map(|day| [8, 13, 19].map(|hour| (day, hour))) {
        let meal = (day * 1440 + hour * 60) as f64 + 20.0 * normal(generator);
        let meal = meal.max(0.0) as usize;
        let peak = 60.0 * (0.6 + 0.8 * generator.random::<f64>());
        for (minute, glucose) in blood.iter_mut().skip(meal).take(360).enumerate() {
            let share = minute as f64 / 40.0;
            *glucose += peak * share * (1.0 - share).exp();
        }
        times.push(match checks {
            Checks::Random => generator.random_range(0..MINUTES),
            Checks::BeforeMeals => meal - generator.random_range(5..=30),
            Checks::AfterMeals => meal + generator.random_range(15..=40),
        });
    }
    (blood, times)
}

/// Minute by minute, standard normal, correlated as exp(-|t - u| / `minutes`).
fn swings(minutes: f64, generator: &mut ChaCha8Rng) -> Vec<f64> {
    let keep = (-1.0 / minutes).exp();
    let mut now = normal(generator);
    (0..MINUTES)
        .map(|_| {
            now = keep * now + (1.0 - keep * keep).sqrt() * normal(generator);
            now
        })
        .collect()
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
