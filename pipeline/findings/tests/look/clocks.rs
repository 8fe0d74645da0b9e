//! Clocks of sensors, and of everybody.

use whereworn_findings::{Finding, Outcome, Severity};
use whereworn_model::rows::{RejectedRow, contradiction};

use crate::study::{DAY, MINUTE, START, Study, claims, only};

#[test]
fn of_a_clean_study_nothing_is_claimed() {
    let outcome = Study::new(6).look();
    assert_eq!(claims(&outcome), Vec::<&Finding>::new());
    assert!(outcome.left_out.is_empty());
}

/// A clock that is an hour ahead, and one 40 min behind: the sign, the size, the sensor and the lines that cure it.
#[test]
fn a_sensor_whose_clock_is_off_is_named_and_left_out() {
    for (minutes, size) in [(60, 60.0), (-40, -40.0)] {
        let mut study = Study::new(6);
        study.shift(2, 0, minutes);
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s2"));
        assert!((found.size.unwrap() - size).abs() <= 8.0, "{found:?}");
        let cure = format!("clock_minutes = {}", -found.size.unwrap());
        assert!(
            found.paste.contains("sensor = \"s2\"") && found.paste.contains(&cure),
            "{}",
            found.paste
        );
        assert_eq!(outcome.left_out.len(), 1);
        assert_eq!(outcome.left_out[0].sensor, "s2");
        study.settings += "keep_doubtful = true\n";
        assert!(study.look().left_out.is_empty());
    }
}

/// Of each of several wearers what is found is what is found of them alone, in the same order on one thread and on several.
#[test]
fn wearers_are_looked_at_each_alone_on_any_number_of_threads() {
    let shifts = [("kelp", 2, 60), ("moss", 4, -45), ("rush", 1, 75)];
    let one = |(wearer, sensor, minutes): (&str, usize, i64)| {
        let mut study = Study::new(6);
        study.shift(sensor, 0, minutes);
        // No two have the same fingersticks.
        let checks = study.checks.iter_mut();
        checks.for_each(|check| check.glucose += sensor as f64 * 1e-6);
        study.of(wearer)
    };
    let found = |outcome: &Outcome| -> Vec<Finding> {
        let clocks = outcome.findings.iter().filter(|f| f.kind == "clock-sensor");
        let mut clocks: Vec<Finding> = clocks.cloned().collect();
        clocks.sort_by_key(|finding| finding.wearer.clone());
        clocks
    };
    let alone: Vec<Finding> = shifts.iter().flat_map(|s| found(&one(*s).look())).collect();
    let named: Vec<&str> = alone.iter().map(|f| f.sensor.as_str()).collect();
    assert_eq!(named, ["s2", "s4", "s1"]);
    let [kelp, moss, rush] = shifts.map(one);
    let together = kelp.and(moss).and(rush);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
        pool.build().unwrap().install(|| together.look())
    };
    let (single, several) = (on(1), on(3));
    assert_eq!(found(&single), alone);
    assert_eq!(single, several);
}

/// 12 min more than the 8 min of delay are within what a delay can be.
#[test]
fn inside_twenty_minutes_it_is_a_delay() {
    let mut study = Study::new(6);
    study.shift(2, 0, 10);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// From the eighth day of the third sensor on all readings are an hour ahead: one change, and no row of odd sensors.
#[test]
fn an_hour_from_a_day_on_is_one_change() {
    let mut study = Study::new(6);
    let at = START + 2 * 14_700 * MINUTE + 7 * DAY;
    for sensor in 0..6 {
        study.shift(sensor, at, 60);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.size),
        ("clock-change", Severity::Wrong, Some(60.0))
    );
    assert!((found.from.unwrap() - at).abs() < DAY, "{found:?}");
}

/// Set back by 20 min on the sixth day: two runs of readings interleave for 20 min, which gives the size.
#[test]
fn a_clock_set_back_within_a_sensor_is_a_jump() {
    let mut study = Study::new(6);
    let at = START + 14_700 * MINUTE + 5 * DAY + 2 * MINUTE;
    study.shift(1, at, -32);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s1"));
    assert!((found.size.unwrap() + 32.0).abs() <= 4.0, "{found:?}");
}

/// Set back by three spacings the readings come again at the same times: loading keeps the first of each two, and only
/// the rows that contradict them tell of the clock. Of as many contradictions line by line no clock is the cause.
#[test]
fn a_clock_set_back_by_whole_spacings_is_a_jump() {
    let mut study = Study::new(6);
    let at = START + 14_700 * MINUTE + 5 * DAY + 2 * MINUTE;
    study.shift(1, at, -15);
    study.settle(1);
    assert_eq!(study.rejects.len(), 3);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s1"));
    assert_eq!(found.size, Some(-15.0));
    assert!((found.from.unwrap() - at).abs() <= 15 * MINUTE, "{found:?}");

    let mut study = Study::new(6);
    for line in [3000, 3002, 3004] {
        study.rejects.push(RejectedRow {
            file: "readings/kelp.csv".to_owned(),
            line: line + 1,
            reason: contradiction("readings/kelp.csv", line),
            ..RejectedRow::default()
        });
    }
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// Two in five readings missing, in stretches of hours: a fingerstick without a reading tells nothing of clocks.
#[test]
fn many_gaps_tell_of_no_clock() {
    for seed in 1..6_i64 {
        let mut study = Study::new(4);
        for sensor in &mut study.sensors {
            sensor.readings.retain(|reading| {
                let stretch = reading.time / (100 * MINUTE);
                (stretch * stretch * 7 + stretch * 13 + seed * 31) % 17 >= 7
            });
        }
        let outcome = study.look();
        assert_eq!(claims(&outcome), Vec::<&Finding>::new(), "{seed}");
    }
}

/// Two sensors are worn at a time, and the telephone of one in each two is an hour ahead: its sensors are told and no other, though a
/// shift of half an hour of all lies between.
#[test]
fn a_telephone_an_hour_ahead_is_not_half_an_hour_of_all() {
    let mut study = Study::new(8);
    for number in 0..8 {
        study.add(&format!("t{number}"), number, |glucose| 0.96 * glucose);
    }
    let at = |sensor: usize| 8 + sensor;
    (0..8).for_each(|sensor| study.shift(at(sensor), 0, 60));
    let outcome = study.look();
    let claims = claims(&outcome);
    let mut told: Vec<(&str, Option<f64>)> = claims
        .iter()
        .map(|found| (found.sensor.as_str(), found.size))
        .collect();
    told.sort_by_key(|(sensor, _)| *sensor);
    let names: Vec<String> = (0..8).map(|number| format!("t{number}")).collect();
    let expected: Vec<(&str, Option<f64>)> = names
        .iter()
        .map(|name| (name.as_str(), Some(60.0)))
        .collect();
    assert_eq!(told, expected);
    assert_eq!(outcome.left_out.len(), 8);
}

/// Readings begin after a warm-up of an hour, and those of a telephone that was put back by 45 min soon after the `insert`: no time for a
/// first reading, though nearer to none. So it is the telephone, and not the one meter.
#[test]
fn a_clock_that_was_put_back_makes_no_usual_first_reading() {
    let mut study = Study::new(8);
    study
        .checks
        .iter_mut()
        .for_each(|check| check.meter = "bag".into());
    for sensor in &mut study.sensors {
        let from = sensor.readings[0].time + 60 * MINUTE;
        sensor.readings.retain(|reading| reading.time >= from);
    }
    for sensor in 4..8 {
        study.shift(sensor, 0, -45);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.meter.as_str()), ("clock-sensor", ""));
    assert!((found.size.unwrap() + 45.0).abs() <= 8.0, "{found:?}");
}

/// The clock of all readings is put back by an hour two days into the third sensor: two runs of readings interleave
/// there, and later sensors are shifted too. The day and the hour are told by that.
#[test]
fn an_hour_that_all_readings_show_is_dated_by_them() {
    for minutes in [-60, 60] {
        let mut study = Study::new(6);
        let at = START + (2 * 14_700 + 2_000) * MINUTE + 2 * MINUTE;
        // Few checks near it: fingersticks alone leave days open.
        let open = at - 4 * DAY..at + 4 * DAY;
        study.checks.retain(|check| !open.contains(&check.time));
        for sensor in 0..6 {
            study.shift(sensor, at, minutes);
            study.settle(sensor);
        }
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{minutes}: {:?}", outcome.findings);
        };
        assert_eq!(
            (found.kind, found.size, found.sensor.as_str()),
            ("clock-change", Some(minutes as f64), "")
        );
        assert!((found.from.unwrap() - at).abs() <= 60 * MINUTE, "{found:?}");
    }
}

/// Sensors that follow the blood by 1 min, or by 16: the lag of those that came after the meter was put back is held to
/// the delays of those before.
#[test]
fn an_hour_is_told_with_the_delays_of_the_wearer() {
    let at = START + (3 * 14_700 - 150) * MINUTE;
    for more in [-7, 8] {
        let mut study = Study::new(6);
        (0..6).for_each(|sensor| study.shift(sensor, 0, more));
        for check in &mut study.checks {
            check.meter = "bag".into();
            if check.time >= at {
                check.time -= 60 * MINUTE;
            }
        }
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!((found.kind, found.size), ("clock-change", Some(-60.0)));
    }
}

/// Between two sensors the readings show nothing. Insertions and ends by the log bound the day, where no check does.
#[test]
fn an_hour_between_sensors_is_dated_by_the_log() {
    let mut study = Study::new(6);
    let at = START + (3 * 14_700 - 150) * MINUTE;
    let open = at - 5 * DAY..at + 9 * DAY;
    study.checks.retain(|check| !open.contains(&check.time));
    for sensor in 3..6 {
        study.shift(sensor, at, -60);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.size), ("clock-change", Some(-60.0)));
    assert!(
        (found.from.unwrap() - at).abs() <= 150 * MINUTE,
        "{found:?}"
    );
}

/// A clock that is 52 min ahead is not an hour ahead: first and last reading come 52 min later than the log has it. A
/// quarter of the fingersticks, 8 % off, would say an hour.
#[test]
fn minutes_of_a_clock_are_told_by_the_log_too() {
    let mut study = Study::new(6);
    let checks = std::mem::take(&mut study.checks).into_iter();
    study.checks = checks.skip(3).step_by(4).collect();
    for (number, check) in study.checks.iter_mut().enumerate() {
        check.glucose *= 1.0 + 0.016 * ((number * 7 % 11) as f64 - 5.0);
    }
    study.shift(2, 0, 52);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s2"));
    assert!((found.size.unwrap() - 52.0).abs() <= 3.0, "{found:?}");
}

/// A clock put forward by 23 min where two readings are missing leaves a gap of 33 min more than usual: the fingersticks
/// tell which.
#[test]
fn readings_missing_beside_a_jump_are_no_part_of_it() {
    let mut study = Study::new(6);
    let at = START + (14_700 + 5 * 1_440) * MINUTE + 2 * MINUTE;
    let missing = at..at + 10 * MINUTE;
    study.sensors[1]
        .readings
        .retain(|reading| !missing.contains(&reading.time));
    study.shift(1, at, 23);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s1"));
    assert_eq!(found.size, Some(23.0));
}

/// The readings of the last sensor show that its clock was put forward, and no other sensor is shifted: it is its own.
#[test]
fn a_jump_of_the_last_sensor_is_not_everybodys() {
    let mut study = Study::new(6);
    study.shift(5, START + (5 * 14_700 + 5 * 1_440) * MINUTE, 40);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s5"));
    assert_eq!(found.size, Some(40.0));
}

/// Nine sensors in ninety-two days, 13.1 weeks: 3 min a week are 39 min in all. Lines to paste take it off in pieces of 5 min.
#[test]
fn a_clock_that_drifts_is_no_stair() {
    let late = |at: i64, per_week: f64| {
        ((at - START) as f64 / (7 * DAY) as f64 * per_week * MINUTE as f64) as i64
    };
    for per_week in [3.0, -3.0] {
        let mut study = Study::new(9);
        for check in &mut study.checks {
            check.meter = "kitchen".into();
            check.time += late(check.time, per_week);
        }
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!(
            (found.kind, found.meter.as_str()),
            ("clock-meter", "kitchen")
        );
        let size = found.size.unwrap();
        assert!((size - 13.1 * per_week).abs() <= 4.0, "{size}");
        let verb = if per_week > 0.0 { "gains" } else { "loses" };
        assert!(
            found.text.contains(verb) && !found.text.contains("or that"),
            "{}",
            found.text
        );
        assert_eq!(
            found.paste.matches("clock_minutes").count(),
            8,
            "{}",
            found.paste
        );
        // The clock of the readings, by the log.
        let mut study = Study::new(9);
        for reading in study
            .sensors
            .iter_mut()
            .flat_map(|sensor| &mut sensor.readings)
        {
            reading.time += late(reading.time, per_week);
        }
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!((found.kind, found.meter.as_str()), ("clock-sensor", ""));
        let size = found.size.unwrap();
        assert!((size - 13.1 * per_week).abs() <= 4.0, "{size}");
        assert_eq!(outcome.left_out.len(), 9);
    }
}

/// A log kept to some minutes tells whose clock drifts, one kept to the hour does not.
#[test]
fn a_rough_log_does_not_tell_whose_clock_drifts() {
    let fine: &[i64] = &[0, 3, -3];
    let rough: &[i64] = &[0, 25, -28, 14, -11, 29, -20, 8, -33];
    for (kept, is_told) in [(fine, true), (rough, false)] {
        let mut study = Study::new(9);
        for (event, minutes) in study.events.iter_mut().zip(kept.iter().cycle()) {
            event.time += minutes * MINUTE;
        }
        for check in &mut study.checks {
            check.meter = "kitchen".into();
            check.time += 3 * (check.time - START) / (7 * DAY / MINUTE);
        }
        let outcome = study.look();
        let found = claims(&outcome)[0];
        assert_eq!(found.kind, "clock-meter");
        let either = found.text.contains("or that drifts the other way");
        assert_eq!(either, !is_told, "{}", found.text);
    }
}

/// A sensor with a pause of four days has a clock as well.
#[test]
fn the_clock_of_a_sensor_with_a_pause_is_told() {
    let mut study = Study::new(6);
    let begin = study.sensors[2].readings[0].time;
    let pause = begin + 3 * DAY..begin + 7 * DAY;
    study.sensors[2]
        .readings
        .retain(|reading| !pause.contains(&reading.time));
    study.shift(2, 0, 60);
    let outcome = study.look();
    let clock = outcome
        .findings
        .iter()
        .find(|found| found.kind == "clock-sensor");
    let clock = clock.expect("told");
    assert_eq!((clock.sensor.as_str(), clock.size), ("s2", Some(60.0)));
    let few = |found: &&Finding| found.text.contains("fewer than 5 fingersticks");
    assert_eq!(outcome.findings.iter().find(few), None);
}

/// Beside sensors that are 11 min ahead, which a delay explains, one 20 min ahead is 9 min off: no clock is told of less than ten.
#[test]
fn no_clock_of_a_sensor_is_off_by_minutes_of_a_delay() {
    let mut study = Study::new(6);
    for check in &mut study.checks {
        check.meter = "bag".into();
    }
    for (sensor, minutes) in [20, 11, 11, 11, 11, 11].into_iter().enumerate() {
        study.shift(sensor, 0, minutes);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s0"));
    assert!(found.size.unwrap() >= 10.0, "{found:?}");
}

/// Readings exported in another zone: neither the fingersticks nor the log keep it, so it is no clock of a meter. Where the log keeps
/// it, it is none of the readings.
#[test]
fn readings_in_another_zone_are_told_by_the_log() {
    for (minutes, meters) in [(-90, 2), (120, 1), (60, 1), (-60, 2)] {
        let mut study = Study::new(6);
        if meters == 1 {
            let checks = study.checks.iter_mut();
            checks.for_each(|check| check.meter = "kitchen".into());
        }
        let readings = study.sensors.iter_mut().flat_map(|s| &mut s.readings);
        readings.for_each(|reading| reading.time += minutes * MINUTE);
        let outcome = study.look();
        let clocks = |outcome: &Outcome| -> Vec<Finding> {
            let claims = claims(outcome).into_iter();
            claims
                .filter(|found| found.kind.starts_with("clock"))
                .cloned()
                .collect()
        };
        let found = clocks(&outcome);
        let [found] = &found[..] else {
            panic!("{found:?}");
        };
        assert_eq!(
            (found.kind, found.size, found.sensors.len()),
            ("clock-sensor", Some(minutes as f64), 6),
            "{found:?}"
        );
        let line = format!("clock_minutes = {}\n", -minutes);
        assert_eq!(found.paste.matches(&line).count(), 6, "{}", found.paste);
        for event in &mut study.events {
            event.time += minutes * MINUTE;
        }
        let outcome = study.look();
        assert!(
            claims(&outcome)
                .iter()
                .all(|found| found.sensors.is_empty())
        );
    }
}
