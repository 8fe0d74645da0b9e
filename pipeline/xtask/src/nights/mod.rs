//! What the detector of night artefacts finds on labelled synthetic nights.

mod marks;
mod weights;

use std::fmt::Write as _;

use rayon::prelude::*;
use whereworn_simulate::nights::kinds::{KINDS, SECOND_KINDS, THIRD_KINDS};
use whereworn_simulate::nights::validate::{
    Estimate, Found, KindResult, detected, labelled, plain_rule, validate,
};
use whereworn_simulate::nights::{Nights, Session};
use whereworn_stats::nights::{Preset, Settings};

pub use weights::run as fit;

const NIGHTS: usize = 14;
const FULL: u64 = 300;
const QUICK: u64 = 60;
/// First seed of the reported nights: nothing was fitted or chosen on seeds from here on.
const REPORTED: u64 = 60_000_000;
const PAGE: &str = "pipeline/stats/docs/nights.md";
const INTRO: &str = include_str!("intro.md");
/// Kinds that the presets are shown on.
const PRESET_KINDS: [&str; 6] = [
    "calm",
    "fast-lows",
    "15-min-slow-lows",
    "15-min-fast-lows",
    "second",
    "third",
];
/// Falls within 15 min that the plain rule takes for an artefact, as a share of glucose.
const RULES: [f64; 2] = [0.22, 0.28];

/// Simulates, prints the tables, and writes the page after a full run.
pub fn run(quick: bool) -> Result<(), String> {
    let sessions = if quick { QUICK } else { FULL };
    let set = Settings::default();
    let first = results(&kinds(&KINDS), sessions, &set);
    let second = results(&kinds(&SECOND_KINDS), sessions, &set);
    let third = results(&kinds(&THIRD_KINDS), sessions, &set);
    let all: Vec<&KindResult> = first.iter().chain(&second).chain(&third).collect();
    let mut text = table("First generator, seeds not tuned on", &first);
    text += &table("Second generator, nothing fitted to it", &second);
    text += &table("Third generator, nothing fitted to it", &third);
    text += &marks::missed(&all);
    if !quick {
        text += &rules(sessions / 3, &all);
        text += &presets(sessions);
        text += &calibration(sessions / 2, &set);
    }
    println!("{text}");
    if !quick {
        std::fs::create_dir_all("pipeline/stats/docs")
            .and_then(|()| std::fs::write(PAGE, format!("{INTRO}\n{text}")))
            .map_err(|error| format!("{PAGE}: {error}"))?;
    }
    marks::check(&all)
}

fn kinds<K: Nights + Sync>(kinds: &[K]) -> Vec<&(dyn Nights + Sync)> {
    kinds.iter().map(|k| k as &(dyn Nights + Sync)).collect()
}

fn all_kinds() -> Vec<&'static (dyn Nights + Sync)> {
    [kinds(&KINDS), kinds(&SECOND_KINDS), kinds(&THIRD_KINDS)].concat()
}

fn results(kinds: &[&(dyn Nights + Sync)], sessions: u64, set: &Settings) -> Vec<KindResult> {
    let find = |made: &Session| detected(made, set);
    kinds
        .par_iter()
        .map(|kind| over(*kind, sessions, &find))
        .collect()
}

fn over(kind: &dyn Nights, sessions: u64, find: &dyn Fn(&Session) -> Vec<Found>) -> KindResult {
    validate(kind, NIGHTS, REPORTED..REPORTED + sessions, find)
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
            r.rate_ratio()
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

/// The plain rule beside the detector, on readings 5 min apart.
fn rules(sessions: u64, detector: &[&KindResult]) -> String {
    let mut text = String::from(
        "## A plain rule on the same nights\n\nA fall by 22 or 28 % within 15 min that is half undone within 3 h: found ≥25, predictive value, false per 100 nights.\n\n| kind | rule at 22 % | rule at 28 % | detector |\n|---|--:|--:|--:|\n",
    );
    let short = |r: &KindResult| {
        format!(
            "{:.2}, {:.2}, {:.1}",
            r.sensitivity.value, r.predictive_value.value, r.false_per_100.value
        )
    };
    let rows: Vec<String> = all_kinds()
        .par_iter()
        .filter(|kind| kind.spacing() == 5.0)
        .map(|kind| {
            let [low, high] =
                RULES.map(|share| short(&over(*kind, sessions, &|made| plain_rule(made, share))));
            let ours = detector.iter().find(|r| r.kind == kind.name());
            let ours = ours.map_or_else(String::new, |r| short(r));
            format!("| {} | {low} | {high} | {ours} |\n", kind.name())
        })
        .collect();
    text += &rows.concat();
    text + "\n"
}

/// What each preset reports.
fn presets(sessions: u64) -> String {
    let mut text = String::from(
        "## Presets\n\nFor the question whether the ranking of sites hangs on the settings: the presets differ in the probability asked for.\n\n| kind | preset | found ≥25 | found ≥40 | predictive value | false per 100 nights | true lows called | found/true |\n|---|---|--:|--:|--:|--:|--:|--:|\n",
    );
    for kind in all_kinds() {
        if !PRESET_KINDS.contains(&kind.name()) {
            continue;
        }
        let rows = Preset::ALL.map(|preset| {
            let set = Settings {
                preset,
                ..Settings::default()
            };
            let r = over(kind, sessions, &|made| detected(made, &set));
            format!(
                "| {} | {preset:?} | {:.3} | {:.3} | {:.3} | {:.2} | {:.4} | {:.2} |\n",
                r.kind,
                r.sensitivity.value,
                r.sensitivity_40.value,
                r.predictive_value.value,
                r.false_per_100.value,
                r.lows_called.value,
                r.rate_ratio()
            )
        });
        text += &rows.concat();
    }
    text + "\n"
}

/// Mean probability and share of true events by tenths of the probability.
fn calibration(sessions: u64, set: &Settings) -> String {
    let rows: Vec<(f64, bool)> = KINDS
        .par_iter()
        .flat_map_iter(|kind| (0..sessions).map(move |k| kind.session(NIGHTS, REPORTED + k)))
        .flat_map_iter(|made| labelled(&made, set))
        .filter(|c| c.at_night && set.high_enough(&c.evidence))
        .map(|c| (set.probability(&c.evidence), c.event.is_some()))
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
