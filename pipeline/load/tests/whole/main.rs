//! Small studies loaded whole: every row with what becomes of it, and what a second load finds. Expected rows are worked by
//! hand; 1 mmol/L is 18.0156 mg/dL (molar mass of glucose 180.156 g/mol).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod doubts;
mod folders;
mod inputs;
mod kinds;
mod limits;
mod maps;
mod moments;
mod pools;
mod resources;
mod rows;
mod words;

use std::fs;
use std::path::Path;

use tempfile::TempDir;
use whereworn_load::map::{Known, map, preview};
use whereworn_load::{
    Evidence, Holder, LoadOptions, Loaded, RowCounts, Said, Settled, Store, Study, Table, load,
};
use whereworn_model::rows::Status;
use whereworn_model::time::{Micros, format_utc, parse_instant};
use whereworn_model::units::Unit;

const UTC: &str = "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n";
const INSERT: &str = "sensor,time,event,site\na,2026-03-01T08:00:00Z,insert,calf\n";

struct Place(TempDir);

impl Place {
    fn new(files: &[(&str, &str)]) -> Self {
        let place = Self(tempfile::tempdir().unwrap());
        files
            .iter()
            .for_each(|(name, text)| place.write(name, text));
        place
    }

    /// A study with one sensor and a file of readings.
    fn with_readings(text: &str) -> Self {
        Self::new(&[
            ("study.toml", UTC),
            ("wear-events/e.csv", INSERT),
            ("readings/r.csv", text),
        ])
    }

    fn write(&self, name: &str, text: &str) {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn study(&self) -> Study {
        Study::open(self.path()).unwrap()
    }

    fn load(&self) -> (Store, Loaded) {
        load(&self.study(), &LoadOptions::default(), &|_| {}).unwrap()
    }

    fn fails(&self) -> String {
        let study = match Study::open(self.path()) {
            Ok(study) => study,
            Err(error) => return error.to_string(),
        };
        let loaded = load(&study, &LoadOptions::default(), &|_| {});
        loaded
            .err()
            .map_or_else(String::new, |error| error.to_string())
    }

    fn settled(&self) -> Settled {
        self.load().0.settle(&self.study(), Micros::MAX).unwrap()
    }
}

fn at(text: &str) -> Micros {
    parse_instant(text).unwrap()
}

/// Rejects as `file:line:column`, with words of their reasons.
fn rejected(settled: &Settled, wanted: &[(&str, &str)]) {
    let found: Vec<String> = settled
        .rejects
        .iter()
        .map(|r| format!("{}:{}:{}", r.file, r.line, r.column))
        .collect();
    let places: Vec<&str> = wanted.iter().map(|(place, _)| *place).collect();
    assert_eq!(found, places, "{:#?}", settled.rejects);
    for (reject, (place, words)) in settled.rejects.iter().zip(wanted) {
        assert!(reject.reason.contains(words), "{place}: {}", reject.reason);
    }
}

/// Every reject of a CSV file shows the row as it stands there; none does of a sensor as a whole.
fn as_written(place: &Place, settled: &Settled) {
    for reject in settled
        .rejects
        .iter()
        .filter(|reject| !reject.raw.is_empty())
    {
        let text = fs::read_to_string(place.path().join(&reject.file)).unwrap();
        let line = text.lines().nth(reject.line as usize - 1).unwrap();
        assert_eq!(
            reject.raw,
            line.trim(),
            "{}, line {}",
            reject.file,
            reject.line
        );
    }
}

/// Whether a warning has these words.
fn warned(settled: &Settled, words: &str) {
    let mut warnings = settled.warnings.iter();
    let said = warnings.any(|warning| warning.contains(words));
    assert!(said, "no `{words}` in {:?}", settled.warnings);
}

fn counts(settled: &Settled, table: Table) -> RowCounts {
    settled.counts.get(&table).copied().unwrap_or_default()
}

/// Readings that are in the store, by sensor and time.
fn readings(store: &Store) -> Vec<(String, String, f64, Status)> {
    let mut rows = Vec::new();
    store
        .each_sensor(Micros::MAX, &mut |sensor| {
            let readings = sensor.readings.into_iter();
            rows.extend(readings.map(|reading| {
                let glucose = (reading.glucose * 1e4).round() / 1e4;
                (
                    sensor.sensor.clone(),
                    format_utc(reading.time),
                    glucose,
                    reading.status,
                )
            }));
        })
        .unwrap();
    rows
}
