//! Clocks that are off, and meters that read high or low.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_model::rows::{Reading, SensorReadings};
use whereworn_model::time::Micros;

use super::super::study::{DAY, MINUTE, Rows};
use super::{Expected, Planting, Worn, between, checks_of, pick, readings, sign};

/// Fingersticks of a sensor from which on minutes of its clock can be told to 8 min; with fewer the finding says how far
/// it may be off.
const ENOUGH_CHECKS: usize = 40;

/// Fingersticks of a sensor during a journey from which on they tell of it.
const IN_PART: usize = 12;

/// Minutes between zones that people live in and export in.
const ZONES: [f64; 12] = [
    330.0, -330.0, 345.0, 60.0, -60.0, 120.0, -180.0, 300.0, -300.0, 480.0, -540.0, 600.0,
];

/// Plants a fault of these kinds; `None` where the study has no place for it.
pub(super) fn plant(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    match planting.fault {
        "clock-sensor" | "clock-sensor, whole hours" => sensor(planting, rows, dice),
        "clock-sensor, another zone" => another_zone(planting, rows, dice),
        "clock-sensor, at once" => at_once(planting, rows, dice),
        "clock-sensor, jump" => sensor_jump(planting, rows, dice),
        "clock-sensor, twice" => twice(planting, rows, dice),
        "clock-meter" | "meter" => meter(planting, rows, dice),
        "clock-meter, jump" => meter_jump(planting, rows, dice),
        "clock-change" | "clock-change, journey" => change(planting, rows, dice),
        "clock-change, there and back" => there_and_back(planting, rows, dice, false),
        "clock-change, meter there and back" => there_and_back(planting, rows, dice, true),
        _ => None,
    }
}

fn shift(sensor: &mut SensorReadings, from: Micros, minutes: f64) {
    for reading in sensor
        .readings
        .iter_mut()
        .filter(|reading| reading.time >= from)
    {
        reading.time += (minutes * MINUTE as f64) as Micros;
    }
}

/// All readings of a wearer under a zone that neither the log nor the fingersticks keep.
fn another_zone(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let wearer = pick(planting.all, dice)?.wearer;
    let minutes = ZONES[dice.random_range(0..ZONES.len())];
    let own = rows.readings.iter_mut().filter(|one| one.wearer == wearer);
    own.for_each(|sensor| shift(sensor, Micros::MIN, minutes));
    Some(Expected {
        wearer: Some(wearer),
        size: Some((minutes, 2.0)),
        ..planting.expected()
    })
}

/// Sensors whose minutes can be told.
fn long(planting: &Planting<'_>, rows: &Rows) -> Vec<Worn> {
    let all = planting.all.iter();
    let long = all
        .filter(|one| one.to - one.from >= 6 * DAY && checks_of(rows, one, None) >= ENOUGH_CHECKS);
    long.cloned().collect()
}

fn sensor(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let one = pick(&long(planting, rows), dice)?;
    let (minutes, off) = if planting.fault == "clock-sensor" {
        (
            if dice.random::<f64>() < 0.6 {
                between(dice, 25.0, 150.0)
            } else {
                -between(dice, 28.0, 150.0)
            },
            8.0,
        )
    } else {
        (60.0 * f64::from(dice.random_range(1..10)) * sign(dice), 0.0)
    };
    shift(readings(rows, &one)?, 0, minutes.round());
    let hours = 60.0 * (minutes / 60.0).round();
    Some(Expected {
        size: Some((if off == 0.0 { hours } else { minutes.round() }, off)),
        ..planting.of(&one)
    })
}

/// Some days of a sensor stand again at other minutes, as of a second export.
fn twice(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let one = planting.longer(3, dice)?;
    let minutes = 5 * dice.random_range(0..60) + dice.random_range(1..3);
    let days = dice.random_range(2..5) * DAY;
    let own = &mut readings(rows, &one)?.readings;
    let begin = one.from + DAY;
    let copied = own
        .iter()
        .filter(|reading| (begin..begin + days).contains(&reading.time))
        .map(|reading| Reading {
            time: reading.time + minutes * MINUTE,
            ..*reading
        });
    let copied: Vec<Reading> = copied.collect();
    own.extend(copied);
    own.sort_by_key(|reading| reading.time);
    Some(Expected {
        size: Some((minutes as f64, 0.5)),
        ..planting.of(&one)
    })
}

fn at_once(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let pairs: Vec<Worn> = planting
        .all
        .iter()
        .filter(|one| {
            planting.all.iter().any(|other| {
                other.wearer == one.wearer
                    && other.sensor != one.sensor
                    && other.to.min(one.to) - other.from.max(one.from) >= 3 * DAY
            })
        })
        .cloned()
        .collect();
    let one = pick(&pairs, dice)?;
    let minutes = (sign(dice) * between(dice, 28.0, 90.0)).round();
    shift(readings(rows, &one)?, 0, minutes);
    Some(Expected {
        size: Some((minutes, 8.0)),
        ..planting.of(&one)
    })
}

fn sensor_jump(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let long: Vec<Worn> = long(planting, rows)
        .into_iter()
        .filter(|one| one.to - one.from >= 10 * DAY + DAY / 10)
        .collect();
    let one = pick(&long, dice)?;
    let at = one.from
        + 5 * DAY
        + (dice.random::<f64>() * (one.to - one.from - 10 * DAY) as f64) as Micros;
    let minutes = (sign(dice) * between(dice, 15.0, 50.0)).round();
    shift(readings(rows, &one)?, at, minutes);
    Some(Expected {
        size: Some((minutes, 4.0)),
        from: Some((at, at)),
        ..planting.of(&one)
    })
}

fn meter(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let mut meters: Vec<(String, String)> = rows
        .checks
        .iter()
        .map(|c| (c.wearer.to_string(), c.meter.to_string()))
        .collect();
    meters.sort();
    meters.dedup();
    let enough: Vec<(String, String)> = meters
        .iter()
        .filter(|(wearer, meter)| {
            let with = |meter: &str| {
                let own: Vec<usize> = planting
                    .all
                    .iter()
                    .filter(|one| one.wearer == *wearer)
                    .map(|one| checks_of(rows, one, Some(meter)))
                    .filter(|n| *n > 0)
                    .collect();
                own.len() >= 4 && own.iter().sum::<usize>() >= 34
            };
            with(meter)
                && meters
                    .iter()
                    .any(|(w, m)| w == wearer && m != meter && with(m))
        })
        .cloned()
        .collect();
    let (wearer, meter) = pick(&enough, dice)?;
    let own = rows
        .checks
        .iter_mut()
        .filter(|check| check.wearer == wearer && check.meter == meter);
    let size = if planting.fault == "meter" {
        let size = sign(dice) * between(dice, 0.12, 0.30);
        own.for_each(|check| check.glucose = (check.glucose * (1.0 + size)).round());
        (size, 0.03)
    } else {
        let minutes = (sign(dice) * between(dice, 15.0, 120.0)).round();
        own.for_each(|check| check.time += (minutes * MINUTE as f64) as Micros);
        rows.checks
            .sort_by(|a, b| (&a.wearer, a.time).cmp(&(&b.wearer, b.time)));
        (minutes, 8.0)
    };
    Some(Expected {
        wearer: Some(wearer),
        meter: Some(meter),
        size: Some(size),
        ..planting.expected()
    })
}

fn meter_jump(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    // With one meter, from somewhere in the middle on, with three sensors and more on either side.
    let (wearer, at) = middle(planting.all, dice)?;
    let mut own: Vec<&mut _> = rows
        .checks
        .iter_mut()
        .filter(|check| check.wearer == wearer)
        .collect();
    let minutes = (sign(dice) * between(dice, 15.0, 50.0)).round();
    for check in &mut own {
        check.meter = "m0".into();
        if check.time >= at {
            check.time += (minutes * MINUTE as f64) as Micros;
        }
    }
    rows.checks
        .sort_by(|a, b| (&a.wearer, a.time).cmp(&(&b.wearer, b.time)));
    Some(Expected {
        wearer: Some(wearer),
        meter: Some("m0".to_owned()),
        size: Some((minutes, 8.0)),
        ..planting.expected()
    })
}

fn change(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let (wearer, mut at) = middle(planting.all, dice)?;
    let mut minutes = 60.0 * sign(dice);
    if planting.fault == "clock-change" {
        // Clocks of Lisbon and the Azores go back on 25 October 2026 at 01:00 UTC, forward on 29 March 2026.
        let put = [(1_792_890_000, 60.0), (1_774_746_000, -60.0)];
        let spans: Vec<&Worn> = planting
            .all
            .iter()
            .filter(|one| one.wearer == wearer)
            .collect();
        let inside = put.iter().find(|(second, _)| {
            let at = second * 1_000_000;
            spans.iter().filter(|one| one.to < at).count() >= 2
                && spans.iter().filter(|one| one.from > at).count() >= 1
        });
        (at, minutes) = inside.map(|(second, minutes)| (second * 1_000_000, *minutes))?;
    }
    let own = rows.readings.iter().filter(|one| one.wearer == wearer);
    let times = || {
        own.clone()
            .flat_map(|one| &one.readings)
            .map(|reading| reading.time)
    };
    let from = (
        times().filter(|time| *time < at).max()?,
        times().filter(|time| *time >= at).min()?,
    );
    for sensor in rows
        .readings
        .iter_mut()
        .filter(|sensor| sensor.wearer == wearer)
    {
        shift(sensor, at, minutes);
    }
    Some(Expected {
        wearer: Some(wearer),
        size: Some((minutes, 0.0)),
        from: Some(from),
        ..planting.expected()
    })
}

/// Five to twenty days in another time zone, one to nine hours away: the clock of the readings follows and that of the meter
/// does not, or the other way round.
fn there_and_back(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
    is_meters: bool,
) -> Option<Expected> {
    let (wearer, at) = middle(planting.all, dice)?;
    let until = at + (between(dice, 5.0, 20.0) * DAY as f64) as Micros;
    let last = planting.all.iter().filter(|one| one.wearer == wearer);
    // Their last sensor says nothing of the way back.
    if last.map(|one| one.to).max()? < until + 10 * DAY {
        return None;
    }
    // Each sensor worn then has fingersticks enough, and days enough before, during or after it.
    let during = |one: &&Worn| one.wearer == wearer && one.from < until && one.to > at;
    let tells = |one: &Worn| {
        let part = Worn {
            from: one.from.max(at),
            to: one.to.min(until),
            ..one.clone()
        };
        checks_of(rows, &part, None) >= IN_PART
    };
    let mut worn = planting.all.iter().filter(during).peekable();
    if worn.peek().is_none() || !worn.all(tells) {
        return None;
    }
    let own = rows.readings.iter().filter(|one| one.wearer == wearer);
    let times: Vec<Micros> = own
        .flat_map(|one| &one.readings)
        .map(|reading| reading.time)
        .collect();
    let around = |moment: Micros| {
        let before = times.iter().filter(|time| **time < moment).max()?;
        Some((
            *before,
            *times.iter().filter(|time| **time >= moment).min()?,
        ))
    };
    let (from, to) = (around(at)?, around(until)?);
    let minutes = 60.0 * f64::from(dice.random_range(1..=9)) * sign(dice);
    let abroad = |time: Micros| match (at..until).contains(&time) {
        true => time + (minutes * MINUTE as f64) as Micros,
        false => time,
    };
    if is_meters {
        let own = rows
            .checks
            .iter_mut()
            .filter(|check| check.wearer == wearer);
        own.for_each(|check| check.time = abroad(check.time));
    } else {
        let own = rows.readings.iter_mut().filter(|one| one.wearer == wearer);
        let own = own.flat_map(|one| &mut one.readings);
        own.for_each(|reading| reading.time = abroad(reading.time));
    }
    Some(Expected {
        wearer: Some(wearer),
        size: Some((minutes, 0.0)),
        from: Some(from),
        to: Some(to),
        ..planting.expected()
    })
}

/// A wearer with three sensors and more on either side of a moment.
fn middle(all: &[Worn], dice: &mut ChaCha8Rng) -> Option<(String, Micros)> {
    let wearers: Vec<String> = all.iter().map(|one| one.wearer.clone()).collect();
    for _ in 0..20 {
        let wearer = pick(&wearers, dice)?;
        let own: Vec<&Worn> = all.iter().filter(|one| one.wearer == wearer).collect();
        if own.len() < 6 {
            continue;
        }
        let (first, last) = (own[2].to, own[own.len() - 3].from);
        if first < last {
            return Some((
                wearer,
                first + (dice.random::<f64>() * (last - first) as f64) as Micros,
            ));
        }
    }
    None
}
