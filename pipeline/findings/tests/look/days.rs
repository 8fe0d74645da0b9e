//! Dates that are off by whole days, months and years.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_findings::{Finding, Severity};
use whereworn_model::rows::WearEvent;
use whereworn_model::time::Micros;

use crate::study::{DAY, MINUTE, START, Study, claims, only};

/// Fingersticks of some days of a study, their dates moved.
fn moved(days: std::ops::Range<i64>, by: i64) -> Study {
    let mut study = Study::new(6);
    for check in &mut study.checks {
        check.meter = "kitchen".into();
        if (START + days.start * DAY..START + days.end * DAY).contains(&check.time) {
            check.time += by * DAY;
        }
    }
    study.checks.sort_by_key(|check| check.time);
    study
}

/// A time whose day and month are read for each other; `None` where they read the same.
fn other_date(at: Micros) -> Option<Micros> {
    let written = Timestamp::from_microsecond(at).unwrap();
    let written = written.to_zoned_datetime(TimeZone::UTC);
    let (month, day) = (written.month(), written.day());
    let other = (day <= 12 && day != month).then(|| written.with().month(day).day(month).build());
    Some(other?.unwrap().timestamp().as_microsecond())
}

/// 365 days of 1,440 min are 525,600 min; six fingersticks a day make 60 in ten days.
#[test]
fn fingersticks_of_another_year_are_told_with_their_dates() {
    for years in [-1, 1] {
        let outcome = moved(20..30, 365 * years).look_until(400);
        let found = only(&outcome);
        assert_eq!(
            (found.kind, found.severity),
            ("clock-meter", Severity::Wrong)
        );
        assert_eq!(found.size, Some(525_600.0 * years as f64));
        assert!(
            found.text.starts_with("60 fingersticks of `kelp`"),
            "{}",
            found.text
        );
        assert!(found.text.contains("make no pairs"), "{}", found.text);
        let minutes = format!("clock_minutes = {}\n", -525_600 * years);
        assert!(found.paste.ends_with(&minutes), "{}", found.paste);
        assert_eq!((outcome.doubted.len(), outcome.left_out.len()), (60, 0));
    }
}

/// From June to August the dates that read as another of the year are swapped: the third of July is the seventh of March.
#[test]
fn day_and_month_swapped_are_told() {
    for share in [1.0, 0.5] {
        let mut study = Study::new(9);
        let all = study.checks.len();
        let begin = ((1.0 - share) * all as f64) as usize;
        let mut swapped = 0;
        for check in &mut study.checks[begin..] {
            check.meter = "kitchen".into();
            if let Some(other) = other_date(check.time) {
                check.time = other;
                swapped += 1;
            }
        }
        study.checks.sort_by_key(|check| check.time);
        let outcome = study.look_until(300);
        let found = only(&outcome);
        assert_eq!(
            (found.kind, found.severity, found.size),
            ("clock-meter", Severity::Wrong, None)
        );
        assert!(
            found.text.contains("dates whose day and month are swapped"),
            "{}",
            found.text
        );
        // Some at the ends of the run fit as well as they stand.
        let told = outcome.doubted.len();
        assert!(
            (swapped * 9 / 10..=swapped).contains(&told),
            "{told} of {swapped}"
        );
        assert!(outcome.left_out.is_empty());
        assert_eq!(found.paste, "");
    }
}

/// The same of all readings: those of the third of July stand under the seventh of March, when no sensor was worn.
#[test]
fn readings_with_day_and_month_swapped_are_told() {
    let mut study = Study::new(9);
    let mut swapped = 0;
    for reading in study
        .sensors
        .iter_mut()
        .flat_map(|sensor| &mut sensor.readings)
    {
        if let Some(other) = other_date(reading.time) {
            reading.time = other;
            swapped += 1;
        }
    }
    for sensor in &mut study.sensors {
        sensor.readings.sort_by_key(|reading| reading.time);
    }
    let outcome = study.look_until(300);
    let claims = claims(&outcome);
    let found = claims
        .iter()
        .find(|found| found.text.contains("day and month of"))
        .expect("told");
    assert_eq!((found.kind, found.severity), ("set-aside", Severity::Wrong));
    assert_eq!(found.file, "readings/kelp.csv");
    let of_file = claims.iter().filter(|other| other.file == found.file);
    assert_eq!(of_file.count(), 1, "each month of the file is told too");
    // Some lie within the wear of their sensor under either date.
    let size = found.size.unwrap();
    assert!(
        (0.9 * f64::from(swapped)..=f64::from(swapped)).contains(&size),
        "{size} of {swapped}"
    );
    // Another sensor's readings lie as far out, and are no swapped dates.
    let mut moved = Study::new(9);
    for reading in &mut moved.sensors[4].readings {
        reading.time -= 100 * DAY;
    }
    let none = moved.look_until(300).findings;
    assert!(
        none.iter()
            .all(|found| !found.text.contains("day and month of"))
    );
}

/// A sensor without an `end`, whose `insert` was noted a day and a half late: some of the days before lie within the year that it would
/// be worn, day and month swapped, and none within its rated wear. And readings of a sensor that nobody inserted are told still.
#[test]
fn other_readings_outside_a_wear_are_no_swapped_dates() {
    let swapped = |found: &&Finding| found.text.contains("day and month of");
    let mut study = Study::new(9);
    // From the eleventh of August to the end of the twelfth: the eighth of November and of December.
    let is_late = |event: &WearEvent| event.sensor == "s7";
    let first = study.sensors[7].readings[0].time;
    study
        .events
        .retain(|event| !(is_late(event) && event.event == "end"));
    for event in study.events.iter_mut().filter(|event| is_late(event)) {
        event.time = first + 36 * 60 * MINUTE;
    }
    assert_eq!(study.look_until(400).findings.iter().find(swapped), None);

    let mut study = Study::new(9);
    study.events.retain(|event| event.sensor != "s3");
    for reading in &mut study.sensors[2].readings {
        reading.time = other_date(reading.time).unwrap_or(reading.time);
    }
    study.sensors[2]
        .readings
        .sort_by_key(|reading| reading.time);
    let findings = study.look_until(300).findings;
    assert_eq!(findings.iter().find(swapped), None);
    assert!(
        findings
            .iter()
            .any(|found| found.kind == "set-aside" && found.todo.contains("`s3`"))
    );
}

/// A meter that begins at the first of January 2020 again, to the end or for twenty days.
#[test]
fn a_meter_that_lost_its_date_is_told() {
    for (until, newest_first) in [(1000, false), (50, false), (50, true)] {
        let mut study = Study::new(6);
        // The last sensor comes off early, and fingersticks go on.
        let readings = &mut study.sensors[5].readings;
        readings.truncate(readings.len() - 400);
        let restart = START - 2343 * DAY;
        let lost = START + 30 * DAY..START + until * DAY;
        let mut rows = 0;
        for check in &mut study.checks {
            check.meter = "kitchen".into();
            if lost.contains(&check.time) {
                check.time = restart + (check.time - lost.start);
                rows += 1;
            }
            if newest_first {
                check.line = 10_000 - check.line;
            }
        }
        study.checks.sort_by_key(|check| check.time);
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!(
            (found.kind, found.severity),
            ("clock-meter", Severity::Doubtful)
        );
        let text = format!("{rows} fingersticks of `kelp` from 2020-01-01 to");
        assert!(found.text.starts_with(&text), "{}", found.text);
        assert!(
            found.text.contains("next to those of 2026-06-30"),
            "{}",
            found.text
        );
    }
}

/// For four days only: so long a meter may lie in a drawer as well.
#[test]
fn some_days_are_no_lost_date() {
    let mut study = Study::new(6);
    let lost = START + 30 * DAY..START + 34 * DAY;
    for check in &mut study.checks {
        check.meter = "kitchen".into();
        if lost.contains(&check.time) {
            check.time -= 2343 * DAY;
        }
    }
    study.checks.sort_by_key(|check| check.time);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// What an old meter measured before the first sensor, put behind the fingersticks of today.
#[test]
fn an_old_history_is_no_lost_date() {
    let mut study = Study::new(6);
    let last = study.checks.last().unwrap().line;
    let mut old = study.checks[..120].to_vec();
    for check in &mut old {
        check.time -= 900 * DAY;
        check.glucose = 260.0 - check.glucose / 2.0;
        check.line += last;
    }
    study.checks.splice(0..0, old);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
    // Nor where nobody checks for a week after that, or later fingersticks stand in a file of their own.
    let mut stopped = study.checks.clone();
    stopped.retain(|check| check.time < START + 54 * DAY);
    for check in &mut study.checks {
        if check.time > START + 30 * DAY {
            check.file = "fingersticks/later.csv".into();
        }
    }
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
    study.checks = stopped;
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// Measured a year before the first sensor, they fit none of the readings: nothing is wrong with them.
#[test]
fn fingersticks_before_the_first_sensor_are_no_fault() {
    let mut study = Study::new(6);
    let early = study.checks[..60].to_vec();
    let early = early.into_iter().map(|mut check| {
        check.time -= 365 * DAY;
        check.glucose = 260.0 - check.glucose / 2.0;
        check
    });
    study.checks.splice(0..0, early);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// From the thirtieth day on: comparisons leave these fingersticks out and no sensor.
#[test]
fn a_meter_a_day_ahead_is_told_as_that() {
    for days in [-1, 1] {
        let outcome = moved(30..70, days).look();
        let found = only(&outcome);
        assert_eq!(
            (found.kind, found.size),
            ("clock-meter", Some(1440.0 * days as f64))
        );
        assert!(outcome.left_out.is_empty());
        assert!(outcome.doubted.len() > 150, "{}", outcome.doubted.len());
        assert!(
            outcome
                .doubted
                .iter()
                .all(|row| row.time >= START + 29 * DAY)
        );
    }
}

/// Its readings begin a day after its `insert`: it is the sensor's date, and the fingersticks of its time are right.
#[test]
fn a_sensor_a_day_ahead_is_not_the_meter() {
    let mut study = moved(0..0, 0);
    study.shift(2, 0, DAY / MINUTE);
    let outcome = study.look();
    let found = claims(&outcome)
        .into_iter()
        .find(|found| found.kind == "clock-sensor");
    let found = found.unwrap_or_else(|| panic!("{:?}", outcome.findings));
    assert_eq!((found.sensor.as_str(), found.size), ("s2", Some(1440.0)));
    assert!(outcome.doubted.is_empty());
    assert_eq!(outcome.left_out.len(), 1);
    // What its log says is not told as well.
    let of_log = |found: &Finding| found.text.contains("both rows");
    assert!(!outcome.findings.iter().any(of_log));
}
