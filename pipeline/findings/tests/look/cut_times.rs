//! Readings whose times were cut by an export.

use whereworn_findings::{Finding, Severity};

use crate::study::{DAY, MINUTE, Study, claims};

/// A study whose readings have their times cut down to so many minutes, as loading settles them.
fn cut(minutes: i64) -> Study {
    let mut study = Study::new(6);
    for sensor in 0..study.sensors.len() {
        for reading in &mut study.sensors[sensor].readings {
            reading.time -= reading.time.rem_euclid(minutes * MINUTE);
        }
        study.settle(sensor);
    }
    study
}

fn rejected(findings: &[Finding]) -> Vec<&Finding> {
    let own = findings.iter();
    own.filter(|found| found.kind == "rejected").collect()
}

/// Of 17,000 readings two in three and more are rejected in three months: that is told once.
#[test]
fn readings_with_cut_times_are_one_finding() {
    for (minutes, words) in [
        (15, "quarters of an hour"),
        (30, "whole and half hours"),
        (60, "whole hours"),
        (1440, "days"),
    ] {
        let study = cut(minutes);
        let outcome = study.look();
        let [found] = rejected(&outcome.findings)[..] else {
            panic!("{minutes}: {:?}", outcome.findings);
        };
        assert_eq!(found.severity, Severity::Wrong);
        assert!(
            found.text.contains(&format!("cut to {words}: ")),
            "{}",
            found.text
        );
        assert_eq!(found.size, Some(study.rejects.len() as f64));
        let others = claims(&outcome);
        assert_eq!(others.len(), 1, "{minutes}: {others:?}");
    }
}

/// Readings every quarter of an hour lose nothing; a week that stands twice, with other values, is told by month.
#[test]
fn readings_at_quarters_and_rows_that_contradict_are_no_cut_times() {
    let mut study = Study::new(6);
    for sensor in &mut study.sensors {
        let at_quarters = |time: i64| time.rem_euclid(15 * MINUTE) == 0;
        sensor.readings.retain(|reading| at_quarters(reading.time));
    }
    assert_eq!(rejected(&study.look().findings), Vec::<&Finding>::new());
    let mut study = Study::new(6);
    let own = &mut study.sensors[2].readings;
    let first = own[0].time;
    let again = own.iter().filter(|reading| reading.time < first + 7 * DAY);
    let again: Vec<_> = again.cloned().collect();
    own.extend(again.into_iter().map(|mut reading| {
        (reading.glucose, reading.line) = (reading.glucose + 30.0, reading.line + 1);
        reading
    }));
    own.sort_by_key(|reading| reading.time);
    study.settle(2);
    let outcome = study.look();
    let told = rejected(&outcome.findings);
    assert!(!told.is_empty() && told.iter().all(|found| !found.text.contains("cut to")));
}
