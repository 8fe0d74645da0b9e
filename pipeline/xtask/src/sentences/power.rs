//! How often a true difference is said.

use super::conditions::with_effect;
use super::{NAMES, generator};
use rayon::prelude::*;
use whereworn_simulate::studies::Design;
use whereworn_stats::conclusions::{Measure, Plan, Primary, Verdict, conclude};

/// Two sites that differ in one of three planned measures: shares of studies with p below 0.05 at the end (Holm), `differs`, and
/// `leans` or better.
pub fn at(
    measure: Measure,
    sensors: usize,
    wearers: usize,
    effect: f64,
    studies: usize,
) -> [f64; 3] {
    let laws = with_effect(measure, effect);
    let measure = if measure == Measure::Delay {
        Measure::QuietAtNight
    } else {
        measure
    };
    let name = format!("{measure:?} {sensors} {wearers} {effect}");
    let others = [
        Measure::StaysOn,
        Measure::QuietAtNight,
        Measure::ReadsHighOrLow,
    ];
    let mut primary = vec![Primary::Measure(measure)];
    primary.extend(
        others
            .into_iter()
            .filter(|m| *m != measure)
            .take(2)
            .map(Primary::Measure),
    );
    let plan = Plan {
        primary,
        ..Plan::default()
    };
    let design = Design::plain(&laws, sensors, wearers);
    let found: Vec<[bool; 3]> = (0..studies)
        .into_par_iter()
        .map(|number| {
            let study = design.draw(&NAMES, &mut generator(&name, number));
            let rows = conclude(&study, &plan, None);
            let row = rows
                .iter()
                .find(|row| row.measure == measure && row.against.is_some());
            row.map_or([false; 3], |row| {
                [
                    row.p.is_some_and(|p| p < 0.05),
                    row.verdict == Verdict::Differs,
                    matches!(row.verdict, Verdict::Differs | Verdict::Leans),
                ]
            })
        })
        .collect();
    [0, 1, 2].map(|which| found.iter().filter(|found| found[which]).count() as f64 / studies as f64)
}
