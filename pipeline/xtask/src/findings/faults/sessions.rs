//! Logs and exports that are wrong, and data that are missing.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_model::rows::Status;

use super::super::study::{DAY, MINUTE, Rows};
use super::{Expected, Planting, Worn, pick, readings};

/// Plants a fault of these kinds; `None` where the study has no place for it.
pub(super) fn plant(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    match planting.fault {
        "sensor-reused" | "session-too-long" => sensor_reused(planting, rows, dice),
        "wrong-wearer" => wrong_wearer(planting, rows, dice),
        "set-aside" => set_aside(planting, rows, dice),
        "rejected" => rejected(planting, rows, dice),
        "no-end" | "lost" => no_end(planting, rows, dice),
        "nights-missing" => nights_missing(planting, rows, dice),
        "spacing-changed" => spacing_changed(planting, rows, dice),
        _ => None,
    }
}

fn sensor_reused(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let pairs: Vec<(Worn, Worn)> = planting
        .all
        .iter()
        .zip(planting.all.iter().skip(1))
        .filter(|(a, b)| a.wearer == b.wearer && b.from > a.to && b.to - a.from > 17 * DAY)
        .map(|(a, b)| (a.clone(), b.clone()))
        .collect();
    let (a, b) = pick(&pairs, dice)?;
    let mut moved = readings(rows, &b)?.readings.drain(..).collect::<Vec<_>>();
    readings(rows, &a)?.readings.append(&mut moved);
    rows.readings.retain(|sensor| !sensor.readings.is_empty());
    if planting.fault == "session-too-long" {
        rows.events
            .retain(|e| !(a.has(e) && e.event == "end" || b.has(e) && e.event == "insert"));
    }
    rows.events
        .iter_mut()
        .filter(|e| b.has(e))
        .for_each(|e| e.sensor = a.sensor.as_str().into());
    Some(planting.of(&a))
}

fn wrong_wearer(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let one = pick(planting.all, dice)?;
    let other = pick(
        &planting
            .all
            .iter()
            .filter(|w| w.wearer != one.wearer)
            .cloned()
            .collect::<Vec<_>>(),
        dice,
    )?;
    let name = "moved-1".to_owned();
    rows.events
        .iter_mut()
        .filter(|e| one.has(e))
        .for_each(|e| e.sensor = name.as_str().into());
    let own = readings(rows, &one)?;
    own.sensor.clone_from(&name);
    own.wearer.clone_from(&other.wearer);
    Some(Expected {
        wearer: Some(other.wearer),
        sensor: Some(name),
        ..planting.of(&one)
    })
}

fn set_aside(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let one = planting.longer(8, dice)?;
    rows.events.retain(|e| !one.has(e));
    Some(Expected {
        file: Some(format!("readings/{}.csv", one.wearer)),
        ..planting.expected()
    })
}

fn rejected(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let one = pick(planting.all, dice)?;
    let every = dice.random_range(2..=9);
    rows.broken = Some((one.wearer.clone(), every));
    Some(Expected {
        file: Some(format!("readings/{}.csv", one.wearer)),
        size: Some((1.0 / every as f64, 0.02)),
        ..planting.expected()
    })
}

fn no_end(planting: &Planting<'_>, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let latest = planting.all.iter().map(|one| one.to).max()?;
    let early: Vec<Worn> = planting
        .all
        .iter()
        .filter(|one| one.to < latest - 3 * DAY && one.to - one.from > 3 * DAY)
        .cloned()
        .collect();
    let one = pick(&early, dice)?;
    rows.events.retain(|e| !(one.has(e) && e.event == "end"));
    if planting.fault == "lost" {
        let stop = one.from + (one.to - one.from) / 2;
        readings(rows, &one)?
            .readings
            .retain(|reading| reading.time < stop);
    }
    Some(planting.of(&one))
}

fn nights_missing(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let one = planting.longer(7, dice)?;
    readings(rows, &one)?.readings.retain(|reading| {
        let hour = reading.time.rem_euclid(DAY) / (60 * MINUTE);
        !(1..=4).contains(&hour) || (reading.time / DAY) % 3 == 0
    });
    Some(planting.of(&one))
}

fn spacing_changed(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let later: Vec<Worn> = planting
        .all
        .iter()
        .zip(planting.all.iter().skip(1))
        .filter(|(a, b)| a.wearer == b.wearer && b.to - b.from > DAY && a.to - a.from > DAY)
        .map(|(_, b)| b.clone())
        .collect();
    let one = pick(&later, dice)?;
    let mut count = 0;
    readings(rows, &one)?.readings.retain(|reading| {
        count += 1;
        count % 3 == 0 || reading.status == Status::Warmup
    });
    Some(planting.of(&one))
}
