//! What the store holds: `manifest.json`, sealed with its own hash, which names every file with the hash of its bytes.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use whereworn_model::store::VERSION;
use whereworn_model::time::Micros;

use crate::error::LoadError;
use crate::files;
use crate::input::Table;

use super::SPILL;

/// The manifest's file.
pub(crate) const FILE: &str = "manifest.json";

/// An input file as the store knows it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InputRecord {
    /// Its number in the column `file` of the store's tables.
    pub number: u32,
    /// Path relative to the study folder.
    pub name: String,
    /// The table that its rows belong to.
    pub table: Table,
    /// The export that it is read through: a file may be read through several.
    pub export: Option<String>,
    /// Bytes.
    pub size: u64,
    /// SHA-256 of the bytes, hexadecimal.
    pub sha256: String,
    /// Rows read, rejected ones too.
    pub rows: u64,
    /// Rows rejected when the file was read.
    pub rejected: u64,
    /// Rows that the study's corrections leave out.
    pub left_out: u64,
    /// Rows that their sender withdrew or replaced.
    pub withdrawn: u64,
    /// Rows that its export leaves to others.
    pub untaken: u64,
    /// What of the file was passed over, in words.
    pub warnings: Vec<String>,
}

/// A sensor with readings in the store.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct SensorRecord {
    pub wearer: String,
    pub sensor: String,
    pub rows: u64,
    pub first: Micros,
    pub last: Micros,
    /// The manifest's number of the file that holds the first reading, and its line there.
    pub file: u32,
    pub line: u32,
}

impl SensorRecord {
    /// Wearer and sensor.
    pub fn name(&self) -> (String, String) {
        (self.wearer.clone(), self.sensor.clone())
    }
}

/// What a file of the store holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Kind {
    /// Readings that count, in the order of their sensors.
    Readings,
    /// Readings that are duplicates of others or contradict them.
    SetAside,
    Fingersticks,
    WearEvents,
    Judgements,
    /// Rows rejected when their files were read.
    Rejects,
    /// Readings rejected because they contradict one that counts.
    Contradictions,
}

/// A file of the store.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Entry {
    /// Its name in the store's folder.
    pub file: String,
    pub kind: Kind,
    pub bytes: u64,
    /// SHA-256 of the bytes, hexadecimal.
    pub sha256: String,
}

/// What the store holds; written last, so that it never names what is not there.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Manifest {
    pub version: u32,
    /// The settings that rows were parsed under.
    pub settings: String,
    pub inputs: Vec<InputRecord>,
    /// Sensors by wearer and sensor; the position is the column `sensor_no`.
    pub sensors: Vec<SensorRecord>,
    /// Readings equal to one that counts.
    pub duplicate_readings: u64,
    /// Readings that contradict one that counts.
    pub contradicting_readings: u64,
    /// The store's files; those of one kind in order.
    pub entries: Vec<Entry>,
}

/// The manifest as it stands in its file.
#[derive(Serialize, Deserialize)]
struct Sealed<M> {
    /// SHA-256 of the manifest as it is written without spaces.
    sha256: String,
    manifest: M,
}

/// What was found where the store should be.
pub(crate) enum Found {
    /// No store.
    Nothing,
    /// A store that is whole.
    Whole(Manifest),
    /// Something that cannot be used, and why.
    Unusable(String),
}

impl Manifest {
    /// Name of the input file with a number.
    pub fn file_name(&self, number: u32) -> &str {
        let record = self.inputs.iter().find(|record| record.number == number);
        record.map_or("", |record| record.name.as_str())
    }

    /// Files of a kind, in order.
    pub fn files(&self, kind: Kind) -> impl Iterator<Item = &str> {
        self.entries
            .iter()
            .filter(move |entry| entry.kind == kind)
            .map(|entry| entry.file.as_str())
    }

    /// Reads the manifest of a store and compares every file that it names with its hash.
    pub fn find(dir: &Path) -> Result<Found, LoadError> {
        let path = dir.join(FILE);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == ErrorKind::NotFound => {
                let store = first_store_file(dir).is_some();
                return Ok(if store {
                    Found::Unusable(format!("{FILE} is missing"))
                } else {
                    Found::Nothing
                });
            }
            Err(error) => return Err(LoadError::io(&path, "reading")(error)),
        };
        let Some(manifest) = Self::unseal(&bytes) else {
            let text = serde_json::from_slice::<serde_json::Value>(&bytes).ok();
            let version = text.and_then(|text| {
                let sealed = text.get("manifest").unwrap_or(&text);
                sealed.get("version")?.as_u64()
            });
            return Ok(Found::Unusable(match version {
                Some(version) if version != u64::from(VERSION) => {
                    format!("it has version {version}, this program reads {VERSION}")
                }
                _ => format!("{FILE} is damaged"),
            }));
        };
        Ok(match manifest.first_damaged(dir) {
            Some(trouble) => Found::Unusable(trouble),
            None => Found::Whole(manifest),
        })
    }

    /// The manifest in the bytes of its file; `None` where they are not what was written, or of another version.
    fn unseal(bytes: &[u8]) -> Option<Self> {
        let sealed: Sealed<Self> = serde_json::from_slice(bytes).ok()?;
        let again = serde_json::to_vec(&sealed.manifest).ok()?;
        let whole = files::sha256(&again) == sealed.sha256 && sealed.manifest.version == VERSION;
        whole.then_some(sealed.manifest)
    }

    /// The bytes of the manifest's file.
    pub fn seal(&self) -> Result<Vec<u8>, serde_json::Error> {
        let sha256 = files::sha256(&serde_json::to_vec(self)?);
        let manifest = self;
        let mut bytes = serde_json::to_vec_pretty(&Sealed { sha256, manifest })?;
        bytes.push(b'\n');
        Ok(bytes)
    }

    /// A file that is missing or has other bytes than were written, in words.
    fn first_damaged(&self, dir: &Path) -> Option<String> {
        let trouble = |entry: &Entry| match files::fingerprint(&dir.join(&entry.file)) {
            Ok(found) if found == (entry.bytes, entry.sha256.clone()) => None,
            Ok(_) => Some(format!("{} is damaged", entry.file)),
            Err(error) if error.kind() == ErrorKind::NotFound => {
                Some(format!("{} is missing", entry.file))
            }
            Err(error) => Some(format!("{} cannot be read ({error})", entry.file)),
        };
        let troubles: Vec<Option<String>> = self.entries.par_iter().map(trouble).collect();
        troubles.into_iter().flatten().next()
    }

    /// Files in the store's folder that it does not name and that only a run of ours can have left.
    pub fn leftovers(&self, dir: &Path) -> Vec<String> {
        store_files(dir)
            .filter(|name| !self.entries.iter().any(|entry| entry.file == *name))
            .collect()
    }
}

/// Whether a name is one that the store gives: a kind, a generation, what is left of a manifest or of queries.
fn is_store_file(name: &str) -> bool {
    let parquet = name.strip_suffix(".parquet").is_some_and(|stem| {
        stem.bytes().rev().take(4).all(|byte| byte.is_ascii_digit()) && stem.contains('-')
    });
    let number = name.strip_prefix(SPILL).map(str::parse::<u32>);
    parquet
        || name == ".manifest.json.new"
        || name.starts_with("manifest-")
        || number.is_some_and(|number| number.is_ok())
}

fn store_files(dir: &Path) -> impl Iterator<Item = String> {
    let entries = fs::read_dir(dir).into_iter().flatten().flatten();
    entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| is_store_file(name))
}

fn first_store_file(dir: &Path) -> Option<String> {
    store_files(dir).next()
}

/// A number that no file of the store bears yet, in six digits.
pub(crate) fn next_generation(dir: &Path) -> String {
    let number = |name: String| {
        name.split(['-', '.'])
            .filter(|part| part.len() == 6)
            .find_map(|part| part.parse::<u64>().ok())
    };
    let files = store_files(dir).filter(|name| !name.starts_with(SPILL));
    let most = files.filter_map(number).max().unwrap_or(0);
    format!("{:06}", most + 1)
}
