//! The command line: what was typed, glue, and what is printed. No statistics here.
#![allow(clippy::print_stdout, clippy::print_stderr)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

mod again;
mod args;
mod check;
mod cluster;
mod demo;
mod evidence;
mod failure;
mod findings;
mod kept;
mod ledger;
mod map;
mod month;
mod output;
mod plan;
mod print;
mod progress;
mod query;
mod report;
mod run_json;
mod start;
mod stop;
mod studies;
mod terminal;

use std::io::ErrorKind;
use std::process::ExitCode;

use clap::{CommandFactory, Parser};

use args::{Arguments, Command};
use failure::Failure;
use terminal::{emit, say};

/// Gives memory back that threads of other queries have left; how soon stands in `.cargo/config.toml`.
#[cfg(target_os = "linux")]
#[global_allocator]
static ALLOCATOR: tikv_jemallocator::Jemalloc = tikv_jemallocator::Jemalloc;

/// Exit status of a run with `--strict` in which rows were rejected.
const ROWS_REJECTED: u8 = 3;

/// Exit status of a report that is written without some of the study's own queries.
const QUERIES_FAILED: u8 = 4;

fn main() -> ExitCode {
    std::panic::set_hook(Box::new(|panic| {
        let text = panic.to_string().replace('\n', " ");
        say(&format!(
            "whereworn: a fault in whereworn itself, please report it: {text}"
        ));
    }));
    stop::listen();
    let status = std::panic::catch_unwind(run).unwrap_or(ExitCode::FAILURE);
    stop::clear();
    status
}

fn run() -> ExitCode {
    let outcome = match Arguments::parse().command {
        Command::Report(arguments) => report::run(&arguments).map(done),
        Command::Load(arguments) => report::run_load(&arguments).map(done),
        Command::Check(arguments) => check::run(&arguments),
        Command::Query(arguments) => query::run(&arguments).map(done),
        Command::Plan(arguments) => plan::run(&arguments).map(done),
        Command::Map(arguments) => map::run(&arguments).map(done),
        Command::Start(arguments) => start::run(&arguments).map(done),
        Command::Demo(arguments) => demo::run(&arguments).map(done),
        Command::Completions { shell } => emit(&completions(shell)).map(done),
        Command::Man => man().map(done),
    };
    match outcome {
        Ok(status) => status,
        Err(Failure::Rejected(rows)) => {
            say(&format!("whereworn: --strict: {rows} rows were rejected"));
            ExitCode::from(ROWS_REJECTED)
        }
        Err(failure @ Failure::Queries(_)) => {
            eprintln!("whereworn: {failure}");
            ExitCode::from(QUERIES_FAILED)
        }
        Err(Failure::Io { source, .. }) if source.kind() == ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(failure) => {
            say(&format!(
                "whereworn: {}",
                failure.to_string().replace('\n', " ")
            ));
            ExitCode::FAILURE
        }
    }
}

fn done((): ()) -> ExitCode {
    ExitCode::SUCCESS
}

fn completions(shell: clap_complete::Shell) -> Vec<u8> {
    let mut out = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "whereworn", &mut out);
    out
}

fn man() -> Result<(), Failure> {
    let mut out = Vec::new();
    let page = clap_mangen::Man::new(Arguments::command());
    page.render(&mut out).map_err(|source| Failure::Io {
        what: "the manual page".to_owned(),
        source,
    })?;
    emit(&out)
}
