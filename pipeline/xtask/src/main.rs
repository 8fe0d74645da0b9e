//! Checks that contributors run: `cargo xtask check`.
#![allow(clippy::print_stdout, clippy::print_stderr)]

use std::process::{Command, ExitCode};

/// Each check as one cargo command, quick ones first.
const CHECKS: [(&str, &[&str]); 4] = [
    ("format", &["fmt", "--all", "--check"]),
    (
        "lints",
        &[
            "clippy",
            "--release",
            "--workspace",
            "--all-targets",
            "--",
            "-D",
            "warnings",
        ],
    ),
    (
        "documentation",
        &["doc", "--release", "--no-deps", "--workspace"],
    ),
    ("tests", &["test", "--release"]),
];

fn main() -> ExitCode {
    if std::env::args().nth(1).as_deref() != Some("check") {
        eprintln!("usage: cargo xtask check");
        return ExitCode::from(2);
    }
    for (name, arguments) in CHECKS {
        println!("== {name}: cargo {}", arguments.join(" "));
        let done = Command::new("cargo")
            .args(arguments)
            .env("RUSTDOCFLAGS", "-D warnings")
            .status();
        if !done.is_ok_and(|status| status.success()) {
            eprintln!("xtask: {name} failed");
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}
