//! Studies of one wearer with one meter, sites that read unequally, and sensors of which some fail in mid-wear: nothing in
//! them is to be told of a meter or a clock.

use std::collections::BTreeMap;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_model::rows::SensorReadings;
use whereworn_model::time::Micros;

use super::faults::{Worn, between, readings, sign, worn};
use super::invented::{self, Shape, normal};
use super::study::{DAY, MINUTE, Rows};

/// A wearer who checks two to six times a day, with six to thirty sensors and one meter without a label.
pub fn one_meter(sensors: usize, seed: u64) -> Rows {
    let mut dice = ChaCha8Rng::seed_from_u64(seed ^ 0x0e_7e12);
    let shape = Shape {
        wearers: 1,
        sensors,
        checks: Some(between(&mut dice, 2.0, 6.0)),
        meters: Some(1),
        spacing: Some([5, 10, 15][dice.random_range(0..3)]),
        meter_spread: 0.0,
        least_days: 4.0,
    };
    let mut rows = invented::study(shape, seed);
    for check in &mut rows.checks {
        check.meter = "".into();
    }
    let bias = |_: &str| 1.0 + 0.06 * normal(&mut dice);
    unequal_sites(&mut rows, bias);
    rows
}

/// Readings of each site higher or lower by a part of its own.
fn unequal_sites(rows: &mut Rows, mut bias: impl FnMut(&str) -> f64) {
    let mut of_site: BTreeMap<String, f64> = BTreeMap::new();
    for one in worn(rows) {
        let own = *of_site
            .entry(one.site.clone())
            .or_insert_with(|| bias(&one.site));
        if let Some(sensor) = readings(rows, &one) {
            scale(sensor, |_| own);
        }
    }
}

/// Multiplies the readings of a sensor by a factor of their time, within what it can show.
fn scale(sensor: &mut SensorReadings, factor: impl Fn(Micros) -> f64) {
    for reading in &mut sensor.readings {
        let value = reading.glucose * factor(reading.time);
        reading.glucose = value.clamp(40.0, 400.0).round();
    }
}

/// A study of six to thirty sensors, none to three of which come to read 15 to 35 % low or high after their fourth to
/// eighth day, at once or within two days.
pub fn failing(seed: u64) -> Rows {
    let mut dice = ChaCha8Rng::seed_from_u64(seed ^ 0xfa_1115);
    let mut rows = one_meter(dice.random_range(6..=30), seed);
    let mut long: Vec<Worn> = worn(&rows);
    long.retain(|one| one.to - one.from > 9 * DAY);
    for _ in 0..dice.random_range(0..=3) {
        if long.is_empty() {
            break;
        }
        let one = long.swap_remove(dice.random_range(0..long.len()));
        let from = one.from + (between(&mut dice, 4.0, 8.0) * DAY as f64) as Micros;
        let within = between(&mut dice, 0.0, 2.0) * DAY as f64;
        let size = sign(&mut dice) * between(&mut dice, 0.15, 0.35);
        let part = |time: Micros| ((time - from) as f64 / within.max(1.0)).clamp(0.0, 1.0);
        if let Some(sensor) = readings(&mut rows, &one) {
            scale(sensor, |time| 1.0 + size * part(time));
        }
    }
    rows
}

/// How sites follow each other in a study.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Order {
    /// As they come.
    Mixed,
    /// Two sites in turn, a month each.
    InTurn,
    /// One site in the first half and another in the second.
    Halves,
}

/// A study of twelve to thirty sensors, whose meter another of the same name takes the place of half-way, with sites in some
/// order; and when.
pub fn replaced(order: Order, size: f64, seed: u64) -> (Rows, Micros) {
    let mut dice = ChaCha8Rng::seed_from_u64(seed ^ 0x5e_711ed);
    let mut rows = one_meter(dice.random_range(12..=30), seed);
    let all = worn(&rows);
    let count = all.len();
    for (place, one) in all.iter().enumerate() {
        let site = match order {
            Order::Mixed => break,
            Order::InTurn => ["abdomen", "upper-arm-back"][place / 2 % 2],
            Order::Halves => ["abdomen", "upper-arm-back"][usize::from(2 * place >= count)],
        };
        let own = rows.events.iter_mut().filter(|event| one.has(event));
        own.filter(|event| event.event == "insert")
            .for_each(|event| event.site = site.into());
    }
    let at = all.get(count / 2).map_or(0, |one| one.from)
        + (between(&mut dice, -5.0, 5.0) * DAY as f64) as Micros;
    let late = rows.checks.iter_mut().filter(|check| check.time >= at);
    late.for_each(|check| check.glucose = (check.glucose * (1.0 + size)).round());
    (rows, at)
}

/// Cuts 70 to 95 % of each wearer's fingersticks down to whole hours, as of somebody who notes "about 8"; in one study of three
/// the others stand at five minutes.
pub fn hours(rows: &mut Rows, seed: u64) {
    let mut dice = ChaCha8Rng::seed_from_u64(seed ^ 0x40_0125);
    let steps = if seed.is_multiple_of(3) { 5 } else { 1 };
    let mut of_wearer: BTreeMap<String, f64> = BTreeMap::new();
    for check in &mut rows.checks {
        let share = of_wearer.entry(check.wearer.to_string());
        let share = *share.or_insert_with(|| between(&mut dice, 0.70, 0.95));
        let step = if dice.random::<f64>() < share {
            60
        } else {
            steps
        };
        check.time -= check.time.rem_euclid(step * MINUTE);
    }
}
