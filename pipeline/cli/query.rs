//! `query`: one table on standard output.

use std::io::{IsTerminal, stdout};
use std::path::Path;

use serde_json::{Map, Value};
use whereworn_engine::write_parquet;
use whereworn_model::store::RAW_TABLES;
use whereworn_model::table::{Cell, ResultTable};
use whereworn_model::time::format_utc;

use crate::args::{Format, QueryArguments};
use crate::failure::Failure;
use crate::month::{StudyMonth, Unasked};
use crate::terminal::{emit, plain};

/// Name under which SQL from the command line runs.
const GIVEN: &str = "given_sql";

/// Runs a query and prints its table, or lists the queries.
pub fn run(arguments: &QueryArguments) -> Result<(), Failure> {
    let open = StudyMonth::open(&arguments.scope, Unasked::LastOver)?;
    let raw = arguments
        .name
        .as_deref()
        .filter(|name| RAW_TABLES.contains(name));
    let whole = raw.map(|name| format!("SELECT * FROM {name}"));
    let (catalog, name) = match (arguments.sql.as_ref().or(whole.as_ref()), &arguments.name) {
        (Some(sql), _) => (open.catalog.clone().with(GIVEN, sql)?, GIVEN),
        (None, Some(name)) => (open.catalog.clone(), name.as_str()),
        (None, None) => return list(&open),
    };
    let mut needed = catalog.needed_for(name)?;
    needed.show(name);
    let engine = open.engine()?;
    let results = engine.run_all(&needed, &|query| {
        open.progress.say(&format!("computed {query}"))
    })?;
    open.progress.clear();
    let result = results.into_iter().find(|table| table.name == name);
    let result =
        result.ok_or_else(|| Failure::Request(format!("the query `{name}` gave no table")))?;
    print(&result, arguments.format)
}

fn list(open: &StudyMonth) -> Result<(), Failure> {
    let mut out = String::new();
    for query in open.catalog.queries() {
        let title = query.header.title.as_deref().unwrap_or("");
        out.push_str(&format!("{:20} {title}\n", query.name));
    }
    emit(out.as_bytes())
}

fn print(table: &ResultTable, format: Format) -> Result<(), Failure> {
    match format {
        Format::Table => emit(aligned(table).as_bytes()),
        Format::Csv => {
            let mut bytes = Vec::new();
            table
                .write_csv(&mut bytes)
                .map_err(Failure::io(Path::new("standard output"), "writing"))?;
            emit(&bytes)
        }
        Format::Json => {
            let text = serde_json::to_string_pretty(&objects(table)).unwrap_or_default();
            emit((text + "\n").as_bytes())
        }
        Format::Parquet if stdout().is_terminal() => Err(Failure::Request(
            "Parquet is no text: send it to a file, for example `> table.parquet`".to_owned(),
        )),
        Format::Parquet => {
            let mut bytes = Vec::new();
            write_parquet(table, &mut bytes, "standard output")?;
            emit(&bytes)
        }
    }
}

fn objects(table: &ResultTable) -> Vec<Value> {
    let value = |cell: &Cell| match cell {
        Cell::Empty => Value::Null,
        Cell::Integer(value) => Value::from(*value),
        Cell::Number(value) => Value::from(*value),
        Cell::Text(text) => Value::from(text.as_str()),
        Cell::Time(at) => Value::from(format_utc(*at)),
        Cell::Date(date) => Value::from(date.to_string()),
    };
    let row = |row: usize| {
        let cells = table
            .columns
            .iter()
            .map(|column| (column.name.clone(), value(&column.cells[row])));
        Value::Object(cells.collect::<Map<String, Value>>())
    };
    (0..table.rows()).map(row).collect()
}

/// The table with its columns in line: text to the left, numbers to the right with at most six digits.
fn aligned(table: &ResultTable) -> String {
    let text = |cell: &Cell| match cell {
        Cell::Number(value) => short(*value),
        Cell::Text(text) => plain(text),
        Cell::Time(at) => format_utc(*at),
        other => other.to_text(),
    };
    let columns: Vec<Vec<String>> = table
        .columns
        .iter()
        .map(|column| {
            std::iter::once(column.name.clone())
                .chain(column.cells.iter().map(text))
                .collect()
        })
        .collect();
    let mut out = String::new();
    for line in 0..=table.rows() {
        let mut cells = Vec::new();
        for (column, texts) in table.columns.iter().zip(&columns) {
            let width = texts
                .iter()
                .map(|text| text.chars().count())
                .max()
                .unwrap_or(0);
            let numeric = column
                .cells
                .iter()
                .all(|cell| cell.as_number().is_some() || *cell == Cell::Empty);
            cells.push(if numeric {
                format!("{:>width$}", texts[line])
            } else {
                format!("{:<width$}", texts[line])
            });
        }
        out.push_str(cells.join("  ").trim_end());
        out.push('\n');
    }
    out
}

fn short(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
