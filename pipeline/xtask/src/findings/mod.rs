//! What a look finds of planted faults, and what it claims of studies that have none.

mod faults;
mod invented;
mod study;

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

fn folder(name: &str) -> PathBuf {
    std::env::temp_dir().join(format!("whereworn-findings-{}-{name}", std::process::id()))
}

/// A clean study of one generator.
fn clean(made: Made, seed: u64) -> Result<Rows, String> {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let wearers = dice.random_range(1..=10);
    match made {
        Made::Demo => demo(wearers, dice.random_range(3..=14), [5, 5, 10, 15][dice.random_range(0..4)], seed),
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
    let options = Options { wearers, sensors, minutes, seed, plain: None, faults: Some(false) };
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
        let wearers = if fault == "wrong-wearer" { 2 } else { dice.random_range(1..=3) };
        let mut rows = match made {
            Made::Demo => demo(wearers, dice.random_range(7..=12) + if ["clock-change", "side-never-tried", "site-confounded"].contains(&fault) { 14 } else { 0 }, [5, 10, 15][dice.random_range(0..3)], seed)?,
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
                    check.meter = "meter C".to_owned();
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
    findings.iter().filter(|finding| finding.severity != Severity::Thin && !finding.seen).collect()
}

/// Plants and looks; fails where a promise is broken.
pub fn run(studies: u64, each: u64, only: Option<&str>) -> Result<(), String> {
    let mut false_claims = 0;
    if only.is_none_or(|only| only.starts_with("clean")) {
    for made in [Made::Demo, Made::Second] {
        let found: Vec<(u64, Vec<Finding>)> = (0..studies / 2)
            .into_par_iter()
            .map(|seed| {
                let rows = clean(made, 1000 + seed)?;
                let outcome = rows.look()?;
                Ok((seed, outcome.findings))
            })
            .collect::<Result<_, String>>()?;
        let mut count = 0;
        for (seed, findings) in &found {
            for finding in claims(findings) {
                count += 1;
                println!("FALSE {made:?} {seed}: {} {} {} {} {:?}: {}", finding.kind, finding.wearer, finding.sensor, finding.meter, finding.size, finding.text);
            }
        }
        println!("clean, {made:?}: {count} false claims in {} studies", studies / 2);
        false_claims += count;
    }
    }
    println!("{false_claims} false in all");
    for fault in FAULTS.iter().filter(|fault| only.is_none_or(|only| fault.contains(only))) {
        for made in [Made::Demo, Made::Second] {
            let results: Vec<(u64, Option<(Expected, Vec<Finding>)>)> = (0..each)
                .into_par_iter()
                .map(|seed| {
                    let Some((rows, expected)) = planted(made, fault, 500 + seed)? else {
                        return Ok((seed, None));
                    };
                    let outcome = rows.look()?;
                    Ok((seed, Some((expected, outcome.findings))))
                })
                .collect::<Result<_, String>>()?;
            let (mut met, mut all, mut more) = (0, 0, 0);
            for (seed, result) in &results {
                let Some((expected, findings)) = result else {
                    continue;
                };
                all += 1;
                let hit = findings.iter().find(|finding| expected.is_met_by(finding));
                met += usize::from(hit.is_some());
                let others: Vec<_> = claims(findings).into_iter().filter(|finding| !expected.is_met_by(finding)).collect();
                more += others.len();
                if hit.is_none() || (std::env::var("VERBOSE").is_ok() && !others.is_empty()) {
                    println!("  {} {made:?} {seed}: {expected:?}", if hit.is_none() { "MISSED" } else { "MORE" });
                    for finding in others.iter().take(4) {
                        println!("      {} {} {} {} {} {:?} {:?}", finding.kind, finding.wearer, finding.sensor, finding.meter, finding.file, finding.size, finding.from.map(whereworn_model::time::format_utc));
                    }
                }
            }
            println!("{fault}, {made:?}: {met} of {all} found, {more} other claims");
        }
    }
    Ok(())
}
