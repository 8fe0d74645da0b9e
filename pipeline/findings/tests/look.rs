//! Small studies by hand: what is found, what it is called, and what is not claimed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use whereworn_findings::{Finding, Log, Look, Outcome, Severity};
use whereworn_model::rows::{
    Check, FileRows, Reading, RejectedRow, SensorReadings, Status, WearEvent, contradiction,
};
use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;

const MINUTE: Micros = 60_000_000;
const DAY: Micros = 1440 * MINUTE;
/// 2026-06-01T00:00:00Z.
const START: Micros = 1_780_272_000_000_000;

/// Glucose that moves as fast as it does in type 1 diabetes, up to about 2 mg/dL a minute: three waves without a common period.
fn glucose(minute: f64) -> f64 {
    let wave = |period: f64, height: f64| height * (minute / period * std::f64::consts::TAU).sin();
    150.0 + wave(233.0, 35.0) + wave(97.0, 12.0) + wave(611.0, 25.0)
}

/// A study of one wearer: sensors of ten days one after the other, a reading every 5 min that follows glucose 8 min
/// later, 6 fingersticks a day by two meters.
struct Study {
    settings: String,
    events: Vec<WearEvent>,
    refused: Vec<WearEvent>,
    checks: Vec<Check>,
    sensors: Vec<SensorReadings>,
    rejects: Vec<RejectedRow>,
}

impl Study {
    fn new(sensors: usize) -> Self {
        let mut study = Self {
            settings: "[study]\nunit = \"mg/dL\"\ntimezone = \"UTC\"\n".to_owned(),
            events: Vec::new(),
            refused: Vec::new(),
            checks: Vec::new(),
            sensors: Vec::new(),
            rejects: Vec::new(),
        };
        for number in 0..sensors as i64 {
            let (from, to) = (number * 14_700, number * 14_700 + 14_400);
            let sensor = format!("s{number}");
            let event = |event: &str, minute: i64| WearEvent {
                wearer: "kelp".into(),
                sensor: sensor.as_str().into(),
                time: START + minute * MINUTE,
                event: event.into(),
                site: ["abdomen", "chest"][number as usize % 2].into(),
                side: ["left", "right"][(number as usize / 2) % 2].into(),
                file: "wear-events/kelp.csv".into(),
                line: number as u64 + 2,
                ..WearEvent::default()
            };
            study.events.push(event("insert", from));
            study.events.push(event("end", to));
            let reading = |minute: i64| Reading {
                time: START + minute * MINUTE,
                // Noise that repeats after 7 readings: plus or minus 3 %.
                glucose: glucose(minute as f64 - 8.0)
                    * (1.0 + 0.01 * ((minute / 5 % 7) as f64 - 3.0)),
                status: Status::Ok,
                file: 0,
                line: minute as u64 / 5,
            };
            study.sensors.push(SensorReadings {
                wearer: "kelp".to_owned(),
                sensor,
                readings: (from + 5..to).step_by(5).map(reading).collect(),
            });
        }
        let last = 14_700 * sensors as i64;
        for (number, minute) in (30..last).step_by(239).enumerate() {
            study.checks.push(Check {
                wearer: "kelp".into(),
                time: START + minute * MINUTE,
                glucose: glucose(minute as f64) * (1.0 + 0.02 * ((number % 5) as f64 - 2.0)),
                meter: ["kitchen", "bag"][number % 2].into(),
                purpose: "routine".into(),
                file: "fingersticks/kelp.csv".into(),
                line: number as u64 + 2,
            });
        }
        study
    }

    fn look(&self) -> Outcome {
        let settings = Settings::parse(&self.settings).unwrap();
        let rows = self.sensors.iter().map(|s| s.readings.len() as u64).sum();
        let files = [FileRows {
            name: "readings/kelp.csv".to_owned(),
            table: "readings",
            rows,
        }];
        let cutoff = self
            .sensors
            .iter()
            .flat_map(|s| &s.readings)
            .map(|r| r.time)
            .max()
            .unwrap();
        let mut look = Look::new(Log {
            settings: &settings,
            events: &self.events,
            refused: &self.refused,
            checks: &self.checks,
            files: &files,
            rejects: &self.rejects,
            cutoff: cutoff + 10 * MINUTE,
            month_start: START + 30 * DAY,
        });
        self.sensors
            .iter()
            .cloned()
            .for_each(|sensor| look.sensor(sensor));
        look.finish()
    }

    /// Of two readings of a sensor at one time the second is rejected, as loading does.
    fn settle(&mut self, sensor: usize) {
        let (file, rejects) = ("readings/kelp.csv", &mut self.rejects);
        self.sensors[sensor].readings.dedup_by(|next, first| {
            let twice = next.time == first.time;
            if twice {
                rejects.push(RejectedRow {
                    file: file.to_owned(),
                    line: next.line,
                    reason: contradiction(file, first.line),
                    ..RejectedRow::default()
                });
            }
            twice
        });
    }

    fn shift(&mut self, sensor: usize, from: Micros, minutes: i64) {
        let late = self.sensors[sensor]
            .readings
            .iter_mut()
            .filter(|reading| reading.time >= from);
        late.for_each(|reading| reading.time += minutes * MINUTE);
        self.sensors[sensor]
            .readings
            .sort_by_key(|reading| reading.time);
    }

    /// The same study of somebody else.
    fn of(mut self, wearer: &str) -> Self {
        let events = self.events.iter_mut().map(|row| &mut row.wearer);
        let checks = self.checks.iter_mut().map(|row| &mut row.wearer);
        for name in events.chain(checks) {
            *name = wearer.into();
        }
        for sensor in &mut self.sensors {
            sensor.wearer = wearer.to_owned();
        }
        self
    }

    /// Adds the rows of a wearer whose name comes later.
    fn and(mut self, other: Self) -> Self {
        self.events.extend(other.events);
        self.checks.extend(other.checks);
        self.sensors.extend(other.sensors);
        self
    }
}

fn claims(outcome: &Outcome) -> Vec<&Finding> {
    outcome
        .findings
        .iter()
        .filter(|finding| finding.severity != Severity::Thin)
        .collect()
}

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
        let [found] = claims(&outcome)[..] else {
            panic!("{:?}", outcome.findings);
        };
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

#[test]
fn a_finding_that_was_seen_is_listed_as_seen() {
    let mut study = Study::new(6);
    study.shift(2, 0, 60);
    study.settings += "[[seen]]\nkind = \"clock-sensor\"\nsensor = \"s2\"\n";
    let outcome = study.look();
    let seen: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|finding| finding.seen)
        .collect();
    assert_eq!(seen.len(), 1);
    assert!(outcome.left_out.is_empty());
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!(found.kind, "meter");
    assert_eq!(found.meter, "bag + kitchen");
    assert!(
        (found.size.unwrap() - 0.15 / 1.075).abs() < 0.01,
        "{found:?}"
    );
}

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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!((found.kind, found.meter.as_str()), ("clock-meter", "bag"));
    assert!((found.size.unwrap() - 35.0).abs() <= 8.0, "{found:?}");
}

/// 1 mmol/L = 18.0156 mg/dL (molar mass of glucose): values a factor of 18 too small are mmol/L.
#[test]
fn mmol_read_as_mg_is_a_wrong_unit_and_tells_of_no_clock() {
    let mut study = Study::new(6);
    study.sensors[3]
        .readings
        .iter_mut()
        .for_each(|reading| reading.glucose /= 18.0156);
    let outcome = study.look();
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!(
        (found.kind, found.severity, found.sensor.as_str()),
        ("unit", Severity::Wrong, "s3")
    );
    assert_eq!((found.size, found.unit), (Some(18.0), "mmol/L"));
    assert!(found.paste.contains("unit = \"mmol/L\""), "{}", found.paste);
}

/// One file of a meter's fingersticks in mmol/L: the lines to paste name the file, since the meter is right in the others.
#[test]
fn one_file_in_mmol_is_named_by_its_file() {
    let mut study = Study::new(6);
    for check in &mut study.checks {
        check.meter = "kitchen".into();
        if check.time >= START + 30 * DAY {
            check.file = "fingersticks/later.csv".into();
            check.glucose /= 18.0156;
        }
    }
    let outcome = study.look();
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!(found.kind, "unit");
    assert!(
        found.paste.contains("file = \"fingersticks/later.csv\"\n")
            && !found.paste.contains("meter = "),
        "{}",
        found.paste
    );
    // Where all of the meter's fingersticks are, the meter is named.
    for check in &mut study.checks {
        if &*check.file != "fingersticks/later.csv" {
            check.glucose /= 18.0156;
        }
    }
    let outcome = study.look();
    let pastes = claims(&outcome).into_iter().map(|found| &found.paste);
    assert!(
        pastes
            .into_iter()
            .all(|paste| paste.contains("meter = \"kitchen\"\n"))
    );
}

/// Three in five of a meter's fingersticks are what the sensor showed; those of the other are measured.
#[test]
fn fingersticks_copied_from_the_sensor_are_told() {
    let mut study = Study::new(6);
    assert_eq!(claims(&study.look()), Vec::<&Finding>::new());
    let readings: Vec<Reading> = study
        .sensors
        .iter()
        .flat_map(|s| s.readings.clone())
        .collect();
    let bag = study.checks.iter_mut().filter(|check| check.meter == "bag");
    for (_, check) in bag.enumerate().filter(|(number, _)| number % 5 < 3) {
        let next = readings.partition_point(|reading| reading.time <= check.time);
        check.glucose = readings[next - 1].glucose;
    }
    let outcome = study.look();
    let copied = claims(&outcome)
        .into_iter()
        .find(|found| found.text.contains("copied"));
    let copied = copied.expect("a finding");
    assert_eq!(
        (copied.kind, copied.meter.as_str(), copied.size),
        ("meter", "bag", None)
    );
    assert_eq!(
        copied.paste,
        "[[corrections]]\nwearer = \"kelp\"\nmeter = \"bag\"\nleave_out = true\n"
    );
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

/// Neither meter follows when the clocks are put back on 25 October 2026: each has lines of its own.
#[test]
fn lines_to_paste_name_each_meter() {
    let mut study = Study::new(17);
    study.settings = study.settings.replace("UTC", "Europe/Berlin");
    let at = START + 146 * DAY + 60 * MINUTE;
    let late = study.checks.iter_mut().filter(|check| check.time >= at);
    late.for_each(|check| check.time += 60 * MINUTE);
    let outcome = study.look();
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!((found.kind, found.size), ("clock-change", Some(60.0)));
    for meter in ["kitchen", "bag"] {
        let line = format!("meter = \"{meter}\"\n");
        assert!(found.paste.contains(&line), "{}", found.paste);
    }
}

/// A gap of three days, and an id inserted twice.
#[test]
fn one_id_for_two_sensors_is_told() {
    let mut study = Study::new(4);
    let gap = START + 2 * DAY..START + 5 * DAY + MINUTE;
    study.sensors[0]
        .readings
        .retain(|reading| !gap.contains(&reading.time));
    let again = WearEvent {
        time: START + 40 * DAY,
        line: 99,
        ..study.events[2].clone()
    };
    study.refused.push(again);
    let outcome = study.look();
    let kinds: Vec<(&str, &str)> = claims(&outcome)
        .iter()
        .map(|f| (f.kind, f.sensor.as_str()))
        .collect();
    assert!(kinds.contains(&("session-too-long", "s0")), "{kinds:?}");
    assert!(kinds.contains(&("sensor-reused", "s1")), "{kinds:?}");
    assert_eq!(kinds.len(), 2, "{kinds:?}");
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!(
        (found.kind, found.size, found.meter.as_str()),
        ("clock-change", Some(60.0), "bag")
    );
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
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
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s1"));
    assert_eq!(found.size, Some(23.0));
}

/// The readings of the last sensor show that its clock was put forward, and no other sensor is shifted: it is its own.
#[test]
fn a_jump_of_the_last_sensor_is_not_everybodys() {
    let mut study = Study::new(6);
    study.shift(5, START + (5 * 14_700 + 5 * 1_440) * MINUTE, 40);
    let outcome = study.look();
    let [found] = claims(&outcome)[..] else {
        panic!("{:?}", outcome.findings);
    };
    assert_eq!((found.kind, found.sensor.as_str()), ("clock-sensor", "s5"));
    assert_eq!(found.size, Some(40.0));
}

/// A sensor that the log ends 3 days early has 863 readings after that, of 8,517 in June (2,879 of each of two sensors, 2,759
/// of the third): a tenth, but 24 of them are no two hours late, and make no file wrong.
#[test]
fn readings_after_an_end_are_counted_as_set_aside() {
    let mut study = Study::new(3);
    let end = |event: &&mut WearEvent| &*event.sensor == "s1" && &*event.event == "end";
    study.events.iter_mut().find(end).unwrap().time -= 3 * DAY;
    let outcome = study.look();
    let mut all = outcome.findings.iter();
    let aside = all.find(|found| found.kind == "set-aside").unwrap();
    assert_eq!((aside.severity, aside.size), (Severity::Thin, Some(0.1013)));
    let text = "863 readings of 8517 in 2026-06 set aside";
    assert!(aside.text.contains(text), "{}", aside.text);
}
