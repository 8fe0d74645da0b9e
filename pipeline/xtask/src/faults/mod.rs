//! Faults on purpose: file operations that fail, processes that are killed, bits that flip, runs at once.
//!
//! The program that is tested is the one that is shipped: system calls are made to fail from outside by `strace`,
//! file sizes are limited by `prlimit`. After each fault the raw files are as they were, a report that stands is
//! whole, and the next run gives the report that a sound run gives, to the byte.

use std::process::Command;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

mod bench;
mod calls;
mod flips;
mod kills;
mod runs;

use bench::Bench;
pub use bench::program;

/// How much is tried.
#[derive(Clone, Copy)]
pub struct Extent {
    /// Of the occurrences of one system call, at most so many.
    occurrences: usize,
    /// Whether calls fail in every command and state.
    all_calls: bool,
    /// Kills at random moments for each command.
    kills: usize,
    /// Of the bytes of a store file, at most so many.
    bytes: usize,
    /// Rounds of runs at once for each pairing.
    rounds: usize,
    /// When to end with those kinds that are long.
    until: Option<Instant>,
}

const QUICK: Extent = Extent {
    occurrences: 1,
    all_calls: false,
    kills: 3,
    bytes: 40,
    rounds: 1,
    until: None,
};

const FULL: Extent = Extent {
    occurrences: usize::MAX,
    all_calls: true,
    kills: 84,
    bytes: 2000,
    rounds: 20,
    until: None,
};

/// What went wrong, each with the fault that brought it about.
#[derive(Default)]
pub struct Tally {
    tried: usize,
    wrong: Vec<String>,
}

impl Tally {
    /// Counts a fault and what it brought about.
    fn add(&mut self, fault: &str, outcome: Result<(), String>) {
        self.tried += 1;
        if let Err(what) = outcome {
            println!("WRONG  {fault}: {what}");
            self.wrong.push(format!("{fault}: {what}"));
        }
    }

    /// Tries faults side by side, in random order, as many as there is time for; says now and then how many have been tried.
    fn of<F: Sync>(
        extent: Extent,
        mut faults: Vec<F>,
        name: impl Fn(&F) -> String + Sync,
        outcome: impl Fn(&F) -> Result<(), String> + Sync,
    ) -> Self {
        faults.shuffle(&mut ChaCha8Rng::seed_from_u64(1));
        println!("{} faults", faults.len());
        let tally = Mutex::new(Self::default());
        let in_time = |_: &&F| extent.until.is_none_or(|until| Instant::now() < until);
        faults.par_iter().filter(in_time).for_each(|fault| {
            let outcome = outcome(fault);
            let mut tally = tally.lock().unwrap_or_else(PoisonError::into_inner);
            tally.add(&name(fault), outcome);
            if tally.tried.is_multiple_of(500) {
                println!("{} tried", tally.tried);
            }
        });
        tally.into_inner().unwrap_or_else(PoisonError::into_inner)
    }
}

type Kind = fn(&Bench, Extent) -> Result<Tally, String>;

/// The kinds of faults: the word that asks for one, and what it does.
const KINDS: [(&str, &str, Kind); 5] = [
    ("flips", "bits flipped in files of the store", flips::run),
    ("runs", "runs at once", runs::run),
    ("kills", "kills at random moments", kills::run),
    (
        "limits",
        "file sizes limited: short writes and full disks",
        calls::limits,
    ),
    (
        "calls",
        "system calls that fail, and kills at them",
        calls::run,
    ),
];

/// `faults [--quick | --minutes N] [KIND]...`: all kinds where none is named; runs at once, limits and calls for N minutes each.
pub fn run(words: &[&str]) -> Result<(), String> {
    let (mut extent, minutes, only) = match words {
        ["--quick", only @ ..] => (QUICK, None, only),
        ["--minutes", minutes, only @ ..] => (FULL, Some(*minutes), only),
        only => (FULL, None, only),
    };
    let minutes: Option<u64> = match minutes.map(str::parse) {
        Some(Err(_)) => return Err("`--minutes` needs a number".to_owned()),
        Some(Ok(minutes)) => Some(minutes),
        None => None,
    };
    let known = |word: &&&str| KINDS.iter().any(|(name, ..)| *name == **word);
    if let Some(word) = only.iter().find(|word| !known(word)) {
        return Err(format!("`{word}` is no kind of fault"));
    }
    build()?;
    let bench = Bench::new()?;
    let mut wrong = 0;
    let asked = KINDS
        .iter()
        .filter(|(word, ..)| only.is_empty() || only.contains(word));
    for (_, name, kind) in asked {
        let started = Instant::now();
        extent.until = minutes.map(|minutes| started + Duration::from_secs(60 * minutes));
        let tally = kind(&bench, extent)?;
        println!(
            "{name}: {} tried, {} wrong, {:.0} s",
            tally.tried,
            tally.wrong.len(),
            started.elapsed().as_secs_f64()
        );
        wrong += tally.wrong.len();
    }
    if wrong > 0 {
        return Err(format!("{wrong} faults did harm"));
    }
    Ok(())
}

fn build() -> Result<(), String> {
    if std::env::var_os(bench::PROGRAM).is_some() {
        return Ok(());
    }
    let built = Command::new("cargo")
        .args(["build", "--release", "--locked", "--bin", "whereworn"])
        .status();
    match built {
        Ok(status) if status.success() => Ok(()),
        _ => Err("the program does not build".to_owned()),
    }
}

/// Whether a tool is there and may do what it is for; says so loudly where not.
fn usable(tool: &str, arguments: &[&str]) -> bool {
    let works = Command::new(tool)
        .args(arguments)
        .output()
        .is_ok_and(|output| output.status.success());
    if !works {
        println!(
            "NOT RUN: `{tool} {}` does not work here",
            arguments.join(" ")
        );
    }
    works
}
