//! Fingersticks whose times were cut to whole hours, or to parts of one.

use whereworn_findings::{Finding, Severity};

use crate::study::{DAY, MINUTE, START, Study, claims};

/// A study whose times from a day on are cut down to so many minutes.
fn cut(days: i64, minutes: i64) -> Study {
    let mut study = Study::new(6);
    for check in &mut study.checks {
        if check.time >= START + days * DAY {
            check.time -= (check.time - START).rem_euclid(minutes * MINUTE);
        }
    }
    study
}

/// The last third of a study: 60 of 90 fingersticks a meter stand as they were made.
#[test]
fn fingersticks_at_whole_hours_are_told_and_judge_no_clock() {
    let study = cut(40, 60);
    let outcome = study.look();
    let told: Vec<(&str, &str, Severity)> = claims(&outcome)
        .iter()
        .map(|found| (found.kind, found.meter.as_str(), found.severity))
        .collect();
    assert_eq!(
        told,
        [
            ("clock-meter", "kitchen", Severity::Doubtful),
            ("clock-meter", "bag", Severity::Doubtful)
        ]
    );
    for found in claims(&outcome) {
        assert!(
            found.text.contains("are all at whole hours: "),
            "{}",
            found.text
        );
        assert_eq!((found.size, found.paste.as_str()), (None, ""));
    }
    let late = |time: i64| time >= START + 40 * DAY;
    // The last one is after the cut-off.
    let cut = study.checks.iter().filter(|check| late(check.time)).count() - 1;
    assert_eq!((outcome.doubted.len(), outcome.left_out.len()), (cut, 0));
    assert!(outcome.doubted.iter().all(|check| late(check.time)));
}

/// A few with their minutes between the others; and hours of India, which are half hours elsewhere.
#[test]
fn half_hours_and_hours_of_another_zone_are_told() {
    let mut study = cut(0, 30);
    for check in study.checks.iter_mut().skip(100).step_by(45) {
        check.time += 7 * MINUTE;
    }
    let outcome = study.look();
    for found in claims(&outcome) {
        let half = "are all at whole and half hours, but for 3 between them: ";
        assert!(found.text.contains(half), "{}", found.text);
    }
    assert_eq!(claims(&outcome).len(), 2);
    // The last one is after the cut-off.
    assert_eq!(outcome.doubted.len(), study.checks.len() - 7);
    let mut study = cut(0, 60);
    study.settings = study.settings.replace("UTC", "Asia/Kolkata");
    let outcome = study.look();
    for found in claims(&outcome) {
        let words = "are all 30 min past whole hours: ";
        assert!(found.text.contains(words), "{}", found.text);
    }
    assert_eq!(claims(&outcome).len(), 2);
}

/// Who writes down times to five minutes loses nothing, and who does to quarters of an hour little.
#[test]
fn times_written_by_hand_are_left_in() {
    let told = |study: &Study| {
        let outcome = study.look();
        assert_eq!(claims(&outcome), Vec::<&Finding>::new());
        assert_eq!(outcome.doubted, []);
        let of_meters = |found: &&Finding| found.kind == "clock-meter";
        outcome.findings.iter().filter(of_meters).count()
    };
    assert_eq!(told(&cut(0, 5)), 0);
    assert_eq!(told(&cut(0, 10)), 0);
    assert_eq!(told(&cut(0, 15)), 2);
}

/// A study of which some in ten fingersticks, spread over it, are cut down to whole hours, the others to so many minutes.
fn some_cut(in_ten: usize, minutes: i64) -> Study {
    let mut study = Study::new(6);
    for (number, check) in study.checks.iter_mut().enumerate() {
        let step = match (7 * (number / 2)) % 10 < in_ten {
            true => 60,
            false => minutes,
        };
        check.time -= (check.time - START).rem_euclid(step * MINUTE);
    }
    study
}

fn is_lost(found: &&Finding) -> bool {
    found.text.contains("their minutes are lost")
}

/// The others stay, and are judged.
#[test]
fn most_at_whole_hours_are_told_and_the_others_stay() {
    for (in_ten, minutes) in [(7, 1), (8, 1), (9, 1), (7, 5), (8, 5)] {
        let study = some_cut(in_ten, minutes);
        let outcome = study.look();
        let told = claims(&outcome);
        assert_eq!(told.len(), 2, "{in_ten} {minutes} {told:?}");
        assert!(told.iter().all(is_lost), "{told:?}");
        for found in told {
            assert!(
                found.text.contains(" are at whole hours, which "),
                "{}",
                found.text
            );
            assert!(
                found.text.contains(" between them are not and stay: "),
                "{}",
                found.text
            );
        }
        let whole = |time: i64| (time - START) % (60 * MINUTE) == 0;
        assert!(outcome.doubted.iter().all(|check| whole(check.time)));
        let all = study
            .checks
            .iter()
            .filter(|check| whole(check.time))
            .count();
        let few = all - outcome.doubted.len();
        assert!(few < all / 10, "{few} of {all} are left");
    }
}

#[test]
fn half_at_whole_hours_are_not_told() {
    for minutes in [1, 5, 10] {
        let outcome = some_cut(4, minutes).look();
        assert_eq!(outcome.findings.iter().find(is_lost), None);
    }
}

/// Whoever measures when the hour strikes does so within minutes, and who rounds to quarters loses little.
#[test]
fn reminders_and_quarters_are_left_in() {
    let times = |off: [i64; 10]| {
        let mut study = Study::new(6);
        for (number, check) in study.checks.iter_mut().enumerate() {
            check.time -= (check.time - START).rem_euclid(60 * MINUTE);
            check.time += off[(7 * (number / 2)) % 10] * MINUTE;
        }
        study.look()
    };
    for off in [
        [0, 0, 0, 0, 0, 0, 0, 1, 2, 1],
        [0, 0, 0, 0, 0, 30, 30, 15, 45, 37],
    ] {
        let outcome = times(off);
        assert_eq!(outcome.findings.iter().find(is_lost), None);
    }
}
