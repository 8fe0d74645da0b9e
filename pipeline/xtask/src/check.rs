//! Everything that has to hold and needs no browser, quick checks first.

use std::process::Command;

/// A check: one cargo command, or a quick simulation that fails where a promise is broken.
enum Check {
    Cargo(&'static [&'static str]),
    Simulation(fn() -> Result<(), String>),
}

use Check::{Cargo, Simulation};

/// What has to hold beside the tests.
const CHECKS: &[(&str, Check)] = &[
    ("format", Cargo(&["fmt", "--all", "--check"])),
    (
        "lints",
        Cargo(&[
            "clippy",
            "--release",
            "--locked",
            "--workspace",
            "--all-targets",
            "--",
            "-D",
            "warnings",
        ]),
    ),
    (
        "documentation",
        Cargo(&["doc", "--release", "--locked", "--no-deps", "--workspace"]),
    ),
    (
        "night artefacts, simulated",
        Simulation(|| crate::nights::run(true)),
    ),
    ("plans, simulated", Simulation(|| crate::plan::run(true))),
    (
        "planted faults and clean studies",
        Simulation(|| crate::findings::run(true, None)),
    ),
    (
        "sentences, simulated",
        Simulation(|| crate::sentences::run(true, None, None)),
    ),
    (
        "intervals and tests, simulated",
        Simulation(|| crate::calibrate::run(&["--quick"])),
    ),
    (
        "mutated input",
        Simulation(|| crate::fuzz::command(&["--minutes", "1"])),
    ),
];

const TESTS: (&str, Check) = ("tests", Cargo(&["test", "--release", "--locked"]));

/// Runs the tests, where they are wanted, and all other checks; the first that fails ends it.
///
/// # Errors
/// The name of the check that failed, or what a simulation says.
pub fn run(tests: bool) -> Result<(), String> {
    for (name, check) in tests.then_some(&TESTS).into_iter().chain(CHECKS) {
        println!("\n== {name}");
        match check {
            Cargo(arguments) => cargo(arguments).map_err(|()| format!("{name} failed"))?,
            Simulation(simulate) => simulate()?,
        }
    }
    Ok(())
}

fn cargo(arguments: &[&str]) -> Result<(), ()> {
    let done = Command::new("cargo")
        .args(arguments)
        .env("RUSTDOCFLAGS", "-D warnings")
        .status();
    match done {
        Ok(status) if status.success() => Ok(()),
        _ => Err(()),
    }
}
