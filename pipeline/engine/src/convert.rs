//! From the engine's columns to result tables.

use std::collections::HashMap;

use datafusion::arrow::array::{Array, AsArray, RecordBatch};
use datafusion::arrow::compute::cast;
use datafusion::arrow::datatypes::{
    DataType, Date32Type, Float64Type, Int64Type, Schema, TimeUnit, TimestampMicrosecondType,
};
use datafusion::arrow::error::ArrowError;
use whereworn_model::table::{Cell, CellKind, Column, ResultTable};

use crate::base_tables::instant;
use crate::catalog::Query;

/// The result table of a query.
pub(crate) fn result_table(
    query: &Query,
    schema: &Schema,
    batches: &[RecordBatch],
) -> Result<ResultTable, ArrowError> {
    let mut columns = Vec::new();
    for (index, field) in schema.fields().iter().enumerate() {
        let mut cells = Vec::with_capacity(batches.iter().map(RecordBatch::num_rows).sum());
        let mut texts = HashMap::new();
        for batch in batches {
            add_cells(batch.column(index), &mut cells, &mut texts)?;
        }
        columns.push(Column {
            name: field.name().clone(),
            kind: cell_kind(field.data_type()),
            header: query
                .header
                .columns
                .get(field.name())
                .cloned()
                .unwrap_or_default(),
            cells,
        });
    }
    Ok(ResultTable {
        name: query.name.clone(),
        header: query.header.clone(),
        columns,
        own_query: query.own,
        fault: None,
    })
}

/// What cells of a type of the engine are.
pub(crate) fn cell_kind(kind: &DataType) -> CellKind {
    match kind {
        DataType::Boolean => CellKind::Boolean,
        DataType::Date32 | DataType::Date64 => CellKind::Date,
        DataType::Timestamp(_, _) => CellKind::Time,
        kind if kind.is_integer() => CellKind::Integer,
        kind if kind.is_numeric() => CellKind::Number,
        _ => CellKind::Text,
    }
}

/// The type of a column in Arrow.
pub(crate) fn arrow_kind(kind: CellKind) -> DataType {
    match kind {
        CellKind::Date => DataType::Date32,
        CellKind::Time => instant(),
        CellKind::Integer => DataType::Int64,
        CellKind::Number => DataType::Float64,
        CellKind::Text | CellKind::Boolean => DataType::Utf8,
    }
}

/// Adds cells; equal texts of a column are one.
fn add_cells(
    array: &dyn Array,
    cells: &mut Vec<Cell>,
    texts: &mut HashMap<String, Cell>,
) -> Result<(), ArrowError> {
    let to = arrow_kind(cell_kind(array.data_type()));
    let array = cast(array, &to)?;
    let mut of = |row: usize| -> Result<Cell, ArrowError> {
        if array.is_null(row) {
            return Ok(Cell::Empty);
        }
        Ok(match &to {
            DataType::Int64 => Cell::Integer(array.as_primitive::<Int64Type>().value(row)),
            DataType::Float64 => Cell::number(array.as_primitive::<Float64Type>().value(row)),
            DataType::Timestamp(TimeUnit::Microsecond, _) => {
                Cell::Time(array.as_primitive::<TimestampMicrosecondType>().value(row))
            }
            DataType::Date32 => Cell::Date(date(array.as_primitive::<Date32Type>().value(row))?),
            _ => {
                let text = array.as_string::<i32>().value(row);
                match texts.get(text) {
                    Some(cell) => cell.clone(),
                    None => {
                        let cell = Cell::text(text);
                        texts.insert(text.to_owned(), cell.clone());
                        cell
                    }
                }
            }
        })
    };
    for row in 0..array.len() {
        cells.push(of(row)?);
    }
    Ok(())
}

/// The date so many days after 1 January 1970.
fn date(days: i32) -> Result<jiff::civil::Date, ArrowError> {
    let span = jiff::Span::new().try_days(days);
    span.and_then(|span| jiff::civil::date(1970, 1, 1).checked_add(span))
        .map_err(|_| {
            ArrowError::ComputeError(format!(
                "no date of a calendar: {days} days after 1970-01-01"
            ))
        })
}
