//! Result tables as Parquet.

use std::io::Write;
use std::sync::Arc;

use datafusion::arrow::array::{
    ArrayRef, Date32Array, Float64Array, Int64Array, StringArray, TimestampMicrosecondArray,
};
use datafusion::arrow::datatypes::{Field, Schema};
use datafusion::arrow::record_batch::RecordBatch;
use datafusion::parquet::arrow::ArrowWriter;
use datafusion::parquet::basic::Compression;
use datafusion::parquet::file::properties::WriterProperties;
use jiff::civil::date;
use whereworn_model::table::{Cell, CellKind, Column, ResultTable};

use crate::convert::arrow_kind;
use crate::error::EngineError;

/// Writes a table as Parquet; `name` is what an error calls it. A cell that is not of its column's kind is null.
///
/// # Errors
/// Those of the writer.
pub fn write_parquet(
    table: &ResultTable,
    out: impl Write + Send,
    name: &str,
) -> Result<(), EngineError> {
    let failed = |message: String| EngineError::Write {
        file: name.to_owned(),
        message,
    };
    let fields: Vec<Field> = table
        .columns
        .iter()
        .map(|column| Field::new(&column.name, arrow_kind(column.kind), true))
        .collect();
    let schema = Arc::new(Schema::new(fields));
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .build();
    let mut writer = ArrowWriter::try_new(out, Arc::clone(&schema), Some(properties))
        .map_err(|error| failed(error.to_string()))?;
    if !table.columns.is_empty() {
        let batch = RecordBatch::try_new(schema, table.columns.iter().map(array).collect())
            .map_err(|error| failed(error.to_string()))?;
        writer
            .write(&batch)
            .map_err(|error| failed(error.to_string()))?;
    }
    writer.close().map_err(|error| failed(error.to_string()))?;
    Ok(())
}

fn array(column: &Column) -> ArrayRef {
    let cells = column.cells.iter();
    match column.kind {
        CellKind::Integer => Arc::new(Int64Array::from_iter(cells.map(|cell| match cell {
            Cell::Integer(value) => Some(*value),
            _ => None,
        }))),
        CellKind::Number => Arc::new(Float64Array::from_iter(cells.map(Cell::as_number))),
        CellKind::Text | CellKind::Boolean => {
            Arc::new(StringArray::from_iter(cells.map(Cell::as_text)))
        }
        CellKind::Time => {
            let times = TimestampMicrosecondArray::from_iter(cells.map(Cell::as_time));
            Arc::new(times.with_timezone("UTC"))
        }
        CellKind::Date => Arc::new(Date32Array::from_iter(cells.map(|cell| match cell {
            Cell::Date(day) => day.since(date(1970, 1, 1)).ok().map(|span| span.get_days()),
            _ => None,
        }))),
    }
}
