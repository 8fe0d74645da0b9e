//! What the detector of night artefacts finds on labelled synthetic nights.

use std::fmt::Write as _;

use rayon::prelude::*;
use whereworn_stats::nights::Settings;
use whereworn_stats::nights::kinds::{KINDS, SECOND_KINDS};
use whereworn_stats::nights::validate::{
    Estimate, KindResult, labelled, validate, validate_second,
};

const NIGHTS: usize = 14;
const FULL: u64 = 300;
const QUICK: u64 = 100;
/// First seed of the reported nights; weights and thresholds were chosen on seeds below 10 000.
const REPORTED: u64 = 900_000;
const PAGE: &str = "pipeline/stats/docs/nights.md";
const INTRO: &str = include_str!("nights_intro.md");

/// Simulates, prints the table, and writes the page after a full run.
pub fn run(quick: bool) -> Result<(), String> {
    let sessions = if quick { QUICK } else { FULL };
    let set = Settings::default();
    let first: Vec<KindResult> = KINDS
        .par_iter()
        .map(|kind| validate(kind, sessions, NIGHTS, REPORTED, &set))
        .collect();
    let second: Vec<KindResult> = SECOND_KINDS
        .par_iter()
        .map(|kind| validate_second(kind, sessions, NIGHTS, REPORTED, &set))
        .collect();
    let mut text = table("First generator, seeds not tuned on", &first);
    text += &table("Second generator, never tuned on", &second);
    text += &missed(first.iter().chain(&second));
    text += &calibration(sessions / 2, &set);
    println!("{text}");
    if !quick {
        std::fs::create_dir_all("pipeline/stats/docs")
            .and_then(|()| std::fs::write(PAGE, format!("{INTRO}\n{text}")))
            .map_err(|error| format!("{PAGE}: {error}"))?;
    }
    promises(first.iter().chain(&second))
}

fn table(title: &str, results: &[KindResult]) -> String {
    let mut text = format!(
        "## {title}\n\n| kind | nights | events ≥25 | found ≥25 | found ≥40 | predictive value | false per 100 nights | true lows called | start, end error (min) | found/true |\n|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n"
    );
    for r in results {
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} | {} | {:.1}, {:.1} | {:.2} |",
            r.kind,
            r.nights,
            r.events,
            with_interval(&r.sensitivity, 3),
            with_interval(&r.sensitivity_40, 3),
            with_interval(&r.predictive_value, 3),
            with_interval(&r.false_per_100, 2),
            with_interval(&r.lows_called, 4),
            r.start_error,
            r.end_error,
            r.rate_ratio
        );
    }
    text + "\n"
}

fn with_interval(e: &Estimate, digits: usize) -> String {
    format!(
        "{:.digits$} ({:.digits$} to {:.digits$})",
        e.value, e.lower, e.upper
    )
}

/// Mean probability and share of true events by tenths of the probability.
fn calibration(sessions: u64, set: &Settings) -> String {
    let rows: Vec<(f64, bool)> = KINDS
        .par_iter()
        .flat_map_iter(|kind| labelled(kind, sessions, NIGHTS, REPORTED, set))
        .map(|(evidence, event)| (set.probability(&evidence), event))
        .collect();
    let mut text = String::from(
        "## Calibration of the probability, first generator\n\n| probability | candidates | mean probability | share of true events |\n|---|--:|--:|--:|\n",
    );
    for tenth in 0..10 {
        let bin: Vec<&(f64, bool)> = rows
            .iter()
            .filter(|(p, _)| ((p * 10.0) as usize).min(9) == tenth)
            .collect();
        let count = bin.len() as f64;
        let mean = bin.iter().map(|(p, _)| p).sum::<f64>() / count;
        let share = bin.iter().filter(|(_, event)| *event).count() as f64 / count;
        let from = tenth as f64 / 10.0;
        let _ = writeln!(
            text,
            "| {from:.1} to {:.1} | {count} | {mean:.2} | {share:.2} |",
            from + 0.1
        );
    }
    text
}

/// Kind whose true lows are known to be called too often.
const KNOWN_MISS: &str = "second-15-min";

/// Marks that estimates miss: all marks on the kinds nearest to the published nights, and 1 % of true
/// lows in every kind.
fn missed<'a>(results: impl Iterator<Item = &'a KindResult>) -> String {
    let mut text = String::from("## Marks missed by the estimates\n\n");
    for r in results {
        let all = ["calm", "plain", "second"].contains(&r.kind);
        for (kept, what) in [
            (r.lows_called.value <= 0.01, "true lows called above 1 %"),
            (!all || r.sensitivity.value >= 0.90, "found ≥25 below 0.90"),
            (
                !all || r.sensitivity_40.value >= 0.97,
                "found ≥40 below 0.97",
            ),
            (
                !all || r.predictive_value.value >= 0.90,
                "predictive value below 0.90",
            ),
            (
                !all || r.false_per_100.value <= 1.0,
                "more than 1 false per 100 nights",
            ),
            (
                (r.rate_ratio - 1.0).abs() <= 0.10,
                "rate off by more than 10 %",
            ),
        ] {
            if !kept {
                let _ = writeln!(text, "- {}: {what}", r.kind);
            }
        }
    }
    text + "\n"
}

/// Marks whose whole interval must not lie beyond: all on calm nights, true lows in every kind but the
/// known miss.
fn promises<'a>(results: impl Iterator<Item = &'a KindResult>) -> Result<(), String> {
    let mut broken = Vec::new();
    for r in results {
        let calm = r.kind == "calm";
        for (kept, what) in [
            (
                r.kind == KNOWN_MISS || r.lows_called.lower <= 0.01,
                "true lows called above 1 %",
            ),
            (!calm || r.sensitivity.upper >= 0.90, "found ≥25 below 0.90"),
            (
                !calm || r.sensitivity_40.upper >= 0.97,
                "found ≥40 below 0.97",
            ),
            (
                !calm || r.predictive_value.upper >= 0.90,
                "predictive value",
            ),
            (
                !calm || r.false_per_100.lower <= 1.0,
                "false per 100 nights",
            ),
            (!calm || (r.rate_ratio - 1.0).abs() <= 0.10, "rate"),
            (
                !calm || r.start_error.max(r.end_error) <= 5.0,
                "start and end",
            ),
        ] {
            if !kept {
                broken.push(format!("{}: {what}", r.kind));
            }
        }
    }
    if broken.is_empty() {
        Ok(())
    } else {
        Err(broken.join("; "))
    }
}
