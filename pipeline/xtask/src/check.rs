//! Format, lints, documentation and tests, quick ones first.

use std::process::Command;

/// Each check as one cargo command.
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

/// Runs the checks; the first that fails ends it.
pub fn run() -> Result<(), String> {
    for (name, arguments) in CHECKS {
        println!("== {name}: cargo {}", arguments.join(" "));
        let done = Command::new("cargo")
            .args(arguments)
            .env("RUSTDOCFLAGS", "-D warnings")
            .status();
        if !done.is_ok_and(|status| status.success()) {
            return Err(format!("{name} failed"));
        }
    }
    Ok(())
}
