//! What goes wrong with people's files, planted one at a time in raw CSV and looked for through the program: invented rows,
//! expected values by what was planted.

use std::fmt::Write as _;

use serde_json::Value;

use crate::fixture::{LATER, Study};

const SETTINGS: &str = "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\nwearer = \"kelp\"\n[wear]\nrated_days = 10\n";

/// 2026-05-01T00:00:00Z in minutes since 1970.
const START: i64 = 29_626_560;

/// From one insertion to the next, and how long a sensor is worn, minutes.
const EVERY: i64 = 10 * 1440 + 300;
const WORN: i64 = 10 * 1440;

/// One sensor: its rows are changed before they are written.
struct Sensor {
    wearer: &'static str,
    id: String,
    insert: i64,
    site: &'static str,
    /// Minute, mg/dL.
    readings: Vec<(i64, f64)>,
}

struct Check {
    wearer: &'static str,
    minute: i64,
    glucose: f64,
    meter: &'static str,
    purpose: &'static str,
}

struct Raw {
    sensors: Vec<Sensor>,
    checks: Vec<Check>,
    settings: String,
}

/// A number between -1 and 1 that looks like chance.
fn chance(seed: i64) -> f64 {
    let mut mixed = (seed as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    mixed ^= mixed >> 29;
    mixed = mixed.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed ^= mixed >> 32;
    (mixed % 20_001) as f64 / 10_000.0 - 1.0
}

/// Glucose of a wearer: four waves without a common period, up to 2 mg/dL a minute.
fn glucose(wearer: &str, minute: f64) -> f64 {
    let at = minute + 1000.0 * wearer.len() as f64;
    let wave = |period: f64, height: f64| height * (at / period * std::f64::consts::TAU).sin();
    150.0 + wave(233.0, 32.0) + wave(97.0, 10.0) + wave(611.0, 25.0) + wave(3001.0, 15.0)
}

impl Raw {
    /// Two wearers with six sensors each on three sites in turn, a reading every 5 min, five checks a day by two meters.
    fn new() -> Self {
        let mut raw = Self {
            sensors: Vec::new(),
            checks: Vec::new(),
            settings: SETTINGS.to_owned(),
        };
        for wearer in ["kelp", "dulse"] {
            for number in 0..6 {
                let insert = number * EVERY;
                let reading = |step: i64| {
                    let minute = insert + 5 * step + 2;
                    let noise = 1.0 + 0.03 * chance(minute / 20 + 7 * number);
                    (minute, glucose(wearer, minute as f64 - 8.0) * noise)
                };
                raw.sensors.push(Sensor {
                    wearer,
                    id: format!("{}{number}", &wearer[..1]),
                    insert,
                    site: ["abdomen", "chest", "calf"][number as usize % 3],
                    readings: (0..WORN / 5 - 1).map(reading).collect(),
                });
            }
            for check in 0..6 * EVERY / 288 {
                let minute = 288 * check + 60 + (60.0 * chance(check)) as i64;
                raw.checks.push(Check {
                    wearer,
                    minute,
                    glucose: glucose(wearer, minute as f64) * (1.0 + 0.04 * chance(check + 999)),
                    meter: if check % 5 < 2 { "bag" } else { "kitchen" },
                    purpose: "routine",
                });
            }
        }
        raw
    }

    fn sensor(&mut self, id: &str) -> &mut Sensor {
        self.sensors
            .iter_mut()
            .find(|sensor| sensor.id == id)
            .unwrap()
    }

    /// Adds minutes to the times of a sensor's readings from a minute of its wear on.
    fn shift(&mut self, id: &str, from: i64, minutes: i64) {
        let sensor = self.sensor(id);
        let from = sensor.insert + from;
        for reading in sensor
            .readings
            .iter_mut()
            .filter(|reading| reading.0 >= from)
        {
            reading.0 += minutes;
        }
    }

    fn write(&self) -> Study {
        let study = Study::new(&self.settings);
        let time = |minute: i64| {
            let at = jiff::Timestamp::from_second((START + minute) * 60).unwrap();
            at.to_string()
        };
        let mut log = "wearer,sensor,time,event,site,side,cause\n".to_owned();
        for (number, sensor) in self.sensors.iter().enumerate() {
            let (wearer, id) = (sensor.wearer, &sensor.id);
            let side = ["left", "right"][number / 3 % 2];
            let (from, to) = (time(sensor.insert), time(sensor.insert + WORN));
            let _ = writeln!(log, "{wearer},{id},{from},insert,{},{side},", sensor.site);
            let _ = writeln!(log, "{wearer},{id},{to},end,,,completed");
        }
        study.write("wear-events/log.csv", log);
        for wearer in ["kelp", "dulse"] {
            let mut rows = "wearer,sensor,time,glucose\n".to_owned();
            for sensor in self.sensors.iter().filter(|sensor| sensor.wearer == wearer) {
                for (minute, value) in &sensor.readings {
                    let _ = writeln!(rows, "{wearer},{},{},{value:.1}", sensor.id, time(*minute));
                }
            }
            study.write(&format!("readings/{wearer}.csv"), rows);
        }
        let mut rows = "wearer,time,glucose,meter,purpose\n".to_owned();
        for check in &self.checks {
            let (wearer, at) = (check.wearer, time(check.minute));
            let _ = writeln!(
                rows,
                "{wearer},{at},{:.1},{},{}",
                check.glucose, check.meter, check.purpose
            );
        }
        study.write("fingersticks/checks.csv", rows);
        study
    }
}

/// Findings of `check`, its exit status held to their severity.
fn found(study: &Study) -> Vec<Value> {
    let run = study.run("check", &["--as-of", LATER, "--format", "json"]);
    let json: Value = serde_json::from_str(&run.out).unwrap();
    let findings = json["findings"].as_array().unwrap().clone();
    let any = |severity: &str| {
        findings
            .iter()
            .any(|finding| finding["severity"] == severity)
    };
    let status = if any("wrong") {
        6
    } else if any("doubtful") {
        5
    } else {
        0
    };
    assert_eq!(run.code, status, "{}", run.out);
    findings
}

/// Asserts that a kind is found with these values and about this size, and that nothing else is called wrong or doubtful.
fn finds(name: &str, raw: &Raw, kind: &str, values: &[(&str, &str)], size: Option<(f64, f64)>) {
    let findings = found(&raw.write());
    let is = |finding: &&Value| {
        let near = size.is_none_or(|(size, off)| {
            finding["size"]
                .as_f64()
                .is_some_and(|own| (own - size).abs() <= off)
        });
        let same = |(key, value): &(&str, &str)| finding[*key] == *value;
        finding["kind"] == kind && values.iter().all(same) && near
    };
    assert!(
        findings.iter().any(|finding| is(&finding)),
        "{name}: {findings:#?}"
    );
    let others: Vec<&Value> = findings
        .iter()
        .filter(|finding| finding["severity"] != "thin" && finding["kind"] != kind)
        // What follows from a fault: rows that fall outside, rows that the log now denies.
        .filter(|finding| finding["kind"] != "set-aside" && finding["kind"] != "rejected")
        .collect();
    assert!(others.is_empty(), "{name}: {others:#?}");
}

#[test]
fn a_clean_study_has_nothing_wrong_or_doubtful() {
    let findings = found(&Raw::new().write());
    let claims: Vec<&Value> = findings
        .iter()
        .filter(|finding| finding["severity"] != "thin")
        .collect();
    assert!(claims.is_empty(), "{claims:#?}");
}

/// Positive sizes: the clock is ahead. Within 8 min, whole hours exactly; jumps within 4.
#[test]
fn clocks_of_sensors() {
    for (minutes, off) in [
        (60, 0.0),
        (-60, 0.0),
        (90, 8.0),
        (720, 0.0),
        (-37, 8.0),
        (540, 0.0),
    ] {
        let mut raw = Raw::new();
        raw.shift("k2", 0, minutes);
        let size = Some((minutes as f64, off + 1e-9));
        finds(
            &format!("{minutes} min"),
            &raw,
            "clock-sensor",
            &[("sensor", "k2"), ("wearer", "kelp")],
            size,
        );
    }
    // Put back by whole spacings, times fall on others: those rows are rejected, and fingersticks alone tell.
    for minutes in [15, -17, 40] {
        let mut raw = Raw::new();
        raw.shift("k3", 5 * 1440, minutes);
        finds(
            &format!("jump of {minutes} min"),
            &raw,
            "clock-sensor",
            &[("sensor", "k3")],
            Some((minutes as f64, 4.0)),
        );
    }
}

#[test]
fn clocks_of_meters() {
    for minutes in [30, -60, 95] {
        let mut raw = Raw::new();
        let own = raw
            .checks
            .iter_mut()
            .filter(|check| check.wearer == "kelp" && check.meter == "bag");
        own.for_each(|check| check.minute += minutes);
        finds(
            &format!("{minutes} min"),
            &raw,
            "clock-meter",
            &[("meter", "bag"), ("wearer", "kelp")],
            Some((minutes as f64, 8.0)),
        );
    }
}

/// From a day on all sensors of one wearer are an hour, or nine, ahead: a journey that the meters did not follow.
#[test]
fn an_hour_or_nine_from_a_day_on() {
    for hours in [1, -1, 9] {
        let mut raw = Raw::new();
        let at = 3 * EVERY + 2000;
        for sensor in raw
            .sensors
            .iter_mut()
            .filter(|sensor| sensor.wearer == "kelp")
        {
            let later = sensor.readings.iter_mut().filter(|reading| reading.0 >= at);
            later.for_each(|reading| reading.0 += 60 * hours);
        }
        let size = Some((60.0 * hours as f64, 1e-9));
        finds(
            &format!("{hours} h"),
            &raw,
            "clock-change",
            &[("wearer", "kelp")],
            size,
        );
    }
}

/// Two meters: the pair is named, and how the one used less reads against the other.
#[test]
fn meters_that_read_high_or_low() {
    for size in [0.15, -0.12, 0.30] {
        let mut raw = Raw::new();
        let own = raw
            .checks
            .iter_mut()
            .filter(|check| check.wearer == "kelp" && check.meter == "bag");
        own.for_each(|check| check.glucose *= 1.0 + size);
        finds(
            &format!("{size}"),
            &raw,
            "meter",
            &[("meter", "bag + kitchen"), ("wearer", "kelp")],
            Some((size, 0.03)),
        );
    }
}

#[test]
fn units() {
    let mut raw = Raw::new();
    let own = raw
        .sensors
        .iter_mut()
        .filter(|sensor| sensor.wearer == "dulse");
    own.flat_map(|sensor| &mut sensor.readings)
        .for_each(|reading| reading.1 /= 18.0156);
    finds(
        "a file",
        &raw,
        "unit",
        &[("file", "readings/dulse.csv"), ("unit", "mmol/L")],
        Some((18.0, 0.1)),
    );
    let mut raw = Raw::new();
    // One month of one file: the third sensor begins on 21 May.
    let june = 31 * 1440;
    let own = raw
        .sensors
        .iter_mut()
        .filter(|sensor| sensor.wearer == "kelp");
    let own = own.flat_map(|sensor| &mut sensor.readings);
    own.filter(|reading| reading.0 >= june)
        .for_each(|reading| reading.1 /= 18.0156);
    finds(
        "a month",
        &raw,
        "unit",
        &[("file", "readings/kelp.csv"), ("wearer", "kelp")],
        Some((18.0, 0.1)),
    );
}

#[test]
fn ids_wearers_and_sessions() {
    let mut raw = Raw::new();
    raw.sensor("k4").id = "k1".to_owned();
    finds(
        "an id used twice",
        &raw,
        "sensor-reused",
        &[("sensor", "k1"), ("wearer", "kelp")],
        None,
    );

    let mut raw = Raw::new();
    raw.sensors.retain(|sensor| sensor.id != "k2");
    let log = raw.write();
    let mut rows = std::fs::read_to_string(log.dir().join("readings/kelp.csv")).unwrap();
    for sensor in Raw::new().sensors.iter().filter(|sensor| sensor.id == "k2") {
        for (minute, value) in &sensor.readings {
            let at = jiff::Timestamp::from_second((START + minute) * 60).unwrap();
            let _ = writeln!(rows, "kelp,k2,{at},{value:.1}");
        }
    }
    log.write("readings/kelp.csv", rows);
    let findings = found(&log);
    let set_aside = findings
        .iter()
        .find(|finding| finding["kind"] == "set-aside");
    assert_eq!(
        set_aside.unwrap()["file"],
        "readings/kelp.csv",
        "a missing insert"
    );

    let mut raw = Raw::new();
    raw.sensor("k2").id = "x9".to_owned();
    let study = raw.write();
    let rows = std::fs::read_to_string(study.dir().join("readings/kelp.csv")).unwrap();
    study.write("readings/kelp.csv", rows.replace("kelp,x9", "dulse,x9"));
    let findings = found(&study);
    let wrong = findings
        .iter()
        .find(|finding| finding["kind"] == "wrong-wearer");
    assert_eq!(
        (&wrong.unwrap()["sensor"], &wrong.unwrap()["wearer"]),
        (&"x9".into(), &"dulse".into())
    );
}

#[test]
fn fifty_days_are_no_ten_day_sensor() {
    let mut raw = Raw::new();
    let all: Vec<(i64, f64)> = raw
        .sensors
        .iter()
        .filter(|sensor| sensor.wearer == "kelp")
        .take(5)
        .flat_map(|sensor| sensor.readings.clone())
        .collect();
    raw.sensors
        .retain(|sensor| !["k1", "k2", "k3", "k4"].contains(&sensor.id.as_str()));
    raw.sensor("k0").readings = all;
    let study = raw.write();
    let log = std::fs::read_to_string(study.dir().join("wear-events/log.csv")).unwrap();
    let kept: Vec<&str> = log
        .lines()
        .filter(|line| !line.contains("k0") || line.contains("insert"))
        .collect();
    study.write("wear-events/log.csv", kept.join("\n") + "\n");
    let findings = found(&study);
    let long = findings
        .iter()
        .find(|finding| finding["kind"] == "session-too-long");
    assert_eq!(long.unwrap()["sensor"], "k0");
}

#[test]
fn checks_by_alarm_and_another_spacing() {
    let mut raw = Raw::new();
    let spans: Vec<(&str, i64)> = raw
        .sensors
        .iter()
        .filter(|sensor| sensor.site == "calf")
        .map(|sensor| (sensor.wearer, sensor.insert))
        .collect();
    for (number, check) in raw.checks.iter_mut().enumerate() {
        let worn = spans.iter().any(|(wearer, from)| {
            *wearer == check.wearer && (*from..*from + WORN).contains(&check.minute)
        });
        if worn && number % 5 != 0 {
            check.purpose = "alarm";
        }
    }
    finds(
        "by alarm",
        &raw,
        "checks-by-alarm",
        &[("site", "calf")],
        None,
    );
    let mut raw = Raw::new();
    let mut count = 0;
    raw.sensor("k3").readings.retain(|_| {
        count += 1;
        count % 3 == 0
    });
    finds(
        "spacing",
        &raw,
        "spacing-changed",
        &[("sensor", "k3")],
        None,
    );
}

/// A sentence of page one never moves without a line beside it that says what the data deny.
#[test]
fn page_one_says_what_it_rests_on() {
    let first = |study: &Study| -> Vec<String> {
        let report = study.report().text("report.md");
        let lines = report.lines().skip_while(|line| !line.starts_with("- "));
        lines
            .take_while(|line| line.starts_with("- "))
            .map(str::to_owned)
            .collect()
    };
    let clean = first(&Raw::new().write());
    let mut mmol = Raw::new();
    mmol.sensors
        .iter_mut()
        .flat_map(|sensor| &mut sensor.readings)
        .for_each(|reading| reading.1 /= 18.0156);
    mmol.checks
        .iter_mut()
        .for_each(|check| check.glucose /= 18.0156);
    let mut clock = Raw::new();
    clock.shift("k2", 0, 60);
    let mut reused = Raw::new();
    reused.sensor("k4").id = "k1".to_owned();
    let mut meter = Raw::new();
    let own = meter.checks.iter_mut().filter(|check| check.meter == "bag");
    own.for_each(|check| check.glucose *= 1.15);
    for (word, raw) in [
        ("unit", mmol),
        ("k2", clock),
        ("k1", reused),
        ("bag", meter),
    ] {
        let said = first(&raw.write());
        assert_ne!(said, clean, "{word}");
        assert!(
            said.iter()
                .any(|line| line.contains("**The data**") && line.contains(word)
                    || line.contains("**Doubtful**") && line.contains(word)),
            "{word}: {said:#?}"
        );
    }
    assert!(
        !clean.iter().any(|line| line.contains("Found in the data")),
        "{clean:#?}"
    );
}

/// What comparisons still have: nights of one sensor, pairs of it, and pairs by one meter.
fn compared(raw: &Raw, sensor: &str, meter: &str) -> [f64; 3] {
    let table = raw.write().sql(&format!(
        "SELECT (SELECT COUNT(*) FROM compared_nights WHERE sensor = '{sensor}' AND counted = 1) AS nights, \
         (SELECT COUNT(*) FROM compared_pairs WHERE sensor = '{sensor}') AS pairs, \
         (SELECT COUNT(*) FROM compared_pairs AS p INNER JOIN numbered_fingersticks AS c ON c.fingerstick_no = p.fingerstick_no \
         WHERE c.meter = '{meter}' AND p.wearer = 'kelp') AS by_meter"
    ));
    let row = table.row(&[]);
    ["nights", "pairs", "by_meter"].map(|column| row.number(column))
}

/// Coarse readings cost a sensor's nights and nothing else, a meter's clock its fingersticks and nothing else.
#[test]
fn what_is_denied_is_left_out_and_no_more() {
    let plain = compared(&Raw::new(), "k2", "bag");
    assert!(plain.iter().all(|count| *count > 5.0), "{plain:?}");

    let mut raw = Raw::new();
    for reading in &mut raw.sensor("k2").readings {
        reading.1 = (reading.1 / 18.0156).round() * 18.0156;
    }
    finds(
        "whole mmol/L",
        &raw,
        "thin",
        &[("sensor", "k2")],
        Some((18.0, 0.1)),
    );
    assert_eq!(compared(&raw, "k2", "bag"), [0.0, plain[1], plain[2]]);

    let mut raw = Raw::new();
    let own = raw
        .checks
        .iter_mut()
        .filter(|check| check.meter == "bag" && check.wearer == "kelp");
    own.for_each(|check| check.minute += 60);
    finds(
        "a meter's clock",
        &raw,
        "clock-meter",
        &[("meter", "bag")],
        Some((60.0, 4.0)),
    );
    let left = compared(&raw, "k2", "bag");
    assert_eq!((left[0], left[2]), (plain[0], 0.0));
    assert!(left[1] > 0.5 * plain[1], "{left:?} of {plain:?}");
}
