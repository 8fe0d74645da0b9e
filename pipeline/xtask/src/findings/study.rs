//! A study as rows that faults can be planted in, and the look at it.

use std::fs;
use std::path::Path;

use whereworn_findings::{Log, Look, Outcome};
use whereworn_model::rows::{
    Check, FileRows, Reading, RejectedRow, SensorReadings, Status, WearEvent, contradiction,
};
use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;
use whereworn_model::units::MGDL_PER_MMOLL;

/// Rows of a study, each with the text of its value.
#[derive(Clone, Debug, Default)]
pub struct Rows {
    pub settings: String,
    pub readings: Vec<SensorReadings>,
    pub checks: Vec<Check>,
    pub events: Vec<WearEvent>,
    /// Lines of a wearer's readings that cannot be read: every so many.
    pub broken: Option<(String, usize)>,
    /// What values are multiplied by, and the unit declared for them: wearer, sensor or meter, factor, unit.
    pub units: Vec<(String, String, f64, &'static str)>,
    /// Rows of the log whose time cannot be read.
    pub unread: Vec<WearEvent>,
    /// When it is looked at, where that matters; later rows are rejected.
    pub as_of: Option<Micros>,
}

pub const MINUTE: Micros = 60_000_000;
pub const DAY: Micros = 1440 * MINUTE;

impl Rows {
    /// Reads the rows of a folder that the demo wrote.
    pub fn read(dir: &Path) -> Result<Self, String> {
        let zone = jiff::tz::TimeZone::get("Atlantic/Azores").map_err(text)?;
        let time = |cell: &str| -> Micros {
            let local = || {
                cell.parse::<jiff::civil::DateTime>()
                    .ok()?
                    .to_zoned_datetime(zone.clone())
                    .ok()
            };
            let at = cell
                .parse::<jiff::Timestamp>()
                .ok()
                .or_else(|| local().map(|zoned| zoned.timestamp()));
            at.map_or(0, |at| at.as_microsecond())
        };
        let value = |cell: &str, unit: &str| -> f64 {
            let number: f64 = cell.parse().unwrap_or(f64::NAN);
            if unit == "mmol/L" {
                number * 18.0156
            } else {
                number
            }
        };
        let mut rows = Self {
            settings: fs::read_to_string(dir.join("study.toml")).map_err(text)?,
            ..Self::default()
        };
        let wearer = "tuff";
        for row in table(dir, "readings")? {
            let get = |name: &str| row.get(name).map_or("", String::as_str);
            let who = if get("wearer").is_empty() {
                wearer
            } else {
                get("wearer")
            };
            let known = rows
                .readings
                .iter_mut()
                .find(|s| s.wearer == who && s.sensor == get("sensor"));
            let reading = Reading {
                time: time(get("time")),
                glucose: value(get("glucose"), get("unit")),
                status: match get("status") {
                    "low" => Status::Low,
                    "high" => Status::High,
                    "warmup" => Status::Warmup,
                    "error" => Status::Error,
                    _ => Status::Ok,
                },
                file: 0,
                line: 0,
            };
            match known {
                Some(sensor) => sensor.readings.push(reading),
                None => rows.readings.push(SensorReadings {
                    wearer: who.to_owned(),
                    sensor: get("sensor").to_owned(),
                    readings: vec![reading],
                }),
            }
        }
        rows.readings
            .iter_mut()
            .for_each(|sensor| sensor.readings.sort_by_key(|r| r.time));
        for row in table(dir, "fingersticks")? {
            let get = |name: &str| row.get(name).cloned().unwrap_or_default();
            rows.checks.push(Check {
                wearer: get("wearer").into(),
                time: time(&get("time")),
                glucose: value(&get("glucose"), &get("unit")),
                meter: get("meter").into(),
                purpose: get("purpose").into(),
                ..Check::default()
            });
        }
        for row in table(dir, "wear-events")? {
            let get = |name: &str| row.get(name).cloned().unwrap_or_default();
            rows.events.push(WearEvent {
                wearer: get("wearer").into(),
                sensor: get("sensor").into(),
                time: time(&get("time")),
                event: get("event").into(),
                site: get("site").into(),
                side: get("side").into(),
                cause: get("cause").into(),
                tape: get("tape").into(),
                model: get("model").into(),
                lot: get("lot").into(),
                ..WearEvent::default()
            });
        }
        Ok(rows)
    }

    /// Why a reading would be rejected on loading: a glucose that no body has in the unit declared, or a value that is no
    /// number.
    fn reason(&self, glucose: f64, factor: f64, unit: &str, broken: bool) -> Option<String> {
        if broken {
            return Some("a number that cannot be read".to_owned());
        }
        let absurd = unit == "mmol/L" && glucose * MGDL_PER_MMOLL > 1500.0 && factor == 1.0;
        absurd.then(|| format!("glucose that no body has: {glucose} mmol/L"))
    }

    /// Looks at the rows as loading would give them.
    pub fn look(&self) -> Result<Outcome, String> {
        let settings = Settings::parse(&self.settings).map_err(text)?;
        let mut rows = self.clone();
        rows.checks.iter_mut().for_each(|c| {
            c.glucose *= self.factor(&c.wearer, &c.meter).0;
            c.file = format!("fingersticks/{}.csv", c.wearer).into();
        });
        let mut lines = std::collections::BTreeMap::<String, u64>::new();
        for event in rows.events.iter_mut().chain(&mut rows.unread) {
            event.file = format!("wear-events/{}.csv", event.wearer).into();
            let line = lines.entry(event.file.to_string()).or_insert(1);
            *line += 1;
            event.line = *line;
        }
        let mut rejects: Vec<RejectedRow> = Vec::new();
        let reject = |event: &WearEvent, column: &str, reason: &str| RejectedRow {
            file: event.file.to_string(),
            line: event.line,
            column: column.to_owned(),
            reason: reason.to_owned(),
            raw: format!("{},{},{}", event.wearer, event.sensor, event.event),
        };
        let unread = rows.unread.iter();
        rejects.extend(unread.map(|event| reject(event, "time", "unparsable time")));
        rows.events.retain(|event| {
            let is_late = self.as_of.is_some_and(|as_of| event.time > as_of);
            rejects.extend(is_late.then(|| reject(event, "time", "a time after --as-of")));
            !is_late
        });
        let mut inserted = std::collections::BTreeSet::new();
        let mut begun = std::collections::BTreeMap::new();
        for event in rows.events.iter().filter(|event| event.event == "insert") {
            begun
                .entry((event.wearer.clone(), event.sensor.clone()))
                .or_insert(event.time);
        }
        let mut refused = Vec::new();
        rows.events
            .sort_by(|a, b| (&a.wearer, a.time).cmp(&(&b.wearer, b.time)));
        rows.checks
            .sort_by(|a, b| (&a.wearer, a.time).cmp(&(&b.wearer, b.time)));
        rows.readings
            .sort_by(|a, b| (&a.wearer, &a.sensor).cmp(&(&b.wearer, &b.sensor)));
        rows.events.retain(|e| {
            let insert = begun.get(&(e.wearer.clone(), e.sensor.clone()));
            let fault = match insert {
                _ if e.event != "end" => None,
                None => Some(("sensor", "`end` of a sensor that was never inserted")),
                Some(insert) if e.time < *insert => Some(("time", "`end` before `insert`")),
                Some(_) => None,
            };
            if let Some((column, reason)) = fault {
                rejects.push(reject(e, column, reason));
                refused.push(e.clone());
                return false;
            }
            let first = e.sensor.is_empty()
                || inserted.insert((e.wearer.clone(), e.sensor.clone(), e.event.clone()))
                || !["insert", "end"].contains(&e.event.as_str());
            if !first {
                refused.push(e.clone());
            }
            first
        });
        let mut files: Vec<FileRows> = Vec::new();
        for sensor in &mut rows.readings {
            let name = format!("readings/{}.csv", sensor.wearer);
            let file = files
                .iter()
                .position(|f| f.name == name)
                .unwrap_or_else(|| {
                    files.push(FileRows {
                        name: name.clone(),
                        table: "readings",
                        rows: 0,
                    });
                    files.len() - 1
                });
            let (factor, unit) = self.factor(&sensor.wearer, &sensor.sensor);
            let every = self
                .broken
                .as_ref()
                .filter(|(who, _)| *who == sensor.wearer);
            let every = every.map_or(u64::MAX, |(_, every)| *every as u64);
            let row = (&sensor.wearer, &sensor.sensor);
            sensor.readings.retain_mut(|r| {
                let line = lines.entry(name.clone()).or_insert(1);
                *line += 1;
                files[file].rows += 1;
                let reason = self.reason(r.glucose, factor, unit, line.is_multiple_of(every));
                (r.file, r.line) = (file, *line);
                r.glucose *= if unit == "mmol/L" {
                    MGDL_PER_MMOLL
                } else {
                    factor
                };
                rejects.extend(reason.iter().map(|reason| RejectedRow {
                    file: name.clone(),
                    line: *line,
                    column: "glucose".to_owned(),
                    reason: reason.clone(),
                    raw: format!("{},{},{},{},{unit}", row.0, row.1, r.time, r.glucose),
                }));
                reason.is_none()
            });
            rejects.extend(settle(&mut sensor.readings, &name));
        }
        let cutoff = rows
            .readings
            .iter()
            .flat_map(|s| s.readings.last())
            .map(|r| r.time)
            .chain(rows.events.iter().map(|e| e.time))
            .max()
            .unwrap_or(0);
        let mut look = Look::new(Log {
            settings: &settings,
            events: &rows.events,
            refused: &refused,
            checks: &rows.checks,
            files: &files,
            rejects: &rejects,
            cutoff,
            month_start: cutoff - 30 * DAY,
        });
        rows.readings
            .into_iter()
            .for_each(|sensor| look.sensor(sensor));
        Ok(look.finish())
    }

    fn factor(&self, wearer: &str, name: &str) -> (f64, &'static str) {
        let own = self
            .units
            .iter()
            .find(|unit| unit.0 == wearer && unit.1 == name);
        own.map_or((1.0, "mg/dL"), |unit| (unit.2, unit.3))
    }
}

/// Puts readings in order of time and keeps the first of those at the same time, as loading does; gives what contradicts
/// it.
fn settle(readings: &mut Vec<Reading>, file: &str) -> Vec<RejectedRow> {
    let mut rejects = Vec::new();
    readings.sort_by_key(|reading| reading.time);
    readings.dedup_by(|next, first| {
        let twice = next.time == first.time;
        if twice && (next.glucose, next.status) != (first.glucose, first.status) {
            rejects.push(RejectedRow {
                file: file.to_owned(),
                line: next.line,
                column: "glucose".to_owned(),
                reason: contradiction(file, first.line),
                ..RejectedRow::default()
            });
        }
        twice
    });
    rejects
}

fn text(error: impl std::fmt::Display) -> String {
    error.to_string()
}

type Row = std::collections::BTreeMap<String, String>;

fn table(dir: &Path, folder: &str) -> Result<Vec<Row>, String> {
    let mut rows = Vec::new();
    let mut paths: Vec<_> = fs::read_dir(dir.join(folder))
        .map_err(text)?
        .flatten()
        .map(|e| e.path())
        .collect();
    paths.sort();
    for path in paths {
        let all = fs::read_to_string(&path).map_err(text)?;
        let mut lines = all.lines();
        let header: Vec<&str> = lines.next().unwrap_or("").split(',').collect();
        for line in lines {
            let cells = line.split(',').map(str::to_owned);
            rows.push(
                header
                    .iter()
                    .map(|name| (*name).to_owned())
                    .zip(cells)
                    .collect(),
            );
        }
    }
    Ok(rows)
}
