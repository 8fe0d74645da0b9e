//! `check`: what is wrong or thin in the data, and what to do about it.

use std::collections::BTreeMap;

use whereworn_load::{Settled, Table};
use whereworn_model::table::ResultTable;

use crate::args::CheckArguments;
use crate::failure::Failure;
use crate::month::StudyMonth;
use crate::report::strictly;

/// Sensors of a site below which its figures say little: an interval over two sensors is next to useless.
const FEW_SENSORS: f64 = 3.0;

/// Pairs of a sensor below which its own level is hardly known: common practice, no source.
const FEW_PAIRS: f64 = 5.0;

/// Rejected rows shown for each reason.
const EXAMPLES: usize = 3;

/// Prints findings, what is wrong first.
pub fn run(arguments: &CheckArguments) -> Result<(), Failure> {
    let open = StudyMonth::open(&arguments.scope)?;
    let engine = open.engine()?;
    let results = engine.run_all(&open.catalog, &|query| {
        open.progress.say(&format!("computed {query}"))
    })?;
    let tables: Vec<&ResultTable> = results.iter().collect();
    let rejected = open.settled.rejects.len();
    let mut wrong: Vec<String> = open.study.warnings.clone();
    wrong.extend(open.settled.warnings.iter().cloned());
    wrong.extend(rejected_rows(&open.settled));
    let mut thin = missing_tables(&open.settled);
    thin.extend(thin_figures(&tables, &open));
    open.progress.end();
    section("Wrong", &wrong);
    if rejected > 0 {
        println!(
            "Correct these rows in the raw files and run again; `report` lists every one in rejects.csv."
        );
    }
    section("Thin", &thin);
    strictly(arguments.strict, rejected)
}

fn section(title: &str, findings: &[String]) {
    if findings.is_empty() {
        println!("{title}: nothing found");
        return;
    }
    println!("{title}:");
    for finding in findings {
        println!("- {finding}");
    }
}

/// Rejected rows by reason, with the first few places.
fn rejected_rows(settled: &Settled) -> Vec<String> {
    let mut by_reason: BTreeMap<(&str, String), Vec<String>> = BTreeMap::new();
    for reject in &settled.rejects {
        let kind = reject
            .reason
            .split([':', ';', '('])
            .next()
            .unwrap_or("")
            .trim();
        let kind = kind
            .chars()
            .map(|c| if c.is_ascii_digit() { '#' } else { c })
            .collect();
        by_reason
            .entry((reject.file.as_str(), kind))
            .or_default()
            .push(format!("line {}: {}", reject.line, reject.reason));
    }
    by_reason
        .into_iter()
        .map(|((file, _), places)| {
            let shown = places
                .iter()
                .take(EXAMPLES)
                .cloned()
                .collect::<Vec<_>>()
                .join("; ");
            let more = places.len().saturating_sub(EXAMPLES);
            let more = if more > 0 {
                format!("; and {more} more like it")
            } else {
                String::new()
            };
            format!(
                "{file}: {} rejected: {shown}{more}",
                count(places.len(), "row")
            )
        })
        .collect()
}

/// A count with its noun.
fn count(n: usize, noun: &str) -> String {
    if n == 1 {
        format!("1 {noun}")
    } else {
        format!("{n} {noun}s")
    }
}

fn missing_tables(settled: &Settled) -> Vec<String> {
    let needed = [
        (
            Table::Readings,
            "nothing can be said of accuracy, nights or delay",
        ),
        (
            Table::Fingersticks,
            "nothing can be said of accuracy or delay, and no night artefact can be told from a true low",
        ),
        (
            Table::WearEvents,
            "no reading can be given to a site: log at least `insert` with its site for every sensor",
        ),
    ];
    needed
        .into_iter()
        .filter(|(table, _)| {
            settled
                .counts
                .get(table)
                .is_none_or(|counts| counts.accepted == 0)
        })
        .map(|(table, lost)| format!("no usable row in {}/: {lost}", table.folder()))
        .collect()
}

fn thin_figures(tables: &[&ResultTable], open: &StudyMonth) -> Vec<String> {
    let table = |name: &str| tables.iter().find(|table| table.name == name);
    let label = |key: &str| {
        let sites = open.study.settings.all_sites();
        sites
            .iter()
            .find(|site| site.key == key)
            .map_or_else(|| key.to_owned(), |site| site.label.clone())
    };
    let mut findings = Vec::new();
    if let Some(sites) = table("site_comparison") {
        for row in 0..sites.rows() {
            let site = label(sites.text(row, "site"));
            let sessions = sites.number(row, "sessions").unwrap_or(0.0);
            if sessions < FEW_SENSORS {
                findings.push(format!(
                    "{site}: {} worn: too few to judge; wear at least three",
                    count(sessions as usize, "sensor")
                ));
            }
        }
    }
    if let Some(lost) = table("lost_sensors") {
        for row in 0..lost.rows() {
            findings.push(format!(
                "sensor `{}` of `{}` has no `end` and stopped reading: log how it ended, survival depends on it",
                lost.text(row, "sensor"),
                lost.text(row, "wearer")
            ));
        }
    }
    if let Some(sensors) = table("sensor_accuracy") {
        let few = (0..sensors.rows())
            .filter(|&row| sensors.number(row, "pairs").unwrap_or(0.0) < FEW_PAIRS)
            .count();
        if few > 0 {
            findings.push(format!(
                "{} with fewer than {FEW_PAIRS} pairs: check by fingerstick more often, also while glucose rises and falls",
                count(few, "sensor")
            ));
        }
    }
    if let Some(steps) = table("exclusions") {
        let rows = |what: &str| {
            let mut rows = steps.rows_where("table_name", "judgements").into_iter();
            rows.find(|&row| steps.text(row, "what") == what)
                .and_then(|row| steps.number(row, "rows"))
                .unwrap_or(0.0)
        };
        let astray = rows("up to the cut-off") - rows("of a night artefact");
        if astray > 0.0 {
            findings.push(format!(
                "{} of no night artefact: take wearer, sensor and start from night_artefacts.csv",
                count(astray as usize, "judgement")
            ));
        }
    }
    if let Some(artefacts) = table("night_artefacts") {
        let unchecked = artefacts.rows_where("evidence", "unchecked").len();
        if unchecked > 0 {
            findings.push(format!(
                "{} unchecked: only a fingerstick at the time can tell a false low from a true one",
                count(unchecked, "night artefact")
            ));
        }
    }
    findings
}
