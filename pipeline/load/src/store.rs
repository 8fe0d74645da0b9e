//! The study's store: what it holds, and bringing it up to date.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use whereworn_model::settings::{Journey, Settings};
use whereworn_model::store::{FOLDER, VERSION};
use whereworn_model::time::Micros;

use crate::block::Block;
use crate::error::LoadError;
use crate::fingersticks::parse_fingerstick;
use crate::input::{InputFile, Table};
use crate::judgements::parse_judgement;
use crate::parquet_io::{read_readings, write_readings};
use crate::readings::parse_readings;
use crate::reject::Reject;
use crate::settle_readings::{FileRows, Merged, SensorRows};
use crate::source::fingerprint;
use crate::study::Study;
use crate::wear_events::{parse_rows, parse_wear_event};

mod evidence;
mod rows;
mod small_tables;

pub use evidence::KeptEvidence;
pub(crate) use rows::raw_lines;
pub(crate) use small_tables::SmallTables;

/// Readings in a file of the store, about: enough for a scan to be long, few enough to write side by side.
const SHARD_ROWS: usize = 1 << 20;

/// An input file as the store knows it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InputRecord {
    /// Its number in the column `file` of the store's tables.
    pub number: u32,
    /// Path relative to the study folder.
    pub name: String,
    /// The table that its rows belong to.
    pub table: Table,
    /// Bytes.
    pub size: u64,
    /// SHA-256 of the bytes, hexadecimal.
    pub sha256: String,
    /// Rows read, rejected ones too.
    pub rows: u64,
    /// What of the file was passed over, in words.
    pub warnings: Vec<String>,
    /// Rows rejected when the file was read.
    pub rejects: Vec<Reject>,
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

/// What the store holds, `manifest.json`; written last, so that it never names what is not there.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Manifest {
    pub version: u32,
    /// The settings that rows were parsed under.
    pub settings: String,
    pub inputs: Vec<InputRecord>,
    /// Files of readings that count, in the order of their sensors.
    pub readings: Vec<String>,
    /// Files of readings that are duplicates of others or contradict them.
    pub set_aside: Vec<String>,
    /// Sensors by wearer and sensor; the position is the column `sensor_no`.
    pub sensors: Vec<SensorRecord>,
    /// Readings equal to one that counts.
    pub duplicate_readings: u64,
    /// Readings that contradict one that counts.
    pub contradictions: Vec<Reject>,
    /// Files of the other tables.
    pub fingersticks: String,
    pub wear_events: String,
    pub judgements: String,
}

impl Manifest {
    /// Name of the input file with a number.
    pub fn file_name(&self, number: u32) -> &str {
        let record = self.inputs.iter().find(|record| record.number == number);
        record.map_or("", |record| record.name.as_str())
    }
}

/// An up-to-date store.
#[derive(Debug)]
pub struct Store {
    pub(crate) dir: PathBuf,
    pub(crate) manifest: Manifest,
    pub(crate) small: SmallTables,
}

/// What a load did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Loaded {
    /// Files parsed, because they are new or changed.
    pub parsed: usize,
    /// Files found as the store has them.
    pub unchanged: usize,
    /// Files that the store had and the study no longer has.
    pub gone: usize,
}

/// Brings the store up to date with the study's files. Nothing is written before every file has been read.
///
/// `progress` is called with a few words before each file that is read.
///
/// # Errors
/// A file that cannot be read at all, an I/O error, a damaged store.
pub fn load(study: &Study, progress: &dyn Fn(&str)) -> Result<(Store, Loaded), LoadError> {
    let dir = study.dir.join(FOLDER);
    let settings = parse_settings(&study.settings);
    let old = read_manifest(&dir)?.filter(|old| old.version == VERSION && old.settings == settings);
    let old = old.unwrap_or_default();
    let plan = Plan::new(study, &old)?;
    if plan.is_idle(&old) {
        let small = SmallTables::read(&dir, &old)?;
        let loaded = Loaded {
            unchanged: old.inputs.len(),
            ..Loaded::default()
        };
        return Ok((
            Store {
                dir,
                manifest: old,
                small,
            },
            loaded,
        ));
    }
    let mut fresh = Fresh::default();
    for input in &plan.changed {
        progress(&input.file.name);
        fresh.parse(input, &study.settings)?;
    }
    let loaded = Loaded {
        parsed: plan.changed.len(),
        unchanged: plan.kept.len(),
        gone: plan.gone,
    };
    let (manifest, small) = write(&dir, study, &old, settings, plan, fresh)?;
    Ok((
        Store {
            dir,
            manifest,
            small,
        },
        loaded,
    ))
}

/// Settings that decide how rows are parsed; another value of them means parsing everything again.
fn parse_settings(settings: &Settings) -> String {
    let zones: BTreeMap<&String, (&Option<String>, &Vec<Journey>)> = settings
        .wearers
        .iter()
        .map(|(name, wearer)| (name, (&wearer.timezone, &wearer.zones)))
        .collect();
    let sites: Vec<&String> = settings.sites.keys().collect();
    let study = &settings.study;
    serde_json::json!([
        study.wearer,
        study.timezone,
        study.unit,
        zones,
        sites,
        settings.exports
    ])
    .to_string()
}

fn read_manifest(dir: &Path) -> Result<Option<Manifest>, LoadError> {
    let path = dir.join("manifest.json");
    match fs::read(&path) {
        Ok(bytes) => Ok(serde_json::from_slice(&bytes).ok()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(LoadError::io(&path, "reading")(error)),
    }
}

/// An input to be parsed, and the number that the store will know it by.
struct Changed<'s> {
    file: &'s InputFile,
    number: u32,
    size: u64,
    sha256: String,
}

/// Which files the store has as they are, and which it has to parse.
struct Plan<'s> {
    kept: Vec<InputRecord>,
    changed: Vec<Changed<'s>>,
    gone: usize,
}

impl<'s> Plan<'s> {
    fn new(study: &'s Study, old: &Manifest) -> Result<Self, LoadError> {
        use rayon::prelude::*;
        let prints: Vec<(u64, String)> = study
            .inputs
            .par_iter()
            .map(|input| fingerprint(&input.path))
            .collect::<Result<_, _>>()?;
        let mut next = old
            .inputs
            .iter()
            .map(|input| input.number + 1)
            .max()
            .unwrap_or(0);
        let mut plan = Self {
            kept: Vec::new(),
            changed: Vec::new(),
            gone: 0,
        };
        for (file, (size, sha256)) in study.inputs.iter().zip(prints) {
            let same = old.inputs.iter().find(|record| {
                record.name == file.name && record.table == file.table && record.sha256 == sha256
            });
            if let Some(record) = same {
                plan.kept.push(record.clone());
            } else {
                plan.changed.push(Changed {
                    file,
                    number: next,
                    size,
                    sha256,
                });
                next += 1;
            }
        }
        plan.gone = old
            .inputs
            .iter()
            .filter(|record| !study.inputs.iter().any(|input| input.name == record.name))
            .count();
        Ok(plan)
    }

    fn is_idle(&self, old: &Manifest) -> bool {
        self.changed.is_empty() && self.gone == 0 && old.version == VERSION
    }

    fn touches(&self, table: Table, old: &Manifest) -> bool {
        self.changed.iter().any(|input| input.file.table == table)
            || old.inputs.iter().any(|record| {
                record.table == table && !self.kept.iter().any(|kept| kept.number == record.number)
            })
    }
}

/// What was parsed in this run.
#[derive(Default)]
struct Fresh {
    records: Vec<InputRecord>,
    readings: BTreeMap<u32, Block>,
    small: SmallTables,
}

impl Fresh {
    fn parse(&mut self, input: &Changed<'_>, settings: &Settings) -> Result<(), LoadError> {
        let (rows, rejects, warnings) = match input.file.table {
            Table::Readings => {
                let (mut block, layout) = parse_readings(input.file, settings)?;
                let (rows, rejects) = (block.rows, std::mem::take(&mut block.rejects));
                self.readings.insert(input.number, block);
                (rows, rejects, layout.warnings())
            }
            Table::Fingersticks => {
                let parsed =
                    parse_rows(input.file, settings, parse_fingerstick, |row| &mut row.time)?;
                self.small.fingersticks.extend(parsed.rows);
                (parsed.seen.rows, parsed.seen.rejects, parsed.warnings)
            }
            Table::Judgements => {
                let parsed =
                    parse_rows(input.file, settings, parse_judgement, |row| &mut row.start)?;
                self.small.judgements.extend(parsed.rows);
                (parsed.seen.rows, parsed.seen.rejects, parsed.warnings)
            }
            Table::WearEvents => {
                let parsed =
                    parse_rows(input.file, settings, parse_wear_event, |row| &mut row.time)?;
                self.small.wear_events.extend(parsed.rows);
                (parsed.seen.rows, parsed.seen.rejects, parsed.warnings)
            }
        };
        self.records.push(InputRecord {
            number: input.number,
            name: input.file.name.clone(),
            table: input.file.table,
            size: input.size,
            sha256: input.sha256.clone(),
            rows,
            warnings,
            rejects,
        });
        Ok(())
    }
}

fn write(
    dir: &Path,
    study: &Study,
    old: &Manifest,
    settings: String,
    plan: Plan<'_>,
    mut fresh: Fresh,
) -> Result<(Manifest, SmallTables), LoadError> {
    fs::create_dir_all(dir).map_err(LoadError::io(dir, "creating"))?;
    let mut manifest = Manifest {
        version: VERSION,
        settings,
        ..old.clone()
    };
    let generation = next_generation(dir)?;
    let readings_touched = plan.touches(Table::Readings, old) || old.version != VERSION;
    let kept_names: Vec<String> = plan.kept.iter().map(|record| record.name.clone()).collect();
    manifest.inputs = plan.kept;
    manifest.inputs.append(&mut fresh.records);
    manifest
        .inputs
        .sort_by(|a, b| a.name.as_bytes().cmp(b.name.as_bytes()));
    if readings_touched {
        write_all_readings(dir, study, old, &mut manifest, fresh.readings, &generation)?;
    }
    let mut small = SmallTables::read(dir, old)?;
    small.retain_files(&kept_names);
    small.append(fresh.small);
    small.write(dir, &mut manifest, &generation)?;
    let path = dir.join("manifest.json");
    let beside = dir.join(format!("manifest-{generation}.json"));
    let text = serde_json::to_vec_pretty(&manifest).map_err(LoadError::store(&path))?;
    fs::write(&beside, text).map_err(LoadError::io(&beside, "writing"))?;
    fs::rename(&beside, &path).map_err(LoadError::io(&path, "replacing"))?;
    remove_unnamed(dir, &manifest)?;
    Ok((manifest, small))
}

fn write_all_readings(
    dir: &Path,
    study: &Study,
    old: &Manifest,
    manifest: &mut Manifest,
    fresh: BTreeMap<u32, Block>,
    generation: &str,
) -> Result<(), LoadError> {
    let mut blocks: BTreeMap<u32, Block> = fresh;
    let stored: Vec<u32> = manifest
        .inputs
        .iter()
        .filter(|record| record.table == Table::Readings && !blocks.contains_key(&record.number))
        .map(|record| record.number)
        .collect();
    let mut from_store: BTreeMap<u32, Block> =
        stored.into_iter().map(|n| (n, Block::default())).collect();
    if !from_store.is_empty() {
        for name in old.readings.iter().chain(&old.set_aside) {
            read_readings(&dir.join(name), &mut from_store)?;
        }
    }
    blocks.append(&mut from_store);
    let files: Vec<FileRows> = manifest
        .inputs
        .iter()
        .filter_map(|record| {
            let block = blocks.remove(&record.number)?;
            Some(FileRows {
                file: record.number,
                block,
            })
        })
        .collect();
    let merged = Merged::new(&files);
    manifest.sensors = merged
        .sensors
        .iter()
        .filter_map(|sensor| sensor_record(&merged, sensor))
        .collect();
    manifest.duplicate_readings = merged
        .sensors
        .iter()
        .map(|s| s.duplicates.len() as u64)
        .sum();
    manifest.contradictions = rows::contradictions(&merged, study, manifest)?;
    manifest.readings = write_shards(dir, &merged, "readings", generation, |sensor| {
        sensor.kept.clone()
    })?;
    let aside = |sensor: &SensorRows| -> Vec<(u32, u32)> {
        let contradicting = sensor.contradictions.iter().map(|(place, _)| *place);
        sensor
            .duplicates
            .iter()
            .copied()
            .chain(contradicting)
            .collect()
    };
    manifest.set_aside = write_shards(dir, &merged, "set-aside", generation, aside)?;
    Ok(())
}

fn sensor_record(merged: &Merged<'_>, sensor: &SensorRows) -> Option<SensorRecord> {
    let (first, last) = (*sensor.kept.first()?, *sensor.kept.last()?);
    let (file, line) = merged.origin(first);
    Some(SensorRecord {
        wearer: sensor.name.wearer.clone(),
        sensor: sensor.name.sensor.clone(),
        rows: sensor.kept.len() as u64,
        first: merged.time(first),
        last: merged.time(last),
        file,
        line,
    })
}

/// Writes sensors in files of about [`SHARD_ROWS`] readings, side by side; gives the files' names in order.
fn write_shards(
    dir: &Path,
    merged: &Merged<'_>,
    table: &str,
    generation: &str,
    pick: fn(&SensorRows) -> Vec<(u32, u32)>,
) -> Result<Vec<String>, LoadError> {
    use rayon::prelude::*;
    let mut shards = Vec::new();
    let (mut start, mut rows) = (0, 0);
    for (number, sensor) in merged.sensors.iter().enumerate() {
        rows += pick(sensor).len();
        let last = number + 1 == merged.sensors.len();
        if rows >= SHARD_ROWS || (last && rows > 0) {
            shards.push(start..number + 1);
            (start, rows) = (number + 1, 0);
        }
    }
    shards
        .into_par_iter()
        .enumerate()
        .map(|(index, sensors)| {
            let name = format!("{table}-{generation}-{index:04}.parquet");
            write_readings(&dir.join(&name), merged, sensors, pick)?;
            Ok(name)
        })
        .collect()
}

/// A number that no file of the store bears yet.
fn next_generation(dir: &Path) -> Result<String, LoadError> {
    let mut most = 0;
    for entry in fs::read_dir(dir).map_err(LoadError::io(dir, "listing"))? {
        let name = entry.map_err(LoadError::io(dir, "listing"))?.file_name();
        let number = name
            .to_string_lossy()
            .split(['-', '.'])
            .find_map(|part| part.parse::<u64>().ok());
        most = most.max(number.unwrap_or(0));
    }
    Ok(format!("{:06}", most + 1))
}

/// Removes files of earlier states of the store.
fn remove_unnamed(dir: &Path, manifest: &Manifest) -> Result<(), LoadError> {
    let named = |name: &str| {
        name == "manifest.json"
            || name == manifest.fingersticks
            || name == manifest.wear_events
            || name == manifest.judgements
            || manifest
                .readings
                .iter()
                .chain(&manifest.set_aside)
                .any(|n| n == name)
    };
    for entry in fs::read_dir(dir).map_err(LoadError::io(dir, "listing"))? {
        let entry = entry.map_err(LoadError::io(dir, "listing"))?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if !named(&name) && (name.ends_with(".parquet") || name.starts_with("manifest-")) {
            fs::remove_file(entry.path()).map_err(LoadError::io(&entry.path(), "removing"))?;
        }
    }
    Ok(())
}
