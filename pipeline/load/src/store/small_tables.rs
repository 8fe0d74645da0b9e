//! Fingersticks, wear events and judgements: few enough to be held in memory as the store keeps them.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, AsArray, BooleanArray, Float64Array, RecordBatch, StringArray,
    TimestampMicrosecondArray, UInt32Array,
};
use arrow::compute::filter_record_batch;
use arrow::error::ArrowError;
use whereworn_model::time::Micros;

use super::manifest::{Kind, Manifest};
use crate::error::LoadError;
use crate::fingersticks::Fingerstick;
use crate::judgements::Judgement;
use crate::parquet_io::{batches, typed};
use crate::wear_events::{Placed, WearEvent};

/// Fingersticks or wear events that are made rows of at a time, about.
const GROUP_ROWS: usize = 1 << 16;

/// Rows of the small tables with the places they came from, as the store keeps them: a tenth of what they take as rows.
/// By kind, and by the file that they came from, in the order of its lines.
#[derive(Clone, Debug, Default)]
pub(crate) struct SmallTables(BTreeMap<Kind, BTreeMap<String, Vec<RecordBatch>>>);

/// Wearers from one to another by name.
pub(crate) type Wearers = RangeInclusive<String>;

impl SmallTables {
    pub fn read(dir: &Path, manifest: &Manifest) -> Result<Self, LoadError> {
        let mut tables = Self::default();
        for kind in [Kind::Fingersticks, Kind::WearEvents, Kind::Judgements] {
            for file in manifest.files(kind) {
                let path = dir.join(file);
                for batch in batches(&path)? {
                    tables
                        .add_batch(kind, &batch?)
                        .map_err(LoadError::store(&path))?;
                }
            }
        }
        Ok(tables)
    }

    /// Adds rows of several files, those of one after the other.
    fn add_batch(&mut self, kind: Kind, batch: &RecordBatch) -> Result<(), String> {
        let files = typed(batch, "file", |a| a.as_string_opt::<i32>())?;
        let by_file = self.0.entry(kind).or_default();
        let mut from = 0;
        while from < batch.num_rows() {
            let name = files.value(from);
            let own = (from..batch.num_rows()).take_while(|row| files.value(*row) == name);
            let rows = own.count();
            let place = by_file.entry(name.to_owned()).or_default();
            place.push(batch.slice(from, rows));
            from += rows;
        }
        Ok(())
    }

    /// Adds the rows of a file.
    pub fn add<T: Stored>(&mut self, mut rows: Vec<Placed<T>>) -> Result<(), LoadError> {
        rows.sort_by_key(|placed| placed.line);
        let batch = placed_batch(&rows).map_err(|error| error.to_string());
        batch
            .and_then(|batch| self.add_batch(T::KIND, &batch))
            .map_err(LoadError::Internal)
    }

    /// Drops rows of files other than these.
    pub fn retain_files(&mut self, names: &BTreeSet<&str>) {
        for by_file in self.0.values_mut() {
            by_file.retain(|name, _| names.contains(name.as_str()));
        }
    }

    /// Adds the rows of other files.
    pub fn append(&mut self, other: Self) {
        for (kind, by_file) in other.0 {
            self.0.entry(kind).or_default().extend(by_file);
        }
    }

    fn of_kind(&self, kind: Kind) -> impl Iterator<Item = &RecordBatch> {
        self.0
            .get(&kind)
            .into_iter()
            .flat_map(BTreeMap::values)
            .flatten()
    }

    /// Whether there is no row of a kind.
    pub fn is_empty(&self, kind: Kind) -> bool {
        self.of_kind(kind).next().is_none()
    }

    /// All wearers who have rows, in groups of which each has few enough rows to be held; at least one group.
    pub fn groups(&self) -> Result<Vec<Wearers>, String> {
        let mut rows: BTreeMap<&str, usize> = BTreeMap::new();
        for batch in self.0.keys().flat_map(|kind| self.of_kind(*kind)) {
            for wearer in typed(batch, "wearer", |a| a.as_string_opt::<i32>())? {
                *rows.entry(wearer.unwrap_or_default()).or_default() += 1;
            }
        }
        let mut groups: Vec<(&str, &str, usize)> = Vec::new();
        for (wearer, rows) in rows {
            match groups.last_mut().filter(|group| group.2 < GROUP_ROWS) {
                Some(group) => *group = (group.0, wearer, group.2 + rows),
                None => groups.push((wearer, wearer, rows)),
            }
        }
        if groups.is_empty() {
            groups.push(("", "", 0));
        }
        let named = groups.into_iter();
        Ok(named
            .map(|(first, last, _)| first.to_owned()..=last.to_owned())
            .collect())
    }

    /// The rows of some wearers, by file and line.
    pub fn of_wearers<T: Stored>(&self, wearers: &Wearers) -> Result<Vec<Placed<T>>, String> {
        let mut rows = Vec::new();
        for batch in self.of_kind(T::KIND) {
            let names = typed(batch, "wearer", |a| a.as_string_opt::<i32>())?;
            let is_own = |name: Option<&str>| {
                let name = name.unwrap_or_default();
                Some(wearers.start().as_str() <= name && name <= wearers.end().as_str())
            };
            let own: BooleanArray = names.iter().map(is_own).collect();
            if own.has_true() {
                let batch = filter_record_batch(batch, &own).map_err(|error| error.to_string())?;
                rows.extend(placed_rows(&batch)?);
            }
        }
        Ok(rows)
    }

    /// All rows of a kind, by file and line.
    pub fn all<T: Stored>(&self) -> Result<Vec<Placed<T>>, String> {
        let mut rows = Vec::new();
        for batch in self.of_kind(T::KIND) {
            rows.extend(placed_rows(batch)?);
        }
        Ok(rows)
    }

    /// Settled rows as SQL sees them, in an order of their own.
    pub fn settled_batch<T: Stored, K: Ord>(
        mut rows: Vec<&Placed<T>>,
        order: impl Fn(&T) -> K,
    ) -> Result<RecordBatch, ArrowError> {
        rows.sort_by_key(|placed| order(&placed.row));
        batch_of(columns(&rows))
    }

    /// The tables as the store keeps them.
    pub fn batches(&self) -> Result<[(Kind, Vec<RecordBatch>); 3], ArrowError> {
        Ok([
            self.stored::<Fingerstick>()?,
            self.stored::<WearEvent>()?,
            self.stored::<Judgement>()?,
        ])
    }

    fn stored<T: Stored>(&self) -> Result<(Kind, Vec<RecordBatch>), ArrowError> {
        let mut batches = vec![placed_batch::<T>(&[])?];
        batches.extend(self.of_kind(T::KIND).cloned());
        Ok((T::KIND, batches))
    }
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
    const KIND: Kind;
    /// The columns as SQL sees them.
    const FIELDS: &'static [Field<Self>];
}

impl Stored for Fingerstick {
    const KIND: Kind = Kind::Fingersticks;
    const FIELDS: &'static [Field<Self>] = &[
        text("wearer", |row| &mut row.wearer),
        instant("time", |row| &mut row.time),
        number("glucose", |row| &mut row.glucose),
        text("meter", |row| &mut row.meter),
        text("purpose", |row| &mut row.purpose),
    ];
}

impl Stored for WearEvent {
    const KIND: Kind = Kind::WearEvents;
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
    const KIND: Kind = Kind::Judgements;
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
fn columns<T: Stored>(rows: &[&Placed<T>]) -> Vec<Named> {
    let mut rows: Vec<T> = rows.iter().map(|placed| placed.row.clone()).collect();
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
    let mut all = columns(&rows.iter().collect::<Vec<_>>());
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
