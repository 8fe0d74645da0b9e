//! Readings that stand twice.

use jiff::tz::TimeZone;
use whereworn_findings::{Finding, Severity};
use whereworn_model::rows::Reading;
use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;

use crate::study::{DAY, MINUTE, START, Study, claims, glucose, only};

/// The file `readings/again.csv`.
const AGAIN: usize = 2;

/// A study whose readings are whole mg/dL.
fn whole() -> Study {
    let mut study = Study::new(6);
    let sensors = study.sensors.iter_mut();
    for reading in sensors.flat_map(|sensor| &mut sensor.readings) {
        reading.glucose = reading.glucose.round();
    }
    study
}

/// Lets the readings of a sensor's days stand again in another file.
fn again(
    study: &mut Study,
    sensor: usize,
    days: std::ops::Range<i64>,
    copy: impl Fn(&Reading) -> Reading,
) {
    let own = &mut study.sensors[sensor].readings;
    let begin = own[0].time;
    let days = begin + days.start * DAY..begin + days.end * DAY;
    let copies = own.iter().filter(|reading| days.contains(&reading.time));
    let copies: Vec<Reading> = copies.map(copy).collect();
    own.extend(copies);
    own.sort_by_key(|reading| reading.time);
}

fn later(minutes: f64) -> impl Fn(&Reading) -> Reading {
    move |reading| Reading {
        time: reading.time + (minutes * MINUTE as f64) as Micros,
        file: AGAIN,
        ..*reading
    }
}

#[test]
fn two_exports_under_two_clocks_are_told_and_the_sensor_is_left_out() {
    for (minutes, days) in [
        (7.0, 0..10),
        (7.3, 0..10),
        (62.0, 2..5),
        (-184.0, 0..10),
        (1.0, 6..8),
    ] {
        let mut study = whole();
        again(&mut study, 2, days, later(minutes));
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{minutes}: {:?}", outcome.findings);
        };
        let told = (found.kind, found.sensor.as_str(), found.severity);
        assert_eq!(told, ("clock-sensor", "s2", Severity::Wrong));
        assert_eq!(found.size, Some(f64::abs(minutes)));
        let files = ["readings/again.csv", "readings/kelp.csv"];
        let [later, first] = if minutes > 0.0 {
            files
        } else {
            [files[1], files[0]]
        };
        assert_eq!(found.file, later);
        assert!(
            found.text.contains(&format!("in {first} and")),
            "{}",
            found.text
        );
        assert!(
            found.paste.contains(&format!("file = \"{later}\"\nfrom")),
            "{}",
            found.paste
        );
        let twice = study.sensors[2].readings.iter();
        let twice = twice.filter(|reading| reading.file == AGAIN).count();
        let says = format!(": {twice} readings stand twice");
        assert!(found.text.contains(&says), "{}", found.text);
        let left_out: Vec<&str> = outcome
            .left_out
            .iter()
            .map(|out| out.sensor.as_str())
            .collect();
        assert_eq!(left_out, ["s2"]);
    }
}

/// Of the second run the clock has no seconds; the values are those of mmol/L with one decimal.
#[test]
fn two_exports_seconds_apart_are_told_and_the_sensor_stays() {
    let mut study = whole();
    again(&mut study, 3, 0..10, |reading| Reading {
        glucose: (reading.glucose / 18.0156 * 10.0).round() / 10.0 * 18.0156,
        ..later(0.6)(reading)
    });
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.sensor.as_str()),
        ("spacing-changed", "s3")
    );
    assert_eq!((found.size, found.severity), (Some(0.6), Severity::Wrong));
    assert!(outcome.left_out.is_empty());
    // Two runs of readings are no reading more often: that is not told beside it.
    let spacing = |found: &&Finding| found.kind == "spacing-changed";
    assert_eq!(outcome.findings.iter().filter(spacing).count(), 1);
}

/// Three sensors of one export are one finding: it leaves out these three and no other, and has lines for each.
#[test]
fn sensors_that_stand_twice_are_one_finding() {
    for (minutes, kind, out) in [(62.0, "clock-sensor", 3), (0.4, "spacing-changed", 0)] {
        let mut study = whole();
        for sensor in [1, 2, 4] {
            again(&mut study, sensor, 0..10, later(minutes));
        }
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{minutes}: {:?}", outcome.findings);
        };
        assert_eq!((found.kind, found.sensor.as_str()), (kind, ""));
        assert!(
            found.text.starts_with("sensors `s1`, `s2`, `s4` of `kelp`"),
            "{}",
            found.text
        );
        assert_eq!(found.paste.matches("[[corrections]]").count(), 3);
        let whence = format!("in readings/kelp.csv and {minutes} min later in readings/again.csv;");
        assert!(found.text.contains(&whence), "{}", found.text);
        assert!(
            found.line.is_some() && found.file == "readings/again.csv",
            "{found:?}"
        );
        let left_out: Vec<&str> = outcome
            .left_out
            .iter()
            .map(|out| out.sensor.as_str())
            .collect();
        assert_eq!(left_out, &["s1", "s2", "s4"][..out]);
        // What the settings say of one is about that one alone.
        study.settings +=
            &format!("[[seen]]\nkind = \"{kind}\"\nwearer = \"kelp\"\nsensor = \"s2\"\n");
        let outcome = study.look();
        let seen = claims(&outcome).into_iter().filter(|found| found.seen);
        assert_eq!(
            seen.map(|found| found.sensor.as_str()).collect::<Vec<_>>(),
            ["s2"]
        );
        assert_eq!(outcome.left_out.len(), out.saturating_sub(1));
        // Of one the other file was read first: no file and no line is that of all.
        study
            .settings
            .truncate(study.settings.find("[[seen]]").unwrap());
        for reading in &mut study.sensors[4].readings {
            reading.file = 2 - reading.file;
        }
        let outcome = study.look();
        let found = only(&outcome);
        assert_eq!((found.file.as_str(), found.line), ("", None));
    }
}

/// What the lines to paste leave out is what stands again.
#[test]
fn without_what_the_lines_leave_out_nothing_is_told() {
    // Also those of the last minute, whose seconds the lines do not have.
    for minutes in [62.0, 62.3] {
        let mut study = whole();
        again(&mut study, 2, 2..5, later(minutes));
        let outcome = study.look();
        let pasted = format!("{}{}", study.settings, claims(&outcome)[0].paste);
        let pasted = &Settings::parse(&pasted).unwrap().corrections[0];
        assert_eq!(pasted.file.as_deref(), Some("readings/again.csv"));
        let bounds = pasted.from.as_ref().zip(pasted.to.as_ref());
        let bounds =
            bounds.and_then(|(from, to)| from.first(&TimeZone::UTC).zip(to.after(&TimeZone::UTC)));
        let (from, until) = bounds.unwrap();
        study.sensors[2]
            .readings
            .retain(|reading| reading.file != AGAIN || !(from..until).contains(&reading.time));
        assert_eq!(
            study.sensors[2].readings.len(),
            whole().sensors[2].readings.len(),
            "{minutes}"
        );
        assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
    }
}

/// A study whose third sensor has readings at other times, which follow a course of so much of the usual height.
fn at_times(height: f64, times: impl IntoIterator<Item = f64>) -> Study {
    let mut study = whole();
    let own = &mut study.sensors[2].readings;
    let (begin, end) = (own[0].time, own[own.len() - 1].time);
    let (first, start) = (own[0], (begin - START) as f64 / MINUTE as f64);
    let reading = |minutes: f64| Reading {
        time: begin + (minutes * MINUTE as f64) as Micros,
        glucose: (150.0 + height * (glucose(start + minutes - 8.0) - 150.0)).round(),
        ..first
    };
    *own = times
        .into_iter()
        .map(reading)
        .take_while(|reading| reading.time <= end)
        .collect();
    study
}

/// Pseudo-random numbers from 0 to below 1.
fn random(number: u32) -> f64 {
    let mut mixed = u64::from(number).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    mixed ^= mixed >> 29;
    mixed = mixed.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed ^= mixed >> 32;
    (mixed % 10_000) as f64 / 10_000.0
}

#[test]
fn one_run_is_no_two() {
    let every = |step: f64| (0..).map(move |number| f64::from(number) * step);
    let minutely = at_times(1.0, every(1.0));
    let some_seconds_off = at_times(
        1.0,
        (0..).map(|number| f64::from(number) + 0.06 * random(number)),
    );
    let some_seconds_more = at_times(
        0.6,
        (0..).map(|number| f64::from(number) + 0.27 * random(number)),
    );
    let rounded = at_times(1.0, every(2.5).map(f64::floor));
    let hardly_moving = at_times(0.02, every(4.5).map(f64::floor));
    // Every quarter of an hour, and a look at the display between: a third of them just after.
    let looked_at = (0..).flat_map(|number| {
        let (at, after) = (f64::from(number) * 15.0, random(number));
        [at, at + if after < 0.3 { 0.3 } else { 5.0 * after }]
    });
    let looked_at = at_times(1.0, looked_at);
    let mut held = whole();
    for three in held.sensors[2].readings.chunks_mut(3) {
        let shown = three[0].glucose;
        three.iter_mut().for_each(|reading| reading.glucose = shown);
    }
    for (number, study) in [
        minutely,
        some_seconds_off,
        some_seconds_more,
        rounded,
        hardly_moving,
        looked_at,
        held,
    ]
    .iter()
    .enumerate()
    {
        let outcome = study.look();
        let stands_twice = |found: &&Finding| found.text.contains("stand twice");
        assert_eq!(outcome.findings.iter().find(stands_twice), None, "{number}");
    }
}
