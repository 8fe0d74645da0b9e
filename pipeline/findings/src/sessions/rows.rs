//! Rows rejected or set aside, by file and month.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use whereworn_model::rows::{FileRows, Reading, RejectedRow, SensorReadings};
use whereworn_model::time::Micros;

use crate::finding::{Finding, OF_ALL, Severity};
use crate::log::Log;
use crate::look::{is_within, month_of};
use crate::words::count;

/// Share of a file's rows in a month from which on something is wrong with the file.
const LARGE: f64 = 0.10;

/// Least readings set aside for that, an hour of those 5 minutes apart: a stray one is all that its file has of a month.
const LEAST_ASIDE: u64 = 12;

/// Readings so near to an insertion or an end may be set aside because a clock or a log is somewhat off: they make no
/// file wrong.
const NEAR: Micros = 2 * 3_600_000_000;

/// Lines of a file from one row to the next of its month within which both are of one run.
const A_RUN: u64 = 20;

/// Most sensors that a finding names.
const MOST_NAMED: usize = 4;

/// Most runs that are told apart.
const MOST_RUNS: usize = 500;

/// Rows of a file in a month.
#[derive(Clone, Debug, Default)]
struct Tally {
    accepted: u64,
    aside: u64,
    /// Sensors that have some.
    sensors: BTreeSet<String>,
    /// Those of them far from when their sensor was worn.
    far: u64,
    rejected: u64,
    /// Those rejected for a reason that is told otherwise.
    told: u64,
    /// First and last lines of runs of them.
    runs: Vec<(u64, u64)>,
    from: Micros,
    to: Micros,
    first_aside: Option<u64>,
    first_rejected: Option<(u64, String)>,
}

impl Tally {
    /// Counts a row that lies so far outside its session, or within it.
    fn count(&mut self, line: u64, time: Micros, out: Micros) {
        let aside = out > 0;
        self.accepted += u64::from(!aside);
        self.aside += u64::from(aside);
        self.far += u64::from(out > NEAR);
        match self.runs.last_mut() {
            Some((_, last)) if (*last..=*last + A_RUN).contains(&line) => *last = line,
            _ => self.runs.push((line, line)),
        }
        self.join_runs();
        self.from = self.from.min(time);
        self.to = self.to.max(time);
        if aside {
            self.first_aside = Some(self.first_aside.map_or(line, |first| first.min(line)));
        }
    }

    /// Joins runs that lie near each other where there are too many.
    fn join_runs(&mut self) {
        let mut gap = A_RUN;
        while self.runs.len() > MOST_RUNS {
            gap *= 4;
            self.runs.sort_unstable();
            self.runs.dedup_by(|later, before| {
                let near = later.0 <= before.1 + gap;
                if near {
                    before.1 = before.1.max(later.1);
                }
                near
            });
        }
    }

    /// The sensors whose readings are set aside, where they are few.
    fn names(&self) -> String {
        if self.sensors.len() > MOST_NAMED {
            return "these sensors".to_owned();
        }
        let names: Vec<String> = self
            .sensors
            .iter()
            .map(|name| format!("`{name}`"))
            .collect();
        match names.as_slice() {
            [one] => format!("sensor {one}"),
            _ => format!("sensors {}", names.join(", ")),
        }
    }

    /// Lines from one to the nearest of its rows.
    fn lines_to(&self, line: u64) -> u64 {
        let runs = self.runs.iter();
        let to =
            runs.map(|(first, last)| first.saturating_sub(line).max(line.saturating_sub(*last)));
        to.min().unwrap_or(u64::MAX)
    }
}

/// Rows by file and month.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tallies {
    by: BTreeMap<(String, String), Tally>,
}

impl Tallies {
    /// Counts the rows of the small tables.
    pub fn new(log: &Log<'_>) -> Self {
        let mut tallies = Self::default();
        let mut cache = None;
        let checks = log.checks.iter().map(|row| (&row.file, row.line, row.time));
        let events = log.events.iter().map(|row| (&row.file, row.line, row.time));
        for (file, line, time) in checks.chain(events) {
            let month = month_of(log, time, &mut cache);
            tallies.of(file, month, time).count(line, time, 0);
        }
        tallies
    }

    /// Counts a sensor's readings; those outside its session are set aside. An orphan's session is none.
    pub fn readings(
        &mut self,
        log: &Log<'_>,
        readings: &SensorReadings,
        worn: Option<RangeInclusive<Micros>>,
    ) {
        let mut cache = None;
        let mut rest = readings.readings.as_slice();
        while let Some(first) = rest.first() {
            let month = month_of(log, first.time, &mut cache);
            let (from, to) = cache.as_ref().map_or((0, 0), |(from, to, _)| (*from, *to));
            let alike = |reading: &&Reading| {
                reading.file == first.file && is_within(reading.time, from, to)
            };
            let run = rest.iter().take_while(alike).count().max(1);
            let (run, later) = rest.split_at(run);
            rest = later;
            let Some(file) = log.files.get(first.file) else {
                continue;
            };
            let tally = self.of(&file.name, month, first.time);
            for reading in run {
                let out = worn.as_ref().map_or(Micros::MAX, |worn| {
                    let before = worn.start().saturating_sub(reading.time);
                    before.max(reading.time.saturating_sub(*worn.end()))
                });
                tally.count(reading.line, reading.time, out);
                if out > 0 && tally.sensors.len() <= MOST_NAMED {
                    tally.sensors.insert(readings.sensor.clone());
                }
            }
        }
    }

    /// Adds the rows of another count.
    pub fn merge(&mut self, other: Self) {
        for (place, more) in other.by {
            match self.by.get_mut(&place) {
                None => {
                    self.by.insert(place, more);
                }
                Some(tally) => {
                    tally.accepted += more.accepted;
                    tally.aside += more.aside;
                    tally.far += more.far;
                    tally.sensors.extend(more.sensors);
                    tally.runs.extend(more.runs);
                    tally.join_runs();
                    tally.from = tally.from.min(more.from);
                    tally.to = tally.to.max(more.to);
                    let first = [tally.first_aside, more.first_aside]
                        .into_iter()
                        .flatten()
                        .min();
                    tally.first_aside = first;
                }
            }
        }
    }

    /// The tally of a file and month, begun with a row of theirs where there is none yet.
    fn of(&mut self, file: &str, month: String, time: Micros) -> &mut Tally {
        let tally = self.by.entry((file.to_owned(), month));
        tally.or_insert_with(|| Tally {
            from: time,
            to: time,
            ..Tally::default()
        })
    }

    /// The last line up to the cut-off of each file that goes on after it: what is rejected below is of a later month.
    fn ends(&self, files: &[FileRows], rejects: &[&RejectedRow]) -> BTreeMap<String, u64> {
        let mut of_file: BTreeMap<&str, (u64, u64)> = BTreeMap::new();
        for ((file, _), tally) in &self.by {
            let (rows, last) = of_file.entry(file).or_default();
            *rows += tally.accepted + tally.aside;
            let ends = tally.runs.iter().map(|(_, end)| *end);
            *last = ends.max().unwrap_or(0).max(*last);
        }
        let goes_on = |file: &&FileRows| {
            let rejected = rejects.iter().filter(|row| row.file == file.name).count();
            let (rows, _) = of_file.get(file.name.as_str()).copied().unwrap_or_default();
            file.rows > rows + rejected as u64
        };
        let last = |file: &FileRows| {
            let last = of_file.get(file.name.as_str()).map_or(0, |(_, last)| *last);
            (file.name.clone(), last)
        };
        files.iter().filter(goes_on).map(last).collect()
    }

    /// A finding for each file and month with rows rejected or set aside; rejects at some places are told otherwise.
    pub fn findings(mut self, log: &Log<'_>, told: &BTreeSet<usize>) -> Vec<Finding> {
        let rejects = log.rejects.iter().enumerate();
        let rejects = rejects.filter(|(_, reject)| !is_of_a_sensor(&reject.reason));
        let (places, rejects): (Vec<usize>, Vec<&RejectedRow>) = rejects.unzip();
        let ends = self.ends(log.files, &rejects);
        let is_later = |reject: &RejectedRow| {
            let end = ends.get(&reject.file);
            end.is_some_and(|end| reject.line > end + A_RUN)
        };
        let rejects = places.into_iter().zip(rejects);
        for (place, reject) in rejects.filter(|(_, reject)| !is_later(reject)) {
            // Its own month where its date can be read and the file has other rows of it, else that of the rows around it.
            let written = written_month(&reject.raw);
            let is_its = |month: &String| written == Some(month.as_str());
            let nearest = self
                .by
                .iter_mut()
                .filter(|((file, _), _)| *file == reject.file)
                .min_by_key(|((_, month), tally)| (!is_its(month), tally.lines_to(reject.line)));
            let tally = match nearest {
                Some((_, tally)) => tally,
                None => self
                    .by
                    .entry((reject.file.clone(), String::new()))
                    .or_default(),
            };
            if told.contains(&place) {
                tally.told += 1;
                continue;
            }
            tally.rejected += 1;
            tally
                .first_rejected
                .get_or_insert_with(|| (reject.line, reject.reason.clone()));
        }
        let mut findings = Vec::new();
        for ((file, month), tally) in &self.by {
            let all = tally.accepted + tally.aside + tally.rejected + tally.told;
            let when = if month.is_empty() {
                String::new()
            } else {
                format!(" in {month}")
            };
            let table = log
                .files
                .iter()
                .find(|known| known.name == *file)
                .map_or("", |known| known.table);
            let found = |kind, rows: u64, bad: u64, line: Option<u64>| {
                let share = rows as f64 / all.max(1) as f64;
                let large = bad as f64 / all.max(1) as f64 >= LARGE * (1.0 - 1e-9);
                let severity = match large && (kind == "rejected" || bad >= LEAST_ASIDE) {
                    true => Severity::Wrong,
                    false => Severity::Thin,
                };
                Finding {
                    file: file.clone(),
                    line,
                    from: (tally.from != 0).then_some(tally.from),
                    to: (tally.to != 0).then_some(tally.to),
                    size: Some((share * 1e4).round() / 1e4),
                    unit: "fraction",
                    ..Finding::new(kind, severity, OF_ALL)
                }
            };
            let loss = match table {
                "wear-events" => "what they would have said of sensors is not used",
                "fingersticks" => "they make no pairs",
                _ => "they are used for nothing",
            };
            if let Some((line, reason)) = &tally.first_rejected {
                findings.push(Finding {
                    text: format!(
                        "{file}: {} of {all}{when} rejected, the first for: {reason}; {loss}",
                        count(tally.rejected as usize, "row")
                    ),
                    todo: "look at them in rejects.csv, where `report` lists every one; a log of your own is put right in its file, an export by `values`, `time_format` or `unit` in study.toml".to_owned(),
                    ..found("rejected", tally.rejected, tally.rejected, Some(*line))
                });
            }
            if tally.aside > 0 {
                findings.push(Finding {
                    text: format!(
                        "{file}: {} of {all}{when} set aside, because the log says of no sensor that it was worn then; {loss}",
                        count(tally.aside as usize, "reading")
                    ),
                    todo: format!(
                        "look at the `insert` and `end` of {} in wear-events",
                        tally.names()
                    ),
                    ..found("set-aside", tally.aside, tally.far, tally.first_aside)
                });
            }
        }
        findings
    }
}

/// The month of the first date in a row that is written as ISO 8601 has it.
fn written_month(raw: &str) -> Option<&str> {
    let is_date = |bytes: &[u8]| {
        let mut places = bytes.iter().enumerate();
        places.all(|(place, byte)| match place {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        })
    };
    let place = raw.as_bytes().windows(10).position(is_date)?;
    raw.get(place..place + 7)
}

/// Whether a reject stands for all readings of a sensor: those are counted as set aside.
fn is_of_a_sensor(reason: &str) -> bool {
    reason.contains(" set aside:")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_tells_its_month_where_its_date_is_iso() {
        assert_eq!(
            written_month("tuff,s01,2026-01-22T19:00,insert"),
            Some("2026-01")
        );
        assert_eq!(written_month("s2026-1,2026-03-04 08:00"), Some("2026-03"));
        for raw in ["", "22.01.2026", "2026-01", "20260122T1900", "ü"] {
            assert_eq!(written_month(raw), None, "{raw}");
        }
    }

    /// Rows of one month in two sensors' parts of a file, those of another between them.
    #[test]
    fn a_line_belongs_to_the_nearest_run() {
        let tally = |runs: &[std::ops::Range<u64>]| {
            let mut tally = Tally::default();
            runs.iter()
                .flat_map(|run| run.clone())
                .for_each(|line| tally.count(line, 0, 0));
            tally
        };
        let (one, other) = (tally(&[2..90, 200..290]), tally(&[91..190, 300..390]));
        assert_eq!(
            [89, 95, 145, 295].map(|line| one.lines_to(line)),
            [0, 6, 55, 6]
        );
        assert_eq!(
            [89, 95, 145, 295].map(|line| other.lines_to(line)),
            [2, 0, 0, 5]
        );
        let scattered: Vec<std::ops::Range<u64>> =
            (0..5000).map(|run| 100 * run..100 * run + 2).collect();
        let many = tally(&scattered);
        assert!(many.runs.len() <= MOST_RUNS && many.lines_to(499_000) == 0);
    }
}
