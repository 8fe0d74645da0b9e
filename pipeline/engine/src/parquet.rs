//! Result tables as Parquet and Arrow.

use std::io::Write;
use std::ops::Range;
use std::sync::Arc;

use datafusion::arrow::array::{
    ArrayRef, Date32Array, Float64Array, Int64Array, StringArray, TimestampMicrosecondArray,
};
use datafusion::arrow::datatypes::{Field, Schema};
use datafusion::arrow::error::ArrowError;
use datafusion::arrow::ipc::writer::StreamWriter;
use datafusion::arrow::record_batch::{RecordBatch, RecordBatchOptions};
use datafusion::parquet::arrow::ArrowWriter;
use datafusion::parquet::basic::Compression;
use datafusion::parquet::file::properties::WriterProperties;
use jiff::civil::date;
use whereworn_model::table::{Cell, CellKind, Column, ResultTable};

use crate::collect::BATCH_ROWS;
use crate::convert::arrow_kind;
use crate::describe::meaning;
use crate::error::EngineError;

/// Writes a table as Parquet; `name` is what an error calls it. Every column carries its meaning, unit and class.
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
    let batch = |rows| batch_of(table, rows).map_err(|error| failed(error.to_string()));
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .build();
    let mut writer = ArrowWriter::try_new(out, batch(0..0)?.schema(), Some(properties))
        .map_err(|error| failed(error.to_string()))?;
    for from in (0..table.rows()).step_by(BATCH_ROWS) {
        writer
            .write(&batch(from..table.rows().min(from + BATCH_ROWS))?)
            .map_err(|error| failed(error.to_string()))?;
    }
    writer.close().map_err(|error| failed(error.to_string()))?;
    Ok(())
}

/// Writes a table as a stream of Apache Arrow; `name` is what an error calls it.
///
/// # Errors
/// Those of the writer.
pub fn write_arrow(table: &ResultTable, out: impl Write, name: &str) -> Result<(), EngineError> {
    let write = || -> Result<(), ArrowError> {
        let batch = batch(table)?;
        let mut writer = StreamWriter::try_new(out, &batch.schema())?;
        writer.write(&batch)?;
        writer.finish()
    };
    write().map_err(|error| EngineError::Write {
        file: name.to_owned(),
        message: error.to_string(),
    })
}

/// The cells of a table by column; one that is not of its column's kind is null.
pub(crate) fn batch(table: &ResultTable) -> Result<RecordBatch, ArrowError> {
    batch_of(table, 0..table.rows())
}

/// Some rows of a table.
fn batch_of(table: &ResultTable, rows: Range<usize>) -> Result<RecordBatch, ArrowError> {
    let field = |column: &Column| {
        let said = [
            (
                "meaning",
                Some(meaning(&column.name, &table.header)).filter(|text| !text.is_empty()),
            ),
            ("unit", column.header.unit.clone()),
            (
                "class",
                column
                    .header
                    .class
                    .map(|class| format!("{class:?}").to_lowercase()),
            ),
        ];
        let said = said
            .into_iter()
            .filter_map(|(key, value)| Some((key.to_owned(), value?)));
        Field::new(&column.name, arrow_kind(column.kind), true).with_metadata(said.collect())
    };
    let fields: Vec<Field> = table.columns.iter().map(field).collect();
    let said = [("title", &table.header.title), ("row", &table.header.row)];
    let said = said
        .into_iter()
        .filter_map(|(key, value)| Some((key.to_owned(), value.clone()?)));
    let schema = Arc::new(Schema::new_with_metadata(fields, said.collect()));
    let options = RecordBatchOptions::new().with_row_count(Some(rows.len()));
    let columns = table.columns.iter();
    let columns = columns.map(|column| array(column, rows.clone())).collect();
    RecordBatch::try_new_with_options(schema, columns, &options)
}

fn array(column: &Column, rows: Range<usize>) -> ArrayRef {
    let cells = column.cells.get(rows).unwrap_or_default().iter();
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

#[cfg(test)]
mod tests {
    use std::io::Seek;

    use datafusion::arrow::array::AsArray;
    use datafusion::arrow::datatypes::Int64Type;
    use datafusion::parquet::arrow::arrow_reader::ParquetRecordBatchReader;
    use whereworn_model::header::Header;

    use super::*;

    /// Two pieces and a row more, and no row at all.
    #[test]
    fn every_row_of_a_long_table_is_written_once() {
        for rows in [2 * BATCH_ROWS + 1, 0] {
            let table = ResultTable {
                name: "t".to_owned(),
                header: Header::default(),
                columns: vec![Column {
                    name: "n".to_owned(),
                    kind: CellKind::Integer,
                    header: Default::default(),
                    cells: (0..rows as i64).map(Cell::Integer).collect(),
                }],
                own_query: false,
                fault: None,
            };
            let mut file = tempfile::tempfile().unwrap();
            write_parquet(&table, &file, "t").unwrap();
            file.rewind().unwrap();
            let reader = ParquetRecordBatchReader::try_new(file, 1 << 10).unwrap();
            let read: Vec<i64> = reader
                .flat_map(|batch| {
                    let batch = batch.unwrap();
                    batch
                        .column(0)
                        .as_primitive::<Int64Type>()
                        .values()
                        .to_vec()
                })
                .collect();
            assert!(read.iter().copied().eq(0..rows as i64), "{rows} rows");
        }
    }
}
