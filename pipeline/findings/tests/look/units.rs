//! Units.

use whereworn_findings::{Finding, Outcome, Severity};
use whereworn_model::rows::{Check, Reading, RejectedRow};
use whereworn_model::time::format_utc;

use crate::study::{DAY, MINUTE, START, Study, claims, only};

/// 1 mmol/L = 18.0156 mg/dL (molar mass of glucose): values a factor of 18 too small are mmol/L.
#[test]
fn mmol_read_as_mg_is_a_wrong_unit_and_tells_of_no_clock() {
    let mut study = Study::new(6);
    study.sensors[3]
        .readings
        .iter_mut()
        .for_each(|reading| reading.glucose /= 18.0156);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.sensor.as_str()),
        ("unit", Severity::Wrong, "s3")
    );
    assert_eq!((found.size, found.unit), (Some(18.0), "mmol/L"));
    assert!(found.paste.contains("unit = \"mmol/L\""), "{}", found.paste);
}

/// One file of a meter's fingersticks in mmol/L: the lines to paste name the file, since the meter is right in the others.
#[test]
fn one_file_in_mmol_is_named_by_its_file() {
    let mut study = Study::new(6);
    for check in &mut study.checks {
        check.meter = "kitchen".into();
        if check.time >= START + 30 * DAY {
            check.file = "fingersticks/later.csv".into();
            check.glucose /= 18.0156;
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(found.kind, "unit");
    assert!(
        found.paste.contains("file = \"fingersticks/later.csv\"\n")
            && !found.paste.contains("meter = "),
        "{}",
        found.paste
    );
    // Where all of the meter's fingersticks are, the meter is named.
    for check in &mut study.checks {
        if &*check.file != "fingersticks/later.csv" {
            check.glucose /= 18.0156;
        }
    }
    let outcome = study.look();
    let pastes = claims(&outcome).into_iter().map(|found| &found.paste);
    assert!(
        pastes
            .into_iter()
            .all(|paste| paste.contains("meter = \"kitchen\"\n"))
    );
}

/// One fingerstick in ten in mmol/L (7.2 read as 7.2 mg/dL): each is kept out of comparisons and tells of no clock or meter; the
/// sensors stay in.
#[test]
fn single_fingersticks_in_mmol_are_told_by_their_lines() {
    let mut study = Study::new(6);
    let odd = |number: &usize| number % 10 == 3;
    let mut lines = Vec::new();
    for (number, check) in study.checks.iter_mut().enumerate() {
        if odd(&number) {
            check.glucose /= 18.0156;
            lines.push(check.line);
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.line),
        ("unit", Severity::Wrong, Some(lines[0]))
    );
    assert_eq!((found.size, found.unit), (Some(18.0), "mmol/L"));
    assert!(
        found
            .text
            .contains("in mmol/L among others that are not (lines 5, 15, 25, 35, 45 and ")
            && found.paste.is_empty(),
        "{found:?}"
    );
    assert_eq!(outcome.left_out, []);
    assert_eq!(outcome.doubted.len(), lines.len());
    study.settings += "keep_doubtful = true\n";
    assert_eq!(study.look().doubted, []);
}

/// Two are too few to be told and are kept out all the same; three on three days with no other row can be cured by lines.
#[test]
fn a_few_fingersticks_in_mmol_are_kept_out() {
    let mut study = Study::new(6);
    let day = |check: &Check| (check.time - START) / DAY;
    let mut first = study.checks.iter_mut().filter(|check| day(check) == 20);
    first
        .by_ref()
        .take(2)
        .for_each(|check| check.glucose /= 18.0156);
    let outcome = study.look();
    assert_eq!(claims(&outcome), Vec::<&Finding>::new());
    assert_eq!(outcome.doubted.len(), 2);
    let other = study.checks.iter().find(|check| day(check) == 20);
    assert_eq!(outcome.doubted[0].time, other.unwrap().time);
    for check in study
        .checks
        .iter_mut()
        .filter(|check| day(check) == 20)
        .skip(2)
    {
        check.glucose /= 18.0156;
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        found.paste,
        "[[corrections]]\nwearer = \"kelp\"\nfile = \"fingersticks/kelp.csv\"\nfrom = \"2026-06-21\"\nto = \"2026-06-21\"\nunit = \"mmol/L\"\n"
    );
}

/// The reverse: 130 mg/dL read as 130 mmol/L.
#[test]
fn single_fingersticks_in_mg_are_told() {
    let mut study = Study::new(6);
    for check in study.checks.iter_mut().skip(7).step_by(40) {
        check.glucose *= 18.0156;
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.unit), ("unit", "mg/dL"));
    assert!(
        found.text.contains("in mg/dL among others"),
        "{}",
        found.text
    );
}

/// Lows down to 15 and highs up to 655 mg/dL that a reading beside them bears out, and a sensor that fails, are of no other unit.
#[test]
fn rare_glucose_is_no_other_unit() {
    let mut study = Study::new(6);
    for (number, (check, reading)) in [
        (20, (30.0, 40.0)),
        (40, (15.0, 42.0)),
        (60, (27.0, 65.0)),
        (80, (655.0, 400.0)),
        (100, (610.0, 380.0)),
        (120, (400.0, 40.0)),
        (140, (24.0, 140.0)),
    ] {
        study.checks[number].glucose = check;
        let at = study.checks[number].time;
        let readings = study.sensors.iter_mut().flat_map(|s| &mut s.readings);
        for beside in readings.filter(|beside| (beside.time - at).abs() <= 20 * MINUTE) {
            beside.glucose = reading;
        }
    }
    let outcome = study.look();
    assert_eq!(outcome.doubted, []);
    assert!(claims(&outcome).iter().all(|found| found.kind != "unit"));
}

/// Takes every so many fingersticks as loading does where mg/dL stand in a file of mmol/L.
fn reject(study: &mut Study, is_rejected: fn(usize) -> bool) {
    let checks = std::mem::take(&mut study.checks);
    for (number, check) in checks.into_iter().enumerate() {
        if is_rejected(number) {
            study.rejects.push(RejectedRow {
                file: check.file.to_string(),
                line: check.line,
                reason: format!("glucose that no body has: {:.0} mmol/L", check.glucose),
                raw: format!("kelp,2026-06-09T08:00:00Z,{:.0},kitchen", check.glucose),
                ..RejectedRow::default()
            });
        } else {
            study.checks.push(check);
        }
    }
}

/// A few fingersticks in mg/dL in a file of mmol/L are rejected rows: they say of no other row that it is in mg/dL.
#[test]
fn a_few_rejected_fingersticks_are_no_unit_of_their_file() {
    let mut study = Study::new(6);
    reject(&mut study, |number| number % 60 == 7);
    let outcome = study.look();
    assert!(study.rejects.len() >= 5);
    assert_eq!(claims(&outcome), Vec::<&Finding>::new());
    assert_eq!(outcome.left_out, []);
    assert!(
        outcome
            .findings
            .iter()
            .any(|found| found.kind == "rejected")
    );
}

/// From three in ten on they do; they made no pairs, and what readings tell stays.
#[test]
fn many_rejected_fingersticks_leave_no_sensor_out() {
    let mut study = Study::new(6);
    reject(&mut study, |number| number % 10 < 4);
    let outcome = study.look();
    let units = claims(&outcome).into_iter().filter(|f| f.kind == "unit");
    let [found] = units.collect::<Vec<_>>()[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!(found.touches, ["reads-true", "reads-high-or-low", "delay"]);
    // Lines that declare all of the file as mg/dL would make the others wrong.
    assert_eq!(found.paste, "");
    assert_eq!(outcome.left_out, []);
}

/// A month of one meter's in mmol/L: its fingersticks are left out, and no sensor.
#[test]
fn a_month_of_a_meter_in_mmol_leaves_no_sensor_out() {
    let mut study = Study::new(6);
    let mut count = 0;
    for check in &mut study.checks {
        if check.meter == "bag" && check.time >= START + 30 * DAY {
            check.glucose /= 18.0156;
            count += 1;
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert!(
        found.paste.contains("meter = \"bag\"\nfrom = "),
        "{found:?}"
    );
    assert_eq!((outcome.left_out.len(), outcome.doubted.len()), (0, count));
}

/// The second sensor's file goes on in mmol/L at noon of a day within a month: the readings before are right, and the lines name
/// the minute.
#[test]
fn a_unit_that_changes_within_a_month_is_told_from_then_on() {
    let mut study = Study::new(6);
    let from = START + 14 * DAY + 12 * 60 * MINUTE;
    let late = |reading: &&mut Reading| reading.time >= from;
    let readings = study.sensors[1].readings.iter_mut().filter(late);
    let mut rows = 0;
    readings.for_each(|reading| {
        reading.glucose /= 18.0156;
        rows += 1;
    });
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("unit", "s1"));
    assert_eq!(found.from, Some(from));
    assert!(
        found.text.contains(&format!("{rows} readings")),
        "{}",
        found.text
    );
    assert!(
        found.paste.contains("from = \"2026-06-15T12:00\""),
        "{}",
        found.paste
    );
}

/// The same of fingersticks, on the third day of a month of which most are in mmol/L then.
#[test]
fn fingersticks_whose_unit_changes_early_in_a_month_are_told_from_then_on() {
    let mut study = Study::new(6);
    let from = START + 32 * DAY;
    let mut rows = 0;
    for check in &mut study.checks {
        check.meter = "kitchen".into();
        if check.time >= from {
            check.glucose /= 18.0156;
            // What comes after the last reading is not looked at.
            rows += usize::from(check.time <= START + 87_905 * MINUTE);
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.line), ("unit", Some(195)));
    assert!(
        found.text.contains(&format!("{rows} fingersticks")),
        "{}",
        found.text
    );
    assert_eq!(outcome.doubted.len(), rows);
}

/// From the middle of the third sensor on all are in mmol/L: one cause, one finding, and lines that cover what is off.
#[test]
fn sensors_in_mmol_from_a_day_on_are_one_finding() {
    let mut study = Study::new(6);
    let from = START + 25 * DAY + 12 * 60 * MINUTE;
    let readings = study.sensors.iter_mut().flat_map(|own| &mut own.readings);
    readings
        .filter(|reading| reading.time >= from)
        .for_each(|reading| reading.glucose /= 18.0156);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("unit", ""));
    assert_eq!(found.from, Some(from));
    assert!(
        found
            .paste
            .contains("file = \"readings/kelp.csv\"\nfrom = \"2026-06-26T12:00\"\nto = \"2026-08-"),
        "{}",
        found.paste
    );
    assert!(
        found
            .text
            .contains("sensors `s2`, `s3`, `s4`, `s5` from 2026-06-26"),
        "{}",
        found.text
    );
    assert_eq!(left_out(&outcome), ["s2", "s3", "s4", "s5"]);
}

fn left_out(outcome: &Outcome) -> Vec<&str> {
    let left_out = outcome.left_out.iter();
    left_out.map(|out| out.sensor.as_str()).collect()
}

/// Right ones between them stay, and what the settings say of one sensor is about that one alone.
#[test]
fn sensors_in_mmol_among_others_are_one_finding_of_these() {
    let mut study = Study::new(6);
    for number in [0, 2, 5] {
        let readings = study.sensors[number].readings.iter_mut();
        readings.for_each(|reading| reading.glucose /= 18.0156);
    }
    let outcome = study.look();
    let found = only(&outcome);
    let lines = |sensor| {
        format!("[[corrections]]\nwearer = \"kelp\"\nsensor = \"{sensor}\"\nunit = \"mmol/L\"\n")
    };
    assert_eq!(found.paste, ["s0", "s2", "s5"].map(lines).join("\n"));
    assert_eq!(left_out(&outcome), ["s0", "s2", "s5"]);

    study.settings += "[[seen]]\nkind = \"unit\"\nwearer = \"kelp\"\nsensor = \"s2\"\n";
    let outcome = study.look();
    assert_eq!(left_out(&outcome), ["s0", "s5"]);
    let seen = claims(&outcome)
        .into_iter()
        .map(|found| (found.sensor.as_str(), found.seen));
    assert_eq!(seen.collect::<Vec<_>>(), [("s2", true), ("", false)]);

    study.settings += "[[seen]]\nkind = \"unit\"\nwearer = \"kelp\"\n";
    let outcome = study.look();
    assert!(outcome.left_out.is_empty() && claims(&outcome).iter().all(|found| found.seen));
}

/// Takes every so many readings of a sensor as loading does where mg/dL stand in a file of mmol/L.
fn reject_readings(study: &mut Study, sensor: usize, is_kept: impl Fn(usize) -> Option<f64>) {
    let own = &mut study.sensors[sensor];
    let readings = std::mem::take(&mut own.readings);
    for (number, reading) in readings.into_iter().enumerate() {
        match is_kept(number) {
            Some(mgdl) => own.readings.push(Reading {
                glucose: mgdl * 18.0156,
                ..reading
            }),
            None => study.rejects.push(RejectedRow {
                file: "readings/kelp.csv".to_owned(),
                line: reading.line,
                reason: "glucose that no body has: 150 mmol/L".to_owned(),
                raw: format!(
                    "kelp,{},{},150,mmol/L",
                    own.sensor,
                    format_utc(reading.time)
                ),
                ..RejectedRow::default()
            }),
        }
    }
}

/// All of a wearer's mg/dL declared as mmol/L: rows of 40 and 31 mg/dL are left of two sensors, and of one nothing is.
#[test]
fn rejected_readings_of_a_file_are_one_finding_that_cures_all() {
    let mut study = Study::new(6);
    for sensor in 0..6 {
        let low = [40.0, 31.0, 40.0, 55.0, 70.0, 40.0][sensor];
        reject_readings(&mut study, sensor, |number| {
            (number % 25 == 3 && sensor != 2).then_some(low)
        });
    }
    let outcome = study.look();
    let wrong = outcome
        .findings
        .iter()
        .filter(|found| found.severity == Severity::Wrong);
    let [found] = wrong.collect::<Vec<_>>()[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!(
        found.paste,
        "[[corrections]]\nwearer = \"kelp\"\nfile = \"readings/kelp.csv\"\nunit = \"mg/dL\"\n"
    );
    let says = format!("{} rejected because", study.rejects.len());
    assert!(found.text.contains(&says), "{}", found.text);
    assert_eq!(left_out(&outcome), ["s0", "s1", "s2", "s3", "s4", "s5"]);
    assert!(
        outcome
            .findings
            .iter()
            .all(|found| found.kind != "rejected")
    );
}

/// From the middle of a sensor on: the lines begin there, and rows rejected for another reason are told as before.
#[test]
fn rejected_readings_from_a_day_on_are_one_finding() {
    let mut study = Study::new(6);
    for sensor in 2..6 {
        let first = if sensor == 2 { 1440 } else { 0 };
        let right: Vec<f64> = study.sensors[sensor]
            .readings
            .iter()
            .map(|row| row.glucose / 18.0156)
            .collect();
        reject_readings(&mut study, sensor, |number| match number < first {
            true => Some(right[number]),
            false => (number % 25 == 3).then_some(40.0),
        });
    }
    study.rejects.push(RejectedRow {
        file: "readings/kelp.csv".to_owned(),
        line: 12,
        reason: "a number that cannot be read".to_owned(),
        ..RejectedRow::default()
    });
    let outcome = study.look();
    let wrong = outcome
        .findings
        .iter()
        .filter(|found| found.severity == Severity::Wrong);
    let [found] = wrong.collect::<Vec<_>>()[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert!(
        found
            .paste
            .contains("file = \"readings/kelp.csv\"\nfrom = \"2026-06-26T10:05\"\nto = "),
        "{}",
        found.paste
    );
    assert_eq!(left_out(&outcome), ["s2", "s3", "s4", "s5"]);
    let others = outcome
        .findings
        .iter()
        .filter(|found| found.kind == "rejected");
    assert_eq!(others.count(), 1);
}
