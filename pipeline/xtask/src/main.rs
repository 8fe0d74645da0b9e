//! What contributors run: `cargo xtask check`, `bench`, `calibrate`, `nights`, `plan`, `findings`, `sentences`, `faults`, `fuzz`, `sbom`.
#![allow(clippy::print_stdout, clippy::print_stderr)]

use std::process::ExitCode;

mod bench;
mod calibrate;
mod check;
mod faults;
mod findings;
mod fuzz;
mod nights;
mod plan;
mod sbom;
mod sentences;

const USAGE: &str = "usage: cargo xtask check [--but-tests]   everything that has to hold and needs no browser
       cargo xtask calibrate [--quick] [survival | intervals | study | comparisons | delay | next]...   coverage of intervals and error rates of tests, simulated
       cargo xtask bench [MILLIONS]...   speed beside DuckDB and Polars, which it gets from PyPI; on 1 million readings unless others are named
       cargo xtask faults [--quick | --minutes N] [flips | runs | kills | limits | calls]...   file operations that fail, kills, flipped bits, runs at once; the long kinds for N minutes each
       cargo xtask fuzz [--minutes N] [--seed N] [TARGET]   mutated input of every kind: no panic, no hang
       cargo xtask sbom                  what the program is made of, CycloneDX JSON
       cargo xtask findings [--quick | FAULT | clean [SEED STUDIES]]    what the look at the data finds of planted faults, and claims of clean studies
       cargo xtask nights [--quick | --fit]    what the detector of night artefacts finds on labelled synthetic nights
       cargo xtask plan [--quick]        sensors until a question is settled, power as advised, probabilities of being best
       cargo xtask sentences [--quick | [--only WORD] [--studies N]]   how often what a report says of sites is wrong, and how often it is said";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match words[..] {
        ["check"] => check::run(true),
        ["check", "--but-tests"] => check::run(false),
        ["calibrate", ref rest @ ..] => calibrate::run(rest),
        ["nights"] => nights::run(false),
        ["nights", "--quick"] => nights::run(true),
        ["findings"] => findings::run(false, None),
        ["findings", "--quick"] => findings::run(true, None),
        ["findings", only] => findings::run(false, Some(only)),
        ["findings", only, from, each] => match (from.parse(), each.parse()) {
            (Ok(from), Ok(each)) => findings::explore(only, from, each),
            _ => Err(format!(
                "`{from} {each}` are no seed and no number of studies"
            )),
        },
        ["nights", "--fit"] => nights::fit(),
        ["plan"] => plan::run(false),
        ["plan", "--quick"] => plan::run(true),
        ["bench"] => bench::run(&["1"]),
        ["bench", ref millions @ ..] => bench::run(millions),
        ["faults", ref rest @ ..] => faults::run(rest),
        ["fuzz", ref rest @ ..] => fuzz::command(rest),
        ["sbom"] => sbom::run(),
        ["sentences"] => sentences::run(false, None, None),
        ["sentences", "--quick"] => sentences::run(true, None, None),
        ["sentences", "--only", word] => sentences::run(false, None, Some(word)),
        ["sentences", ref only @ .., "--studies", count] => match (only, count.parse()) {
            ([], Ok(studies)) => sentences::run(false, Some(studies), None),
            (["--only", word], Ok(studies)) => sentences::run(false, Some(studies), Some(*word)),
            _ => Err(format!("`{count}` is no number of studies")),
        },
        _ => {
            eprintln!("{USAGE}");
            return ExitCode::from(2);
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("xtask: {failure}");
            ExitCode::FAILURE
        }
    }
}
