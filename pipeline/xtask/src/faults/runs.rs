//! Two to five runs at once, in all pairings, also slowed down.

use std::process::{Child, Stdio};

use super::bench::{Bench, State, sound};
use super::{Extent, Tally, usable};

const COMMANDS: [&str; 5] = ["load", "report", "check", "query", "plan"];

/// Runs every pair of commands at once, and all together, on a study in each state.
pub fn run(bench: &Bench, extent: Extent) -> Result<Tally, String> {
    let slow = usable("strace", &["-f", "-o", "/dev/null", "true"]);
    let mut groups: Vec<Vec<&str>> = vec![COMMANDS.to_vec()];
    for (number, first) in COMMANDS.iter().enumerate() {
        for second in COMMANDS.iter().skip(number) {
            groups.push(vec![first, second]);
        }
    }
    let mut all = Vec::new();
    for state in [State::Fresh, State::OneFileMore] {
        for group in &groups {
            for round in 0..extent.rounds {
                all.push((state, group, round, false));
                if slow {
                    all.push((state, group, round, true));
                }
            }
        }
    }
    Ok(Tally::of(
        extent,
        all,
        |(state, group, round, slowed)| {
            format!("{state:?} {group:?}, round {round}, slowed: {slowed}")
        },
        |(state, group, _, slowed)| at_once(bench, *state, group, *slowed),
    ))
}

fn at_once(bench: &Bench, state: State, commands: &[&str], slowed: bool) -> Result<(), String> {
    let case = bench.case(state)?;
    let slow: Vec<String> = if slowed {
        "strace -f --seccomp-bpf -o /dev/null -e trace=fsync,rename,renameat2,unlink \
         -e inject=fsync,rename,renameat2,unlink:delay_enter=20000"
            .split_whitespace()
            .map(str::to_owned)
            .collect()
    } else {
        vec!["env".to_owned()]
    };
    let start = |command: &&str| -> Result<Child, String> {
        let mut run = bench.under(&slow, command, &case.study);
        run.stdout(Stdio::null()).stderr(Stdio::piped());
        run.spawn().map_err(|error| error.to_string())
    };
    let runs: Vec<Child> = commands.iter().map(start).collect::<Result<_, _>>()?;
    let mut outputs = Vec::new();
    for run in runs {
        outputs.push(run.wait_with_output().map_err(|error| error.to_string())?);
    }
    for output in &outputs {
        let err = String::from_utf8_lossy(&output.stderr);
        let busy = output.status.code() == Some(1) && err.contains("another run");
        if !output.status.code().is_some_and(sound) && !busy {
            return Err(format!("{}: {err}", output.status));
        }
    }
    if !outputs
        .iter()
        .any(|output| output.status.code().is_some_and(sound))
    {
        return Err("every run says that another one works".to_owned());
    }
    bench.holds(&case, commands, None)
}
