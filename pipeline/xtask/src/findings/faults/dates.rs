//! Logs whose dates are wrong.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;

use super::super::study::{DAY, Rows};
use super::{Expected, Planting, pick};

/// Plants a fault of these kinds; `None` where the study has no place for it, and where it is another.
pub(super) fn plant(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    match planting.fault {
        "set-aside, log swapped" => log_swapped(planting, rows, dice),
        "set-aside, log a day off" => log_a_day_off(planting, rows, dice),
        _ => None,
    }
}

/// A time whose day and month are read for each other.
fn other_date(at: Micros, zone: &TimeZone) -> Option<Micros> {
    let written = Timestamp::from_microsecond(at).ok()?;
    let written = written.to_zoned_datetime(zone.clone());
    let (month, day) = (written.month(), written.day());
    let other = written.with().month(day).day(month).build().ok();
    Some(other?.timestamp().as_microsecond())
}

/// Day and month of a wearer's log, or of a stretch of it; of every other study rows without such a date cannot be read.
fn log_swapped(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let wearer = pick(planting.all, dice)?.wearer;
    let zone = Settings::parse(&rows.settings).ok()?.zone();
    rows.as_of = planting.all.iter().map(|one| one.to + DAY / 2).max();
    let (whole, strict) = (dice.random::<bool>(), dice.random::<bool>());
    let own = rows.events.iter().filter(|event| event.wearer == wearer);
    let mut times: Vec<Micros> = own.map(|event| event.time).collect();
    times.sort_unstable();
    let span = times.last()? - times.first()?;
    let from = times.first()? + (span as f64 * 0.5 * dice.random::<f64>()) as Micros;
    let stretch = match whole {
        true => Micros::MIN..=Micros::MAX,
        false => from..=from + span / 2,
    };
    let (mut swapped, mut unread) = (0, Vec::new());
    rows.events.retain_mut(|event| {
        if event.wearer != wearer || !stretch.contains(&event.time) {
            return true;
        }
        match other_date(event.time, &zone) {
            None if strict => unread.push(event.clone()),
            None => return true,
            Some(other) => {
                let is_told = ["insert", "end"].contains(&event.event.as_str());
                swapped += usize::from(is_told && other != event.time);
                event.time = other;
                return true;
            }
        }
        false
    });
    rows.unread = unread;
    (swapped >= 2).then(|| Expected {
        file: Some(format!("wear-events/{wearer}.csv")),
        ..planting.expected()
    })
}

/// Both rows of a sensor in the log.
fn log_a_day_off(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let one = planting.longer(3, dice)?;
    let day = if dice.random::<bool>() { DAY } else { -DAY };
    let own = rows.events.iter_mut().filter(|event| one.has(event));
    own.filter(|event| ["insert", "end"].contains(&event.event.as_str()))
        .for_each(|event| event.time += day);
    Some(planting.of(&one))
}
