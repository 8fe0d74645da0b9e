//! Adjusted p values against R p.adjust and statsmodels (`holm_expected.csv`), tolerance 1e-12.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, number, numbers, published};
use whereworn_stats::multiplicity::{
    adjusted_e_values, benjamini_hochberg, bonferroni, hochberg, holm, merged_e_value,
};

#[test]
fn adjustments_as_published() {
    let rows = published("holm_expected");
    let mut sets: Vec<&str> = rows.iter().map(|row| row["set"].as_str()).collect();
    sets.dedup();
    for set in sets {
        let rows: Vec<_> = rows
            .iter()
            .filter(|row| row["set"] == set)
            .cloned()
            .collect();
        let p = numbers(&rows, "p");
        for (adjusted, column) in [
            (holm(&p), "holm"),
            (bonferroni(&p), "bonferroni"),
            (hochberg(&p), "hochberg"),
            (benjamini_hochberg(&p), "benjamini_hochberg"),
        ] {
            for (actual, row) in adjusted.iter().zip(&rows) {
                close(
                    *actual,
                    number(row, column),
                    1e-12,
                    &format!("{column} of {row:?}"),
                );
            }
        }
    }
}

#[test]
fn order_does_not_matter() {
    assert_eq!(holm(&[0.04, 0.01, 0.03]), [0.06, 0.03, 0.06]);
    assert!(holm(&[]).is_empty());
}

/// Closed testing written out: the least mean of all sets that hold an e-value (Vovk and Wang 2021 Ann Stat 49:1736, from memory).
#[test]
fn adjusted_e_values_by_all_sets() {
    let e = [30.0, 0.5, 4.0, 0.1, 4.0];
    let least = |own: usize| {
        (1..1_usize << e.len())
            .filter(|set| set >> own & 1 == 1)
            .map(|set| {
                let members = (0..e.len()).filter(|i| set >> i & 1 == 1);
                merged_e_value(&members.map(|i| e[i]).collect::<Vec<_>>()).unwrap()
            })
            .fold(f64::INFINITY, f64::min)
    };
    for (own, adjusted) in adjusted_e_values(&e).into_iter().enumerate() {
        close(adjusted, least(own), 1e-14, "adjusted");
    }
    assert_eq!(merged_e_value(&[]), None);
    assert_eq!(adjusted_e_values(&[7.0]), [7.0]);
}
