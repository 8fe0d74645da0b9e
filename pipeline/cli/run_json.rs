//! `run.json`: what a report was made from.

use serde_json::{Value, json};
use whereworn_load::{Settled, Table};
use whereworn_model::table::ResultTable;
use whereworn_model::time::format_utc;
use whereworn_report::Edition;

use crate::month::StudyMonth;
use crate::output::Files;
use crate::plan::LOG;
use crate::studies;

const SEEDS: &str =
    "each bootstrap and permutation is seeded with the text given to it in its query";

/// The run as JSON: program, settings, input files, row counts, files written with their hashes. No clock and no path of the
/// machine; the instant of `--as-of` only where it rejected a row.
pub fn run_json(
    open: &StudyMonth,
    (edition, wearer): (Edition, Option<&str>),
    results: &[ResultTable],
    files: &Files,
) -> Value {
    let settled = &open.settled;
    let mut inputs: Vec<Value> = settled
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
    inputs.extend(plan_logs(open));
    let mut run = json!({
        "program": "whereworn",
        "version": env!("CARGO_PKG_VERSION"),
        "edition": edition.name(),
        "month": open.month.to_string(),
        "cutoff": format_utc(open.cutoff),
        "settings": open.study.settings,
        "plan_hash": open.plan_hash(),
        "planned_since": open.planned_since().map(format_utc),
        "inputs": inputs,
        "rows": rows(settled),
        "table_rows": table_rows(results),
        "seeds": SEEDS,
        "files": files,
    });
    let studies = studies::as_json(&open.opened);
    if !studies.is_empty()
        && let Some(object) = run.as_object_mut()
    {
        object.insert("studies".to_owned(), Value::Object(studies));
    }
    if let (Some(wearer), Some(object)) = (wearer, run.as_object_mut()) {
        object.insert("wearer".to_owned(), json!(wearer));
    }
    if settled.late
        && let Some(object) = run.as_object_mut()
    {
        object.insert("as_of".to_owned(), json!(format_utc(open.as_of)));
    }
    run
}

/// The logs of draws, where there are any: they decide which sensors count as drawn by lot.
fn plan_logs(open: &StudyMonth) -> impl Iterator<Item = Value> {
    open.opened.iter().filter_map(|one| {
        let (bytes, sha256) = one.log_of_draws()?;
        Some(json!({
            "file": format!("{}{LOG}", one.prefix()),
            "table": "plan_log",
            "bytes": bytes,
            "sha256": sha256,
            "rows": one.draws().count(),
        }))
    })
}

/// The run as JSON for the public edition: nothing of the input but counts, and of the settings numbers alone.
pub fn public_run_json(open: &StudyMonth, results: &[ResultTable], files: &Files) -> Value {
    let settings = &open.study.settings;
    json!({
        "program": "whereworn",
        "version": env!("CARGO_PKG_VERSION"),
        "edition": Edition::Public.name(),
        "settings": {
            "unit": settings.unit(),
            "language": settings.study.language,
            "rated_days": settings.wear.rated_days,
            "warmup_hours": settings.wear.warmup_hours,
            "night_coverage": settings.night.coverage,
            "pairing_minutes": settings.pairing.minutes,
        },
        "rows": rows(&open.settled),
        "table_rows": table_rows(results),
        "seeds": SEEDS,
        "files": files,
    })
}

fn rows(settled: &Settled) -> serde_json::Map<String, Value> {
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
                "after_second_insert": counts.after_second_insert,
                "left_out": counts.left_out,
                "withdrawn": counts.withdrawn,
                "untaken": counts.untaken,
                "accepted": counts.accepted,
            }),
        );
    }
    rows
}

fn table_rows(results: &[ResultTable]) -> serde_json::Map<String, Value> {
    results
        .iter()
        .map(|table| (table.name.clone(), json!(table.rows())))
        .collect()
}
