//! Readings in coarse steps: rounding makes falls of next to nothing, which are no artefacts.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use whereworn_simulate::nights::kinds::drawn;
use whereworn_simulate::nights::validate::{KindResult, detected, validate};
use whereworn_stats::nights::{Settings, coarse, detect};

/// First seed of the nights: the detector was made without looking at them.
const HELD_OUT: u64 = 31_000_000;

/// What is found in nights of a kind whose readings are rounded to a step.
fn rounded(spacing: f64, seed: u64, step: f64) -> KindResult {
    let kind = drawn(spacing, seed);
    validate(&kind, 10, seed..seed + 4, &|made| {
        let mut made = made.clone();
        for glucose in &mut made.glucose {
            *glucose = (*glucose / step).round() * step;
        }
        detected(&made, &Settings::default())
    })
}

/// Without a look at the steps rounding to whole mmol/L makes 771 of these nights' readings 5 min apart, of 10 mg/dL 180.
#[test]
fn rounding_makes_no_artefacts() {
    for step in [5.0, 9.0078, 10.0, 18.0156] {
        for spacing in [5.0, 15.0] {
            let kinds = (0..12).map(|seed| rounded(spacing, HELD_OUT + 10 * seed, step));
            let (mut events, mut reported, mut wrong) = (0, 0, 0);
            for kind in kinds {
                events += kind.all_events;
                reported += kind.reported;
                wrong += kind.false_per_100.count;
            }
            // 480 nights.
            assert!(wrong <= 10, "{step} {spacing}: {wrong} of {reported}");
            assert!(
                reported <= events,
                "{step} {spacing}: {reported} of {events}"
            );
        }
    }
}

/// A fall of 70 mg/dL is told through steps of 10; through whole mmol/L hardly any is.
#[test]
fn what_is_larger_than_the_steps_is_found() {
    let minutes: Vec<f64> = (0..288).map(|i| 5.0 * f64::from(i)).collect();
    let wave = |at: &f64| 150.0 + 40.0 * (at / 90.0).sin();
    let mut glucose: Vec<f64> = minutes.iter().map(wave).collect();
    glucose[100..109]
        .iter_mut()
        .for_each(|reading| *reading -= 70.0);
    let written: Vec<f64> = glucose
        .iter()
        .map(|of| (of / 10.0).round() * 10.0)
        .collect();
    let found = detect(&minutes, &written, &[], &Settings::default());
    let found: Vec<(usize, usize)> = found.iter().map(|run| (run.start, run.end)).collect();
    assert_eq!(found, [(100, 108)]);
}

#[test]
fn steps_of_each_day() {
    let minutes: Vec<f64> = (0..700).map(|i| 5.0 * f64::from(i)).collect();
    let glucose = |step: f64| {
        minutes
            .iter()
            .map(move |at| ((150.0 + 60.0 * (at / 97.0).sin()) / step).round() * step)
    };
    // From the second day on whole mmol/L; the last part of a day is too short to tell.
    let (fine, whole): (Vec<f64>, Vec<f64>) = (glucose(1.0).collect(), glucose(18.0156).collect());
    let both: Vec<f64> = fine
        .iter()
        .take(288)
        .chain(whole.iter().skip(288).take(300))
        .copied()
        .collect();
    let steps = coarse::steps(&minutes[..588], &both);
    assert_eq!(steps.len(), 588);
    assert!(steps[..288].iter().all(|step| *step == 0.0));
    assert!(
        steps[288..]
            .iter()
            .all(|step| (step - 18.0156).abs() < 1e-9)
    );
    // mmol/L with one decimal are fine, and a value held all day tells nothing.
    let decimal: Vec<f64> = glucose(1.80156).collect();
    assert!(
        coarse::steps(&minutes, &decimal)
            .iter()
            .all(|step| *step == 0.0)
    );
    assert_eq!(coarse::steps(&minutes[..288], &[100.0; 288]), [0.0; 288]);
    assert_eq!(coarse::steps(&[], &[]), []);
}
