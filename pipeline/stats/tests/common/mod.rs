//! Reading of the published data sets in `tests/published`, and comparison.

#![allow(dead_code)]

use std::collections::BTreeMap;

/// Rows of a published CSV file as maps from column to text.
pub type Rows = Vec<BTreeMap<String, String>>;

/// Reads `tests/published/<name>.csv` at the top of the repository.
pub fn published(name: &str) -> Rows {
    let path = format!(
        "{}/../../tests/published/{name}.csv",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = std::fs::read_to_string(&path).expect(&path);
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().expect("header").split(',').collect();
    let rows: Rows = lines
        .map(|line| {
            header
                .iter()
                .zip(line.split(','))
                .map(|(name, cell)| (name.to_string(), cell.to_string()))
                .collect()
        })
        .collect();
    assert!(!rows.is_empty(), "{name} is empty");
    rows
}

/// A number, or `None` for `NA` and an empty cell.
pub fn maybe(row: &BTreeMap<String, String>, column: &str) -> Option<f64> {
    let cell = row
        .get(column)
        .unwrap_or_else(|| panic!("no column {column}"));
    match cell.as_str() {
        "NA" | "NaN" | "" => None,
        text => Some(text.parse().unwrap_or_else(|_| panic!("{column}: {text}"))),
    }
}

/// A number that has to be there.
pub fn number(row: &BTreeMap<String, String>, column: &str) -> f64 {
    maybe(row, column).unwrap_or_else(|| panic!("{column} is missing"))
}

/// The `value` of a quantity in a file of (quantity, value) rows.
pub fn quantity(rows: &Rows, name: &str) -> f64 {
    let row = rows
        .iter()
        .find(|row| row["quantity"] == name)
        .unwrap_or_else(|| panic!("no quantity {name}"));
    number(row, "value")
}

/// A column of numbers.
pub fn numbers(rows: &Rows, column: &str) -> Vec<f64> {
    rows.iter().map(|row| number(row, column)).collect()
}

/// Numbers the distinct texts of a column from 0, in order of appearance.
pub fn codes(rows: &Rows, column: &str) -> Vec<usize> {
    let mut seen: Vec<&str> = Vec::new();
    rows.iter()
        .map(|row| {
            seen.iter()
                .position(|known| *known == row[column])
                .unwrap_or_else(|| {
                    seen.push(&row[column]);
                    seen.len() - 1
                })
        })
        .collect()
}

/// Equal up to an absolute tolerance.
pub fn close(actual: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (actual - expected).abs() <= tolerance,
        "{what}: {actual} instead of {expected}"
    );
}

/// Equal up to a tolerance relative to the expected value.
pub fn close_relative(actual: f64, expected: f64, tolerance: f64, what: &str) {
    close(actual, expected, tolerance * expected.abs(), what);
}

/// Both missing, or both there and equal up to an absolute tolerance.
pub fn close_or_missing(actual: Option<f64>, expected: Option<f64>, tolerance: f64, what: &str) {
    match (actual, expected) {
        (Some(actual), Some(expected)) => close(actual, expected, tolerance, what),
        (None, None) => {}
        (actual, expected) => panic!("{what}: {actual:?} instead of {expected:?}"),
    }
}
