//! A table in the formats that can be asked for.

use std::io::{IsTerminal, stdout};

use serde_json::{Map, Value};
use whereworn_engine::{write_arrow, write_parquet};
use whereworn_model::header::CellKind;
use whereworn_model::table::{Cell, Column, ResultTable};
use whereworn_model::text::plain;
use whereworn_model::time::format_utc;

use crate::args::Format;
use crate::failure::Failure;
use crate::terminal::emit;

/// Prints a table on standard output.
pub fn print(table: &ResultTable, format: Format) -> Result<(), Failure> {
    let mut bytes = Vec::new();
    match format {
        Format::Table => bytes = aligned(table).into_bytes(),
        Format::Markdown => bytes = markdown(table).into_bytes(),
        Format::Csv => table.write_csv(&mut bytes).map_err(|source| Failure::Io {
            what: "standard output".to_owned(),
            source,
        })?,
        Format::Json => {
            bytes = serde_json::to_vec_pretty(&objects(table)).unwrap_or_default();
            bytes.push(b'\n');
        }
        Format::Ndjson => {
            for object in objects(table) {
                bytes.extend(object.to_string().into_bytes());
                bytes.push(b'\n');
            }
        }
        Format::Parquet | Format::Arrow if stdout().is_terminal() => {
            return Err(Failure::Request(
                "this format is no text: send it to a file, for example `> table.parquet`"
                    .to_owned(),
            ));
        }
        Format::Parquet => write_parquet(table, &mut bytes, "standard output")?,
        Format::Arrow => write_arrow(table, &mut bytes, "standard output")?,
    }
    emit(&bytes)
}

/// A table of GitHub's Markdown; what would mean something there is escaped.
fn markdown(table: &ResultTable) -> String {
    let escaped = |text: &str| -> String {
        let mut out = String::new();
        for c in text.chars() {
            match c {
                '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '~' | '&' => {
                    out.extend(['\\', c])
                }
                c if c.is_control() => out.push(' '),
                c => out.push(c),
            }
        }
        out
    };
    let line = |cells: Vec<String>| format!("| {} |\n", cells.join(" | "));
    let mut out = line(
        table
            .columns
            .iter()
            .map(|column| escaped(&column.name))
            .collect(),
    );
    out += &line(table.columns.iter().map(|_| "---".to_owned()).collect());
    for row in 0..table.rows() {
        let cells = table
            .columns
            .iter()
            .map(|column| match table.cell(row, &column.name) {
                Cell::Text(text) => escaped(text),
                other => other.to_text(),
            });
        out += &line(cells.collect());
    }
    out
}

fn objects(table: &ResultTable) -> Vec<Value> {
    let value = |column: &Column, row: usize| match &column.cells[row] {
        Cell::Text(text) if column.kind == CellKind::Boolean => {
            Value::from(text.as_str() == "true")
        }
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
            .map(|column| (column.name.clone(), value(column, row)));
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
    let columns = table.columns.iter().map(|column| {
        let cells = column.cells.iter().map(text);
        let texts: Vec<String> = std::iter::once(column.name.clone()).chain(cells).collect();
        let width = texts.iter().map(|text| text.chars().count()).max();
        let numeric = |cell: &Cell| cell.as_number().is_some() || *cell == Cell::Empty;
        (texts, width.unwrap_or(0), column.cells.iter().all(numeric))
    });
    let columns: Vec<(Vec<String>, usize, bool)> = columns.collect();
    let mut out = String::new();
    for line in 0..=table.rows() {
        let cell = |(texts, width, numeric): &(Vec<String>, usize, bool)| match numeric {
            true => format!("{:>width$}", texts[line]),
            false => format!("{:<width$}", texts[line]),
        };
        let cells: Vec<String> = columns.iter().map(cell).collect();
        out.push_str(cells.join("  ").trim_end());
        out.push('\n');
    }
    out
}

fn short(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Instant;
    use whereworn_model::header::ColumnHeader;

    fn table(cells: Vec<Cell>, kind: CellKind) -> ResultTable {
        let column = Column {
            name: "value".to_owned(),
            kind,
            header: ColumnHeader::default(),
            cells,
        };
        ResultTable {
            columns: vec![column],
            ..ResultTable::default()
        }
    }

    #[test]
    fn numbers_stand_to_the_right() {
        let numbers = vec![Cell::Number(2.5), Cell::Empty, Cell::Integer(-3)];
        let printed = aligned(&table(numbers, CellKind::Number));
        assert_eq!(printed, "value\n  2.5\n\n   -3\n");
        let texts = vec![Cell::text("a"), Cell::text("bc")];
        assert_eq!(aligned(&table(texts, CellKind::Text)), "value\na\nbc\n");
    }

    #[test]
    fn truth_is_no_text_in_json() {
        let truths = table(
            vec![Cell::text("true"), Cell::text("false"), Cell::Empty],
            CellKind::Boolean,
        );
        let values: Vec<Value> = objects(&truths)
            .into_iter()
            .map(|row| row["value"].clone())
            .collect();
        assert_eq!(values, [Value::Bool(true), Value::Bool(false), Value::Null]);
        assert_eq!(
            objects(&table(vec![Cell::text("true")], CellKind::Text))[0]["value"],
            "true"
        );
    }

    /// A registry's pairs are a million rows: thirty times the rows take about thirty times as long, not nine hundred times.
    #[test]
    fn rows_cost_the_same_however_many() {
        let seconds = |rows: i64| {
            let cells = (0..rows).map(Cell::Integer).collect();
            let table = table(cells, CellKind::Integer);
            let from = Instant::now();
            assert_eq!(aligned(&table).lines().count() as i64, rows + 1);
            from.elapsed().as_secs_f64()
        };
        let few = (0..5).map(|_| seconds(1_000)).fold(f64::MAX, f64::min);
        let many = (0..3).map(|_| seconds(30_000)).fold(f64::MAX, f64::min);
        assert!(many < 200.0 * few, "{few} s and {many} s");
    }
}
