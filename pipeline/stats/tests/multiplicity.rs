//! Holm's adjustment against R p.adjust and statsmodels (`holm_expected.csv`), tolerance 1e-12.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, number, numbers, published};
use whereworn_stats::multiplicity::holm;

#[test]
fn holm_as_published() {
    let rows = published("holm_expected");
    let mut sets: Vec<&str> = rows.iter().map(|row| row["set"].as_str()).collect();
    sets.dedup();
    for set in sets {
        let rows: Vec<_> = rows
            .iter()
            .filter(|row| row["set"] == set)
            .cloned()
            .collect();
        let adjusted = holm(&numbers(&rows, "p"));
        for (actual, row) in adjusted.iter().zip(&rows) {
            close(*actual, number(row, "holm"), 1e-12, &format!("{row:?}"));
        }
    }
}

#[test]
fn order_does_not_matter() {
    assert_eq!(holm(&[0.04, 0.01, 0.03]), [0.06, 0.03, 0.06]);
    assert!(holm(&[]).is_empty());
}
