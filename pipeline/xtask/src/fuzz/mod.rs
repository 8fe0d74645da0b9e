//! Mutated input for everything that reads what others wrote: no panic, no hang, and what has to hold of each.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

#[path = "../../../load/tests/chance/mod.rs"]
mod chance;
mod targets;

use chance::Chance;

/// One case: what went wrong, if anything did.
type Case = fn(&mut Chance) -> Result<(), String>;

/// Every target by name.
const TARGETS: [(&str, Case); 7] = [
    ("study", targets::study),
    ("fhir", targets::fhir),
    ("map", targets::mapping),
    ("settings", targets::settings),
    ("header", targets::header),
    ("kept", targets::kept),
    ("program", targets::program),
];

/// A case that takes longer hangs, also on a machine that others use.
const MOST: Duration = Duration::from_secs(120);

/// Reads the arguments of the command: a quarter of an hour over all targets by default.
///
/// # Errors
/// As `run`; an argument that is none.
pub fn command(arguments: &[&str]) -> Result<(), String> {
    let (mut minutes, mut seed, mut only) = (15.0, 0, None);
    let mut rest = arguments.iter();
    while let Some(argument) = rest.next() {
        let number = |value: Option<&&str>| {
            let value = value.and_then(|value| value.parse::<f64>().ok());
            value.ok_or_else(|| format!("{argument} needs a number"))
        };
        match *argument {
            "--minutes" => minutes = number(rest.next())?,
            "--seed" => seed = number(rest.next())? as u64,
            name => only = Some(name),
        }
    }
    run(minutes, seed, only)
}

/// Runs targets for so many minutes in all, each with the seeds from `first` on.
///
/// # Errors
/// An unknown target; the first case that fails, with its seed, which makes it again.
fn run(minutes: f64, first: u64, only: Option<&str>) -> Result<(), String> {
    let chosen: Vec<_> = TARGETS
        .into_iter()
        .filter(|(name, _)| only.is_none_or(|only| only == *name))
        .collect();
    if chosen.is_empty() {
        let names = TARGETS.map(|(name, _)| name).join(", ");
        return Err(format!("no such target; there are {names}"));
    }
    let share = Duration::from_secs_f64(minutes * 60.0 / chosen.len() as f64);
    for (name, case) in chosen {
        let cases = target(name, case, first, share)?;
        println!(
            "{name}: {cases} cases in {:.0} s, none failed",
            share.as_secs_f64()
        );
    }
    Ok(())
}

/// Runs one target's cases on a thread of their own, watched from here.
fn target(name: &str, case: Case, first: u64, share: Duration) -> Result<u64, String> {
    let (told, heard) = mpsc::channel();
    let started = Instant::now();
    std::thread::spawn(move || {
        for seed in first.. {
            let outcome = catch_unwind(AssertUnwindSafe(|| case(&mut Chance::new(seed))))
                .unwrap_or_else(|_| Err("panic".to_owned()));
            if told.send(outcome).is_err() {
                return;
            }
        }
    });
    let mut seed = first;
    while started.elapsed() < share {
        match heard.recv_timeout(MOST) {
            Ok(Ok(())) => seed += 1,
            Ok(Err(what)) => return Err(format!("{name}, seed {seed}: {what}")),
            Err(RecvTimeoutError::Timeout) => {
                return Err(format!("{name}, seed {seed}: hangs"));
            }
            Err(RecvTimeoutError::Disconnected) => return Err(format!("{name}: ended")),
        }
    }
    Ok(seed - first)
}
