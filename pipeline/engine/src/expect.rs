//! What a header expects of a result.

use std::collections::BTreeSet;

use whereworn_model::header::{Expect, RowCount};
use whereworn_model::table::{Cell, Column, ResultTable};

/// The first expectation that a table does not hold, in words.
pub(crate) fn broken(table: &ResultTable) -> Option<String> {
    let expect = &table.header.expect;
    rows(expect, table.rows())
        .or_else(|| columns(table, &expect.not_null).find_map(always_there))
        .or_else(|| columns(table, &expect.share).find_map(from_0_to_1))
        .or_else(|| all_different(table, &expect.unique))
}

fn columns<'t>(table: &'t ResultTable, names: &'t [String]) -> impl Iterator<Item = &'t Column> {
    names.iter().filter_map(|name| table.column(name))
}

fn rows(expect: &Expect, rows: usize) -> Option<String> {
    let (holds, wanted) = match expect.rows? {
        RowCount::Exactly(count) => (rows == count, count.to_string()),
        RowCount::Between([least, most]) => {
            ((least..=most).contains(&rows), format!("{least} to {most}"))
        }
    };
    (!holds).then(|| format!("expects {wanted} rows, and gives {rows}"))
}

fn always_there(column: &Column) -> Option<String> {
    let row = column.cells.iter().position(|cell| *cell == Cell::Empty)?;
    Some(format!(
        "expects a value of `{}` in every row, and row {} has none",
        column.name,
        row + 1
    ))
}

fn from_0_to_1(column: &Column) -> Option<String> {
    let outside = |cell: &Cell| {
        cell.as_number()
            .is_some_and(|value| !(0.0..=1.0).contains(&value))
    };
    let row = column.cells.iter().position(outside)?;
    let value = column.cells.get(row).map_or(String::new(), Cell::to_text);
    Some(format!(
        "expects `{}` from 0 to 1, and row {} has {value}",
        column.name,
        row + 1
    ))
}

fn all_different(table: &ResultTable, names: &[String]) -> Option<String> {
    let key: Vec<&Column> = columns(table, names).collect();
    if key.is_empty() {
        return None;
    }
    let mut seen = BTreeSet::new();
    let of_row = |row: usize| -> Vec<String> {
        key.iter()
            .map(|column| column.cells.get(row).map_or(String::new(), Cell::to_text))
            .collect()
    };
    let row = (0..table.rows()).find(|&row| !seen.insert(of_row(row)))?;
    Some(format!(
        "expects {} different in every row, and row {} repeats an earlier one",
        names.join(", "),
        row + 1
    ))
}
