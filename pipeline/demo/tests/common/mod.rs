//! Reads a written study back, by other means than the writer's.
#![allow(dead_code)]

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

use flate2::read::GzDecoder;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use serde_json::Value;
use tempfile::TempDir;
use whereworn_demo::{Options, Summary, write_study};

/// Three wearers of eight sensors each, every 15 minutes.
pub fn small() -> Options {
    Options {
        wearers: 3,
        sensors: 8,
        minutes: 15,
        seed: 11,
        ..Options::default()
    }
}

pub type Row = BTreeMap<String, String>;

/// A study in a folder of its own.
pub struct Study {
    folder: TempDir,
    zone: TimeZone,
    pub summary: Summary,
    pub truth: Value,
}

/// One reading as it was read back; instants in seconds since 1970, glucose in mg/dL.
#[derive(Debug, Clone)]
pub struct Reading {
    pub local: String,
    pub instant: i64,
    pub glucose: f64,
    pub status: String,
}

/// One sensor of the truth; instants in seconds since 1970.
#[derive(Debug, Clone)]
pub struct Sensor {
    pub wearer: String,
    pub sensor: String,
    pub site: String,
    pub inserted: i64,
    pub ended: Option<i64>,
    pub last_worn: i64,
    pub cause: Option<String>,
    pub gain: f64,
    pub days: f64,
}

impl Study {
    pub fn new(options: &Options) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("study");
        let summary = write_study(&dir, options).unwrap();
        let truth =
            serde_json::from_str(&fs::read_to_string(dir.join("truth/truth.json")).unwrap())
                .unwrap();
        Self {
            folder,
            zone: TimeZone::get("Atlantic/Azores").unwrap(),
            summary,
            truth,
        }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join("study").join(name)
    }

    /// All files by name, slashes between folders.
    pub fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let mut files = BTreeMap::new();
        for folder in ["", "readings", "fingersticks", "wear-events", "truth"] {
            for entry in fs::read_dir(self.path(folder)).unwrap() {
                let path = entry.unwrap().path();
                if path.is_file() {
                    let name = path.file_name().unwrap().to_string_lossy().into_owned();
                    let name = if folder.is_empty() {
                        name
                    } else {
                        format!("{folder}/{name}")
                    };
                    files.insert(name, fs::read(path).unwrap());
                }
            }
        }
        files
    }

    /// The rows of all files of a folder, by path.
    pub fn rows(&self, folder: &str) -> Vec<Row> {
        let names: Vec<String> = self
            .files()
            .into_keys()
            .filter(|name| name.starts_with(&format!("{folder}/")))
            .collect();
        names.iter().flat_map(|name| self.table(name)).collect()
    }

    pub fn table(&self, name: &str) -> Vec<Row> {
        let mut reader = csv::Reader::from_reader(open(&self.path(name)));
        reader.deserialize().map(|row| row.unwrap()).collect()
    }

    /// The instant of a time with or without offset, seconds since 1970; the earlier one where it occurs twice.
    pub fn instant(&self, time: &str) -> i64 {
        if let Ok(instant) = time.parse::<jiff::Timestamp>() {
            return instant.as_second();
        }
        let local: DateTime = time.parse().unwrap();
        self.zone
            .to_ambiguous_timestamp(local)
            .earlier()
            .unwrap()
            .as_second()
    }

    /// The readings of each sensor in file order, instants chosen so that they increase.
    pub fn readings(&self) -> BTreeMap<(String, String), Vec<Reading>> {
        let mut sensors: BTreeMap<(String, String), Vec<Reading>> = BTreeMap::new();
        for row in self.rows("readings") {
            let wearer = row.get("wearer").map_or("tuff", String::as_str);
            let readings = sensors
                .entry((wearer.to_owned(), row["sensor"].clone()))
                .or_default();
            let mut instant = self.instant(&row["time"]);
            if let (Ok(local), Some(last)) = (row["time"].parse::<DateTime>(), readings.last())
                && instant <= last.instant
            {
                instant = self
                    .zone
                    .to_ambiguous_timestamp(local)
                    .later()
                    .unwrap()
                    .as_second();
            }
            let mmoll = row.get("unit").is_some_and(|unit| unit == "mmol/L");
            let glucose =
                row["glucose"].parse::<f64>().unwrap() * if mmoll { 18.0156 } else { 1.0 };
            readings.push(Reading {
                local: row["time"].clone(),
                instant,
                glucose,
                status: row["status"].clone(),
            });
        }
        sensors
    }

    pub fn sensors(&self) -> Vec<Sensor> {
        self.truth["sensors"]
            .as_array()
            .unwrap()
            .iter()
            .map(|value| self.sensor_of(value))
            .collect()
    }

    pub fn sensor(&self, key: &(String, String)) -> Sensor {
        self.sensors()
            .into_iter()
            .find(|sensor| sensor.wearer == key.0 && sensor.sensor == key.1)
            .unwrap()
    }

    fn sensor_of(&self, value: &Value) -> Sensor {
        let text = |name: &str| value[name].as_str().map(str::to_owned);
        Sensor {
            wearer: text("wearer").unwrap(),
            sensor: text("sensor").unwrap(),
            site: text("site").unwrap(),
            inserted: self.instant(&text("inserted").unwrap()),
            ended: text("ended").map(|time| self.instant(&time)),
            last_worn: self.instant(&text("last_worn").unwrap()),
            cause: text("cause"),
            gain: value["gain"].as_f64().unwrap(),
            days: value["days"].as_f64().unwrap(),
        }
    }
}

fn open(path: &Path) -> Box<dyn Read> {
    let file = File::open(path).unwrap();
    if path.extension().is_some_and(|extension| extension == "gz") {
        Box::new(GzDecoder::new(file))
    } else {
        Box::new(file)
    }
}
