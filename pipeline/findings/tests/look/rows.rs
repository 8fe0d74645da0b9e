//! Ids and rows.

use whereworn_findings::{Finding, Severity};
use whereworn_model::rows::{Check, Reading, RejectedRow, WearEvent};

use crate::study::{DAY, MINUTE, START, Study, claims, only};

#[test]
fn a_finding_that_was_seen_is_listed_as_seen() {
    let mut study = Study::new(6);
    study.shift(2, 0, 60);
    study.settings += "[[seen]]\nkind = \"clock-sensor\"\nsensor = \"s2\"\n";
    let outcome = study.look();
    let seen: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|finding| finding.seen)
        .collect();
    assert_eq!(seen.len(), 1);
    assert!(outcome.left_out.is_empty());
}

/// A row far below the last fingerstick up to the cut-off belongs to what follows in the file; where nothing does, to the
/// month that ends it.
#[test]
fn a_rejected_row_of_a_later_month_is_not_told_of() {
    let rejected = |line: fn(u64) -> u64, later_checks| {
        let mut study = Study::new(6);
        let last = study.checks.iter().map(|check| check.line).max().unwrap();
        study.later_checks = later_checks;
        study.rejects.push(RejectedRow {
            file: "fingersticks/kelp.csv".to_owned(),
            line: line(last),
            reason: "time that is none".to_owned(),
            ..RejectedRow::default()
        });
        let findings = study.look().findings;
        findings.iter().any(|found| found.kind == "rejected")
    };
    assert!(!rejected(|last| last + 300, 500));
    assert!(rejected(|last| last + 300, 0));
    assert!(rejected(|last| last - 10, 500));
}

/// A sensor's readings for some minutes, weeks before all others: all that the file has of that month, and not much.
#[test]
fn a_stray_reading_makes_no_file_wrong() {
    let aside = |readings: i64| {
        let mut study = Study::new(6);
        let first = study.sensors[0].readings[0];
        let early = (0..readings).map(|n| Reading {
            time: first.time - 60 * DAY + n * 5 * MINUTE,
            ..first
        });
        let early: Vec<Reading> = early.collect();
        study.sensors[0].readings.splice(0..0, early);
        let findings = study.look().findings;
        let mut aside = findings
            .iter()
            .filter(|found| found.kind == "set-aside" && found.sensor.is_empty());
        aside.next().map(|found| found.severity)
    };
    assert_eq!(aside(1), Some(Severity::Thin));
    assert_eq!(aside(12), Some(Severity::Wrong));
}

/// A row of June that was written at the end of the file, as who forgot it does.
#[test]
fn a_rejected_row_is_of_the_month_that_it_names() {
    let month = |raw: &str| {
        let mut study = Study::new(6);
        let last = study.checks.iter().map(|check| check.line).max().unwrap();
        study.rejects.push(RejectedRow {
            file: "fingersticks/kelp.csv".to_owned(),
            line: last + 1,
            reason: "unknown unit".to_owned(),
            raw: raw.to_owned(),
            ..RejectedRow::default()
        });
        let findings = study.look().findings;
        let found = findings.iter().find(|found| found.kind == "rejected");
        let text = &found.unwrap().text;
        let at = text.find("in 2026-").unwrap();
        text[at + 3..at + 10].to_owned()
    };
    let last = month("");
    assert_ne!(last, "2026-06");
    assert_eq!(month("2026-06-05T08:00Z,6,x"), "2026-06");
    // The file has no other row of that month.
    assert_eq!(month("2025-06-05T08:00Z,6,x"), last);
}

/// The month of the last fingerstick ends with it: it is no month of one row, of which a rejected row were half.
#[test]
fn a_row_at_the_end_of_a_month_is_of_that_month() {
    let mut study = Study::new(6);
    let midnight = START + 30 * DAY;
    study.checks.retain(|check| check.time < midnight);
    let mut last = study.checks.last().unwrap().clone();
    (last.time, last.line) = (midnight, last.line + 1);
    study.rejects.push(RejectedRow {
        file: last.file.to_string(),
        line: last.line + 1,
        reason: "time that is none".to_owned(),
        ..RejectedRow::default()
    });
    study.checks.push(last);
    let outcome = study.look();
    let mut found = outcome.findings.iter();
    let found = found.find(|found| found.kind == "rejected").unwrap();
    assert_eq!(found.severity, Severity::Thin, "{}", found.text);
}

/// An entry that says until when it was looked at hides nothing of what came into the file later.
#[test]
fn rows_that_come_later_were_not_seen() {
    let mut study = Study::new(6);
    let of_june = study
        .checks
        .iter()
        .filter(|check| check.time < START + 10 * DAY);
    let line = of_june.map(|check| check.line).max().unwrap();
    study.rejects.push(RejectedRow {
        file: "fingersticks/kelp.csv".to_owned(),
        line,
        reason: "unknown unit".to_owned(),
        ..RejectedRow::default()
    });
    let found = |study: &Study| {
        let findings = study.look().findings;
        let found = findings.into_iter().find(|found| found.kind == "rejected");
        found.unwrap()
    };
    let (plain, to) = (study.settings.clone(), found(&study).to.unwrap());
    let last_day = (to - START) / DAY + 1;
    for (until, is_seen) in [(last_day, true), (last_day - 1, false)] {
        study.settings = format!(
            "{plain}[[seen]]\nkind = \"rejected\"\nfile = \"fingersticks/kelp.csv\"\nto = 2026-06-{until:02}\n"
        );
        assert_eq!(found(&study).seen, is_seen, "{until}");
    }
    // The moment itself is meant, and nothing after it.
    for (until, is_seen) in [(to, true), (to - 1, false)] {
        let moment = jiff::Timestamp::from_microsecond(until).unwrap();
        study.settings = format!(
            "{plain}[[seen]]\nkind = \"rejected\"\nfile = \"fingersticks/kelp.csv\"\nto = \"{moment}\"\n"
        );
        assert_eq!(found(&study).seen, is_seen, "{moment}");
    }
}

/// An entry without a sensor or a meter is about the wearer, and about no finding of one of their sensors or meters; one
/// without a wearer is about all of its kind.
#[test]
fn a_wearer_is_no_sensor_and_no_meter() {
    let mut sensor = Study::new(6);
    sensor.shift(2, 0, 60);
    let mut meter = Study::new(6);
    let bag = |check: &&mut Check| check.meter == "bag";
    for check in meter.checks.iter_mut().filter(bag) {
        check.glucose *= 1.15;
    }
    let mut wearer = Study::new(6);
    for number in 3..6 {
        wearer.shift(number, 0, 60);
    }
    let plain = wearer.settings.clone();
    let mut studies = [sensor, meter, wearer];
    let of_kelp = "wearer = \"kelp\"\n";
    for (study, kind, named, is_seen) in [
        (0, "clock-sensor", of_kelp.to_owned(), false),
        (
            0,
            "clock-sensor",
            format!("{of_kelp}sensor = \"s2\"\n"),
            true,
        ),
        (0, "clock-sensor", String::new(), true),
        (1, "meter", of_kelp.to_owned(), false),
        (1, "meter", format!("{of_kelp}meter = \"kitchen\"\n"), true),
        (2, "clock-change", of_kelp.to_owned(), true),
    ] {
        let study = &mut studies[study];
        study.settings = format!("{plain}[[seen]]\nkind = \"{kind}\"\n{named}");
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!((found.kind, found.seen), (kind, is_seen), "{named}");
    }
}

/// Three in five of a meter's fingersticks are what the sensor showed; those of the other are measured.
#[test]
fn fingersticks_copied_from_the_sensor_are_told() {
    let mut study = Study::new(6);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
    let readings: Vec<Reading> = study
        .sensors
        .iter()
        .flat_map(|s| s.readings.clone())
        .collect();
    let bag = study.checks.iter_mut().filter(|check| check.meter == "bag");
    for (_, check) in bag.enumerate().filter(|(number, _)| number % 5 < 3) {
        let next = readings.partition_point(|reading| reading.time <= check.time);
        check.glucose = readings[next - 1].glucose;
    }
    let outcome = study.look();
    let copied = claims(&outcome)
        .into_iter()
        .find(|found| found.text.contains("copied"));
    let copied = copied.expect("a finding");
    assert_eq!(
        (copied.kind, copied.meter.as_str(), copied.size),
        ("meter", "bag", None)
    );
    assert_eq!(
        copied.paste,
        "[[corrections]]\nwearer = \"kelp\"\nmeter = \"bag\"\nleave_out = true\n"
    );
    // Without a name for the meter they go by their file, unless that has readings as well.
    for (file, line) in [
        (
            "fingersticks/kelp.csv",
            "\nfile = \"fingersticks/kelp.csv\"\n",
        ),
        ("readings/kelp.csv", ""),
    ] {
        study.checks.retain(|check| check.meter != "kitchen");
        for check in &mut study.checks {
            (check.meter, check.file) = ("".into(), file.into());
        }
        let outcome = study.look();
        let copied = claims(&outcome)
            .into_iter()
            .find(|found| found.text.contains("copied"));
        let paste = &copied.expect("a finding").paste;
        assert!(
            paste.contains(line) && paste.is_empty() == line.is_empty(),
            "{paste}"
        );
    }
}

/// A gap of three days, and an id inserted twice.
#[test]
fn one_id_for_two_sensors_is_told() {
    let mut study = Study::new(4);
    let gap = START + 2 * DAY..START + 5 * DAY + MINUTE;
    study.sensors[0]
        .readings
        .retain(|reading| !gap.contains(&reading.time));
    let again = WearEvent {
        time: START + 40 * DAY,
        line: 99,
        ..study.events[2].clone()
    };
    study.refused.push(again);
    let outcome = study.look();
    let kinds: Vec<(&str, &str)> = claims(&outcome)
        .iter()
        .map(|f| (f.kind, f.sensor.as_str()))
        .collect();
    assert!(kinds.contains(&("session-too-long", "s0")), "{kinds:?}");
    assert!(kinds.contains(&("sensor-reused", "s1")), "{kinds:?}");
    assert_eq!(kinds.len(), 2, "{kinds:?}");
}

/// An `insert` written again, a day later, with the right site: readings run on, so it is one sensor. Which row is right is not
/// known: the first one counts.
#[test]
fn a_row_that_corrects_the_site_is_no_second_sensor() {
    for days in [0, 1] {
        let mut study = Study::new(4);
        let corrected = WearEvent {
            time: study.events[2].time + days * DAY,
            site: "forearm".into(),
            line: 99,
            ..study.events[2].clone()
        };
        study.refused.push(corrected);
        let outcome = study.look();
        let found = only(&outcome);
        let told = (found.kind, found.sensor.as_str(), found.line);
        assert_eq!(told, ("sensor-reused", "s1", Some(99)));
        assert!(found.text.contains("`chest`"), "{}", found.text);
        assert!(
            found.text.contains("corrected to `forearm`"),
            "{}",
            found.text
        );
        assert_eq!(found.text.contains("set aside"), days > 0, "{}", found.text);
        assert_eq!(outcome.left_out, []);
        // Ended twice, or with a warm-up in between, it is two.
        let end = WearEvent {
            line: 100,
            ..study.events[3].clone()
        };
        study.refused.push(end);
        let outcome = study.look();
        let text = &claims(&outcome)[0].text;
        assert!(text.contains("two sensors have one id"), "{text}");
    }
}

/// A sensor that the log ends 3 days early has 863 readings after that, of 8,518 in June (2,879 of each of two sensors, 2,760
/// of the third, the one that ends June with it): a tenth, but 24 of them are no two hours late, and make no file wrong.
#[test]
fn readings_after_an_end_are_counted_as_set_aside() {
    let mut study = Study::new(3);
    let end = |event: &&mut WearEvent| &*event.sensor == "s1" && &*event.event == "end";
    study.events.iter_mut().find(end).unwrap().time -= 3 * DAY;
    let outcome = study.look();
    let mut all = outcome.findings.iter();
    let of_the_file = |found: &&Finding| found.kind == "set-aside" && found.sensor.is_empty();
    let aside = all.find(of_the_file).unwrap();
    assert_eq!((aside.severity, aside.size), (Severity::Thin, Some(0.1013)));
    let text = "863 readings of 8518 in 2026-06 set aside";
    assert!(aside.text.contains(text), "{}", aside.text);
}

/// Fingersticks by the clock are beside all kinds of readings; those of who measures whenever it is low are not.
#[test]
fn fingersticks_that_follow_the_readings_are_told() {
    let mut study = Study::new(6);
    let found = |study: &Study| {
        let outcome = study.look();
        let of = |found: &&Finding| found.kind == "checks-by-alarm";
        let found: Vec<Finding> = claims(&outcome).into_iter().filter(of).cloned().collect();
        found
    };
    assert_eq!(found(&study), []);
    let on_the_chest = study.sensors.iter().skip(1).step_by(2);
    let mut low: Vec<Check> = Vec::new();
    for sensor in on_the_chest {
        let mut levels: Vec<f64> = sensor.readings.iter().map(|r| r.glucose).collect();
        levels.sort_by(f64::total_cmp);
        let lowest = sensor
            .readings
            .iter()
            .filter(|r| r.glucose < levels[levels.len() / 10]);
        low.extend(lowest.step_by(6).map(|reading| Check {
            time: reading.time + 2 * MINUTE,
            glucose: reading.glucose * 1.04,
            ..study.checks[0].clone()
        }));
    }
    study.checks.extend(low.iter().cloned());
    study.checks.sort_by_key(|check| check.time);
    let told = found(&study);
    let [one] = &told[..] else { panic!("{told:?}") };
    assert_eq!((one.site.as_str(), one.unit), ("chest", "fraction"));
    assert!(one.text.contains("in the lowest tenth"), "{}", one.text);
    assert!((0.4..0.6).contains(&one.size.unwrap()), "{:?}", one.size);
    // Said to be of alarms they are no lie, and fewer than half of all.
    for check in &mut study.checks {
        if low.iter().any(|of| of.time == check.time) {
            check.purpose = "alarm".into();
        }
    }
    assert_eq!(found(&study), []);
}

/// The same sensor in the log and in the readings under its serial number too, of which an export may lack some.
#[test]
fn one_sensor_under_two_ids_is_told() {
    let mut study = Study::new(4);
    study.add("SN-771", 1, |glucose| glucose);
    let again = &mut study.sensors[4].readings;
    again.retain(|reading| reading.line % 1000 > 400);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.sensor.as_str()),
        ("sensor-reused", Severity::Wrong, "SN-771")
    );
    assert!(
        found
            .text
            .starts_with("sensors `s1` and `SN-771` of `kelp`: ")
            && found.text.contains("two ids, one sensor"),
        "{}",
        found.text
    );
    let out = outcome.left_out.iter().map(|out| out.sensor.as_str());
    assert_eq!(out.collect::<Vec<_>>(), ["SN-771"]);
}

/// Two sensors on one body read 3 % apart, and are equal where both stand at a limit.
#[test]
fn two_sensors_at_once_are_not_one() {
    let mut study = Study::new(4);
    let capped = |glucose: f64| glucose.max(219.0);
    study.add("other", 1, |glucose| glucose * 1.03);
    for reading in study.sensors[2].readings.iter_mut() {
        reading.glucose = capped(reading.glucose);
    }
    study.add("capped", 2, capped);
    study.sensors[5].readings.iter_mut().for_each(|reading| {
        if reading.glucose > 219.0 {
            reading.glucose *= 1.03;
        }
    });
    let outcome = study.look();
    let kinds = claims(&outcome).into_iter().map(|found| found.kind);
    assert!(!kinds.collect::<Vec<_>>().contains(&"sensor-reused"));
}

/// From one minute to another a sensor shows the value of the first reading.
fn freeze(study: &mut Study, sensor: usize, from: i64, hours: i64) {
    let span = START + from * MINUTE..=START + (from + 60 * hours) * MINUTE;
    let mut held = None;
    for reading in &mut study.sensors[sensor].readings {
        if span.contains(&reading.time) {
            reading.glucose = *held.get_or_insert(reading.glucose);
        }
    }
}

/// By hand: 8 h at 5 min are 97 readings of 2,867 from the warm-up on, in each of two runs; six fingersticks a day make 4.
#[test]
fn readings_that_repeat_one_value_for_hours_are_told() {
    let mut study = Study::new(6);
    for from in [31_000, 35_000] {
        freeze(&mut study, 2, from, 8);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.sensor.as_str()),
        ("thin", Severity::Doubtful, "s2")
    );
    let size = found.size.unwrap();
    assert!((size - 194.0 / 2867.0).abs() < 0.002, "{size}");
    assert_eq!(found.paste.matches("leave_out = true").count(), 2);
    assert!(outcome.left_out.is_empty());
    assert!(
        (3..=5).contains(&outcome.doubted.len()),
        "{:?}",
        outcome.doubted
    );
    assert!(outcome.doubted.iter().all(|row| row.reason == "thin"));
    study.settings += "[[seen]]\nkind = \"thin\"\nsensor = \"s2\"\n";
    assert!(study.look().doubted.is_empty());
}

/// An hour at one value, readings in whole mmol/L, and a display that ends at 180 mg/dL: none is a fault.
#[test]
fn short_coarse_and_cut_runs_are_no_fault() {
    let mut short = Study::new(6);
    freeze(&mut short, 2, 31_000, 1);
    let (mut coarse, mut cut) = (Study::new(6), Study::new(6));
    for reading in coarse
        .sensors
        .iter_mut()
        .flat_map(|sensor| &mut sensor.readings)
    {
        reading.glucose = (reading.glucose / 18.0156).round() * 18.0156;
    }
    freeze(&mut coarse, 2, 31_000, 12);
    for reading in cut
        .sensors
        .iter_mut()
        .flat_map(|sensor| &mut sensor.readings)
    {
        reading.glucose = reading.glucose.min(180.0);
    }
    cut.sensors[2].readings[300..400]
        .iter_mut()
        .for_each(|reading| reading.glucose = 180.0);
    for study in [short, coarse, cut] {
        let outcome = study.look();
        let of_sensor = |found: &&Finding| found.sensor == "s2";
        assert!(
            !claims(&outcome).iter().any(of_sensor),
            "{:?}",
            outcome.findings
        );
    }
}

/// A year or a month written wrong: the event is named whose date it is, and no second sensor is supposed.
#[test]
fn an_event_of_another_year_is_told_by_its_date() {
    for (event, days) in [("insert", -365), ("end", 30)] {
        let mut study = Study::new(8);
        let own = study.events.iter_mut();
        own.filter(|row| row.sensor == "s2" && row.event == event)
            .for_each(|row| row.time += days * DAY);
        study.events.sort_by_key(|row| row.time);
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!(found.kind, "session-too-long");
        assert_eq!(found.todo, format!("log the true date of its `{event}`"));
    }
}
