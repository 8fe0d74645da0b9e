//! Six nights of one wearer with two sensors, made by hand: plain artefacts, a slow true low and a gap, all known.

use crate::fixture::{IN_UTC, Study};

/// The reading at the bottom of an artefact, mg/dL.
pub const BOTTOM: f64 = 60.0;

/// Nights, named by their place; the first begins on 1 March 2026.
pub const NIGHTS: i64 = 6;

/// Artefacts of 45 minutes: sensor, night, hour after midnight.
const ARTEFACTS: [(&str, i64, i64); 4] = [("a", 0, 2), ("a", 2, 2), ("a", 4, 2), ("b", 5, 4)];

/// The night in which sensor `a` gives no reading from midnight to four, and that of a slow true low of sensor `b`.
const GAP: i64 = 3;
const SLOW_LOW: i64 = 1;

/// On which side the wearer went to bed, at 23:00 and up to 07:00; the fifth night was not noted.
const POSTURES: [Option<&str>; 6] = [
    Some("left"),
    Some("right"),
    Some("left"),
    Some("back"),
    None,
    Some("right"),
];

/// The instant so many minutes after noon on 1 March 2026.
pub fn instant(minutes: i64) -> String {
    let noon: jiff::Timestamp = "2026-03-01T12:00:00Z".parse().unwrap();
    jiff::Timestamp::from_second(noon.as_second() + 60 * minutes)
        .unwrap()
        .to_string()
}

/// Minutes after the first noon of a time after midnight in a night.
pub fn in_night(night: i64, hours: i64, minutes: i64) -> i64 {
    1440 * night + 60 * (12 + hours) + minutes
}

/// A reading around 120 mg/dL that wobbles by 2 mg/dL; `None` in the gap.
fn reading(sensor: &str, minutes: i64) -> Option<f64> {
    let within =
        |night, hours, length| (0..=length).contains(&(minutes - in_night(night, hours, 0)));
    if sensor == "a" && within(GAP, 0, 239) {
        return None;
    }
    if ARTEFACTS
        .iter()
        .any(|(of, night, hours)| *of == sensor && within(*night, *hours, 45))
    {
        return Some(BOTTOM);
    }
    let wobble = (minutes / 5 * 7919).rem_euclid(5) - 2;
    let slow_low = if sensor == "b" {
        // Half a mg/dL a minute down from 01:00, up from 04:00, at most 60.
        let since = minutes - in_night(SLOW_LOW, 1, 0);
        (since.min(300 - since) as f64 / 2.0).clamp(0.0, 60.0)
    } else {
        0.0
    };
    Some(120.0 + wobble as f64 - slow_low)
}

/// Readings of a sensor: instant and mg/dL, every five minutes.
pub fn readings(sensor: &str) -> Vec<(String, f64)> {
    (5..1440 * NIGHTS)
        .step_by(5)
        .filter_map(|minutes| Some((instant(minutes), reading(sensor, minutes)?)))
        .collect()
}

/// The study. A fingerstick confirms the first artefact of sensor `a`; others are by day.
pub fn study() -> Study {
    let study = Study::new(IN_UTC);
    let mut rows = "sensor,time,glucose\n".to_owned();
    for sensor in ["a", "b"] {
        for (time, glucose) in readings(sensor) {
            rows += &format!("{sensor},{time},{glucose}\n");
        }
    }
    let mut checks = format!("time,glucose\n{},120\n", instant(in_night(0, 2, 20)));
    for day in 0..NIGHTS {
        checks += &format!("{},{}\n", instant(1440 * day + 300), 110 + 5 * day);
    }
    let mut events = "sensor,time,event,site,side,tape,cause,posture\n".to_owned();
    let (first, last) = (instant(0), instant(1440 * NIGHTS));
    events += &format!("a,{first},insert,calf,left,ring,,\nb,{first},insert,chest,right,none,,\n");
    events += &format!("a,{last},end,,,,chosen,\nb,{last},end,,,,chosen,\n");
    events += &format!("b,{},tape,,,cover,,\n", instant(1440 * 3));
    for (night, posture) in (0..).zip(POSTURES) {
        if let Some(posture) = posture {
            let (bed, rise) = (
                instant(in_night(night, -1, 0)),
                instant(in_night(night, 7, 0)),
            );
            events += &format!(",{bed},bed,,,,,{posture}\n,{rise},rise,,,,,\n");
        }
    }
    study
        .write("readings/r.csv", rows)
        .write("fingersticks/f.csv", checks)
        .write("wear-events/e.csv", events);
    study
}
