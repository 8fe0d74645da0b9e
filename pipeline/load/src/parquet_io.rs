//! The store's Parquet files.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{
    ArrayRef, AsArray, DictionaryArray, Float64Array, Int32Array, RecordBatch, StringArray,
    TimestampMicrosecondArray,
};
use arrow::datatypes::{
    ArrowDictionaryKeyType, DataType, Field, Int8Type, Int32Type, Schema, SchemaRef, TimeUnit,
};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::basic::{Compression, Encoding};
use parquet::file::metadata::SortingColumn;
use parquet::file::properties::WriterProperties;
use parquet::schema::types::ColumnPath;

use crate::block::{Block, STATUSES, SensorName};
use crate::error::LoadError;
use crate::files::{self, Access, Hashed};
use crate::settle_readings::{FileRows, Merged, SensorRows};

/// Rows handed to the Parquet writer at a time.
const BATCH_ROWS: usize = 1 << 16;

/// The type of instants in the store.
pub(crate) fn instant() -> DataType {
    DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into()))
}

fn dictionary(key: DataType) -> DataType {
    DataType::Dictionary(Box::new(key), Box::new(DataType::Utf8))
}

fn readings_schema() -> SchemaRef {
    Arc::new(Schema::new(vec![
        Field::new("sensor_no", DataType::Int32, false),
        Field::new("wearer", dictionary(DataType::Int32), false),
        Field::new("sensor", dictionary(DataType::Int32), false),
        Field::new("time", instant(), false),
        Field::new("glucose", DataType::Float64, true),
        Field::new("status", dictionary(DataType::Int8), false),
        Field::new("file", dictionary(DataType::Int32), false),
        Field::new("line", DataType::Int32, false),
        Field::new("file_no", DataType::Int32, false),
    ]))
}

fn properties() -> WriterProperties {
    let sorted = [0, 3].map(|column_idx| SortingColumn {
        column_idx,
        descending: false,
        nulls_first: false,
    });
    let mut builder = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_max_row_group_row_count(Some(1 << 18))
        .set_sorting_columns(Some(sorted.to_vec()));
    for column in ["time", "line"] {
        let path = ColumnPath::from(column);
        builder = builder
            .set_column_dictionary_enabled(path.clone(), false)
            .set_column_encoding(path, Encoding::DELTA_BINARY_PACKED);
    }
    builder.build()
}

/// Which rows of a sensor to write.
pub(crate) type Pick = fn(&SensorRows) -> Vec<(u32, u32)>;

/// Bytes and SHA-256 of a file that was written.
pub(crate) type Written = (u64, String);

/// A file of the store being written.
struct Writer<'p> {
    path: &'p Path,
    inner: ArrowWriter<Hashed<File>>,
}

impl<'p> Writer<'p> {
    fn create(
        path: &'p Path,
        schema: SchemaRef,
        properties: WriterProperties,
        access: Access,
    ) -> Result<Self, LoadError> {
        let file = files::create(path, access).map_err(LoadError::io(path, "creating"))?;
        let inner = ArrowWriter::try_new(Hashed::new(file), schema, Some(properties))
            .map_err(LoadError::store(path))?;
        Ok(Self { path, inner })
    }

    fn write(&mut self, batch: &RecordBatch) -> Result<(), LoadError> {
        self.inner.write(batch).map_err(LoadError::store(self.path))
    }

    fn finish(self) -> Result<Written, LoadError> {
        let hashed = self
            .inner
            .into_inner()
            .map_err(LoadError::store(self.path))?;
        let (file, bytes, sha256) = hashed.finish();
        file.sync_all()
            .map_err(LoadError::io(self.path, "writing"))?;
        Ok((bytes, sha256))
    }
}

/// Writes readings of consecutive sensors, of which the very first of `merged` has the number `first`.
pub(crate) fn write_readings(
    path: &Path,
    merged: &Merged<'_>,
    (sensors, first): (std::ops::Range<usize>, usize),
    pick: Pick,
    access: Access,
) -> Result<Written, LoadError> {
    let mut writer = Writer::create(path, readings_schema(), properties(), access)?;
    let mut batch = Batch::default();
    for (number, sensor) in merged
        .sensors
        .iter()
        .enumerate()
        .take(sensors.end)
        .skip(sensors.start)
    {
        for place in pick(sensor) {
            let rows = &merged.files[place.0 as usize];
            batch.push((first + number) as i32, &sensor.name, rows, place);
            if batch.number.len() == BATCH_ROWS {
                let full = std::mem::take(&mut batch)
                    .finish(merged.files)
                    .map_err(LoadError::store(path))?;
                writer.write(&full)?;
            }
        }
    }
    let rest = batch.finish(merged.files);
    writer.write(&rest.map_err(LoadError::store(path))?)?;
    writer.finish()
}

#[derive(Default)]
struct Batch {
    number: Vec<i32>,
    names: Vec<SensorName>,
    name: Vec<i32>,
    time: Vec<i64>,
    glucose: Vec<Option<f64>>,
    status: Vec<i8>,
    /// Positions among the files that are merged.
    file: Vec<i32>,
    line: Vec<i32>,
    file_no: Vec<i32>,
}

impl Batch {
    fn push(&mut self, number: i32, name: &SensorName, rows: &FileRows, place: (u32, u32)) {
        let row = place.1 as usize;
        if self.number.last() != Some(&number) {
            self.names.push(name.clone());
        }
        self.number.push(number);
        self.name.push(self.names.len() as i32 - 1);
        self.time.push(rows.block.time[row]);
        let glucose = rows.block.glucose.get(row).copied();
        self.glucose.push(glucose.filter(|mgdl| !mgdl.is_nan()));
        self.status.push(rows.block.status[row] as i8);
        self.file.push(place.0 as i32);
        self.file_no.push(rows.file as i32);
        self.line.push(rows.block.line[row] as i32);
    }

    fn finish(self, files: &[FileRows]) -> Result<RecordBatch, arrow::error::ArrowError> {
        let names =
            |part: fn(&SensorName) -> &String| -> Result<ArrayRef, arrow::error::ArrowError> {
                let values = StringArray::from_iter_values(self.names.iter().map(part));
                let keys = Int32Array::from(self.name.clone());
                Ok(Arc::new(DictionaryArray::<Int32Type>::try_new(
                    keys,
                    Arc::new(values),
                )?))
            };
        let wearer = names(|name| &name.wearer)?;
        let sensor = names(|name| &name.sensor)?;
        let statuses = StringArray::from_iter_values(STATUSES);
        let status = DictionaryArray::<Int8Type>::try_new(self.status.into(), Arc::new(statuses))?;
        let files = StringArray::from_iter_values(files.iter().map(|file| &file.name));
        let file = DictionaryArray::<Int32Type>::try_new(self.file.into(), Arc::new(files))?;
        let columns: Vec<ArrayRef> = vec![
            Arc::new(Int32Array::from(self.number)),
            wearer,
            sensor,
            Arc::new(TimestampMicrosecondArray::from(self.time).with_timezone("UTC")),
            Arc::new(self.glucose.into_iter().collect::<Float64Array>()),
            Arc::new(status),
            Arc::new(file),
            Arc::new(Int32Array::from(self.line)),
            Arc::new(Int32Array::from(self.file_no)),
        ];
        RecordBatch::try_new(readings_schema(), columns)
    }
}

/// A column of a batch, by its name.
pub(crate) fn column<'b>(batch: &'b RecordBatch, name: &str) -> Result<&'b ArrayRef, String> {
    let found = batch.column_by_name(name);
    found.ok_or_else(|| format!("it has no column `{name}`"))
}

/// A column of a batch as the array that it should be.
pub(crate) fn typed<'b, A: ?Sized>(
    batch: &'b RecordBatch,
    name: &str,
    of: fn(&'b ArrayRef) -> Option<&'b A>,
) -> Result<&'b A, String> {
    of(column(batch, name)?).ok_or_else(|| format!("its column `{name}` has another type"))
}

/// The columns of a batch of readings.
pub(crate) struct Readings<'b> {
    pub sensor_no: &'b Int32Array,
    pub wearer: &'b DictionaryArray<Int32Type>,
    pub sensor: &'b DictionaryArray<Int32Type>,
    pub time: &'b TimestampMicrosecondArray,
    pub glucose: &'b Float64Array,
    pub status: &'b DictionaryArray<Int8Type>,
    pub file_no: &'b Int32Array,
    pub line: &'b Int32Array,
}

impl<'b> Readings<'b> {
    pub fn of(batch: &'b RecordBatch) -> Result<Self, String> {
        Ok(Self {
            sensor_no: typed(batch, "sensor_no", |a| a.as_primitive_opt())?,
            wearer: typed(batch, "wearer", |a| a.as_dictionary_opt())?,
            sensor: typed(batch, "sensor", |a| a.as_dictionary_opt())?,
            time: typed(batch, "time", |a| a.as_primitive_opt())?,
            glucose: typed(batch, "glucose", |a| a.as_primitive_opt())?,
            status: typed(batch, "status", |a| a.as_dictionary_opt())?,
            file_no: typed(batch, "file_no", |a| a.as_primitive_opt())?,
            line: typed(batch, "line", |a| a.as_primitive_opt())?,
        })
    }
}

/// The texts of a column that is kept as numbers and a list of texts.
pub(crate) fn words<K: ArrowDictionaryKeyType>(
    column: &DictionaryArray<K>,
) -> Result<impl Iterator<Item = &str>, String> {
    let texts = column.downcast_dict::<StringArray>();
    let texts = texts.ok_or("a column of words has another type")?;
    Ok(texts.into_iter().map(Option::unwrap_or_default))
}

/// Files of readings that are sorted by wearer and sensor over all of them, read as far as they are wanted.
pub(crate) struct Sorted {
    files: std::vec::IntoIter<PathBuf>,
    path: PathBuf,
    batches: Option<Box<dyn Iterator<Item = Result<RecordBatch, LoadError>>>>,
    /// Rows read and not taken yet.
    left: Option<RecordBatch>,
}

impl Sorted {
    pub fn new(files: Vec<PathBuf>) -> Self {
        Self {
            files: files.into_iter(),
            path: PathBuf::new(),
            batches: None,
            left: None,
        }
    }

    /// Adds the rows up to a sensor, or all that are left, to the blocks of the files that they came from; rows of files
    /// that are not wanted are left out.
    pub fn take_up_to(
        &mut self,
        last: Option<&SensorName>,
        blocks: &mut BTreeMap<u32, Block>,
    ) -> Result<(), LoadError> {
        while let Some(batch) = self.next()? {
            let rows = match last {
                Some(last) => rows_up_to(&batch, last).map_err(LoadError::store(&self.path))?,
                None => batch.num_rows(),
            };
            take_readings(&batch.slice(0, rows), blocks).map_err(LoadError::store(&self.path))?;
            if rows < batch.num_rows() {
                self.left = Some(batch.slice(rows, batch.num_rows() - rows));
                break;
            }
        }
        Ok(())
    }

    fn next(&mut self) -> Result<Option<RecordBatch>, LoadError> {
        if self.left.is_some() {
            return Ok(self.left.take());
        }
        loop {
            if let Some(batch) = self.batches.as_mut().and_then(Iterator::next) {
                return batch.map(Some);
            }
            let Some(path) = self.files.next() else {
                return Ok(None);
            };
            self.batches = Some(Box::new(batches(&path)?));
            self.path = path;
        }
    }
}

/// How many of the first rows are of sensors up to one.
fn rows_up_to(batch: &RecordBatch, last: &SensorName) -> Result<usize, String> {
    let columns = Readings::of(batch)?;
    let names = words(columns.wearer)?.zip(words(columns.sensor)?);
    let last = (last.wearer.as_str(), last.sensor.as_str());
    Ok(names.take_while(|name| *name <= last).count())
}

fn take_readings(batch: &RecordBatch, blocks: &mut BTreeMap<u32, Block>) -> Result<(), String> {
    let columns = Readings::of(batch)?;
    let names = words(columns.wearer)?.zip(words(columns.sensor)?);
    let places = columns.file_no.values().iter().zip(columns.line.values());
    let values = columns.time.values().iter().zip(columns.glucose);
    let rows = names.zip(places).zip(values).zip(words(columns.status)?);
    for ((((wearer, sensor), (file, line)), (time, glucose)), status) in rows {
        let Some(block) = blocks.get_mut(&(*file as u32)) else {
            continue;
        };
        let same = |last: &SensorName| last.sensor == sensor && last.wearer == wearer;
        if !block.sensors.last().is_some_and(same) {
            block.sensors.push(SensorName {
                wearer: wearer.to_owned(),
                sensor: sensor.to_owned(),
            });
        }
        let code = STATUSES.iter().position(|known| *known == status);
        let code = code.ok_or_else(|| format!("it has the unknown status `{status}`"))?;
        let number = block.sensors.len() as u32 - 1;
        block.push(
            number,
            *time,
            glucose.unwrap_or(f64::NAN),
            code as u8,
            *line as u64,
        );
    }
    Ok(())
}

/// Writes batches of one kind as a file, at least one.
pub(crate) fn write_batches(
    path: &Path,
    batches: &[RecordBatch],
    access: Access,
) -> Result<Written, LoadError> {
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .build();
    let schema = batches.first().map(RecordBatch::schema);
    let schema = schema.unwrap_or_else(|| Arc::new(Schema::empty()));
    let mut writer = Writer::create(path, schema, properties, access)?;
    for batch in batches {
        writer.write(batch)?;
    }
    writer.finish()
}

/// Batches of a file.
pub(crate) fn batches(
    path: &Path,
) -> Result<impl Iterator<Item = Result<RecordBatch, LoadError>> + use<>, LoadError> {
    let file = File::open(path).map_err(LoadError::io(path, "opening"))?;
    let reader = ParquetRecordBatchReaderBuilder::try_new(file)
        .and_then(|builder| builder.with_batch_size(BATCH_ROWS).build())
        .map_err(LoadError::store(path))?;
    let path = path.to_owned();
    Ok(reader.map(move |batch| batch.map_err(LoadError::store(&path))))
}

/// Where a reading stands: sensor number, instant, number of its file, line.
pub(crate) type ReadingPlace = (i32, i64, i32, i32);

/// Calls `see` with each reading of the sensors of a file that have readings after `as_of`: of those readings,
/// and of the last one before them.
pub(crate) fn rows_after(
    path: &Path,
    as_of: i64,
    mut see: impl FnMut(ReadingPlace),
) -> Result<(), LoadError> {
    let mut before: Option<ReadingPlace> = None;
    each_reading(path, |this| {
        if this.1 <= as_of {
            before = Some(this);
            return;
        }
        if let Some(last) = before.take().filter(|last| last.0 == this.0) {
            see(last);
        }
        see(this);
    })
}

/// Calls `see` with each reading of a file.
pub(crate) fn each_reading(
    path: &Path,
    mut see: impl FnMut(ReadingPlace),
) -> Result<(), LoadError> {
    for batch in batches(path)? {
        let batch = batch?;
        let columns = Readings::of(&batch).map_err(LoadError::store(path))?;
        let places = columns.file_no.values().iter().zip(columns.line.values());
        let instants = columns.sensor_no.values().iter().zip(columns.time.values());
        for ((number, time), (file, line)) in instants.zip(places) {
            see((*number, *time, *file, *line));
        }
    }
    Ok(())
}
