//! What a look finds of planted faults, and what it claims of studies that have none.

mod faults;
mod harder;
mod invented;
mod study;

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::PathBuf;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use whereworn_demo::{Options, write_study};
use whereworn_findings::{Finding, Severity};

use faults::{Expected, FAULTS, plant};
use invented::Shape;
use study::Rows;

/// Which generator makes a study.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Made {
    Demo,
    Second,
}

impl Made {
    fn words(self) -> &'static str {
        match self {
            Self::Demo => "generator of the demo",
            Self::Second => "second generator",
        }
    }
}

fn folder(name: &str) -> PathBuf {
    std::env::temp_dir().join(format!("whereworn-findings-{}-{name}", std::process::id()))
}

/// A clean study of one generator.
fn clean(made: Made, seed: u64) -> Result<Rows, String> {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let wearers = dice.random_range(1..=10);
    match made {
        Made::Demo => demo(
            wearers,
            dice.random_range(3..=14),
            [5, 5, 10, 15][dice.random_range(0..4)],
            seed,
        ),
        Made::Second => Ok(invented::study(
            Shape {
                wearers,
                sensors: dice.random_range(2..=10),
                checks: None,
                meters: None,
                spacing: None,
                meter_spread: 0.02,
                least_days: 0.5,
            },
            seed,
        )),
    }
}

fn demo(wearers: usize, sensors: usize, minutes: u32, seed: u64) -> Result<Rows, String> {
    let dir = folder(&format!("demo-{wearers}-{sensors}-{minutes}-{seed}"));
    let options = Options {
        wearers,
        sensors,
        minutes,
        seed,
        plain: None,
        faults: Some(false),
    };
    write_study(&dir, &options).map_err(|error| error.to_string())?;
    let rows = Rows::read(&dir);
    std::fs::remove_dir_all(&dir).map_err(|error| error.to_string())?;
    rows
}

/// A study for a fault, with what the table of what can be told asks for.
fn planted(made: Made, fault: &str, seed: u64) -> Result<Option<(Rows, Expected)>, String> {
    for attempt in 0..8 {
        let seed = seed * 10 + attempt;
        let mut dice = ChaCha8Rng::seed_from_u64(seed ^ 0xfau64);
        let wearers = if fault == "wrong-wearer" {
            2
        } else {
            dice.random_range(1..=3)
        };
        let mut rows = match made {
            Made::Demo => demo(
                wearers,
                dice.random_range(7..=12)
                    + if ["clock-change", "side-never-tried", "site-confounded"].contains(&fault) {
                        14
                    } else {
                        0
                    },
                [5, 10, 15][dice.random_range(0..3)],
                seed,
            )?,
            Made::Second => invented::study(
                Shape {
                    wearers,
                    sensors: dice.random_range(7..=11),
                    checks: Some(2.0 + 5.0 * dice.random::<f64>()),
                    meters: None,
                    spacing: Some([5, 10, 15][dice.random_range(0..3)]),
                    meter_spread: if fault == "meter" { 0.0 } else { 0.02 },
                    least_days: 4.0,
                },
                seed,
            ),
        };
        if made == Made::Demo && ["meter", "clock-meter"].contains(&fault) {
            // The demo's wearers have one meter: a second one makes two in five of the fingersticks.
            for check in &mut rows.checks {
                if dice.random::<f64>() < 0.4 {
                    check.meter = "meter C".into();
                }
            }
        }
        if let Some(expected) = plant(fault, &mut rows, &mut dice) {
            return Ok(Some((rows, expected)));
        }
    }
    Ok(None)
}

fn claims(findings: &[Finding]) -> Vec<&Finding> {
    findings
        .iter()
        .filter(|finding| finding.severity != Severity::Thin && !finding.seen)
        .collect()
}

/// How much is tried.
struct Amount {
    clean: u64,
    planted: u64,
}

const FULL: Amount = Amount {
    clean: 200,
    planted: 20,
};
const QUICK: Amount = Amount {
    clean: 20,
    planted: 2,
};

/// False claims of severity wrong or doubtful that 200 clean studies may have in all.
const MOST_FALSE: f64 = 4.0;

/// Share of studies with sensors that fail of which something else may be claimed.
const MOST_FALSE_FAILING: f64 = 0.01;

/// Share of planted faults that have to be found, of each fault.
const LEAST_FOUND: f64 = 0.95;

/// Seeds from here on are reported: nothing was chosen on them.
const REPORTED: u64 = 40_000;

const PAGE: &str = "pipeline/findings/docs/findings.md";
const INTRO: &str = include_str!("intro.md");

/// Plants and looks, prints the tables, writes the page after a full run; fails where a promise is broken. With the name
/// of a fault, or `clean`, only that is tried, and what was missed is printed.
pub fn run(quick: bool, only: Option<&str>) -> Result<(), String> {
    let amount = if quick { QUICK } else { FULL };
    let mut text = String::new();
    let mut broken: Vec<String> = Vec::new();
    if only.is_none_or(|only| only == "clean") {
        let falsely = clean_studies(REPORTED, amount.clean, only.is_some(), &mut text)?;
        let most = (MOST_FALSE * amount.clean as f64 / 200.0).max(1.0);
        if falsely as f64 > most {
            broken.push(format!(
                "{falsely} false claims in {} clean studies",
                amount.clean
            ));
        }
    }
    if only.is_none() {
        let falsely = failing_studies(REPORTED, amount.clean, false)?;
        let _ = writeln!(
            text,
            "Studies of one wearer with one meter and sensors that fail: {falsely} of {} with a false claim.\n",
            amount.clean
        );
        if falsely as f64 > (MOST_FALSE_FAILING * amount.clean as f64).max(1.0) {
            broken.push(format!("{falsely} studies with sensors that fail"));
        }
    }
    text += "| planted | demo | second generator | other claims beside | size within what the finding says |\n|---|--:|--:|--:|--:|\n";
    let (mut all_met, mut all_planted) = (0, 0);
    for fault in FAULTS
        .iter()
        .filter(|fault| only.is_none_or(|only| fault.contains(only)))
    {
        let demo = of_fault(
            Made::Demo,
            fault,
            REPORTED,
            amount.planted / 2,
            only.is_some(),
        )?;
        let second = of_fault(
            Made::Second,
            fault,
            REPORTED,
            amount.planted - amount.planted / 2,
            only.is_some(),
        )?;
        let (met, planted) = (demo.met + second.met, demo.planted + second.planted);
        let _ = writeln!(
            text,
            "| {fault} | {} of {} | {} of {} | {} | {} |",
            demo.met,
            demo.planted,
            second.met,
            second.planted,
            demo.others + second.others,
            match demo.told + second.told {
                0 => String::new(),
                told => format!("{} of {told}", demo.inside + second.inside),
            }
        );
        all_met += met;
        all_planted += planted;
        let is_promised = !fault.contains("there and back");
        if !quick && is_promised && (met as f64) < LEAST_FOUND * planted as f64 {
            broken.push(format!("{fault}: {met} of {planted} found"));
        }
    }
    let _ = writeln!(text, "\n{all_met} of {all_planted} planted faults found.");
    if (all_met as f64) < 0.9 * all_planted as f64 {
        broken.push(format!("{all_met} of {all_planted} planted faults found"));
    }
    if !broken.is_empty() {
        let _ = writeln!(text, "\nMarks missed: {}.", broken.join("; "));
    }
    println!("{text}");
    if !quick && only.is_none() {
        std::fs::create_dir_all("pipeline/findings/docs")
            .and_then(|()| std::fs::write(PAGE, format!("{INTRO}\n{text}")))
            .map_err(|error| format!("{PAGE}: {error}"))?;
    }
    match broken.is_empty() {
        true => Ok(()),
        false => Err(broken.join("; ")),
    }
}

/// Tries one fault, or `clean`, on seeds of one's own choice, and prints what was missed.
pub fn explore(only: &str, from: u64, each: u64) -> Result<(), String> {
    let mut text = String::new();
    if only == "clean" {
        clean_studies(from, 2 * each, true, &mut text)?;
        print!("{text}");
        return Ok(());
    }
    if only == "failing" {
        let false_claims = failing_studies(from, each, true)?;
        println!("{false_claims} of {each} studies with sensors that fail had a false claim");
        return Ok(());
    }
    if only == "hours" {
        return whole_hours(from, each);
    }
    if only == "replaced" {
        return replaced_meters(from, each);
    }
    for fault in FAULTS.iter().filter(|fault| fault.contains(only)) {
        for made in [Made::Demo, Made::Second] {
            let score = of_fault(made, fault, from, each, true)?;
            let (met, planted) = (score.met, score.planted);
            println!(
                "{fault}, {}: {met} of {planted}, {} others",
                made.words(),
                score.others
            );
        }
    }
    Ok(())
}

/// Looks at clean studies, half of them from each generator.
fn clean_studies(
    from: u64,
    studies: u64,
    verbose: bool,
    text: &mut String,
) -> Result<usize, String> {
    let mut all = 0;
    *text += "| clean studies | number | false claims (wrong or doubtful) |\n|---|--:|--:|\n";
    for made in [Made::Demo, Made::Second] {
        let found: Vec<(u64, Vec<Finding>)> = (0..studies / 2)
            .into_par_iter()
            .map(|seed| Ok((seed, clean(made, from + seed)?.look()?.findings)))
            .collect::<Result<_, String>>()?;
        let mut count = 0;
        for (seed, findings) in &found {
            for finding in claims(findings) {
                count += 1;
                if verbose {
                    println!(
                        "false, {made:?} {seed}: {} {:?}: {}",
                        finding.kind, finding.size, finding.text
                    );
                }
            }
        }
        let _ = writeln!(text, "| {} | {} | {count} |", made.words(), studies / 2);
        all += count;
    }
    *text += "\n";
    Ok(all)
}

/// Studies with sensors that fail, of which something else is claimed. That few sensors of a site were all of one model or season
/// is so, whatever they read.
fn failing_studies(from: u64, studies: u64, verbose: bool) -> Result<usize, String> {
    let found: Vec<(u64, Vec<Finding>)> = (0..studies)
        .into_par_iter()
        .map(|seed| Ok((seed, harder::failing(from + seed).look()?.findings)))
        .collect::<Result<_, String>>()?;
    for (seed, findings) in found.iter().filter(|_| verbose) {
        for finding in claims(findings)
            .into_iter()
            .filter(|finding| finding.kind != "site-confounded")
        {
            println!(
                "false, {seed}: {} {:?}: {}",
                finding.kind, finding.size, finding.text
            );
        }
    }
    let falsely = |findings: &[Finding]| {
        let claims = claims(findings).into_iter();
        claims
            .filter(|finding| finding.kind != "site-confounded")
            .count()
            > 0
    };
    let falsely = found.iter().filter(|(_, findings)| falsely(findings));
    Ok(falsely.count())
}

/// Clean studies most of whose fingersticks are cut down to whole hours: how many wearers are told so, and what else is claimed.
fn whole_hours(from: u64, studies: u64) -> Result<(), String> {
    let (mut wearers, mut told, mut others) = (0, 0, 0);
    for seed in from..from + studies {
        let made = [Made::Demo, Made::Second][(seed % 2) as usize];
        let mut rows = clean(made, seed)?;
        harder::hours(&mut rows, seed);
        let own: BTreeSet<&str> = rows
            .checks
            .iter()
            .map(|check| check.wearer.as_str())
            .collect();
        wearers += own.len();
        let findings = rows.look()?.findings;
        let (lost, false_claims): (Vec<&Finding>, Vec<&Finding>) = claims(&findings)
            .into_iter()
            .partition(|finding| finding.text.contains("their minutes are lost"));
        let known: BTreeSet<&str> = lost.iter().map(|finding| finding.wearer.as_str()).collect();
        told += known.len();
        others += false_claims.len();
        for finding in false_claims {
            println!(
                "false, {made:?} {seed}: {} {:?}: {}",
                finding.kind, finding.size, finding.text
            );
        }
    }
    println!("{told} of {wearers} wearers told, {others} other claims in {studies} studies");
    Ok(())
}

/// How often a meter that another of its name takes the place of is told, and a site that went with it.
fn replaced_meters(from: u64, studies: u64) -> Result<(), String> {
    for order in [
        harder::Order::Mixed,
        harder::Order::InTurn,
        harder::Order::Halves,
    ] {
        for size in [0.0, 0.08, -0.08, 0.12, 0.16] {
            let (mut told, mut at_date, mut doubted, mut others) = (0, 0, 0, 0);
            for seed in 0..studies {
                let (rows, at) = harder::replaced(order, size, from + seed);
                let findings = rows.look()?.findings;
                let claims = claims(&findings);
                let meter = claims.iter().find(|finding| finding.kind == "meter");
                told += usize::from(meter.is_some());
                at_date += usize::from(meter.is_some_and(|meter| {
                    meter
                        .from
                        .is_some_and(|own| (own - at).abs() < 5 * study::DAY)
                }));
                doubted += usize::from(
                    claims
                        .iter()
                        .any(|finding| finding.kind == "site-confounded"),
                );
                others += claims
                    .iter()
                    .filter(|f| f.kind != "meter" && f.kind != "site-confounded")
                    .count();
            }
            println!(
                "{order:?} {size}: told {told} (at the date {at_date}), site-confounded {doubted}, others {others}, of {studies}"
            );
        }
    }
    Ok(())
}

/// What became of one kind of fault.
#[derive(Default)]
struct Score {
    met: usize,
    planted: usize,
    others: usize,
    /// Findings of the sensor that say how far their size may be off, and those of which that is true.
    told: usize,
    inside: usize,
}

/// How far a finding says that its size may be off.
fn give_or_take(finding: &Finding) -> Option<f64> {
    let (_, rest) = finding.text.split_once("(give or take ")?;
    rest.split_once(')')?.0.parse().ok()
}

fn of_fault(made: Made, fault: &str, from: u64, each: u64, verbose: bool) -> Result<Score, String> {
    let results: Vec<Option<(u64, Expected, Vec<Finding>)>> = (0..each)
        .into_par_iter()
        .map(|seed| {
            let Some((rows, expected)) = planted(made, fault, from + seed)? else {
                return Ok(None);
            };
            Ok(Some((seed, expected, rows.look()?.findings)))
        })
        .collect::<Result<_, String>>()?;
    let mut score = Score::default();
    for (seed, expected, findings) in results.iter().flatten() {
        score.planted += 1;
        let hit = findings.iter().any(|finding| expected.is_met_by(finding));
        score.met += usize::from(hit);
        let near = findings.iter().find(|finding| {
            let sensor = expected.sensor.as_ref();
            finding.kind == expected.kind && sensor.is_none_or(|s| *s == finding.sensor)
        });
        if let (Some(near), Some((size, _))) = (near, expected.size)
            && let (Some(claimed), Some(off)) = (near.size, give_or_take(near))
        {
            score.told += 1;
            score.inside += usize::from((claimed - size).abs() <= off);
        }
        if let (true, Some((size, _))) = (verbose, expected.size) {
            println!(
                "    size {size:?} {:?}",
                near.and_then(|finding| finding.size)
            );
        }
        let others = claims(findings)
            .into_iter()
            .filter(|finding| !expected.is_met_by(finding));
        let others: Vec<&Finding> = others.collect();
        score.others += others.len();
        if verbose && !hit {
            println!("missed, {made:?} {seed}: {expected:?}");
            let times = [expected.from, expected.to]
                .map(|time| time.map(|(at, _)| whereworn_model::time::format_utc(at)));
            println!("    {times:?}");
            for finding in others {
                println!(
                    "    {} {} {} {} {:?} {:?} {:?}",
                    finding.kind,
                    finding.wearer,
                    finding.sensor,
                    finding.meter,
                    finding.size,
                    finding.from.map(whereworn_model::time::format_utc),
                    finding.to.map(whereworn_model::time::format_utc)
                );
            }
        }
    }
    Ok(score)
}
