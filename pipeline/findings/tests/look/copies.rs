//! Fingersticks that were written down from the sensor's display.

use std::ops::Range;

use whereworn_findings::{Finding, Outcome, Severity};
use whereworn_model::rows::{Check, Reading};

use crate::study::{DAY, MINUTE, START, Study, claims};

const MMOL: f64 = 18.0156;

/// A study whose values are written in steps.
fn in_steps(readings: f64, checks: f64) -> Study {
    let mut study = Study::new(6);
    let to = |value: &mut f64, step: f64| *value = (*value / step).round() * step;
    let sensors = study.sensors.iter_mut();
    let all = sensors.flat_map(|sensor| &mut sensor.readings);
    all.for_each(|reading| to(&mut reading.glucose, readings));
    study
        .checks
        .iter_mut()
        .for_each(|check| to(&mut check.glucose, checks));
    study
}

/// Two in three fingersticks of the bag's meter from a day to another become what was shown so many readings before.
fn copy(study: &mut Study, days: Range<i64>, back: usize, write: fn(f64) -> f64) {
    copies(study, days, back, |at| at % 3 < 2, write);
}

/// The same of others of them.
fn copies(
    study: &mut Study,
    days: Range<i64>,
    back: usize,
    is_one: fn(usize) -> bool,
    write: fn(f64) -> f64,
) {
    let sensors = study.sensors.iter();
    let readings: Vec<Reading> = sensors.flat_map(|s| s.readings.clone()).collect();
    let days = START + days.start * DAY..START + days.end * DAY;
    let own = |check: &&mut Check| check.meter == "bag" && days.contains(&check.time);
    let own = study.checks.iter_mut().filter(own).enumerate();
    for (_, check) in own.filter(|(at, _)| is_one(*at)) {
        let next = readings.partition_point(|reading| reading.time <= check.time);
        check.glucose = write(readings[next - 1 - back].glucose);
    }
}

fn copied(outcome: &Outcome) -> Vec<&Finding> {
    let claims = claims(outcome).into_iter();
    claims
        .filter(|found| found.text.contains("copied"))
        .collect()
}

/// Ten days, in which the meter has 30 fingersticks and 20 copies; twenty of rounded values, which chance gives oftener.
#[test]
fn a_stretch_of_copies_is_told_with_its_days() {
    let to_fives = |value: f64| 5.0 * (value / 5.0).round();
    for (until, back, write, words) in [
        (30, 0, f64::round as fn(f64) -> f64, "showed, which"),
        (30, 1, f64::round, "showed, or the one before it, which"),
        (45, 0, to_fives, "showed, rounded, which"),
    ] {
        let mut study = in_steps(1.0, 1.0);
        for (number, check) in study.checks.iter_mut().enumerate() {
            check.glucose = (check.glucose * (0.9 + 0.033 * (number % 7) as f64)).round();
        }
        copy(&mut study, 20..until, back, write);
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{:?}", outcome.findings);
        };
        assert_eq!((found.kind, found.severity), ("meter", Severity::Doubtful));
        assert!(found.text.contains(words), "{}", found.text);
        let days = |at: Option<i64>| (at.unwrap() - START) as f64 / DAY as f64;
        assert!((days(found.from) - 20.0).abs() < 1.0, "{found:?}");
        assert!((days(found.to) - until as f64).abs() < 1.0, "{found:?}");
        let lines = ["\nfrom = \"2026-06-", "\nto = \"2026-0"];
        assert!(
            lines.iter().all(|line| found.paste.contains(line)),
            "{found:?}"
        );
        let of_bag = |time: i64| {
            study
                .checks
                .iter()
                .any(|c| c.time == time && c.meter == "bag")
        };
        assert!(
            outcome.doubted.len() as i64 >= 2 * (until - 20) - 2,
            "{outcome:?}"
        );
        assert!(outcome.doubted.iter().all(|row| of_bag(row.time)));
    }
}

/// From a day on: what follows is left out too, what came before judges its meter's clock, which was set meanwhile.
#[test]
fn what_was_measured_before_judges_the_clock() {
    let mut study = in_steps(1.0, 1.0);
    let early = |check: &&mut Check| check.meter == "bag" && check.time < START + 35 * DAY;
    let early = study.checks.iter_mut().filter(early);
    early.for_each(|check| check.time += 43 * MINUTE);
    copy(&mut study, 45..70, 0, f64::round);
    study.checks.sort_by_key(|check| check.time);
    let outcome = study.look();
    let [found] = copied(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert!(found.paste.contains("\nfrom = \""), "{}", found.paste);
    assert!(!found.paste.contains("\nto = \""), "{}", found.paste);
    let claims = claims(&outcome);
    let clock = claims.iter().find(|found| found.kind == "clock-meter");
    assert_eq!(clock.expect("a clock").meter, "bag");
}

/// Copies have no delay behind the sensor, and the others of that time were written down 40 min later: no clock is told by
/// them. Said to be all right they are kept.
#[test]
fn copies_judge_no_clock_and_may_be_kept() {
    let mut study = in_steps(1.0, 1.0);
    copies(&mut study, 25..70, 8, |at| at % 3 == 2, f64::round);
    copy(&mut study, 25..70, 0, f64::round);
    let outcome = study.look();
    assert_eq!(claims(&outcome).len(), 1, "{:?}", outcome.findings);
    assert!(outcome.doubted.len() > 60);
    study.settings += "[[seen]]\nkind = \"meter\"\nmeter = \"bag\"\n";
    assert_eq!(study.look().doubted, []);
}

/// Whole mmol/L, tens and a display that ends at 150 make equals of what was measured.
#[test]
fn coarse_steps_and_the_ends_of_a_display_are_no_copies() {
    for (readings, checks) in [
        (MMOL, MMOL),
        (MMOL / 10.0, MMOL / 10.0),
        (MMOL / 10.0, MMOL),
        (10.0, 10.0),
        (1.0, 5.0),
        (1.0, 1.0),
    ] {
        let study = in_steps(readings, checks);
        assert_eq!(copied(&study.look()), Vec::<&Finding>::new(), "{checks}");
    }
    let mut study = in_steps(1.0, 1.0);
    let readings = study.sensors.iter_mut().flat_map(|s| &mut s.readings);
    readings.for_each(|reading| reading.glucose = reading.glucose.min(150.0));
    let checks = study.checks.iter_mut();
    checks.for_each(|check| check.glucose = check.glucose.min(150.0));
    assert_eq!(copied(&study.look()), Vec::<&Finding>::new());
}
