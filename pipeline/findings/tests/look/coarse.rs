//! Readings in coarse steps.

use whereworn_findings::{Finding, Severity};

use crate::study::{DAY, Study, claims, only};

/// Rounds the readings of a sensor to a step from some day of its wear on.
fn round(study: &mut Study, sensor: usize, step: f64, from_day: i64) {
    let own = &mut study.sensors[sensor].readings;
    let from = own[0].time + from_day * DAY;
    for reading in own.iter_mut().filter(|reading| reading.time >= from) {
        reading.glucose = (reading.glucose / step).round() * step;
    }
}

#[test]
fn nights_of_coarse_readings_are_left_out() {
    for (step, size, from_day) in [(18.0156, 18.0, 0), (10.0, 10.0, 0), (18.0156, 18.0, 5)] {
        let mut study = Study::new(6);
        round(&mut study, 2, step, from_day);
        let outcome = study.look();
        let [found] = claims(&outcome)[..] else {
            panic!("{step}: {:?}", outcome.findings);
        };
        let told = (found.kind, found.sensor.as_str(), found.severity);
        assert_eq!(told, ("thin", "s2", Severity::Doubtful));
        assert_eq!(
            (found.size, found.touches),
            (Some(size), &["quiet-at-night"][..])
        );
        let left_out = outcome.left_out.iter();
        let left_out: Vec<(&str, &str)> = left_out
            .map(|out| (out.sensor.as_str(), out.reason))
            .collect();
        assert_eq!(left_out, [("s2", "thin")]);
    }
}

/// Where all are coarse, sites can be compared by what is left.
#[test]
fn nothing_is_left_out_where_all_are_coarse() {
    let mut study = Study::new(6);
    (0..6).for_each(|sensor| round(&mut study, sensor, 18.0156, 0));
    let outcome = study.look();
    let found = only(&outcome);
    let of = (
        found.wearer.as_str(),
        found.sensor.as_str(),
        found.site.as_str(),
    );
    assert_eq!(of, ("kelp", "", ""));
    assert!(outcome.left_out.is_empty());
}

/// Steps of 5 mg/dL, mmol/L with one decimal, and a coarse hour.
#[test]
fn fine_readings_are_no_fault() {
    let mut study = Study::new(6);
    round(&mut study, 1, 5.0, 0);
    round(&mut study, 2, 1.80156, 0);
    for reading in &mut study.sensors[3].readings[1000..1012] {
        reading.glucose = (reading.glucose / 18.0156).round() * 18.0156;
    }
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
}

/// A sensor whose readings all lie outside its wear is neither coarse nor fine.
#[test]
fn readings_outside_a_wear_tell_nothing_of_the_others() {
    let mut study = Study::new(6);
    (0..5).for_each(|sensor| round(&mut study, sensor, 18.0156, 0));
    for reading in &mut study.sensors[0].readings {
        reading.time -= 100 * DAY;
    }
    let outcome = study.look();
    let left_out = outcome.left_out.iter().filter(|out| out.reason == "thin");
    assert_eq!(left_out.count(), 4, "{:?}", outcome.findings);
}
