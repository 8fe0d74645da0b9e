//! Fingersticks of somebody else.

use whereworn_findings::{Finding, Severity};
use whereworn_model::rows::Check;

use crate::study::{DAY, MINUTE, START, Study, claims, only};

/// For eleven days the fingersticks are another's: some clock fits them least badly, and none well.
#[test]
fn fingersticks_of_another_tell_of_no_clock() {
    let mut study = Study::new(6);
    let wave = |minute: i64, period: f64| (minute as f64 / period * std::f64::consts::TAU).sin();
    let swapped = START + 20 * DAY..START + 31 * DAY;
    let checks = study.checks.iter_mut();
    let checks = checks.filter(|check| swapped.contains(&check.time));
    for check in checks {
        let minute = (check.time - START) / MINUTE;
        check.glucose = 150.0 + 40.0 * wave(minute, 171.0) + 25.0 * wave(minute, 409.0);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.paste.as_str()),
        ("wrong-wearer", Severity::Doubtful, "")
    );
    let (from, to) = (found.from.unwrap(), found.to.unwrap());
    assert!(
        swapped.contains(&from) && swapped.contains(&to),
        "{found:?}"
    );
    assert!(
        to - from > 4 * DAY && found.size.unwrap() > 20.0,
        "{found:?}"
    );
    let [left_out] = &outcome.left_out[..] else {
        panic!("{:?}", outcome.left_out);
    };
    assert_eq!(
        (left_out.sensor.as_str(), left_out.reason),
        ("s2", "wrong-wearer")
    );
}

/// A sensor that comes to read a quarter low in mid-wear is its own: it fails, and its fingersticks agree with each other before
/// and after, as well as a meter that scatters by 4 % lets them.
#[test]
fn a_sensor_that_fails_in_mid_wear_is_nobody_elses() {
    let mut study = Study::new(6);
    for sensor in [1, 3] {
        let readings = &mut study.sensors[sensor].readings;
        let half = readings.len() / 2;
        readings[half..].iter_mut().for_each(|r| r.glucose *= 0.75);
    }
    for (place, check) in study.checks.iter_mut().enumerate() {
        check.glucose *= if place / 2 % 2 == 0 { 1.04 } else { 0.96 };
    }
    let outcome = study.look();
    let mut claimed = claims(&outcome).into_iter();
    assert!(claimed.all(|found| found.kind != "wrong-wearer"));
}

/// Where all of a wearer's fingersticks are somebody else's their own scatter is no measure of what fits.
#[test]
fn fingersticks_that_are_all_of_another_tell_of_no_clock() {
    let wave = |minute: f64, period: f64| (minute / period * std::f64::consts::TAU).sin();
    for (number, (one, other)) in [(171.0, 409.0), (313.0, 127.0), (733.0, 201.0)]
        .into_iter()
        .enumerate()
    {
        let mut study = Study::new(6);
        for check in &mut study.checks {
            let minute = (check.time - START) as f64 / MINUTE as f64;
            check.glucose = 150.0 + 50.0 * wave(minute, one) + 30.0 * wave(minute, other);
        }
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{number}: {:#?}", claims(&outcome));
        };
        assert_eq!(
            (found.kind, found.severity, found.paste.as_str()),
            ("wrong-wearer", Severity::Doubtful, "")
        );
        assert_eq!(outcome.left_out.len(), 6);
    }
}

/// Twenty days of a meter stand twice, as where it was exported in UTC and in local time: no clock of the rest is doubted.
#[test]
fn fingersticks_that_stand_twice_are_told() {
    let mut study = Study::new(6);
    let days = START + 20 * DAY..START + 40 * DAY;
    for check in &mut study.checks {
        check.glucose = check.glucose.round();
    }
    let own = study.checks.iter().filter(|check| check.meter == "bag");
    let own = own.filter(|check| days.contains(&check.time)).cloned();
    let again: Vec<Check> = own
        .map(|check| Check {
            time: check.time + 60 * MINUTE,
            ..check
        })
        .collect();
    let rows = again.len();
    study.checks.extend(again);
    study.checks.sort_by_key(|check| check.time);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (
            found.kind,
            found.meter.as_str(),
            found.size,
            found.paste.as_str()
        ),
        ("clock-meter", "bag", Some(60.0), "")
    );
    let text = format!("{rows} fingersticks of `kelp` from 2026-06-21 to 2026-07-10 stand twice");
    assert!(found.text.starts_with(&text), "{}", found.text);
    // What is always the same has its like at any distance.
    for check in &mut study.checks {
        check.glucose = 120.0;
    }
    let same = study.look();
    assert!(
        claims(&same)
            .iter()
            .all(|found| !found.text.contains("stand twice"))
    );
}

/// The fingersticks of one wearer stand under another as well: they are told of the one whose readings they are far from, as
/// nobody's clock.
#[test]
fn fingersticks_of_two_wearers_are_told() {
    let mut other = Study::new(6).of("wren");
    for reading in other.sensors.iter_mut().flat_map(|s| &mut s.readings) {
        let minute = (reading.time - START) as f64 / MINUTE as f64;
        reading.glucose = 160.0 + 60.0 * (minute / 171.0).sin() + 20.0 * (minute / 57.0).sin();
    }
    let study = Study::new(6).and(other);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.wearer.as_str()),
        ("wrong-wearer", Severity::Wrong, "wren")
    );
    assert!(found.text.contains("of ones of `kelp`"), "{}", found.text);
    let own = study.checks.iter().filter(|check| check.wearer == "wren");
    assert_eq!(
        (outcome.left_out.len(), outcome.doubted.len()),
        (0, own.count() - 1)
    );
}

/// Where the readings of both fit nothing says whose they are; fewer than ten are chance.
#[test]
fn some_fingersticks_of_two_wearers_are_told_of_both() {
    let mut study = Study::new(6).and(Study::new(6).of("wren"));
    for (number, check) in study.checks.iter_mut().enumerate() {
        if check.wearer == "wren" && number % 4 != 0 {
            check.time += MINUTE;
        }
    }
    let outcome = study.look();
    let told = claims(&outcome)
        .into_iter()
        .map(|f| (f.kind, f.wearer.as_str()));
    assert_eq!(
        told.collect::<Vec<_>>(),
        [("wrong-wearer", "kelp"), ("wrong-wearer", "wren")]
    );
    let wren = study
        .checks
        .iter_mut()
        .filter(|check| check.wearer == "wren");
    for (number, check) in wren.enumerate() {
        check.time += if number % 40 == 0 { 0 } else { 2 * MINUTE };
    }
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// Worn for four days with its clock 13 h behind: three of its 24 fingersticks are of its first 13 h and have no reading by the
/// right clock. What they have by the wrong one is no sign that the others are somebody else's.
#[test]
fn fingersticks_without_a_reading_do_not_deny_a_clock() {
    let mut study = Study::new(6);
    let end = study
        .events
        .iter_mut()
        .find(|row| &*row.sensor == "s2" && &*row.event == "end")
        .unwrap();
    end.time = START + 2 * 14_700 * MINUTE + 4 * DAY;
    let until = end.time;
    study.sensors[2]
        .readings
        .retain(|reading| reading.time < until);
    study.shift(2, 0, -780);
    let outcome = study.look();
    let kinds: Vec<(&str, &str, Option<f64>)> = claims(&outcome)
        .iter()
        .map(|found| (found.kind, found.sensor.as_str(), found.size))
        .collect();
    assert_eq!(kinds, [("clock-sensor", "s2", Some(-780.0))]);
}

/// Somebody without diabetes measures on the same meter, minutes after its owner; and its owner measures twice, which is no fault.
#[test]
fn a_guest_on_a_meter_is_told() {
    let mut study = Study::new(6);
    let kitchen = study.checks.iter().filter(|check| check.meter == "kitchen");
    let after = kitchen.step_by(3).enumerate().map(|(number, check)| Check {
        time: check.time + 3 * MINUTE,
        glucose: 90.0 + (number % 7) as f64 * 5.0,
        ..check.clone()
    });
    let guest: Vec<Check> = after.collect();
    let mut twice = Study::new(6);
    let again = guest
        .iter()
        .zip(twice.checks.clone().into_iter().step_by(6));
    let again: Vec<Check> = again
        .map(|(guest, check)| Check {
            time: check.time + 3 * MINUTE,
            glucose: check.glucose * 1.08,
            ..guest.clone()
        })
        .collect();
    // Something sweet on the finger: the first is far too high, the second is not.
    let mut sweet = Study::new(6);
    let first: Vec<Check> = sweet
        .checks
        .iter()
        .step_by(6)
        .map(|check| Check {
            time: check.time - 3 * MINUTE,
            glucose: check.glucose * 1.8,
            ..check.clone()
        })
        .collect();
    // Who doubts the first measures again, and may be right.
    let mut doubted = Study::new(6);
    let doubts = guest.iter().map(|check| Check {
        purpose: "doubt".into(),
        ..check.clone()
    });
    let doubts: Vec<Check> = doubts.collect();
    for (study, rows) in [
        (&mut doubted, doubts),
        (&mut study, guest.clone()),
        (&mut twice, again),
        (&mut sweet, first),
    ] {
        study.checks.extend(rows);
        study.checks.sort_by_key(|check| check.time);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.meter.as_str()),
        ("wrong-wearer", "kitchen")
    );
    assert!(outcome.left_out.is_empty());
    // Of those that differ by more than glucose can nearly all are the guest's.
    let is_guest = |at: i64| guest.iter().any(|check| check.time == at);
    let right = outcome
        .doubted
        .iter()
        .filter(|row| is_guest(row.time))
        .count();
    assert!(outcome.doubted.len() >= 20, "{}", outcome.doubted.len());
    assert!(
        right as f64 >= 0.9 * outcome.doubted.len() as f64,
        "{right}"
    );
    for study in [twice, sweet, doubted] {
        let outcome = study.look();
        let others = |found: &&Finding| found.kind == "wrong-wearer";
        assert_eq!(outcome.findings.iter().find(others), None);
    }
}
