//! What each kind of chart draws, held to the columns that a query gives.

use datafusion::arrow::datatypes::SchemaRef;
use whereworn_model::header::{CellKind, Chart, ChartKind};

use crate::convert::cell_kind;

/// Refuses a chart whose kind lacks a column, or cannot draw what a column holds.
pub(crate) fn can_be_drawn(chart: &Chart, schema: &SchemaRef) -> Result<(), String> {
    let kind = chart.kind;
    let needs = |what: &str, column: &Option<String>| match column {
        Some(_) => Ok(()),
        None => Err(format!(
            "its header asks for a chart of the kind `{}`, which needs a column as `{what}`",
            kind.word()
        )),
    };
    match kind {
        ChartKind::Line | ChartKind::Steps | ChartKind::Points | ChartKind::Bars => {}
        ChartKind::Intervals | ChartKind::Spans => {
            needs("lower", &chart.lower)?;
            needs("upper", &chart.upper)?;
        }
        ChartKind::Traces => needs("panel", &chart.panel)?,
        ChartKind::Strip => needs("value", &chart.value)?,
    }
    let heights = [&chart.lower, &chart.upper, &chart.value, &chart.points];
    let mut numbers: Vec<&String> = heights.into_iter().flatten().collect();
    match kind {
        ChartKind::Intervals | ChartKind::Strip => numbers.push(&chart.x),
        ChartKind::Spans => {}
        _ => numbers.push(&chart.y),
    }
    for name in numbers {
        measured(name, schema, chart)?;
    }
    match kind {
        ChartKind::Line | ChartKind::Steps | ChartKind::Points | ChartKind::Traces => {
            measured(&chart.x, schema, chart)
        }
        _ => Ok(()),
    }
}

/// A column of numbers, or of instants and dates, has a place along an axis.
fn measured(name: &str, schema: &SchemaRef, chart: &Chart) -> Result<(), String> {
    let Ok(field) = schema.field_with_name(name) else {
        return Ok(());
    };
    match cell_kind(field.data_type()) {
        CellKind::Text | CellKind::Boolean => Err(format!(
            "its header asks for a chart of the kind `{}` over the column `{name}`, which holds texts and no numbers",
            chart.kind.word()
        )),
        CellKind::Integer | CellKind::Number | CellKind::Time | CellKind::Date => Ok(()),
    }
}
