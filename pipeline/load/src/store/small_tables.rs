//! Fingersticks, wear events and judgements: few enough to be held in memory whole.

use std::path::Path;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, AsArray, Float64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
    UInt32Array,
};
use arrow::datatypes::{Float64Type, TimestampMicrosecondType, UInt32Type};
use arrow::error::ArrowError;

use crate::error::LoadError;
use crate::fingersticks::Fingerstick;
use crate::judgements::Judgement;
use crate::parquet_io::{batches, write_batch};
use crate::store::Manifest;
use crate::wear_events::{Placed, WearEvent};

/// Parsed rows of the small tables with the places they came from.
#[derive(Debug, Default)]
pub(crate) struct SmallTables {
    pub fingersticks: Vec<Placed<Fingerstick>>,
    pub wear_events: Vec<Placed<WearEvent>>,
    pub judgements: Vec<Placed<Judgement>>,
}

impl SmallTables {
    pub fn read(dir: &Path, manifest: &Manifest) -> Result<Self, LoadError> {
        let mut tables = Self::default();
        if !manifest.fingersticks.is_empty() {
            for batch in batches(&dir.join(&manifest.fingersticks))? {
                tables.fingersticks.extend(fingersticks_of(&batch?));
            }
        }
        if !manifest.wear_events.is_empty() {
            for batch in batches(&dir.join(&manifest.wear_events))? {
                tables.wear_events.extend(events_of(&batch?));
            }
        }
        if !manifest.judgements.is_empty() {
            for batch in batches(&dir.join(&manifest.judgements))? {
                tables.judgements.extend(judgements_of(&batch?));
            }
        }
        Ok(tables)
    }

    /// Drops rows of files other than these.
    pub fn retain_files(&mut self, names: &[String]) {
        self.fingersticks.retain(|row| names.contains(&row.file));
        self.wear_events.retain(|row| names.contains(&row.file));
        self.judgements.retain(|row| names.contains(&row.file));
    }

    /// Adds the rows of other files.
    pub fn append(&mut self, other: Self) {
        add(&mut self.fingersticks, other.fingersticks);
        add(&mut self.wear_events, other.wear_events);
        add(&mut self.judgements, other.judgements);
    }

    /// Settled capillary checks as SQL sees them, by wearer and time.
    pub fn fingersticks_batch(
        mut rows: Vec<&Placed<Fingerstick>>,
    ) -> Result<RecordBatch, ArrowError> {
        rows.sort_by(|a, b| (&a.row.wearer, a.row.time).cmp(&(&b.row.wearer, b.row.time)));
        batch_of(fingerstick_columns(&rows))
    }

    /// Settled wear events as SQL sees them, by wearer and time.
    pub fn wear_events_batch(mut rows: Vec<&Placed<WearEvent>>) -> Result<RecordBatch, ArrowError> {
        rows.sort_by(|a, b| (&a.row.wearer, a.row.time).cmp(&(&b.row.wearer, b.row.time)));
        batch_of(event_columns(&rows))
    }

    /// Settled judgements as SQL sees them, by wearer, sensor and start.
    pub fn judgements_batch(mut rows: Vec<&Placed<Judgement>>) -> Result<RecordBatch, ArrowError> {
        rows.sort_by(|a, b| a.row.subject().cmp(&b.row.subject()));
        batch_of(judgement_columns(&rows))
    }

    pub fn write(
        &self,
        dir: &Path,
        manifest: &mut Manifest,
        generation: &str,
    ) -> Result<(), LoadError> {
        manifest.fingersticks = format!("fingersticks-{generation}.parquet");
        manifest.wear_events = format!("wear-events-{generation}.parquet");
        manifest.judgements = format!("judgements-{generation}.parquet");
        let write = |name: &str, batch: Result<RecordBatch, ArrowError>| {
            let path = dir.join(name);
            write_batch(&path, &batch.map_err(LoadError::store(&path))?)
        };
        write(
            &manifest.fingersticks,
            placed_batch(&self.fingersticks, fingerstick_columns),
        )?;
        write(
            &manifest.wear_events,
            placed_batch(&self.wear_events, event_columns),
        )?;
        write(
            &manifest.judgements,
            placed_batch(&self.judgements, judgement_columns),
        )
    }
}

/// Adds rows; those of one file stay in their order, files come by the bytes of their names.
fn add<T>(rows: &mut Vec<Placed<T>>, more: Vec<Placed<T>>) {
    rows.extend(more);
    rows.sort_by(|a, b| (a.file.as_bytes(), a.line).cmp(&(b.file.as_bytes(), b.line)));
}

type Named = (&'static str, ArrayRef);

fn texts<T>(name: &'static str, rows: &[&Placed<T>], of: impl Fn(&T) -> &str) -> Named {
    (
        name,
        Arc::new(StringArray::from_iter_values(
            rows.iter().map(|row| of(&row.row)),
        )),
    )
}

fn numbers<T>(name: &'static str, rows: &[&Placed<T>], of: impl Fn(&T) -> Option<f64>) -> Named {
    (
        name,
        Arc::new(
            rows.iter()
                .map(|row| of(&row.row))
                .collect::<Float64Array>(),
        ),
    )
}

fn instants<T>(name: &'static str, rows: &[&Placed<T>], of: impl Fn(&T) -> i64) -> Named {
    let times = TimestampMicrosecondArray::from_iter_values(rows.iter().map(|row| of(&row.row)));
    (name, Arc::new(times.with_timezone("UTC")))
}

/// The columns of fingersticks as SQL sees them.
fn fingerstick_columns(rows: &[&Placed<Fingerstick>]) -> Vec<Named> {
    vec![
        texts("wearer", rows, |r| &r.wearer),
        instants("time", rows, |r| r.time),
        numbers("glucose", rows, |r| Some(r.glucose)),
        texts("meter", rows, |r| &r.meter),
        texts("purpose", rows, |r| &r.purpose),
    ]
}

/// The columns of wear events as SQL sees them.
fn event_columns(rows: &[&Placed<WearEvent>]) -> Vec<Named> {
    vec![
        texts("wearer", rows, |r| &r.wearer),
        texts("sensor", rows, |r| &r.sensor),
        instants("time", rows, |r| r.time),
        texts("event", rows, |r| &r.event),
        texts("site", rows, |r| &r.site),
        texts("side", rows, |r| &r.side),
        texts("cause", rows, |r| &r.cause),
        texts("tape", rows, |r| &r.tape),
        texts("model", rows, |r| &r.model),
        texts("lot", rows, |r| &r.lot),
        numbers("grade", rows, |r| r.grade),
        texts("aspect", rows, |r| &r.aspect),
        numbers("score", rows, |r| r.score),
        texts("posture", rows, |r| &r.posture),
        numbers("distance_cm", rows, |r| r.distance_cm),
        texts("note", rows, |r| &r.note),
    ]
}

/// The columns of judgements as SQL sees them.
fn judgement_columns(rows: &[&Placed<Judgement>]) -> Vec<Named> {
    vec![
        texts("wearer", rows, |r| &r.wearer),
        texts("sensor", rows, |r| &r.sensor),
        instants("start", rows, |r| r.start),
        texts("verdict", rows, |r| &r.verdict),
        texts("note", rows, |r| &r.note),
    ]
}

/// Rows with the places they came from, as the store keeps them.
fn placed_batch<T>(
    rows: &[Placed<T>],
    columns: fn(&[&Placed<T>]) -> Vec<Named>,
) -> Result<RecordBatch, ArrowError> {
    let rows: Vec<&Placed<T>> = rows.iter().collect();
    let mut all = columns(&rows);
    all.push((
        "file",
        Arc::new(StringArray::from_iter_values(
            rows.iter().map(|r| r.file.as_str()),
        )),
    ));
    all.push((
        "line",
        Arc::new(UInt32Array::from_iter_values(
            rows.iter().map(|r| r.line as u32),
        )),
    ));
    all.push((
        "raw",
        Arc::new(StringArray::from_iter_values(
            rows.iter().map(|r| r.raw.as_str()),
        )),
    ));
    batch_of(all)
}

fn batch_of(columns: Vec<Named>) -> Result<RecordBatch, ArrowError> {
    RecordBatch::try_from_iter_with_nullable(
        columns.into_iter().map(|(name, array)| (name, array, true)),
    )
}

/// Reads the cells of a batch by column position.
struct Cells<'b>(&'b RecordBatch);

impl Cells<'_> {
    fn text(&self, column: usize, row: usize) -> String {
        self.0
            .column(column)
            .as_string::<i32>()
            .value(row)
            .to_owned()
    }

    fn instant(&self, column: usize, row: usize) -> i64 {
        self.0
            .column(column)
            .as_primitive::<TimestampMicrosecondType>()
            .value(row)
    }

    fn number(&self, column: usize, row: usize) -> Option<f64> {
        let array = self.0.column(column).as_primitive::<Float64Type>();
        arrow::array::Array::is_valid(array, row).then(|| array.value(row))
    }

    /// Wraps a row with its place, which stands in the three last columns.
    fn placed<T>(&self, row: usize, value: T) -> Placed<T> {
        let first = self.0.num_columns() - 3;
        Placed {
            row: value,
            file: self.text(first, row),
            line: u64::from(
                self.0
                    .column(first + 1)
                    .as_primitive::<UInt32Type>()
                    .value(row),
            ),
            raw: self.text(first + 2, row),
        }
    }
}

fn fingersticks_of(batch: &RecordBatch) -> Vec<Placed<Fingerstick>> {
    let cells = Cells(batch);
    let one = |row| {
        let value = Fingerstick {
            wearer: cells.text(0, row),
            time: cells.instant(1, row),
            glucose: cells.number(2, row).unwrap_or_default(),
            meter: cells.text(3, row),
            purpose: cells.text(4, row),
        };
        cells.placed(row, value)
    };
    (0..batch.num_rows()).map(one).collect()
}

fn judgements_of(batch: &RecordBatch) -> Vec<Placed<Judgement>> {
    let cells = Cells(batch);
    let one = |row| {
        let value = Judgement {
            wearer: cells.text(0, row),
            sensor: cells.text(1, row),
            start: cells.instant(2, row),
            verdict: cells.text(3, row),
            note: cells.text(4, row),
        };
        cells.placed(row, value)
    };
    (0..batch.num_rows()).map(one).collect()
}

fn events_of(batch: &RecordBatch) -> Vec<Placed<WearEvent>> {
    let cells = Cells(batch);
    let one = |row| {
        let value = WearEvent {
            wearer: cells.text(0, row),
            sensor: cells.text(1, row),
            time: cells.instant(2, row),
            event: cells.text(3, row),
            site: cells.text(4, row),
            side: cells.text(5, row),
            cause: cells.text(6, row),
            tape: cells.text(7, row),
            model: cells.text(8, row),
            lot: cells.text(9, row),
            grade: cells.number(10, row),
            aspect: cells.text(11, row),
            score: cells.number(12, row),
            posture: cells.text(13, row),
            distance_cm: cells.number(14, row),
            note: cells.text(15, row),
        };
        cells.placed(row, value)
    };
    (0..batch.num_rows()).map(one).collect()
}
