//! Fingersticks, wear events and judgements: few enough to be held in memory whole.

use std::path::Path;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, AsArray, Float64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
    UInt32Array,
};
use arrow::error::ArrowError;
use whereworn_model::time::Micros;

use super::manifest::{Kind, Manifest};
use crate::error::LoadError;
use crate::fingersticks::Fingerstick;
use crate::judgements::Judgement;
use crate::parquet_io::{batches, typed};
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
        Ok(Self {
            fingersticks: rows_of(dir, manifest, Kind::Fingersticks)?,
            wear_events: rows_of(dir, manifest, Kind::WearEvents)?,
            judgements: rows_of(dir, manifest, Kind::Judgements)?,
        })
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
        batch_of(columns(rows))
    }

    /// Settled wear events as SQL sees them, by wearer and time.
    pub fn wear_events_batch(mut rows: Vec<&Placed<WearEvent>>) -> Result<RecordBatch, ArrowError> {
        rows.sort_by(|a, b| (&a.row.wearer, a.row.time).cmp(&(&b.row.wearer, b.row.time)));
        batch_of(columns(rows))
    }

    /// Settled judgements as SQL sees them, by wearer, sensor and start.
    pub fn judgements_batch(mut rows: Vec<&Placed<Judgement>>) -> Result<RecordBatch, ArrowError> {
        rows.sort_by(|a, b| a.row.subject().cmp(&b.row.subject()));
        batch_of(columns(rows))
    }

    /// The tables as the store keeps them.
    pub fn batches(&self) -> Result<[(Kind, RecordBatch); 3], ArrowError> {
        Ok([
            (Kind::Fingersticks, placed_batch(&self.fingersticks)?),
            (Kind::WearEvents, placed_batch(&self.wear_events)?),
            (Kind::Judgements, placed_batch(&self.judgements)?),
        ])
    }
}

/// Adds rows; those of one file stay in their order, files come by the bytes of their names.
fn add<T>(rows: &mut Vec<Placed<T>>, more: Vec<Placed<T>>) {
    rows.extend(more);
    rows.sort_by(|a, b| (a.file.as_bytes(), a.line).cmp(&(b.file.as_bytes(), b.line)));
}

/// One value of a row: its column, and where it stands in the row.
pub(crate) struct Field<T> {
    name: &'static str,
    place: FieldPlace<T>,
}

enum FieldPlace<T> {
    Text(fn(&mut T) -> &mut String),
    Instant(fn(&mut T) -> &mut Micros),
    Number(fn(&mut T) -> &mut f64),
    MaybeNumber(fn(&mut T) -> &mut Option<f64>),
}

const fn text<T>(name: &'static str, of: fn(&mut T) -> &mut String) -> Field<T> {
    let place = FieldPlace::Text(of);
    Field { name, place }
}

const fn instant<T>(name: &'static str, of: fn(&mut T) -> &mut Micros) -> Field<T> {
    let place = FieldPlace::Instant(of);
    Field { name, place }
}

const fn number<T>(name: &'static str, of: fn(&mut T) -> &mut f64) -> Field<T> {
    let place = FieldPlace::Number(of);
    Field { name, place }
}

const fn maybe<T>(name: &'static str, of: fn(&mut T) -> &mut Option<f64>) -> Field<T> {
    let place = FieldPlace::MaybeNumber(of);
    Field { name, place }
}

/// Rows that the store keeps, column by column.
pub(crate) trait Stored: Clone + Default + 'static {
    /// The columns as SQL sees them.
    const FIELDS: &'static [Field<Self>];
}

impl Stored for Fingerstick {
    const FIELDS: &'static [Field<Self>] = &[
        text("wearer", |row| &mut row.wearer),
        instant("time", |row| &mut row.time),
        number("glucose", |row| &mut row.glucose),
        text("meter", |row| &mut row.meter),
        text("purpose", |row| &mut row.purpose),
    ];
}

impl Stored for WearEvent {
    const FIELDS: &'static [Field<Self>] = &[
        text("wearer", |row| &mut row.wearer),
        text("sensor", |row| &mut row.sensor),
        instant("time", |row| &mut row.time),
        text("event", |row| &mut row.event),
        text("site", |row| &mut row.site),
        text("side", |row| &mut row.side),
        text("cause", |row| &mut row.cause),
        text("tape", |row| &mut row.tape),
        text("model", |row| &mut row.model),
        text("lot", |row| &mut row.lot),
        maybe("grade", |row| &mut row.grade),
        text("aspect", |row| &mut row.aspect),
        maybe("score", |row| &mut row.score),
        text("posture", |row| &mut row.posture),
        maybe("distance_cm", |row| &mut row.distance_cm),
        text("note", |row| &mut row.note),
    ];
}

impl Stored for Judgement {
    const FIELDS: &'static [Field<Self>] = &[
        text("wearer", |row| &mut row.wearer),
        text("sensor", |row| &mut row.sensor),
        instant("start", |row| &mut row.start),
        text("verdict", |row| &mut row.verdict),
        text("note", |row| &mut row.note),
    ];
}

type Named = (&'static str, ArrayRef);

/// The columns of rows as SQL sees them.
fn columns<T: Stored>(rows: Vec<&Placed<T>>) -> Vec<Named> {
    let mut rows: Vec<T> = rows.into_iter().map(|placed| placed.row.clone()).collect();
    let mut array = |field: &Field<T>| -> ArrayRef {
        match field.place {
            FieldPlace::Text(of) => {
                // Text that is missing is NULL, as everything that is missing.
                let texts = rows.iter_mut().map(|row| Some(of(row).as_str()));
                let texts = texts.map(|text| text.filter(|text| !text.is_empty()));
                Arc::new(texts.collect::<StringArray>())
            }
            FieldPlace::Instant(of) => {
                let times = rows.iter_mut().map(|row| *of(row));
                Arc::new(TimestampMicrosecondArray::from_iter_values(times).with_timezone("UTC"))
            }
            FieldPlace::Number(of) => Arc::new(Float64Array::from_iter_values(
                rows.iter_mut().map(|row| *of(row)),
            )),
            FieldPlace::MaybeNumber(of) => Arc::new(
                rows.iter_mut()
                    .map(|row| *of(row))
                    .collect::<Float64Array>(),
            ),
        }
    };

    T::FIELDS
        .iter()
        .map(|field| (field.name, array(field)))
        .collect()
}

/// Rows with the places they came from, as the store keeps them.
fn placed_batch<T: Stored>(rows: &[Placed<T>]) -> Result<RecordBatch, ArrowError> {
    let mut all = columns(rows.iter().collect());
    let texts = |of: fn(&Placed<T>) -> &str| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(rows.iter().map(of)))
    };
    let lines = rows.iter().map(|row| row.line as u32);
    all.push(("file", texts(|row| &row.file)));
    all.push(("line", Arc::new(UInt32Array::from_iter_values(lines))));
    all.push(("raw", texts(|row| &row.raw)));
    batch_of(all)
}

pub(super) fn batch_of(columns: Vec<Named>) -> Result<RecordBatch, ArrowError> {
    RecordBatch::try_from_iter_with_nullable(
        columns.into_iter().map(|(name, array)| (name, array, true)),
    )
}

/// The rows of a kind that the store keeps.
fn rows_of<T: Stored>(
    dir: &Path,
    manifest: &Manifest,
    kind: Kind,
) -> Result<Vec<Placed<T>>, LoadError> {
    let mut rows = Vec::new();
    for file in manifest.files(kind) {
        let path = dir.join(file);
        for batch in batches(&path)? {
            rows.extend(placed_rows(&batch?).map_err(LoadError::store(&path))?);
        }
    }
    Ok(rows)
}

fn placed_rows<T: Stored>(batch: &RecordBatch) -> Result<Vec<Placed<T>>, String> {
    let texts = |name| typed(batch, name, |a| a.as_string_opt::<i32>());
    let lines: &UInt32Array = typed(batch, "line", |a| a.as_primitive_opt())?;
    let places = texts("file")?.iter().zip(lines.values()).zip(texts("raw")?);
    let mut rows: Vec<Placed<T>> = places
        .map(|((file, line), raw)| Placed {
            row: T::default(),
            file: file.unwrap_or_default().to_owned(),
            line: u64::from(*line),
            raw: raw.unwrap_or_default().to_owned(),
        })
        .collect();
    for field in T::FIELDS {
        let into = rows.iter_mut().map(|placed| &mut placed.row);
        match field.place {
            FieldPlace::Text(of) => {
                let column = texts(field.name)?;
                for (row, value) in into.zip(column.iter()) {
                    *of(row) = value.unwrap_or_default().to_owned();
                }
            }
            FieldPlace::Instant(of) => {
                let column: &TimestampMicrosecondArray =
                    typed(batch, field.name, |a| a.as_primitive_opt())?;
                for (row, value) in into.zip(column.values()) {
                    *of(row) = *value;
                }
            }
            FieldPlace::Number(of) => {
                let column: &Float64Array = typed(batch, field.name, |a| a.as_primitive_opt())?;
                for (row, value) in into.zip(column.values()) {
                    *of(row) = *value;
                }
            }
            FieldPlace::MaybeNumber(of) => {
                let column: &Float64Array = typed(batch, field.name, |a| a.as_primitive_opt())?;
                for (row, value) in into.zip(column.iter()) {
                    *of(row) = value;
                }
            }
        }
    }
    Ok(rows)
}
