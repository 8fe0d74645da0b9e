//! System calls that fail from outside, by `strace`, and file sizes that are limited, by `prlimit`.
//!
//! `strace` counts the occurrences of a call in each thread: the n-th is the n-th of its thread.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::bench::{Bench, State};
use super::{Extent, Tally, usable};

/// A call on files that the program makes.
struct Call {
    name: &'static str,
    /// What it can fail with: no space, a broken disk, no permission.
    errors: &'static [&'static str],
    /// Whether it changes something, and so is a place for a kill: between two of them kills leave the same behind.
    changes: bool,
}

const fn reads(name: &'static str, errors: &'static [&'static str]) -> Call {
    Call {
        name,
        errors,
        changes: false,
    }
}

const fn changes(name: &'static str, errors: &'static [&'static str]) -> Call {
    Call {
        name,
        errors,
        changes: true,
    }
}

/// All but `close`, whose failure the standard library does not tell of files, and panics at for folders.
const CALLS: [Call; 19] = [
    reads("openat", &["ENOSPC", "EIO", "EACCES"]),
    reads("read", &["EIO"]),
    reads("pread64", &["EIO"]),
    reads("lseek", &["EIO"]),
    reads("getdents64", &["EIO"]),
    reads("statx", &["EIO", "EACCES"]),
    reads("readlink", &["EIO", "EACCES"]),
    changes("write", &["ENOSPC", "EIO"]),
    changes("fsync", &["ENOSPC", "EIO"]),
    changes("ftruncate", &["ENOSPC", "EIO"]),
    changes("flock", &["EIO"]),
    changes("mkdir", &["ENOSPC", "EIO", "EACCES"]),
    changes("rename", &["ENOSPC", "EIO", "EACCES"]),
    changes("renameat2", &["ENOSPC", "EIO", "EACCES"]),
    changes("linkat", &["ENOSPC", "EIO", "EACCES"]),
    changes("unlink", &["EIO", "EACCES"]),
    changes("unlinkat", &["EIO", "EACCES"]),
    changes("rmdir", &["EIO", "EACCES"]),
    changes("fchmod", &["EIO", "EACCES"]),
];

const COMMANDS: [&str; 5] = ["load", "report", "plan", "check", "query"];

/// Lets each occurrence of each call fail in each way, in each command on a study in each state.
pub fn run(bench: &Bench, extent: Extent) -> Result<Tally, String> {
    let probe = [
        "-f",
        "-o",
        "/dev/null",
        "-e",
        "inject=fsync:error=EIO:when=9999",
        "true",
    ];
    if !usable("strace", &probe) {
        return Ok(Tally::default());
    }
    // The short form takes what changes files: the other commands do no more of it than a report does.
    let (states, commands) = if extent.all_calls {
        (&State::ALL[..], &COMMANDS[..])
    } else {
        (&State::ALL[..2], &COMMANDS[..3])
    };
    let mut all = Vec::new();
    for (state, command) in states
        .iter()
        .flat_map(|state| commands.iter().map(move |command| (*state, *command)))
    {
        for (call, before, most) in occurrences(bench, state, command)? {
            let step = (most - before).div_ceil(extent.occurrences).max(1);
            let places = (before + 1..=most).step_by(step);
            // What it can fail with in turn.
            for (n, error) in places.zip(call.errors.iter().cycle()) {
                all.push((state, command, call.name, format!("error={error}:when={n}")));
                if call.changes {
                    all.push((state, command, call.name, format!("signal=KILL:when={n}")));
                }
            }
        }
    }
    Ok(Tally::of(
        extent,
        all,
        |(state, command, call, fault)| format!("{state:?} {command} {call}:{fault}"),
        |(state, command, call, fault)| failed(bench, *state, command, call, fault),
    ))
}

fn failed(
    bench: &Bench,
    state: State,
    command: &str,
    call: &str,
    fault: &str,
) -> Result<(), String> {
    let case = bench.case(state)?;
    let (trace, inject) = (format!("trace={call}"), format!("inject={call}:{fault}"));
    let tool: Vec<String> = [
        "strace",
        "-f",
        "--seccomp-bpf",
        "-o",
        "/dev/null",
        "-e",
        &trace,
        "-e",
        &inject,
    ]
    .map(str::to_owned)
    .to_vec();
    let run = bench.under(&tool, command, &case.study).output();
    let run = run.map_err(|error| error.to_string())?;
    if run.status.success() {
        bench.made(&case, command)?;
    }
    bench.holds(&case, &[command], Some(&run))
}

/// How often a thread makes each call in a sound run: before the study is opened, and in all.
fn occurrences(
    bench: &Bench,
    state: State,
    command: &str,
) -> Result<Vec<(&'static Call, usize, usize)>, String> {
    let case = bench.case(state)?;
    let log = case.study.with_extension("log");
    let tool: Vec<String> = ["strace", "-f", "-o", &log.display().to_string()]
        .map(str::to_owned)
        .to_vec();
    let run = bench.under(&tool, command, &case.study).output();
    run.map_err(|error| error.to_string())?;
    let text = fs::read(&log).map_err(|error| error.to_string())?;
    let text = String::from_utf8_lossy(&text);
    let mut counts: BTreeMap<&str, (usize, BTreeMap<&str, usize>)> = BTreeMap::new();
    let mut opened = false;
    for line in text.lines() {
        let Some((thread, rest)) = line.split_once(' ') else {
            continue;
        };
        let rest = rest.trim_start();
        opened |= rest.contains("study.toml");
        let Some(call) = CALLS.iter().find(|call| {
            rest.strip_prefix(call.name)
                .is_some_and(|rest| rest.starts_with('('))
        }) else {
            continue;
        };
        let (before, threads) = counts.entry(call.name).or_default();
        *threads.entry(thread).or_default() += 1;
        // Until then only the loader and the runtime have worked, in one thread.
        if !opened {
            *before += 1;
        }
    }
    let all = CALLS.iter().filter_map(|call| {
        let (before, threads) = counts.get(call.name)?;
        let most = threads.values().max().copied().unwrap_or(0);
        (most > *before).then_some((call, *before, most))
    });
    Ok(all.collect())
}

/// Lets no file grow beyond so many bytes: the write that would is cut short, the next one fails.
pub fn limits(bench: &Bench, extent: Extent) -> Result<Tally, String> {
    if !usable("prlimit", &["--fsize=1000", "true"]) {
        return Ok(Tally::default());
    }
    let sizes = sizes(bench, extent)?;
    let all: Vec<(State, &str, u64)> = State::ALL
        .into_iter()
        .flat_map(|state| ["load", "report", "plan"].map(|command| (state, command)))
        .flat_map(|(state, command)| sizes.iter().map(move |size| (state, command, *size)))
        .collect();
    Ok(Tally::of(
        extent,
        all,
        |(state, command, size)| format!("{state:?} {command} with files of {size} bytes at most"),
        |(state, command, size)| limited(bench, *state, command, *size),
    ))
}

fn limited(bench: &Bench, state: State, command: &str, size: u64) -> Result<(), String> {
    let case = bench.case(state)?;
    let script = format!("trap '' XFSZ; exec prlimit --fsize={size} \"$@\"");
    let tool: Vec<String> = ["sh", "-c", &script, "sh"].map(str::to_owned).to_vec();
    let run = bench.under(&tool, command, &case.study).output();
    let run = run.map_err(|error| error.to_string())?;
    if run.status.success() {
        bench.made(&case, command)?;
    }
    bench.holds(&case, &[command], Some(&run))
}

/// Sizes at which some file of the study just fits and just does not.
fn sizes(bench: &Bench, extent: Extent) -> Result<Vec<u64>, String> {
    let case = bench.case(State::Idle)?;
    let mut sizes = vec![0, 1];
    lengths(&case.study, &mut sizes).map_err(|error| error.to_string())?;
    sizes.sort_unstable();
    sizes.dedup();
    let most = extent.occurrences.saturating_mul(8);
    let step = sizes.len().div_ceil(most).max(1);
    Ok(sizes.into_iter().step_by(step).collect())
}

fn lengths(folder: &Path, sizes: &mut Vec<u64>) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.path().is_dir() {
            lengths(&entry.path(), sizes)?;
        } else {
            let length = entry.metadata()?.len();
            sizes.extend([length / 2, length.saturating_sub(1)]);
        }
    }
    Ok(())
}
