//! A study of which tests change some rows.

use whereworn_findings::{Finding, Log, Look, Outcome, Severity};
use whereworn_model::rows::{
    Check, FileRows, Reading, RejectedRow, SensorReadings, Status, WearEvent, contradiction,
};
use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;

pub const MINUTE: Micros = 60_000_000;
pub const DAY: Micros = 1440 * MINUTE;
/// 2026-06-01T00:00:00Z.
pub const START: Micros = 1_780_272_000_000_000;

/// Glucose that moves as fast as it does in type 1 diabetes, up to about 2 mg/dL a minute: three waves without a common period.
pub fn glucose(minute: f64) -> f64 {
    let wave = |period: f64, height: f64| height * (minute / period * std::f64::consts::TAU).sin();
    150.0 + wave(233.0, 35.0) + wave(97.0, 12.0) + wave(611.0, 25.0)
}

/// A study of one wearer: sensors of ten days one after the other, a reading every 5 min that follows glucose 8 min
/// later, 6 fingersticks a day by two meters.
pub struct Study {
    pub settings: String,
    pub events: Vec<WearEvent>,
    pub refused: Vec<WearEvent>,
    pub checks: Vec<Check>,
    pub sensors: Vec<SensorReadings>,
    pub rejects: Vec<RejectedRow>,
    /// Fingersticks in the file after the cut-off.
    pub later_checks: usize,
}

impl Study {
    pub fn new(sensors: usize) -> Self {
        let mut study = Self {
            settings: "[study]\nunit = \"mg/dL\"\ntimezone = \"UTC\"\n".to_owned(),
            events: Vec::new(),
            refused: Vec::new(),
            checks: Vec::new(),
            sensors: Vec::new(),
            rejects: Vec::new(),
            later_checks: 0,
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

    pub fn look(&self) -> Outcome {
        self.look_until(0)
    }

    /// A look at least so many days after the study began.
    pub fn look_until(&self, days: i64) -> Outcome {
        let settings = Settings::parse(&self.settings).unwrap();
        let rows = self.sensors.iter().map(|s| s.readings.len() as u64).sum();
        let file = |name: &str, table, rows| FileRows {
            name: name.to_owned(),
            table,
            rows,
        };
        let checks = "fingersticks/kelp.csv";
        let rejected = self.rejects.iter().filter(|row| row.file == checks);
        let read = self.checks.len() + rejected.count() + self.later_checks;
        let files = [
            file("readings/kelp.csv", "readings", rows),
            file(checks, "fingersticks", read as u64),
            file("readings/again.csv", "readings", 0),
        ];
        let cutoff = self
            .sensors
            .iter()
            .flat_map(|s| &s.readings)
            .map(|r| r.time)
            .max()
            .unwrap()
            .max(START + days * DAY);
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
    pub fn settle(&mut self, sensor: usize) {
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

    pub fn shift(&mut self, sensor: usize, from: Micros, minutes: i64) {
        let late = self.sensors[sensor]
            .readings
            .iter_mut()
            .filter(|reading| reading.time >= from);
        late.for_each(|reading| reading.time += minutes * MINUTE);
        self.sensors[sensor]
            .readings
            .sort_by_key(|reading| reading.time);
    }

    /// Adds a sensor worn at once with another, at the same times.
    pub fn add(&mut self, sensor: &str, beside: usize, glucose: fn(f64) -> f64) {
        let own = self.sensors[beside].clone();
        let of = |event: &&WearEvent| event.sensor == own.sensor;
        let events: Vec<WearEvent> = self.events.iter().filter(of).cloned().collect();
        self.events
            .extend(events.into_iter().map(|event| WearEvent {
                sensor: sensor.into(),
                ..event
            }));
        self.events.sort_by_key(|event| event.time);
        let readings = own.readings.into_iter().map(|reading| Reading {
            glucose: glucose(reading.glucose),
            ..reading
        });
        self.sensors.push(SensorReadings {
            sensor: sensor.to_owned(),
            readings: readings.collect(),
            ..own
        });
    }

    /// The same study of somebody else.
    pub fn of(mut self, wearer: &str) -> Self {
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
    pub fn and(mut self, other: Self) -> Self {
        self.events.extend(other.events);
        self.checks.extend(other.checks);
        self.sensors.extend(other.sensors);
        self
    }
}

/// The one claim of a look.
#[track_caller]
pub fn only(outcome: &Outcome) -> &Finding {
    match claims(outcome)[..] {
        [found] => found,
        _ => panic!("{:?}", outcome.findings),
    }
}

pub fn claims(outcome: &Outcome) -> Vec<&Finding> {
    outcome
        .findings
        .iter()
        .filter(|finding| finding.severity != Severity::Thin)
        .collect()
}
