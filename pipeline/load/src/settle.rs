//! The rows that count up to an instant, and every row set aside with its reason.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::path::PathBuf;
use std::sync::Arc;

use arrow::array::{ArrayRef, Int32Array, RecordBatch, StringArray};
use arrow::compute::concat_batches;
use arrow::datatypes::Schema;
use jiff::tz::TimeZone;
use whereworn_model::time::{Micros, Month, format_utc};

use crate::error::LoadError;
use crate::input::Table;
use crate::parquet_io::rows_after;
use crate::reject::Reject;
use crate::settle_small::SettledSmall;
use crate::store::{InputRecord, Kind, Store, raw_lines};
use crate::study::Study;

/// What became of the rows of one table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RowCounts {
    /// Rows read from files.
    pub read: u64,
    /// Rows rejected one by one.
    pub rejected: u64,
    /// Rows equal to one that counts.
    pub duplicates: u64,
    /// Readings of sensors without a valid `insert`.
    pub without_insert: u64,
    /// Readings from a second `insert` of their sensor on, which was rejected.
    pub after_second_insert: u64,
    /// Rows that the study's corrections leave out.
    pub left_out: u64,
    /// Rows that their sender withdrew or replaced.
    pub withdrawn: u64,
    /// Rows of a file that its export leaves to others.
    pub untaken: u64,
    /// Rows that count.
    pub accepted: u64,
}

impl RowCounts {
    /// Adds what became of the rows of another study.
    pub(crate) fn add(&mut self, other: &Self) {
        self.read += other.read;
        self.rejected += other.rejected;
        self.duplicates += other.duplicates;
        self.without_insert += other.without_insert;
        self.after_second_insert += other.after_second_insert;
        self.left_out += other.left_out;
        self.withdrawn += other.withdrawn;
        self.untaken += other.untaken;
        self.accepted += other.accepted;
    }

    /// Every row that was read is kept, or counted with what became of it.
    fn add_up(&self, table: Table) -> Result<(), LoadError> {
        let after = self.accepted
            + self.rejected
            + self.duplicates
            + self.without_insert
            + self.after_second_insert
            + self.left_out
            + self.withdrawn
            + self.untaken;
        if after == self.read {
            return Ok(());
        }
        Err(LoadError::Internal(format!(
            "{} rows of {} were read, and {after} are accounted for",
            self.read,
            table.folder()
        )))
    }
}

/// The rows that count up to an instant.
#[derive(Clone, Debug)]
pub struct Settled {
    /// Parquet files of readings, sorted by wearer, sensor, time over all of them; they also hold readings
    /// after the instant and readings of sensors without an `insert`.
    pub readings: Vec<PathBuf>,
    /// Sensors with readings: `sensor_no`, `wearer`, `sensor`.
    pub sensors: RecordBatch,
    /// Sensors by number whose readings from an instant on are not used: there they were inserted a second time.
    pub used_until: Vec<(i32, Micros)>,
    /// Capillary checks, by wearer and time.
    pub fingersticks: RecordBatch,
    /// Wear events, by wearer and time.
    pub wear_events: RecordBatch,
    /// Judgements of night artefacts, by wearer, sensor and start.
    pub judgements: RecordBatch,
    /// Every rejected row, by file and line.
    pub rejects: Vec<Reject>,
    /// What became of the rows, by table.
    pub counts: BTreeMap<Table, RowCounts>,
    /// The earliest and the latest instant of any row that counts; of readings without an `insert` where none does.
    pub span: Option<(Micros, Micros)>,
    /// Months of the study's time zone with such rows.
    pub months: BTreeSet<Month>,
    /// Whether a row was rejected because it is later than the instant.
    pub late: bool,
    /// The input files.
    pub inputs: Vec<InputRecord>,
    /// What a reader of the results should know about the files.
    pub warnings: Vec<String>,
}

/// What is known of readings later than the instant.
#[derive(Default)]
struct LateReadings {
    rejects: Vec<Reject>,
    by_sensor: BTreeMap<usize, u64>,
    last_before: BTreeMap<usize, Micros>,
}

impl Store {
    /// Settles the rows up to and including `as_of`.
    ///
    /// # Errors
    /// An I/O error, a damaged store.
    pub fn settle(&self, study: &Study, as_of: Micros) -> Result<Settled, LoadError> {
        let mut rejects: Vec<Reject> = Vec::new();
        let late = self.late_readings(study, as_of)?;
        let mut any_late = !late.rejects.is_empty();
        rejects.extend(late.rejects.iter().cloned());

        let SettledSmall {
            mut counts,
            rejects: small_rejects,
            any_late: any_small_late,
            inserted,
            seconds,
            instants: small_instants,
            fingersticks,
            wear_events,
            judgements,
        } = self.settle_small(as_of)?;
        any_late |= any_small_late;
        rejects.extend(small_rejects);
        let orphans = self.orphans(&inserted, &late);
        let without_insert = orphans.iter().map(|(_, rows)| rows).sum();
        let reused = self.readings_of_reused(&seconds, as_of)?;
        let after_second_insert = reused.iter().map(|sensor| sensor.rows).sum();
        let zone = study.settings.zone();
        let mut instants = self.reading_instants(&inserted, &late);
        let mut months = months_of(&instants, &zone);
        instants.extend(small_instants);
        if instants.is_empty() {
            instants = self
                .manifest
                .sensors
                .iter()
                .flat_map(|s| [s.first, s.last])
                .filter(|at| *at <= as_of)
                .collect();
        }
        months.extend(instants.iter().filter_map(|at| Month::of(*at, &zone)));
        let span = instants
            .iter()
            .min()
            .copied()
            .zip(instants.iter().max().copied());

        let readings = counts.entry(Table::Readings).or_default();
        readings.duplicates = self.manifest.duplicate_readings;
        readings.without_insert = without_insert;
        readings.after_second_insert = after_second_insert;
        rejects.extend(self.rejects.iter().chain(&self.contradictions).cloned());
        for input in &self.manifest.inputs {
            let count = counts.entry(input.table).or_default();
            count.read += input.rows;
            count.rejected += input.rejected;
            count.left_out += input.left_out;
            count.withdrawn += input.withdrawn;
            count.untaken += input.untaken;
        }
        counts.entry(Table::Readings).or_default().rejected += self.manifest.contradicting_readings;
        let all_readings: u64 = self.manifest.sensors.iter().map(|sensor| sensor.rows).sum();
        let late_readings: u64 = late.by_sensor.values().sum();
        counts.entry(Table::Readings).or_default().rejected += late_readings;
        let accepted = all_readings - late_readings - without_insert - after_second_insert;
        counts.entry(Table::Readings).or_default().accepted = accepted;
        for (table, count) in &counts {
            count.add_up(*table)?;
        }
        rejects.extend(orphans.into_iter().map(|(reject, _)| reject));
        rejects.extend(reused.iter().filter_map(|sensor| sensor.reject(self)));
        rejects.sort_by(|a, b| {
            (a.file.as_bytes(), a.line, &a.reason).cmp(&(b.file.as_bytes(), b.line, &b.reason))
        });

        let sensors = self.sensors_batch().map_err(LoadError::store(&self.dir))?;
        let joined = |batches: Vec<RecordBatch>| {
            let schema = batches.first().map(RecordBatch::schema);
            let schema = schema.unwrap_or_else(|| Arc::new(Schema::empty()));
            concat_batches(&schema, &batches).map_err(LoadError::store(&self.dir))
        };
        Ok(Settled {
            readings: self.files_of_readings().collect(),
            sensors,
            used_until: reused
                .iter()
                .map(|sensor| (sensor.number, sensor.second.time))
                .collect(),
            fingersticks: joined(fingersticks)?,
            wear_events: joined(wear_events)?,
            judgements: joined(judgements)?,
            rejects,
            counts,
            span,
            months,
            late: any_late,
            inputs: self.manifest.inputs.clone(),
            warnings: self.warnings(),
        })
    }

    /// The store's files of readings that count, in order.
    pub(crate) fn files_of_readings(&self) -> impl Iterator<Item = PathBuf> {
        let files = self.manifest.files(Kind::Readings);
        files.map(|file| self.dir.join(file))
    }

    fn warnings(&self) -> Vec<String> {
        let of = |input: &InputRecord| -> Vec<String> {
            let rows = [
                (
                    input.left_out,
                    "rows left out by [[corrections]] in study.toml",
                ),
                (
                    input.withdrawn,
                    "rows withdrawn or replaced by their sender",
                ),
            ];
            let rows = rows.into_iter().filter(|(rows, _)| *rows > 0);
            let rows = rows.map(|(rows, what)| format!("{rows} {what}"));
            let all = input.warnings.iter().cloned().chain(rows);
            all.map(|warning| format!("{}: {warning}", input.name))
                .collect()
        };
        self.manifest.inputs.iter().flat_map(of).collect()
    }

    fn late_readings(&self, study: &Study, as_of: Micros) -> Result<LateReadings, LoadError> {
        let mut late = LateReadings::default();
        if self
            .manifest
            .sensors
            .iter()
            .all(|sensor| sensor.last <= as_of)
        {
            return Ok(late);
        }
        let mut places: BTreeMap<u32, BTreeSet<u64>> = BTreeMap::new();
        for path in self.files_of_readings() {
            rows_after(&path, as_of, |(sensor, time, file, line)| {
                let sensor = sensor as usize;
                if time <= as_of {
                    late.last_before.insert(sensor, time);
                } else {
                    *late.by_sensor.entry(sensor).or_default() += 1;
                    let lines = places.entry(file as u32).or_default();
                    lines.insert(line as u64);
                }
            })?;
        }
        for record in &self.manifest.inputs {
            let Some(lines) = places.remove(&record.number) else {
                continue;
            };
            let mut raw = raw_lines(study, record, &lines)?;
            late.rejects.extend(lines.into_iter().map(|line| {
                let raw = raw.remove(&line).unwrap_or_default();
                late_reject(&record.name, line, raw, as_of)
            }));
        }
        Ok(late)
    }

    /// Sensors with readings and without a valid `insert`: a reject for each, and its readings.
    fn orphans(
        &self,
        inserted: &HashSet<(String, String)>,
        late: &LateReadings,
    ) -> Vec<(Reject, u64)> {
        let mut orphans = Vec::new();
        for (number, sensor) in self.manifest.sensors.iter().enumerate() {
            let rows = sensor.rows - late.by_sensor.get(&number).copied().unwrap_or(0);
            if rows == 0 || inserted.contains(&sensor.name()) {
                continue;
            }
            let readings = if rows == 1 { "reading" } else { "readings" };
            let reason = format!(
                "{rows} {readings} of sensor `{}` of `{}` set aside: no valid `insert` in wear-events says where it was worn",
                sensor.sensor, sensor.wearer
            );
            let reject = Reject {
                file: self.manifest.file_name(sensor.file).to_owned(),
                line: u64::from(sensor.line),
                column: "sensor".to_owned(),
                reason,
                raw: sensor.sensor.clone(),
            };
            orphans.push((reject, rows));
        }
        orphans
    }

    /// The first and last instants of each sensor with a valid `insert`.
    fn reading_instants(
        &self,
        inserted: &HashSet<(String, String)>,
        late: &LateReadings,
    ) -> Vec<Micros> {
        self.manifest
            .sensors
            .iter()
            .enumerate()
            .filter(|(_, sensor)| inserted.contains(&sensor.name()))
            .filter_map(|(number, sensor)| {
                let last = match late.by_sensor.get(&number) {
                    None => Some(sensor.last),
                    Some(_) => late.last_before.get(&number).copied(),
                };
                last.map(|last| [sensor.first, last])
            })
            .flatten()
            .collect()
    }

    fn sensors_batch(&self) -> Result<RecordBatch, arrow::error::ArrowError> {
        let sensors = &self.manifest.sensors;
        let columns: Vec<(&str, ArrayRef)> = vec![
            (
                "sensor_no",
                Arc::new(Int32Array::from_iter_values(0..sensors.len() as i32)),
            ),
            (
                "wearer",
                Arc::new(StringArray::from_iter_values(
                    sensors.iter().map(|s| &s.wearer),
                )),
            ),
            (
                "sensor",
                Arc::new(StringArray::from_iter_values(
                    sensors.iter().map(|s| &s.sensor),
                )),
            ),
        ];
        RecordBatch::try_from_iter(columns)
    }
}

/// The months that sensors read in, from pairs of their first and last instants.
fn months_of(pairs: &[Micros], zone: &TimeZone) -> BTreeSet<Month> {
    let mut months = BTreeSet::new();
    for pair in pairs.chunks(2) {
        let (Some(first), Some(last)) = (pair.first(), pair.last()) else {
            continue;
        };
        let mut next = Month::of(*first, zone);
        while let Some(month) = next.filter(|month| month.start(zone) < Some(*last)) {
            months.insert(month);
            next = month.end(zone).and_then(|end| Month::of(end + 1, zone));
        }
    }
    months
}

pub(crate) fn late_reject(file: &str, line: u64, raw: String, as_of: Micros) -> Reject {
    Reject {
        file: file.to_owned(),
        line,
        column: "time".to_owned(),
        reason: format!("a time after --as-of ({})", format_utc(as_of)),
        raw,
    }
}
