//! Kills at random moments.

use std::process::Stdio;
use std::time::{Duration, Instant};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::bench::{Bench, State};
use super::{Extent, Tally};

/// Kills what writes on a study in each state, each at moments of a run's length.
pub fn run(bench: &Bench, extent: Extent) -> Result<Tally, String> {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut tally = Tally::default();
    for state in [State::Fresh, State::OneFileMore] {
        for command in ["load", "report", "plan"] {
            let case = bench.case(state)?;
            let started = Instant::now();
            let sound = bench.command(command, &case.study).output();
            sound.map_err(|error| error.to_string())?;
            let length = started.elapsed();
            for _ in 0..extent.kills {
                let share = f64::from(random.next_u32()) / f64::from(u32::MAX);
                let after = length.mul_f64(share);
                let fault = format!("{state:?} {command} killed after {} ms", after.as_millis());
                tally.add(&fault, killed(bench, state, command, after));
            }
        }
    }
    Ok(tally)
}

fn killed(bench: &Bench, state: State, command: &str, after: Duration) -> Result<(), String> {
    let case = bench.case(state)?;
    let mut run = bench.command(command, &case.study);
    run.stdout(Stdio::null()).stderr(Stdio::null());
    let mut run = run.spawn().map_err(|error| error.to_string())?;
    std::thread::sleep(after);
    let ended = run.kill().and_then(|()| run.wait());
    ended.map_err(|error| error.to_string())?;
    bench.holds(&case, &[command], None)
}
