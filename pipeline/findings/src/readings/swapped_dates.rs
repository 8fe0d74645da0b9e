//! Readings whose day and month are read for each other: they lie where their sensor was not worn, and put right where it was.

use std::collections::{BTreeMap, BTreeSet};

use whereworn_model::rows::SensorReadings;
use whereworn_model::time::{MICROS_PER_DAY, Micros};

use crate::checks::days_off::Off;
use crate::finding::{Finding, OF_ALL, Severity};
use crate::log::{Log, Session};
use crate::sessions::LONGER;
use crate::words::count;

/// Least readings outside their sensor's wear, and least share of all such of a file, that lie inside with day and month
/// swapped. Of those that are outside for any other reason one in ten does, by chance.
const LEAST: usize = 100;
const SHARE: f64 = 0.9;

/// Readings of a file outside their sensors' wear.
#[derive(Debug, Default)]
struct Outside {
    all: usize,
    swapped: usize,
    sensors: BTreeSet<(String, String)>,
    line: Option<u64>,
    span: Option<(Micros, Micros)>,
}

/// By file.
#[derive(Debug, Default)]
pub(crate) struct SwappedDates {
    by: BTreeMap<usize, Outside>,
}

impl SwappedDates {
    /// Counts the readings of a sensor.
    pub fn sensor(&mut self, log: &Log<'_>, session: &Session, readings: &SensorReadings) {
        let rated = log.settings.rated_days(&session.wearer, &session.model);
        let longest = session.insert + ((rated + LONGER) * MICROS_PER_DAY as f64) as Micros;
        let worn = session.insert..=session.readings_until(log.cutoff).min(longest);
        let zone = log.home(&session.wearer);
        for reading in readings
            .readings
            .iter()
            .filter(|row| !worn.contains(&row.time))
        {
            let file = self.by.entry(reading.file).or_default();
            file.all += 1;
            let other = Off::SWAPPED.true_time(reading.time, &zone);
            if other.is_some_and(|other| worn.contains(&other)) {
                file.swapped += 1;
                file.sensors
                    .insert((session.wearer.clone(), session.sensor.clone()));
                file.line = Some(
                    file.line
                        .map_or(reading.line, |line| line.min(reading.line)),
                );
                let (from, to) = file.span.unwrap_or((reading.time, reading.time));
                file.span = Some((from.min(reading.time), to.max(reading.time)));
            }
        }
    }

    /// Counts readings of a sensor that nobody inserted: they are outside for another reason.
    pub fn orphan(&mut self, readings: &SensorReadings) {
        for reading in &readings.readings {
            self.by.entry(reading.file).or_default().all += 1;
        }
    }

    /// A finding for each file with such readings.
    pub fn findings(&self, log: &Log<'_>) -> Vec<Finding> {
        let told =
            |of: &&Outside| of.swapped >= LEAST && of.swapped as f64 >= SHARE * of.all as f64;
        let found = self.by.iter().filter(|(_, of)| told(of));
        let found = found.filter_map(|(file, of)| {
            let name = &log.files.get(*file)?.name;
            Some(Finding {
                file: name.clone(),
                line: of.line,
                from: of.span.map(|span| span.0),
                to: of.span.map(|span| span.1),
                size: Some(of.swapped as f64),
                unit: "rows",
                text: format!(
                    "{name}: day and month of {} readings of {} are swapped: as they stand these were not worn then, put right they were; they are set aside, and what else is told of these sensors may come from that",
                    of.swapped,
                    count(of.sensors.len(), "sensor")
                ),
                todo: "write their dates with year, month and day in this order; of an export, name the order in its `time_format`".to_owned(),
                ..Finding::new("set-aside", Severity::Wrong, OF_ALL)
            })
        });
        found.collect()
    }
}
