//! Rows of the log whose day and month are swapped, and sensors both rows of which are a day off.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_findings::{Finding, Outcome, Severity};
use whereworn_model::rows::{RejectedRow, WearEvent};
use whereworn_model::time::Micros;

use crate::study::{DAY, MINUTE, START, Study, claims};

const LOG: &str = "wear-events/kelp.csv";

/// A time whose day and month are read for each other; `None` where they read the same.
fn other_date(at: Micros) -> Option<Micros> {
    let written = Timestamp::from_microsecond(at).unwrap();
    let written = written.to_zoned_datetime(TimeZone::UTC);
    let (month, day) = (written.month(), written.day());
    let other = (day <= 12 && day != month).then(|| written.with().month(day).day(month).build());
    Some(other?.unwrap().timestamp().as_microsecond())
}

/// Rejects what loading does: rows whose time is yet to come, and ends before the insertion or without one.
fn load(study: &mut Study, as_of: Micros) {
    let mut reject = |event: &WearEvent, column: &str| {
        study.rejects.push(RejectedRow {
            file: event.file.to_string(),
            line: event.line,
            column: column.to_owned(),
            raw: format!("kelp,{},{}", event.sensor, event.event),
            ..RejectedRow::default()
        });
    };
    study.events.retain(|event| {
        let is_late = event.time > as_of;
        is_late.then(|| reject(event, "time"));
        !is_late
    });
    let inserts = study.events.iter().filter(|row| &*row.event == "insert");
    let inserts: Vec<(String, Micros)> = inserts
        .map(|row| (row.sensor.to_string(), row.time))
        .collect();
    let refused = &mut study.refused;
    study.events.retain(|event| {
        let insert = inserts.iter().find(|(sensor, _)| event.sensor == *sensor);
        let column = match insert {
            Some((_, insert)) if event.time < *insert => "time",
            None => "sensor",
            Some(_) => return true,
        };
        reject(event, column);
        refused.push(event.clone());
        false
    });
    study.events.sort_by_key(|event| event.time);
}

/// Numbers the rows of a log, swaps those that are asked for, and gives how many.
fn swap(study: &mut Study, is_asked: impl Fn(&WearEvent) -> bool) -> usize {
    let mut swapped = 0;
    for (line, event) in study.events.iter_mut().enumerate() {
        event.line = line as u64 + 2;
    }
    for event in study.events.iter_mut().filter(|event| is_asked(event)) {
        if let Some(other) = other_date(event.time) {
            event.time = other;
            swapped += 1;
        }
    }
    swapped
}

fn only(outcome: &Outcome) -> &Finding {
    let [found] = claims(outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    found
}

/// From June to August the first twelve days of a month are of another one then: an `insert` of the first of June is of the sixth of
/// January. Looked at in the next year, or at the end of the study, when some of them are yet to come.
#[test]
fn a_log_with_day_and_month_swapped_is_one_finding() {
    for (from_day, days) in [(0, 400), (35, 400), (0, 92)] {
        let mut study = Study::new(9);
        let swapped = swap(&mut study, |event| event.time >= START + from_day * DAY);
        load(&mut study, START + days * DAY);
        let outcome = study.look_until(days);
        let found = only(&outcome);
        let told = (found.kind, found.severity, found.file.as_str());
        assert_eq!(told, ("set-aside", Severity::Wrong, LOG));
        assert!(found.text.contains("day and month of"), "{}", found.text);
        assert!(found.todo.contains("`time_format`"), "{}", found.todo);
        if days == 400 {
            assert_eq!(found.size, Some(swapped as f64));
        }
        let kinds: Vec<&str> = outcome.findings.iter().map(|found| found.kind).collect();
        for kind in ["no-end", "lost", "rejected", "session-too-long"] {
            assert!(!kinds.contains(&kind), "{kind}: {:?}", outcome.findings);
        }
    }
}

/// A single row is told as well, whichever it is: of the fourth sensor, which was worn from the first to the eleventh of July.
#[test]
fn a_single_row_is_told_of_its_sensor() {
    for (kind, line) in [("insert", 8), ("end", 9)] {
        let mut study = Study::new(6);
        let is_asked = |event: &WearEvent| &*event.sensor == "s3" && &*event.event == kind;
        assert_eq!(swap(&mut study, is_asked), 1);
        load(&mut study, START + 400 * DAY);
        let outcome = study.look_until(400);
        let found = only(&outcome);
        assert!(found.text.contains("of sensor `s3`"), "{}", found.text);
        assert_eq!((found.file.as_str(), found.line), (LOG, Some(line)));
    }
}

/// The first of July noted as the seventh of February, which would be the second of July: a date that is wrong in another way.
#[test]
fn another_wrong_date_is_not_swapped() {
    let mut study = Study::new(6);
    let is_its = |event: &&mut WearEvent| &*event.sensor == "s3" && &*event.event == "insert";
    let row = study.events.iter_mut().find(is_its).unwrap();
    row.time = other_date(row.time + DAY).unwrap();
    study.events.sort_by_key(|event| event.time);
    let findings = study.look().findings;
    let swapped = |found: &Finding| found.text.contains("day and month");
    assert!(!findings.iter().any(swapped), "{findings:?}");
    assert!(
        findings
            .iter()
            .any(|found| found.kind == "session-too-long")
    );
}

/// A study in whose log both rows of some sensors are so many days later than they were.
fn moved(sensors: &[&str], days: i64) -> Study {
    let mut study = Study::new(6);
    let own = |row: &&mut WearEvent| sensors.contains(&row.sensor.as_str());
    for row in study.events.iter_mut().filter(own) {
        row.time += days * DAY;
    }
    study.events.sort_by_key(|row| row.time);
    study
}

/// Fingersticks that fit the readings as they stand say that it is the log; without any it may be the readings.
#[test]
fn a_log_a_day_off_at_both_ends_is_told() {
    for days in [-1, 1] {
        for (with, severity) in [(true, Severity::Wrong), (false, Severity::Doubtful)] {
            let mut study = moved(&["s2"], days);
            if !with {
                study.checks.clear();
            }
            let outcome = study.look();
            let found = only(&outcome);
            let told = (found.kind, found.severity, found.sensor.as_str());
            assert_eq!(told, ("set-aside", severity, "s2"));
            assert_eq!(found.size, Some(days as f64));
            assert_eq!(
                found.text.contains("fingersticks fit"),
                with,
                "{}",
                found.text
            );
            assert!(found.todo.contains("2026-06-21T09:05"), "{}", found.todo);
            assert!(outcome.left_out.is_empty());
        }
    }
}

/// Where half of the sensors are off nothing says which of them are.
#[test]
fn a_log_that_is_off_for_half_of_the_sensors_is_not_told_sensor_by_sensor() {
    let study = moved(&["s1", "s3", "s5"], 1);
    let of_both = |found: &Finding| found.text.contains("both rows");
    assert!(!study.look().findings.iter().any(of_both));
}

/// A sensor that came off some hours after its last reading, or whose readings lack a day at one end, is not moved.
#[test]
fn one_end_is_not_both() {
    for (first, last) in [(0, 1440), (1440, 0), (600, 0)] {
        let mut study = Study::new(6);
        let own = &mut study.sensors[2].readings;
        let from = own[0].time + first * MINUTE;
        let to = own[own.len() - 1].time - last * MINUTE;
        own.retain(|reading| (from..=to).contains(&reading.time));
        let of_both = |found: &Finding| found.text.contains("both rows");
        assert!(!study.look().findings.iter().any(of_both));
    }
}

/// An `insert` in the second of the hours that an October night has twice: day and month put right are the same, of the first hour.
#[test]
fn an_hour_that_comes_twice_is_no_other_date() {
    let mut study = Study::new(5);
    study.settings = study.settings.replace("UTC", "Europe/Lisbon");
    let second: Timestamp = "2026-10-25T01:20:00Z".parse().unwrap();
    let later = second.as_microsecond() - study.sensors[2].readings[0].time;
    study.events.iter_mut().for_each(|row| row.time += later);
    study.checks.iter_mut().for_each(|row| row.time += later);
    let readings = study.sensors.iter_mut().flat_map(|own| &mut own.readings);
    readings.for_each(|row| row.time += later);
    assert_eq!(claims(&study.look_until(300)), Vec::<&Finding>::new());
}
