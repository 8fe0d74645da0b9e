//! Meters that read otherwise than others, or than before.

use whereworn_findings::{Finding, Severity};

use crate::study::{DAY, MINUTE, START, Study, claims, only};

/// 15 % high: with two meters the pair is named, the size in percent of their mean, 0.15 / 1.075.
#[test]
fn a_meter_that_reads_high_is_found_within_sensors() {
    let mut study = Study::new(6);
    study
        .checks
        .iter_mut()
        .filter(|check| check.meter == "bag")
        .for_each(|check| check.glucose *= 1.15);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(found.kind, "meter");
    assert_eq!(found.meter, "bag + kitchen");
    assert!(
        (found.size.unwrap() - 0.15 / 1.075).abs() < 0.01,
        "{found:?}"
    );
}

/// One in seven of 369 fingersticks, 53, is a control solution of 120 mg/dL, give or take 2 %; the readings go from 80 to 220.
#[test]
fn checks_with_a_control_solution_are_told() {
    let mut study = Study::new(6);
    for (number, check) in study.checks.iter_mut().enumerate() {
        check.meter = "kitchen".into();
        if number % 7 == 3 {
            check.glucose = 120.0 * (1.0 + 0.01 * ((number % 5) as f64 - 2.0));
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.severity), ("meter", Severity::Doubtful));
    assert!((found.size.unwrap() - 120.0).abs() <= 2.0, "{found:?}");
    assert!(found.text.contains("control solution"), "{}", found.text);
    assert!(outcome.left_out.is_empty());
    let near = |row: &whereworn_findings::DoubtedCheck| (107.0..134.0).contains(&row.glucose);
    assert!(outcome.doubted.len() >= 53 && outcome.doubted.iter().all(near));
    // Said to be what they are, they are none of the fingersticks.
    for (number, check) in study.checks.iter_mut().enumerate() {
        check.purpose = if number % 7 == 3 {
            "control"
        } else {
            "routine"
        }
        .into();
    }
    assert!(study.look().doubted.is_empty());
}

/// Twenty days of fingersticks of a body without diabetes, all or seven in ten of them near 95 mg/dL, are no control solution.
#[test]
fn days_of_another_body_are_no_control_solution() {
    for of_ten in [10, 7] {
        let mut study = Study::new(6);
        let from = START + 12 * DAY;
        let days = from..from + 20 * DAY;
        for (number, check) in study.checks.iter_mut().enumerate() {
            check.meter = "kitchen".into();
            if days.contains(&check.time) && number % 10 < of_ten {
                check.glucose = 95.0 * (1.0 + 0.02 * ((number % 5) as f64 - 2.0));
            }
        }
        let outcome = study.look();
        let solution = |found: &&Finding| found.text.contains("control solution");
        assert_eq!(outcome.findings.iter().find(solution), None);
        assert!(!claims(&outcome).is_empty());
    }
}

/// Twelve sensors in turn at two sites, the second six with another meter that reads 16 % higher: none has both.
#[test]
fn a_meter_that_took_the_place_of_another_is_told_by_all_sensors() {
    let mut study = Study::new(12);
    let from = START + 6 * 14_700 * MINUTE;
    for check in &mut study.checks {
        let late = check.time >= from;
        check.meter = if late { "bag" } else { "kitchen" }.into();
        check.glucose *= if late { 1.16 } else { 1.0 };
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.meter.as_str()),
        ("meter", "bag + kitchen")
    );
    assert!((found.size.unwrap() - 0.16).abs() < 0.02, "{found:?}");
    assert!(found.text.contains("took the place of"), "{}", found.text);
    // All early sensors at one site and all late ones at the other: it may as well be the site.
    for (number, event) in study.events.iter_mut().enumerate() {
        event.site = if number < 12 { "abdomen" } else { "chest" }.into();
    }
    assert!(
        claims(&study.look())
            .iter()
            .all(|found| found.kind != "meter")
    );
}

/// Twelve sensors of ten days in turn at two sites, one meter by its label, which from the middle of the sixth on reads 16 %
/// higher. Sensors that read 14 % lower from the seventh on say nothing of it: none of them changed while it was worn.
#[test]
fn another_meter_of_the_same_name_is_told_by_the_sensor_worn_then() {
    let moment = START + (5 * 14_700 + 7_200) * MINUTE;
    let mut study = Study::new(12);
    for check in &mut study.checks {
        check.meter = "".into();
        check.glucose *= if check.time >= moment { 1.16 } else { 1.0 };
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.severity), ("meter", Severity::Doubtful));
    assert!((found.size.unwrap() - 0.16).abs() < 0.02, "{found:?}");
    assert!((found.from.unwrap() - moment).abs() <= DAY, "{found:?}");
    assert!(
        found.text.contains("another meter of that name"),
        "{}",
        found.text
    );
    let mut study = Study::new(12);
    for check in &mut study.checks {
        check.meter = "".into();
    }
    for reading in study.sensors[6..]
        .iter_mut()
        .flat_map(|sensor| &mut sensor.readings)
    {
        reading.glucose *= 0.86;
    }
    assert!(claims(&study.look()).is_empty());
}

/// The last but one sensor of a model fails in mid-wear, the last happens to read low, and all of the model that follows do: no meter, as
/// one sensor of the old model alone was worn after that moment.
#[test]
fn another_model_is_no_other_meter() {
    let mut study = Study::new(12);
    for check in &mut study.checks {
        check.meter = "".into();
    }
    for (sensor, own) in study.sensors.iter_mut().enumerate().skip(4) {
        let from = if sensor == 4 {
            own.readings.len() / 2
        } else {
            0
        };
        let low = own.readings[from..].iter_mut();
        low.for_each(|reading| reading.glucose *= 0.86);
    }
    let told = |study: &Study| !claims(&study.look()).is_empty();
    assert!(told(&study));
    let inserts = study
        .events
        .iter_mut()
        .filter(|event| event.event == "insert");
    for (sensor, event) in inserts.enumerate() {
        event.model = if sensor < 6 { "old" } else { "new" }.into();
    }
    assert!(!told(&study));
}

/// The sixth sensor of twelve fails in mid-wear, and those after it happen to read 4 % lower: it is no meter. Were it one, they would
/// read lower by as much as that sensor did.
#[test]
fn a_sensor_that_fails_is_no_other_meter() {
    let mut study = Study::new(12);
    for check in &mut study.checks {
        check.meter = "".into();
    }
    let half = study.sensors[5].readings.len() / 2;
    let failed = study.sensors[5].readings[half..].iter_mut();
    failed.for_each(|reading| reading.glucose *= 0.72);
    let later = study.sensors[6..].iter_mut();
    later
        .flat_map(|sensor| &mut sensor.readings)
        .for_each(|reading| reading.glucose *= 0.96);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// Two meters 18 % apart whose names change places between the fifth and the sixth sensor of ten: over all of them they agree.
#[test]
fn meters_whose_names_changed_places_are_told() {
    let moment = START + 5 * 14_700 * MINUTE;
    let mut study = Study::new(10);
    for check in &mut study.checks {
        if check.meter == "bag" {
            check.glucose *= 1.18;
        }
        if check.time >= moment {
            let other = if check.meter == "bag" {
                "kitchen"
            } else {
                "bag"
            };
            check.meter = other.into();
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.from), ("meter", Some(moment)));
    assert!(found.text.contains("changed places"), "{}", found.text);
    assert!((found.size.unwrap().abs() - 0.17).abs() < 0.03, "{found:?}");
}
