//! Clocks of meters.

use std::collections::BTreeSet;

use whereworn_findings::{Finding, Outcome};
use whereworn_model::rows::Check;

use crate::study::{DAY, MINUTE, START, Study, claims, only};

/// Half an hour between two meters is the clock of one of them, and of no sensor.
#[test]
fn a_meter_whose_clock_is_off_is_one_cause() {
    let mut study = Study::new(6);
    study
        .checks
        .iter_mut()
        .filter(|check| check.meter == "bag")
        .for_each(|check| check.time += 35 * MINUTE);
    study.checks.sort_by_key(|check| check.time);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.meter.as_str()), ("clock-meter", "bag"));
    assert!((found.size.unwrap() - 35.0).abs() <= 8.0, "{found:?}");
}

/// For twenty days a meter's times have twelve hours: what was measured in the afternoon stands in the small hours, and no clock
/// of the rest is doubted. Who measures in the mornings alone has no such times, nor has one afternoon among them.
#[test]
fn times_without_am_and_pm_are_told() {
    let mut study = Study::new(6);
    let minute_of_day = |check: &Check| (check.time - START) % DAY / MINUTE;
    let early = |check: &Check| minute_of_day(check) < 13 * 60;
    study
        .checks
        .retain(|check| minute_of_day(check) >= 6 * 60 && minute_of_day(check) < 22 * 60);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
    let days = START + 20 * DAY..START + 40 * DAY;
    let usual = study.checks.clone();
    for check in &mut study.checks {
        if check.meter == "bag" && days.contains(&check.time) && !early(check) {
            check.time -= DAY / 2;
        }
    }
    study.checks.sort_by_key(|check| check.time);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.meter.as_str(), found.size, &*found.paste),
        ("clock-meter", "bag", Some(-720.0), "")
    );
    assert!(found.text.contains("a.m. and p.m."), "{}", found.text);
    let (from, to) = (found.from.unwrap(), found.to.unwrap());
    assert!(
        from >= days.start - DAY && to <= days.end + DAY,
        "{from} {to}"
    );
    study.checks = usual.into_iter().filter(early).collect();
    let told = study.look();
    assert!(
        claims(&told)
            .iter()
            .all(|found| found.kind != "clock-meter")
    );
    // A meter by the bed, and one for the day.
    let mut study = Study::new(6);
    for check in &mut study.checks {
        let by_bed = minute_of_day(check) < 8 * 60;
        check.meter = if by_bed { "bag" } else { "kitchen" }.into();
    }
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// Neither meter follows when the clocks are put back on 25 October 2026: each has lines of its own.
#[test]
fn lines_to_paste_name_each_meter() {
    let mut study = Study::new(17);
    study.settings = study.settings.replace("UTC", "Europe/Berlin");
    let at = START + 146 * DAY + 60 * MINUTE;
    let late = study.checks.iter_mut().filter(|check| check.time >= at);
    late.for_each(|check| check.time += 60 * MINUTE);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.size), ("clock-change", Some(60.0)));
    for meter in ["kitchen", "bag"] {
        let line = format!("meter = \"{meter}\"\n");
        assert!(found.paste.contains(&line), "{}", found.paste);
    }
    // It is the fingersticks that are of another time: all of them, and no sensor.
    assert_eq!(left_out_checks(&study, &outcome), ["bag", "kitchen"]);
}

/// Meters whose fingersticks comparisons leave out, all of them from the first to the last that they do; no sensor is left out.
fn left_out_checks(study: &Study, outcome: &Outcome) -> Vec<String> {
    assert!(outcome.left_out.is_empty());
    let out: BTreeSet<i64> = outcome.doubted.iter().map(|row| row.time).collect();
    let (Some(first), Some(last)) = (out.first(), out.last()) else {
        return Vec::new();
    };
    let within = study
        .checks
        .iter()
        .filter(|check| (*first..=*last).contains(&check.time));
    let (out, used): (Vec<&Check>, Vec<&Check>) =
        within.partition(|check| out.contains(&check.time));
    let meters: BTreeSet<String> = out.iter().map(|check| check.meter.to_string()).collect();
    assert!(
        used.iter()
            .all(|check| !meters.contains(&check.meter.to_string()))
    );
    meters.into_iter().collect()
}

/// One of two meters an hour ahead, from a day on or all the time: the other one tells how sensors read, and nights need neither.
#[test]
fn the_clock_of_a_meter_costs_its_fingersticks_alone() {
    for from_day in [0, 25] {
        let mut study = Study::new(6);
        let from = START + from_day * DAY;
        let bag = |check: &&mut Check| check.meter == "bag" && check.time >= from;
        study
            .checks
            .iter_mut()
            .filter(bag)
            .for_each(|check| check.time += 60 * MINUTE);
        study.checks.sort_by_key(|check| check.time);
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{from_day}: {:?}", outcome.findings);
        };
        assert_eq!((found.meter.as_str(), found.size), ("bag", Some(60.0)));
        assert!(!found.touches.contains(&"quiet-at-night"));
        assert_eq!(left_out_checks(&study, &outcome), ["bag"]);
        let first = outcome.doubted.iter().map(|row| row.time).min().unwrap();
        assert!((first - from).abs() <= 3 * DAY, "{from_day}: {first}");
    }
}

/// All fingersticks are of one meter, whose clock is as doubtful as those of the sensors: they are all that there are.
#[test]
fn the_only_meter_is_not_left_out() {
    let mut study = Study::new(6);
    for check in &mut study.checks {
        check.meter = "bag".into();
        check.time += 60 * MINUTE;
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(found.kind, "clock-meter");
    assert!(outcome.doubted.is_empty() && outcome.left_out.is_empty());
}

/// Six fingersticks before it was set are too few to be told from a meter that is off throughout, and no stretch of
/// time beside a gap in the readings is taken for it.
#[test]
fn a_meter_that_is_off_but_for_its_first_days_is_off_throughout() {
    let mut study = Study::new(6);
    let at = START + 2 * 14_700 * MINUTE + 7 * DAY;
    let missing = at..at + 80 * MINUTE;
    let readings = &mut study.sensors[2].readings;
    readings.retain(|reading| !missing.contains(&reading.time));
    for (place, check) in study.checks.iter_mut().enumerate() {
        check.meter = "bag".into();
        if place >= 6 {
            check.time += 75 * MINUTE;
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.paste.contains("from")),
        ("clock-meter", false),
        "{found:?}"
    );
    assert!((found.size.unwrap() - 75.0).abs() <= 8.0, "{found:?}");
}

/// The same shift of all fingersticks is the meter's: the log agrees with the readings, whose times show nothing.
#[test]
fn the_log_tells_the_clock_of_the_meter_from_that_of_the_readings() {
    let at = START + 3 * 14_700 * MINUTE + DAY;
    let mut study = Study::new(6);
    for check in &mut study.checks {
        check.meter = "bag".into();
        if check.time >= at {
            check.time += 60 * MINUTE;
        }
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.size, found.meter.as_str()),
        ("clock-change", Some(60.0), "bag")
    );
}

/// One of two meters has no label: it is a meter of its own, not all of them.
#[test]
fn a_meter_without_a_label_is_one_of_two() {
    for from_day in [0, 25] {
        let mut study = Study::new(6);
        for check in &mut study.checks {
            if check.meter == "bag" {
                check.meter = "".into();
                if check.time >= START + from_day * DAY {
                    check.time += 75 * MINUTE;
                }
            }
        }
        study.checks.sort_by_key(|check| check.time);
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{from_day}: {:?}", outcome.findings);
        };
        assert_eq!(left_out_checks(&study, &outcome), [""]);
        assert!(!found.paste.contains("kitchen"), "{}", found.paste);
        assert!(!found.text.contains("the meters of"), "{}", found.text);
    }
}
