//! How often sentences are wrong, and how often they are there where they should be.

mod conditions;
mod power;

use conditions::Condition;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rayon::prelude::*;
use whereworn_stats::conclusions::{Conclusion, Measure, Plan, Verdict, conclude_each};
use whereworn_stats::resampling::seed::seed;

const NAMES: [&str; 7] = ["a", "b", "c", "d", "e", "f", "g"];

/// What one study said wrongly over its looks.
#[derive(Default, Clone, Copy)]
struct Wrong {
    differs: bool,
    differs_primary: bool,
    alike: bool,
    /// Reports with a false `leans`, and reports.
    leans: usize,
    reports: usize,
}

fn generator(name: &str, study: usize) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed(&[name, &study.to_string()]))
}

fn judge(condition: &Condition, number: usize) -> (Wrong, [usize; 4]) {
    let study = condition
        .design
        .draw(&NAMES, &mut generator(condition.name, number));
    let mut wrong = Wrong::default();
    let mut by_measure = [0; 4];
    for report in conclude_each(&study, &Plan::default()) {
        let is_null = |row: &Conclusion| match row.against {
            Some(against) => condition.alike(row.measure, row.site, against),
            None => condition.as_others(row.measure, row.site),
        };
        let mut leans = false;
        for row in &report {
            match row.verdict {
                Verdict::Differs if is_null(row) => {
                    wrong.differs = true;
                    wrong.differs_primary |= row.primary;
                    by_measure[row.measure as usize] |= 1;
                }
                Verdict::Leans if is_null(row) => leans = true,
                Verdict::Alike if !is_null(row) && condition.at_margin => wrong.alike = true,
                _ => {}
            }
        }
        wrong.reports += 1;
        wrong.leans += usize::from(leans);
    }
    (wrong, by_measure)
}

pub fn run(quick: bool) -> Result<(), String> {
    let studies = if quick { 100 } else { 1000 };
    let only = std::env::args().nth(3);
    if only.as_deref() == Some("tune") {
        for (sensors, wearers, effect) in [
            (6, 1, 14.0),
            (10, 1, 10.0),
            (16, 4, 8.5),
            (16, 1, 7.5),
            (20, 1, 7.0),
            (40, 4, 5.0),
            (80, 4, 3.5),
        ] {
            let [p, differs, _] = power::at(Measure::ReadsHighOrLow, sensors, wearers, effect, 600);
            print!(" {sensors}/{wearers}: {p:.2} {:.2}", differs / p);
        }
        println!();
        return Ok(());
    }
    if only.as_deref() == Some("power") {
        for (measure, effects) in [
            (Measure::ReadsHighOrLow, [4.0, 6.0, 8.0, 11.0]),
            (Measure::ReadsTrue, [1.3, 1.5, 1.8, 2.2]),
            (Measure::StaysOn, [3.0, 5.0, 8.0, 12.0]),
            (Measure::QuietAtNight, [2.0, 3.0, 5.0, 8.0]),
            (Measure::Delay, [2.0, 3.0, 3.7, 5.0]),
        ] {
            if std::env::args()
                .nth(4)
                .is_some_and(|m| !m.split(',').any(|m| m == format!("{measure:?}")))
            {
                continue;
            }
            for (sensors, wearers) in [(6, 1), (10, 1), (16, 4), (20, 1), (40, 4)] {
                for effect in effects {
                    let [p, differs, leans] =
                        power::at(measure, sensors, wearers, effect, studies * 4);
                    println!(
                        "{measure:?} n={sensors} w={wearers} effect {effect}: p {p:.3} differs {differs:.3} leans+ {leans:.3} ratio {:.2}",
                        differs / p
                    );
                }
            }
        }
        return Ok(());
    }
    let all = conditions::without_difference()
        .into_iter()
        .chain(conditions::at_margin());
    for (place, condition) in all.enumerate() {
        if only
            .as_ref()
            .is_some_and(|only| !only.split(',').any(|o| o == place.to_string()))
        {
            continue;
        }
        let start = std::time::Instant::now();
        let found: Vec<(Wrong, [usize; 4])> = (0..studies)
            .into_par_iter()
            .map(|n| judge(&condition, n))
            .collect();
        let count = |of: fn(&Wrong) -> bool| found.iter().filter(|(w, _)| of(w)).count();
        let reports: usize = found.iter().map(|(w, _)| w.reports).sum();
        let leans: usize = found.iter().map(|(w, _)| w.leans).sum();
        let by: Vec<usize> = (0..4)
            .map(|m| found.iter().map(|(_, b)| b[m]).sum())
            .collect();
        println!(
            "{place} {}: differs {} (primary {}) {by:?} alike {} leans {:.4} [{studies}] {:?}",
            condition.name,
            count(|w| w.differs),
            count(|w| w.differs_primary),
            count(|w| w.alike),
            leans as f64 / reports as f64,
            start.elapsed()
        );
    }
    let _ = Measure::ALL;
    Ok(())
}
