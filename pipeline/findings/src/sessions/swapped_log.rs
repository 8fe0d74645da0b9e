//! Rows of the log whose day and month are read for each other: put right, sensors begin and end with their readings.
//!
//! Such an `insert` or `end` lies four weeks and more from the readings of its sensor, so that it seems to have been worn for
//! months, to have ended before it began, or not to have been worn at all. The look goes on with these rows put right, so that
//! what comes of them is told once, of their file.

use std::collections::{BTreeMap, BTreeSet};

use whereworn_model::rows::{RejectedRow, SensorReadings, WearEvent};
use whereworn_model::time::{MICROS_PER_DAY, Micros};

use crate::checks::days_off::Off;
use crate::finding::{Finding, OF_ALL, Severity};
use crate::log::{HOUR, Log, Session};
use crate::sessions::LONGER;
use crate::words::{count, first_of};

/// So near to the first or the last reading an event is its own; day and month swapped move it by four weeks at least.
const NEAR: Micros = 12 * HOUR;

/// Rows of a file that are swapped from which on its rows whose time cannot be read, or is yet to come, are of that too.
const MANY: usize = 2;

/// Rows of a file that are swapped.
#[derive(Debug, Default)]
struct Swapped {
    lines: BTreeSet<u64>,
    wearers: BTreeSet<String>,
    sensors: BTreeSet<String>,
    /// As they are written.
    span: Option<(Micros, Micros)>,
    /// Rows of the same sensors that were rejected because of them.
    rejected: BTreeSet<u64>,
}

/// By file.
#[derive(Debug, Default)]
pub(crate) struct SwappedLog<'a> {
    /// Insertions and ends of each sensor, those rejected too.
    of_sensor: BTreeMap<(&'a str, &'a str), Vec<&'a WearEvent>>,
    by: BTreeMap<&'a str, Swapped>,
}

impl<'a> SwappedLog<'a> {
    /// The rows of a log.
    pub fn new(log: &Log<'a>) -> Self {
        let mut own = Self::default();
        for event in log.events.iter().chain(log.refused) {
            if ["insert", "end"].contains(&event.event.as_str()) {
                let key = (event.wearer.as_str(), event.sensor.as_str());
                own.of_sensor.entry(key).or_default().push(event);
            }
        }
        own
    }

    /// The session of a sensor with the swapped rows of it put right, where it has any.
    pub fn put_right(
        &mut self,
        log: &Log<'_>,
        session: Option<&Session>,
        readings: &SensorReadings,
    ) -> Option<Session> {
        let key = (readings.wearer.as_str(), readings.sensor.as_str());
        let rows = self.of_sensor.get(&key)?.clone();
        let (first, last) = (
            readings.readings.first()?.time,
            readings.readings.last()?.time,
        );
        let of = |kind: &'static str| rows.iter().copied().filter(move |row| &*row.event == kind);
        let (insert, None) = (of("insert").next()?, of("insert").nth(1)) else {
            return None;
        };
        let zone = log.home(&readings.wearer);
        let swapped = |row: &WearEvent| {
            let other = Off::SWAPPED.true_time(row.time, &zone);
            other.filter(|other| *other != row.time && *other <= log.cutoff)
        };
        let is_near = |time: Micros, reading: Micros| (time - reading).abs() <= NEAR;
        let begun = swapped(insert).filter(|other| is_near(*other, first));
        let from = begun.unwrap_or(insert.time);

        // Its end: that which fits the last reading, or else, of a sensor whose insertion is swapped, one within its wear.
        let as_read = of("end").map(|row| (row, row.time));
        let put_right = of("end").filter_map(|row| Some((row, swapped(row)?)));
        let mut ends = as_read.chain(put_right);
        let rated = log.settings.rated_days(&readings.wearer, &insert.model);
        let longest = ((rated + LONGER) * MICROS_PER_DAY as f64) as Micros;
        if last - first > longest {
            // Those of one sensor whose own dates are swapped lie all over the year.
            return None;
        }
        let fits = |(_, time): &(&WearEvent, Micros)| is_near(*time, last) && *time >= from;
        let is_within = |(_, time): &(&WearEvent, Micros)| {
            begun.is_some() && (last..=from + longest).contains(time)
        };
        let end = ends.clone().find(fits).or_else(|| ends.find(is_within));
        let ended = end.filter(|(row, time)| *time != row.time);
        if begun.is_none() && ended.is_none() {
            return None;
        }
        let put_right = begun.map(|_| insert).into_iter();
        for row in put_right.chain(ended.map(|(row, _)| row)) {
            self.count(row);
        }
        let refused = rows.iter().filter(|row| log.refused.contains(row));
        for row in refused {
            let file = self.by.entry(row.file.as_str()).or_default();
            file.rejected.insert(row.line);
        }
        let made = session.cloned();
        let made = made.unwrap_or_else(|| Session::inserted(insert));
        Some(Session {
            insert: from,
            end: end.map(|(_, time)| time),
            ending: end.map_or_else(WearEvent::default, |(row, _)| row.clone()),
            troubled: made.troubled || end.is_some_and(|(row, _)| &*row.cause == "reaction"),
            ..made
        })
    }

    fn count(&mut self, row: &'a WearEvent) {
        let file = self.by.entry(row.file.as_str()).or_default();
        file.lines.insert(row.line);
        file.wearers.insert(row.wearer.to_string());
        file.sensors.insert(row.sensor.to_string());
        let (from, to) = file.span.unwrap_or((row.time, row.time));
        file.span = Some((from.min(row.time), to.max(row.time)));
    }

    /// Whether a row was rejected because dates of its file are swapped.
    pub fn explains(&self, reject: &RejectedRow) -> bool {
        let Some(file) = self.by.get(reject.file.as_str()) else {
            return false;
        };
        // A time that cannot be read or is yet to come, and an `end` whose `insert` has one.
        let is_of_times = ["time", "sensor"].contains(&reject.column.as_str());
        file.lines.len() >= MANY && is_of_times || file.rejected.contains(&reject.line)
    }

    /// A finding for each file with such rows.
    pub fn findings(&self) -> Vec<Finding> {
        let told = self.by.iter().filter(|(_, of)| !of.lines.is_empty());
        let told = told.map(|(name, of)| {
            let sensors: Vec<&str> = of.sensors.iter().map(String::as_str).collect();
            let mut wearers = of.wearers.iter();
            let wearer = wearers.next().filter(|_| of.wearers.len() == 1);
            Finding {
                wearer: wearer.cloned().unwrap_or_default(),
                file: (*name).to_owned(),
                line: of.lines.first().copied(),
                from: of.span.map(|span| span.0),
                to: of.span.map(|span| span.1),
                size: Some(of.lines.len() as f64),
                unit: "rows",
                text: format!(
                    "{name}: day and month of {} with an `insert` or `end` are swapped, of {}: as they stand these were not worn when they have their readings, put right they begin and end with them; until that is mended they count as worn for another time, and readings of theirs are set aside",
                    count(of.lines.len(), "row"),
                    first_of("sensor", &sensors)
                ),
                todo: "write its dates with year, month and day in this order; of an export, name the order in its `time_format`".to_owned(),
                ..Finding::new("set-aside", Severity::Wrong, OF_ALL)
            }
        });
        told.collect()
    }
}
