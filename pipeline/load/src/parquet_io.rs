//! The store's Parquet files.

use std::fs::File;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, AsArray, DictionaryArray, Float64Array, Int32Array, RecordBatch, StringArray,
    TimestampMicrosecondArray,
};
use arrow::datatypes::{
    DataType, Field, Float64Type, Int8Type, Int32Type, Schema, SchemaRef, TimeUnit,
    TimestampMicrosecondType,
};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::basic::{Compression, Encoding};
use parquet::file::metadata::SortingColumn;
use parquet::file::properties::WriterProperties;
use parquet::schema::types::ColumnPath;

use crate::block::{Block, STATUSES, SensorName};
use crate::error::LoadError;
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
        Field::new("glucose", DataType::Float64, false),
        Field::new("status", dictionary(DataType::Int8), false),
        Field::new("file", DataType::Int32, false),
        Field::new("line", DataType::Int32, false),
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

/// Writes readings of consecutive sensors, the first of which has the number `first_no`.
pub(crate) fn write_readings(
    path: &Path,
    merged: &Merged<'_>,
    sensors: std::ops::Range<usize>,
    pick: Pick,
) -> Result<(), LoadError> {
    let file = File::create(path).map_err(LoadError::io(path, "creating"))?;
    let mut writer = ArrowWriter::try_new(file, readings_schema(), Some(properties()))
        .map_err(LoadError::store(path))?;
    let mut batch = Batch::default();
    for number in sensors {
        let sensor = &merged.sensors[number];
        for place in pick(sensor) {
            let rows = &merged.files[place.0 as usize];
            batch.push(number as i32, &sensor.name, rows, place.1 as usize);
            if batch.number.len() == BATCH_ROWS {
                let full = std::mem::take(&mut batch)
                    .finish()
                    .map_err(LoadError::store(path))?;
                writer.write(&full).map_err(LoadError::store(path))?;
            }
        }
    }
    let rest = batch.finish().map_err(LoadError::store(path))?;
    writer.write(&rest).map_err(LoadError::store(path))?;
    let file = writer.into_inner().map_err(LoadError::store(path))?;
    file.sync_all().map_err(LoadError::io(path, "writing"))
}

#[derive(Default)]
struct Batch {
    number: Vec<i32>,
    names: Vec<SensorName>,
    name: Vec<i32>,
    time: Vec<i64>,
    glucose: Vec<f64>,
    status: Vec<i8>,
    file: Vec<i32>,
    line: Vec<i32>,
}

impl Batch {
    fn push(&mut self, number: i32, name: &SensorName, rows: &FileRows, row: usize) {
        if self.number.last() != Some(&number) {
            self.names.push(name.clone());
        }
        self.number.push(number);
        self.name.push(self.names.len() as i32 - 1);
        self.time.push(rows.block.time[row]);
        self.glucose.push(rows.block.glucose[row]);
        self.status.push(rows.block.status[row] as i8);
        self.file.push(rows.file as i32);
        self.line.push(rows.block.line[row] as i32);
    }

    fn finish(self) -> Result<RecordBatch, arrow::error::ArrowError> {
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
        let columns: Vec<ArrayRef> = vec![
            Arc::new(Int32Array::from(self.number)),
            wearer,
            sensor,
            Arc::new(TimestampMicrosecondArray::from(self.time).with_timezone("UTC")),
            Arc::new(Float64Array::from(self.glucose)),
            Arc::new(status),
            Arc::new(Int32Array::from(self.file)),
            Arc::new(Int32Array::from(self.line)),
        ];
        RecordBatch::try_new(readings_schema(), columns)
    }
}

/// Reads a file of readings back, adding its rows to the blocks of the files that they came from; rows of
/// files that are not wanted are left out.
pub(crate) fn read_readings(
    path: &Path,
    blocks: &mut std::collections::BTreeMap<u32, Block>,
) -> Result<(), LoadError> {
    for batch in batches(path)? {
        let batch = batch?;
        let columns = batch.columns();
        let (wearer, sensor) = (
            columns[1].as_dictionary::<Int32Type>(),
            columns[2].as_dictionary::<Int32Type>(),
        );
        let (wearers, sensors) = (
            wearer.values().as_string::<i32>(),
            sensor.values().as_string::<i32>(),
        );
        let time = columns[3].as_primitive::<TimestampMicrosecondType>();
        let glucose = columns[4].as_primitive::<Float64Type>();
        let status = columns[5].as_dictionary::<Int8Type>();
        let statuses = status.values().as_string::<i32>();
        let (file, line) = (
            columns[6].as_primitive::<Int32Type>(),
            columns[7].as_primitive::<Int32Type>(),
        );
        for row in 0..batch.num_rows() {
            let Some(block) = blocks.get_mut(&(file.value(row) as u32)) else {
                continue;
            };
            let wearer = wearers.value(wearer.keys().value(row) as usize);
            let sensor = sensors.value(sensor.keys().value(row) as usize);
            if block
                .sensors
                .last()
                .is_none_or(|last| last.sensor != sensor || last.wearer != wearer)
            {
                block.sensors.push(SensorName {
                    wearer: wearer.to_owned(),
                    sensor: sensor.to_owned(),
                });
            }
            let code = statuses.value(status.keys().value(row) as usize);
            let code = STATUSES.iter().position(|s| *s == code).unwrap_or(0);
            let number = block.sensors.len() as u32 - 1;
            block.push(
                number,
                time.value(row),
                glucose.value(row),
                code as u8,
                line.value(row) as u64,
            );
        }
    }
    Ok(())
}

/// Writes one batch as a file.
pub(crate) fn write_batch(path: &Path, batch: &RecordBatch) -> Result<(), LoadError> {
    let file = File::create(path).map_err(LoadError::io(path, "creating"))?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .build();
    let mut writer = ArrowWriter::try_new(file, batch.schema(), Some(properties))
        .map_err(LoadError::store(path))?;
    writer.write(batch).map_err(LoadError::store(path))?;
    let file = writer.into_inner().map_err(LoadError::store(path))?;
    file.sync_all().map_err(LoadError::io(path, "writing"))
}

/// Batches of a file.
pub(crate) fn batches(
    path: &Path,
) -> Result<impl Iterator<Item = Result<RecordBatch, LoadError>>, LoadError> {
    let file = File::open(path).map_err(LoadError::io(path, "opening"))?;
    let reader = ParquetRecordBatchReaderBuilder::try_new(file)
        .and_then(|builder| builder.with_batch_size(BATCH_ROWS).build())
        .map_err(LoadError::store(path))?;
    let path = path.to_owned();
    Ok(reader.map(move |batch| batch.map_err(LoadError::store(&path))))
}

/// Calls `see` with sensor number, instant, file and line of each reading of the sensors of a file that have
/// readings after `as_of`: of those readings, and of the last one before them.
pub(crate) fn rows_after(
    path: &Path,
    as_of: i64,
    mut see: impl FnMut(i32, i64, i32, i32),
) -> Result<(), LoadError> {
    let mut before: Option<(i32, i64, i32, i32)> = None;
    for batch in batches(path)? {
        let batch = batch?;
        let number = batch.column(0).as_primitive::<Int32Type>();
        let time = batch.column(3).as_primitive::<TimestampMicrosecondType>();
        let (file, line) = (
            batch.column(6).as_primitive::<Int32Type>(),
            batch.column(7).as_primitive::<Int32Type>(),
        );
        for row in 0..batch.num_rows() {
            let this = (
                number.value(row),
                time.value(row),
                file.value(row),
                line.value(row),
            );
            if this.1 <= as_of {
                before = Some(this);
                continue;
            }
            if let Some(last) = before.take().filter(|last| last.0 == this.0) {
                see(last.0, last.1, last.2, last.3);
            }
            see(this.0, this.1, this.2, this.3);
        }
    }
    Ok(())
}
