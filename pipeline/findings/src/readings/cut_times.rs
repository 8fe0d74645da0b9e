//! Readings whose times an export cut to quarters of an hour, to hours or to days: of all at one time loading keeps the first.

use std::collections::{BTreeMap, BTreeSet};

use whereworn_model::rows::SensorReadings;
use whereworn_model::time::{MICROS_PER_MINUTE, Micros};

use crate::finding::{Finding, OF_ALL, Severity};
use crate::log::Log;
use crate::words::first_of;

const MINUTES_PER_DAY: i64 = 1440;

/// Minutes between the times that are left, and their words, the coarsest first.
const GRIDS: [(i64, &str); 4] = [
    (MINUTES_PER_DAY, "days"),
    (60, "whole hours"),
    (30, "whole and half hours"),
    (15, "quarters of an hour"),
];

/// Least readings of a file, and share of them, that stand there, by the clocks of summer and winter.
const LEAST: u64 = 20;
const SHARE: f64 = 0.95;

/// Least share of a file's rows that contradict one beside them. Readings 10 min apart cut to quarters leave one in three.
const CONTRADICT: f64 = 0.25;

/// As many rows of a file a day has at most, one a minute.
const ROWS_OF_A_DAY: u64 = 1440;

/// Readings of a file, by their minute of the day.
#[derive(Debug, Default)]
struct OfFile {
    minutes: BTreeMap<i64, u64>,
    span: Option<(Micros, Micros)>,
}

/// By file.
#[derive(Debug, Default)]
pub(crate) struct CutTimes(BTreeMap<usize, OfFile>);

impl CutTimes {
    /// Counts the readings of a sensor.
    pub fn sensor(&mut self, readings: &SensorReadings) {
        for reading in &readings.readings {
            let file = self.0.entry(reading.file).or_default();
            let minute = reading
                .time
                .div_euclid(MICROS_PER_MINUTE)
                .rem_euclid(MINUTES_PER_DAY);
            *file.minutes.entry(minute).or_default() += 1;
            let (from, to) = file.span.unwrap_or((reading.time, reading.time));
            file.span = Some((from.min(reading.time), to.max(reading.time)));
        }
    }

    /// One finding for all files with such times, and the places of the rejects that it tells of.
    pub fn finding(&self, log: &Log<'_>) -> Option<(Finding, BTreeSet<usize>)> {
        let mut contradict: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (place, reject) in log.rejects.iter().enumerate() {
            let beside = |(file, line): (&str, u64)| {
                file == reject.file && reject.line.abs_diff(line) <= ROWS_OF_A_DAY
            };
            if reject.contradicted().is_some_and(beside) {
                contradict
                    .entry(reject.file.as_str())
                    .or_default()
                    .push(place);
            }
        }
        let found = self.0.iter().filter_map(|(file, of)| {
            let file = log.files.get(*file)?;
            let places = contradict.remove(file.name.as_str())?;
            let many = places.len() as f64 >= CONTRADICT * file.rows as f64;
            let grid = of.grid().filter(|_| many)?;
            Some((file, of.span?, grid, places))
        });
        let found: Vec<_> = found.collect();
        let (first, _, (_, words), places) = found.iter().max_by_key(|(.., grid, _)| grid.0)?;
        let line = places.first().and_then(|place| log.rejects.get(*place));
        let rows: u64 = found.iter().map(|(file, ..)| file.rows).sum();
        let names: Vec<&str> = found.iter().map(|(file, ..)| file.name.as_str()).collect();
        let spans = || found.iter().map(|(_, span, ..)| *span);
        let told: BTreeSet<usize> = found
            .iter()
            .flat_map(|(.., places)| places)
            .copied()
            .collect();
        let finding = Finding {
            file: first.name.clone(),
            line: line.map(|reject| reject.line),
            from: spans().map(|span| span.0).min(),
            to: spans().map(|span| span.1).max(),
            size: Some(told.len() as f64),
            unit: "rows",
            text: format!(
                "{}: the times of readings are cut to {words}: {} of {rows} rows contradict one that has their time, of which the first is kept; those that are left are of a later time than they say, and most fingersticks have no reading",
                first_of("file", &names),
                told.len(),
            ),
            todo: "export them again with their minutes; nothing brings back what is lost"
                .to_owned(),
            ..Finding::new("rejected", Severity::Wrong, OF_ALL)
        };
        Some((finding, told))
    }
}

impl OfFile {
    /// The coarsest grid on which nearly all of them stand.
    fn grid(&self) -> Option<(i64, &'static str)> {
        let all: u64 = self.minutes.values().sum();
        let is_on = |(grid, _): &(i64, &str)| {
            let mut past: BTreeMap<i64, u64> = BTreeMap::new();
            for (minute, rows) in &self.minutes {
                *past.entry(minute.rem_euclid(*grid)).or_default() += rows;
            }
            let mut rows: Vec<u64> = past.into_values().collect();
            rows.sort_unstable();
            // The clocks of summer and winter are an hour apart.
            let places = if *grid == MINUTES_PER_DAY { 2 } else { 1 };
            let on: u64 = rows.iter().rev().take(places).sum();
            on as f64 >= SHARE * all as f64
        };
        GRIDS.into_iter().find(|grid| all >= LEAST && is_on(grid))
    }
}
