//! An `insert` or an `end` that was noted on another day.

use whereworn_findings::Severity;
use whereworn_model::rows::WearEvent;

use crate::study::{DAY, MINUTE, START, Study, claims, only};

/// A study whose log has an event of the second sensor so many days later than it was, and its cause.
fn moved(event: &str, days: f64, cause: &str) -> Study {
    let mut study = Study::new(4);
    let own = |row: &&mut WearEvent| &*row.sensor == "s1" && &*row.event == event;
    let row = study.events.iter_mut().find(own).unwrap();
    row.time += (days * DAY as f64) as i64;
    row.cause = cause.into();
    study.events.sort_by_key(|row| row.time);
    study
}

/// Kind, severity, days and sensor of what is claimed of a study.
fn told(study: &Study) -> Vec<(&'static str, Severity, f64, String)> {
    let outcome = study.look();
    let all = claims(&outcome).into_iter();
    all.map(|found| {
        let days = found.size.unwrap();
        (found.kind, found.severity, days, found.sensor.clone())
    })
    .collect()
}

/// Worn for 10 of 14 rated days: the readings begin 5 min after the insertion and end 5 min before the end, and the warm-up is
/// 1 h, so that an `insert` a day early leaves 23 h 5 min without a reading, one a day late 23 h 55 min of them before it.
#[test]
fn a_day_that_readings_deny_is_told() {
    let doubtful = Severity::Doubtful;
    for (event, days, kind, size) in [
        ("end", 1.5, "session-too-long", 1.5),
        ("end", -2.0, "set-aside", 2.0),
        ("insert", -1.0, "session-too-long", 0.96),
        ("insert", 1.0, "set-aside", 1.0),
    ] {
        let found = told(&moved(event, days, "chosen"));
        assert_eq!(found, [(kind, doubtful, size, "s1".to_owned())], "{event}");
    }
}

/// Half a day may pass before anybody looks; a sensor that failed is silent while it is worn.
#[test]
fn some_hours_and_failed_sensors_are_no_fault() {
    for (event, days, cause) in [
        ("end", 0.5, "chosen"),
        ("end", -0.5, "chosen"),
        ("insert", 0.5, ""),
        ("insert", -0.5, ""),
        ("end", 1.5, "sensor-fault"),
    ] {
        assert_eq!(
            told(&moved(event, days, cause)),
            [],
            "{event} {days} {cause}"
        );
    }
}

/// Rated for 10 days it ran out, and counts as worn for 10 days whenever it was taken off.
#[test]
fn a_sensor_that_ran_out_may_stay_on() {
    let mut study = moved("end", 1.5, "completed");
    study.settings += "[wear]\nrated_days = 10\n";
    assert_eq!(told(&study), []);
}

/// What follows an `end` after a pause as long as a warm-up is another sensor of that id.
#[test]
fn what_comes_after_a_warm_up_is_another_sensor() {
    let mut study = moved("end", -2.0, "chosen");
    let end = START + (14_700 + 14_400) * MINUTE - 2 * DAY;
    let pause = end..end + 61 * MINUTE;
    let readings = &mut study.sensors[1].readings;
    readings.retain(|reading| !pause.contains(&reading.time));
    assert_eq!(told(&study), []);
}

/// Readings that all lie a day late are of a clock or a date, or both rows of the log are off: no end is told alone.
#[test]
fn readings_of_another_day_are_not_of_one_end() {
    let mut study = Study::new(4);
    study.checks.clear();
    study.shift(1, 0, 1440);
    let both = ("set-aside", Severity::Doubtful, -1.0, "s1".to_owned());
    assert_eq!(told(&study), [both]);
}

/// One that lost its readings for 20 h may have lost a day and a half of them at its end as well.
#[test]
fn a_sensor_with_pauses_as_long_is_no_fault() {
    let mut study = moved("end", 1.5, "chosen");
    let from = START + (14_700 + 5_000) * MINUTE;
    let pause = from..from + 20 * 60 * MINUTE;
    let readings = &mut study.sensors[1].readings;
    readings.retain(|reading| !pause.contains(&reading.time));
    assert_eq!(told(&study), []);
}

/// A study in whose log the ids of two sensors, one after the other, changed places.
fn other_ids() -> Study {
    let mut study = Study::new(6);
    for event in &mut study.events {
        event.sensor = match event.sensor.as_str() {
            "s2" => "s3".into(),
            "s3" => "s2".into(),
            _ => event.sensor.clone(),
        };
    }
    study
}

/// Of two sensors one after the other the ids changed places in the log; both are named, in each file's finding too.
#[test]
fn ids_that_changed_places_are_told() {
    let study = other_ids();
    let outcome = study.look();
    let claims = claims(&outcome);
    let swapped = claims
        .iter()
        .find(|found| found.text.contains("changed places"));
    let swapped = swapped.expect("told");
    assert_eq!(
        (swapped.kind, swapped.severity),
        ("set-aside", Severity::Wrong)
    );
    assert!(
        swapped.text.starts_with("sensors `s3` and `s2` of `kelp`"),
        "{}",
        swapped.text
    );
    let of_files = claims.iter().filter(|found| found.sensor.is_empty());
    let named: Vec<&str> = of_files.map(|found| found.todo.as_str()).collect();
    assert!(!named.is_empty());
    assert!(
        named
            .iter()
            .all(|todo| todo.contains("of sensors `s2`, `s3`") || todo.contains("of sensor `s")),
        "{named:?}"
    );
}

/// Four days without a reading may be a telephone left at home; it is doubtful that the id was used twice.
#[test]
fn a_pause_of_days_is_doubtful() {
    let mut study = Study::new(4);
    let begin = study.sensors[1].readings[0].time;
    let pause = begin + 3 * DAY..begin + 7 * DAY;
    study.sensors[1]
        .readings
        .retain(|reading| !pause.contains(&reading.time));
    let outcome = study.look();
    let found = only(&outcome);
    let told = (found.kind, found.sensor.as_str(), found.severity);
    assert_eq!(told, ("session-too-long", "s1", Severity::Doubtful));
    assert!(
        found.text.contains("readings are missing"),
        "{}",
        found.text
    );
}

/// One reading each of two that hardly started tells of no names.
#[test]
fn a_reading_or_two_tell_of_no_names() {
    let mut study = other_ids();
    study.sensors[2].readings.truncate(1);
    study.sensors[3].readings.truncate(1);
    let findings = study.look().findings;
    assert!(
        findings
            .iter()
            .all(|found| !found.text.contains("changed places"))
    );
}
