//! What was measured, as a page.

use std::collections::BTreeMap;
use std::fs;

use super::{Measured, Took};

const PAGE: &str = "pipeline/docs/speed.md";

/// Writes the page.
pub fn write(all: &[Measured], versions: &BTreeMap<&str, String>) -> Result<(), String> {
    let mut out = format!(
        "# Speed\n\nMeasured by `cargo xtask bench`, which writes this page, in one run on one machine: {}. Beside it DuckDB {} and \
         Polars {} make what they can of the same files: pairs, accuracy, survival, delay and night coverage, by plain rules, \
         without detector, intervals, tests, evidence, pictures or pages ([their queries](../xtask/src/bench/others.py)). The pairs of \
         each site were the same in all three; mean differences, survival at day 10 and counted nights but for the hour in which \
         clocks change, which the plain rules do not know (0.02 mg/dL, 0.0001, 5 nights in 1,000); the run fails where they are not.\n\nOther work on the machine makes wall times longer and \
         leaves processor seconds nearly as they are.\n",
        machine(),
        versions.get("duckdb").map_or("?", String::as_str),
        versions.get("polars").map_or("?", String::as_str),
    );
    for measured in all {
        out += &section(measured);
    }
    if let [.., smaller, larger] = all {
        out += &growth(smaller, larger);
    }
    print!("{out}");
    fs::write(PAGE, out).map_err(|error| format!("{PAGE}: {error}"))
}

fn section(measured: &Measured) -> String {
    let mut out = format!(
        "\n## {:.1} million readings of {} sensors\n\n| who | what | processor s | wall s | peak MB |\n| --- | --- | ---: | ---: | ---: |\n",
        measured.readings as f64 / 1e6,
        measured.sensors
    );
    for (who, what, took) in &measured.took {
        out += &format!(
            "| {who} | {what} | {:.2} | {:.2} | {:.0} |\n",
            took.processor, took.wall, took.peak
        );
    }
    let ratios = [
        (
            "load, to DuckDB's",
            ("whereworn", "load"),
            ("duckdb", "load"),
        ),
        (
            "whole report, to DuckDB's tables",
            ("whereworn", "report"),
            ("duckdb", "tables"),
        ),
        (
            "again without a change, to the first",
            ("whereworn", "again"),
            ("whereworn", "report"),
        ),
        (
            "one more month, to the first",
            ("whereworn", "one more month"),
            ("whereworn", "report"),
        ),
    ];
    out += "\n| ratio | processor | wall |\n| --- | ---: | ---: |\n";
    for (words, a, b) in ratios {
        if let (Some(a), Some(b)) = (took(measured, a), took(measured, b)) {
            out += &format!(
                "| {words} | {:.2} | {:.2} |\n",
                a.processor / b.processor,
                a.wall / b.wall
            );
        }
    }
    out
}

fn growth(smaller: &Measured, larger: &Measured) -> String {
    let more = larger.readings as f64 / smaller.readings as f64;
    let mut out = format!(
        "\n## Growth\n\nWith {more:.1} times the readings, in processor seconds:\n\n| who | what | times |\n| --- | --- | ---: |\n"
    );
    for (who, what, took_more) in &larger.took {
        if let Some(less) = took(smaller, (who, what)) {
            out += &format!(
                "| {who} | {what} | {:.1} |\n",
                took_more.processor / less.processor
            );
        }
    }
    out
}

fn took(measured: &Measured, (who, what): (&str, &str)) -> Option<Took> {
    let mut all = measured.took.iter();
    all.find(|row| (row.0, row.1) == (who, what))
        .map(|row| row.2)
}

/// Processor, cores, memory and system, as far as they are told.
fn machine() -> String {
    let line = |file: &str, key: &str| {
        let text = fs::read_to_string(file).unwrap_or_default();
        let found = text
            .lines()
            .find(|line| line.starts_with(key))
            .map(str::to_owned);
        let value = found.and_then(|line| Some(line.split_once(':')?.1.trim().to_owned()));
        value.unwrap_or_else(|| "unknown".to_owned())
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let memory = line("/proc/meminfo", "MemTotal");
    let kib: f64 = memory
        .split(' ')
        .next()
        .and_then(|kib| kib.parse().ok())
        .unwrap_or(0.0);
    format!(
        "{cores} cores of {}, {:.0} GB, {} {}",
        line("/proc/cpuinfo", "model name"),
        kib * 1024.0 / 1e9,
        std::env::consts::OS,
        std::env::consts::ARCH
    )
}
