//! Journeys that one device did not follow: one finding each, with its days and whose clock it was.

use whereworn_findings::Severity;

use crate::study::{DAY, MINUTE, START, Study, only};

/// From the sixth day of the third sensor to the fifth of the fourth.
const AWAY: (i64, i64) = (
    START + (2 * 14_700 + 5 * 1_440 + 7) * MINUTE,
    START + (3 * 14_700 + 5 * 1_440 + 7) * MINUTE,
);

/// Nine hours ahead while away: the readings of two sensors, which leave a gap and overlap.
#[test]
fn readings_of_another_time_zone_are_one_journey() {
    let mut study = Study::new(6);
    for sensor in [2, 3] {
        study.shift(sensor, AWAY.0, 540);
        study.shift(sensor, AWAY.1 + 540 * MINUTE, -540);
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.severity, found.size),
        ("clock-change", Severity::Wrong, Some(540.0))
    );
    assert!(
        found.text.contains("the sensors of `kelp`"),
        "{}",
        found.text
    );
    assert!((found.from.unwrap() - AWAY.0).abs() < DAY, "{found:?}");
    assert!((found.to.unwrap() - AWAY.1).abs() < DAY, "{found:?}");
}

/// The same of the fingersticks of two meters: no sensor has a gap or an overlap, so that it is none of theirs.
#[test]
fn fingersticks_of_another_time_zone_are_the_meters() {
    let mut study = Study::new(6);
    let away = study
        .checks
        .iter_mut()
        .filter(|check| (AWAY.0..AWAY.1).contains(&check.time));
    away.for_each(|check| check.time += 540 * MINUTE);
    study.checks.sort_by_key(|check| check.time);
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!((found.kind, found.size), ("clock-change", Some(540.0)));
    assert_eq!(found.sensor, "");
    assert!(
        found.text.contains("the meters of `kelp`"),
        "{}",
        found.text
    );
    for meter in ["kitchen", "bag"] {
        assert!(found.paste.contains(meter), "{}", found.paste);
    }
    assert!((found.from.unwrap() - AWAY.0).abs() < DAY, "{found:?}");
    assert!((found.to.unwrap() - AWAY.1).abs() < DAY, "{found:?}");
    // Its fingersticks are left out, and no sensor.
    assert!(outcome.left_out.is_empty());
    let out = outcome.doubted.iter().map(|row| row.time);
    let (first, last) = (out.clone().min().unwrap(), out.clone().max().unwrap());
    let all = study.checks.iter().map(|check| check.time);
    let all = all.filter(|at| (first..=last).contains(at));
    assert_eq!(all.count(), out.count());
    assert!((first - AWAY.0).abs() < DAY && (last - AWAY.1).abs() < DAY);
}
