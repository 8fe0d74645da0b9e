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
use crate::fingersticks::Fingerstick;
use crate::input::Table;
use crate::judgements::{Judgement, same_judgement, settle_verdicts};
use crate::parquet_io::rows_after;
use crate::reject::Reject;
use crate::reused::SecondInsert;
use crate::store::{InputRecord, Kind, SmallTables, Store, Wearers, raw_lines};
use crate::study::Study;
use crate::wear_events::{Placed, WearEvent};

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
            + self.withdrawn;
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

/// What became of the rows of the small tables.
#[derive(Default)]
struct SettledSmall {
    counts: BTreeMap<Table, RowCounts>,
    rejects: Vec<Reject>,
    any_late: bool,
    /// Wearers and sensors of the `insert` rows that count.
    inserted: HashSet<(String, String)>,
    seconds: Vec<SecondInsert>,
    /// Instants of the fingersticks and events that count.
    instants: Vec<Micros>,
    fingersticks: Vec<RecordBatch>,
    wear_events: Vec<RecordBatch>,
    judgements: Vec<RecordBatch>,
}

impl SettledSmall {
    /// Adds what became of some rows of a table that has any.
    fn note(&mut self, table: Table, kept: usize, duplicates: u64, rejects: Vec<Reject>) {
        if let Some(counts) = self.counts.get_mut(&table) {
            counts.accepted += kept as u64;
            counts.duplicates += duplicates;
            counts.rejected += rejects.len() as u64;
        }
        self.rejects.extend(rejects);
    }
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

    /// Settles the small tables, some wearers at a time: rows of different wearers have nothing to do with each other.
    fn settle_small(&self, as_of: Micros) -> Result<SettledSmall, LoadError> {
        let mut small = SettledSmall::default();
        for (table, kind) in [
            (Table::WearEvents, Kind::WearEvents),
            (Table::Fingersticks, Kind::Fingersticks),
            (Table::Judgements, Kind::Judgements),
        ] {
            if table != Table::Judgements || !self.small.is_empty(kind) {
                small.counts.insert(table, RowCounts::default());
            }
        }
        for wearers in self.groups()? {
            self.settle_wearers(&wearers, as_of, &mut small)?;
        }
        Ok(small)
    }

    fn settle_wearers(
        &self,
        wearers: &Wearers,
        as_of: Micros,
        into: &mut SettledSmall,
    ) -> Result<(), LoadError> {
        let events = self.rows_of::<WearEvent>(wearers)?;
        let events = settle_rows(&events, as_of, |e| e.time, |a, b| a == b);
        let (kept, mut rejects, seconds) = settle_sensor_lives(events.kept);
        rejects.extend(events.late.iter().cloned());
        into.seconds.extend(seconds);
        into.instants.extend(kept.iter().map(|e| e.row.time));
        let inserts = kept.iter().filter(|e| e.row.event == "insert");
        let inserts = inserts.map(|e| (e.row.wearer.clone(), e.row.sensor.clone()));
        into.inserted.extend(inserts);
        into.note(Table::WearEvents, kept.len(), events.duplicates, rejects);
        let batch = SmallTables::settled_batch(kept, |e: &WearEvent| (e.wearer.clone(), e.time));
        into.wear_events
            .push(batch.map_err(LoadError::store(&self.dir))?);

        let checks = self.rows_of::<Fingerstick>(wearers)?;
        let checks = settle_rows(&checks, as_of, |f| f.time, same_check);
        into.instants.extend(checks.kept.iter().map(|f| f.row.time));
        let (kept, duplicates) = (checks.kept, checks.duplicates);
        into.any_late |= !events.late.is_empty() || !checks.late.is_empty();
        into.note(Table::Fingersticks, kept.len(), duplicates, checks.late);
        let batch = SmallTables::settled_batch(kept, |f: &Fingerstick| (f.wearer.clone(), f.time));
        into.fingersticks
            .push(batch.map_err(LoadError::store(&self.dir))?);

        let verdicts = self.rows_of::<Judgement>(wearers)?;
        let verdicts = settle_rows(&verdicts, as_of, |j| j.start, same_judgement);
        let (kept, mut rejects) = settle_verdicts(verdicts.kept);
        into.any_late |= !verdicts.late.is_empty();
        rejects.extend(verdicts.late.into_iter().map(|late| Reject {
            column: "start".to_owned(),
            ..late
        }));
        into.note(Table::Judgements, kept.len(), verdicts.duplicates, rejects);
        let of = |j: &Judgement| (j.wearer.clone(), j.sensor.clone(), j.start);
        let batch = SmallTables::settled_batch(kept, of);
        into.judgements
            .push(batch.map_err(LoadError::store(&self.dir))?);
        Ok(())
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

fn late_reject(file: &str, line: u64, raw: String, as_of: Micros) -> Reject {
    Reject {
        file: file.to_owned(),
        line,
        column: "time".to_owned(),
        reason: format!("a time after --as-of ({})", format_utc(as_of)),
        raw,
    }
}

/// Rows of a small table up to an instant, each once.
pub(crate) struct SettledRows<'r, T> {
    pub kept: Vec<&'r Placed<T>>,
    duplicates: u64,
    late: Vec<Reject>,
}

pub(crate) fn settle_rows<T>(
    rows: &[Placed<T>],
    as_of: Micros,
    time: impl Fn(&T) -> Micros,
    same: impl Fn(&T, &T) -> bool,
) -> SettledRows<'_, T> {
    let mut settled = SettledRows {
        kept: Vec::new(),
        duplicates: 0,
        late: Vec::new(),
    };
    let mut at: BTreeMap<Micros, Vec<&Placed<T>>> = BTreeMap::new();
    for placed in rows {
        let when = time(&placed.row);
        if when > as_of {
            settled.late.push(late_reject(
                &placed.file,
                placed.line,
                placed.raw.clone(),
                as_of,
            ));
            continue;
        }
        let here = at.entry(when).or_default();
        if here.iter().any(|other| same(&other.row, &placed.row)) {
            settled.duplicates += 1;
        } else {
            here.push(placed);
            settled.kept.push(placed);
        }
    }
    settled
}

pub(crate) fn same_check(a: &Fingerstick, b: &Fingerstick) -> bool {
    a.wearer == b.wearer
        && a.meter == b.meter
        && a.purpose == b.purpose
        && (a.glucose - b.glucose).abs() <= whereworn_model::units::RELATIVE_SLACK * a.glucose
}

/// Lets each sensor be inserted once and end at most once, after its insertion. Rows come by file and line. Gives
/// the rows kept, those rejected, and of these the second insertions.
pub(crate) fn settle_sensor_lives(
    rows: Vec<&Placed<WearEvent>>,
) -> (Vec<&Placed<WearEvent>>, Vec<Reject>, Vec<SecondInsert>) {
    let mut seconds = Vec::new();
    let mut inserted: BTreeMap<(&str, &str), &Placed<WearEvent>> = BTreeMap::new();
    let mut ended: BTreeMap<(&str, &str), &Placed<WearEvent>> = BTreeMap::new();
    let mut faults: BTreeMap<(&str, u64), (&'static str, String)> = BTreeMap::new();
    for placed in rows.iter().filter(|placed| placed.row.event == "insert") {
        let key = (placed.row.wearer.as_str(), placed.row.sensor.as_str());
        match inserted.get(&key) {
            None => {
                inserted.insert(key, placed);
            }
            Some(first) => {
                let reason = format!(
                    "second `insert` of this sensor: the first is in {}, line {}",
                    first.file, first.line
                );
                faults.insert((&placed.file, placed.line), ("event", reason));
                if placed.row.time > first.row.time {
                    seconds.push(SecondInsert {
                        wearer: placed.row.wearer.clone(),
                        sensor: placed.row.sensor.clone(),
                        time: placed.row.time,
                        file: placed.file.clone(),
                        line: placed.line,
                    });
                }
            }
        }
    }
    for placed in rows.iter().filter(|placed| placed.row.event == "end") {
        let key = (placed.row.wearer.as_str(), placed.row.sensor.as_str());
        let fault = match (inserted.get(&key), ended.get(&key)) {
            (None, _) => Some((
                "sensor",
                "`end` of a sensor that was never inserted".to_owned(),
            )),
            (Some(insert), _) if placed.row.time < insert.row.time => Some((
                "time",
                format!(
                    "`end` before `insert`, which is in {}, line {}",
                    insert.file, insert.line
                ),
            )),
            (_, Some(first)) => Some((
                "event",
                format!(
                    "second `end` of this sensor: the first is in {}, line {}",
                    first.file, first.line
                ),
            )),
            _ => None,
        };
        match fault {
            Some(fault) => {
                faults.insert((&placed.file, placed.line), fault);
            }
            None => {
                ended.insert(key, placed);
            }
        }
    }
    let mut rejects = Vec::new();
    let mut kept = Vec::new();
    for placed in &rows {
        match faults.get(&(placed.file.as_str(), placed.line)) {
            None => kept.push(*placed),
            Some((column, reason)) => rejects.push(Reject {
                file: placed.file.clone(),
                line: placed.line,
                column: (*column).to_owned(),
                reason: reason.clone(),
                raw: placed.raw.clone(),
            }),
        }
    }
    (kept, rejects, seconds)
}
