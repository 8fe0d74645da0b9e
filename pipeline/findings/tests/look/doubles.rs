//! Fingersticks that stand twice at one time, and many at one time.

use whereworn_findings::{Finding, Severity};
use whereworn_model::rows::Check;

use crate::study::{DAY, MINUTE, START, Study, claims, only};

/// A study of one meter in whole mg/dL, and copies of every so many of its fingersticks.
fn copied(every: usize, change: fn(Check) -> Check) -> Study {
    let mut study = Study::new(6);
    for check in &mut study.checks {
        check.meter = "kitchen".into();
        check.glucose = check.glucose.round();
    }
    let again: Vec<Check> = study
        .checks
        .iter()
        .step_by(every)
        .cloned()
        .map(change)
        .collect();
    study.checks.extend(again);
    study.checks.sort_by_key(|check| check.time);
    study
}

fn renamed(check: Check) -> Check {
    Check {
        meter: "app".into(),
        ..check
    }
}

#[test]
fn a_meter_under_two_names_is_told() {
    let outcome = copied(3, renamed).look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.meter.as_str()),
        ("meter", Severity::Doubtful, "app + kitchen")
    );
    assert_eq!(
        found.paste,
        "[[corrections]]\nwearer = \"kelp\"\nmeter = \"app\"\nleave_out = true\n"
    );
    // Both would go: they have one time and value.
    assert_eq!(outcome.doubted, []);
    // What stands under that name alone would be lost.
    let mut others = copied(3, renamed);
    for check in others
        .checks
        .iter_mut()
        .filter(|c| c.meter == "app")
        .step_by(10)
    {
        check.time += MINUTE;
    }
    others.checks.sort_by_key(|check| check.time);
    let outcome = others.look();
    let found = only(&outcome);
    assert_eq!(found.paste, "");
}

/// Two meters on one finger agree now and then; who measures again a minute later has no double.
#[test]
fn meters_that_agree_are_two() {
    let mut apart = copied(3, renamed);
    for check in apart.checks.iter_mut().filter(|c| c.meter == "app") {
        check.glucose += ((check.time / MINUTE) % 5) as f64;
    }
    let mut later = copied(3, renamed);
    for check in later.checks.iter_mut().filter(|c| c.meter == "app") {
        check.time += MINUTE;
    }
    for study in [&mut apart, &mut later] {
        study.checks.sort_by_key(|check| check.time);
        assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
    }
}

#[test]
fn calibrations_that_are_said_to_be_routine_are_left_out() {
    let calibration = |check: Check| Check {
        purpose: "calibration".into(),
        ..check
    };
    let study = copied(12, calibration);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.meter.as_str()),
        ("meter", Severity::Doubtful, "kitchen")
    );
    assert!(
        found.text.contains("as calibrations and as routine"),
        "{}",
        found.text
    );
    let rows = study
        .checks
        .iter()
        .filter(|check| check.purpose == "calibration");
    assert_eq!(
        (outcome.doubted.len(), outcome.left_out.len()),
        (rows.count(), 0)
    );
    // What was taken for an alarm and to calibrate is no copy.
    let mut alarms = copied(12, calibration);
    for check in alarms.checks.iter_mut().filter(|c| c.purpose == "routine") {
        check.purpose = "alarm".into();
    }
    assert_eq!(alarms.look().doubted, []);
    // Calibrations that stand once.
    let mut once = study;
    for check in once
        .checks
        .iter_mut()
        .filter(|c| c.purpose == "calibration")
    {
        check.time += 20 * MINUTE;
    }
    once.checks.sort_by_key(|check| check.time);
    assert_eq!(claims(&once.look()), Vec::<&Finding>::new());
}

/// From a day on all fingersticks of a meter have one time.
#[test]
fn a_clock_that_stood_still_is_told() {
    let stood = |days: i64| {
        let mut study = Study::new(6);
        for check in &mut study.checks {
            if check.meter == "bag" && check.time >= START + days * DAY {
                check.time = START + days * DAY;
            }
        }
        study.checks.sort_by_key(|check| check.time);
        study
    };
    let study = stood(40);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.meter.as_str()),
        ("clock-meter", Severity::Wrong, "bag")
    );
    let rows = study
        .checks
        .iter()
        .filter(|check| check.time == START + 40 * DAY);
    let text = format!(
        "{} fingersticks have one time, 2026-07-11T00:00: its clock",
        rows.count()
    );
    assert!(found.text.contains(&text), "{}", found.text);
    let out = outcome.doubted.iter();
    assert!(out.clone().all(|check| check.time == START + 40 * DAY));
    assert!(out.count() >= 40);
    // A few are no clock that stands.
    assert!(
        claims(&stood(59).look())
            .iter()
            .all(|found| !found.text.contains("stood still"))
    );
}
