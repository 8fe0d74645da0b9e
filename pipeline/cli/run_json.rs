//! `run.json`: what a report was made from.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use whereworn_engine::QueryResult;
use whereworn_load::Table;
use whereworn_model::time::format_utc;

use crate::month::StudyMonth;

/// The run as JSON: program, settings, input files, row counts, files written. No clock and no path of the
/// machine; the instant of `--as-of` only where it rejected a row.
pub fn run_json(
    open: &StudyMonth,
    edition: &str,
    results: &[QueryResult],
    files: &BTreeSet<String>,
) -> Value {
    let settled = &open.settled;
    let inputs: Vec<Value> = settled
        .inputs
        .iter()
        .map(|input| {
            json!({
                "file": input.name,
                "table": input.table.folder(),
                "bytes": input.size,
                "sha256": input.sha256,
                "rows": input.rows,
            })
        })
        .collect();
    let mut rows = serde_json::Map::new();
    for table in Table::ALL {
        let counts = settled.counts.get(&table).copied().unwrap_or_default();
        rows.insert(
            table.folder().to_owned(),
            json!({
                "read": counts.read,
                "rejected": counts.rejected,
                "duplicates": counts.duplicates,
                "without_insert": counts.without_insert,
                "accepted": counts.accepted,
            }),
        );
    }
    let tables: serde_json::Map<String, Value> = results
        .iter()
        .map(|result| (result.table.name.clone(), json!(result.table.rows())))
        .collect();
    let mut run = json!({
        "program": "whereworn",
        "version": env!("CARGO_PKG_VERSION"),
        "edition": edition,
        "month": open.month.to_string(),
        "cutoff": format_utc(open.cutoff),
        "settings": open.study.settings,
        "inputs": inputs,
        "rows": rows,
        "table_rows": tables,
        "seeds": "each bootstrap and permutation is seeded with the text given to it in its query",
        "files": files,
    });
    if settled.late
        && let Some(object) = run.as_object_mut()
    {
        object.insert("as_of".to_owned(), json!(format_utc(open.as_of)));
    }
    run
}
