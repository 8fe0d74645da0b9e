//! A new state of the store: files beside the old ones, then the manifest in the place of the old one.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use rayon::prelude::*;
use whereworn_model::store::VERSION;

use super::changes::Changes;
use super::lock::ReaderLock;
use super::manifest::{Entry, FILE, InputRecord, Kind, Manifest, SensorRecord};
use super::parsed::Parsed;
use super::rejects::{read_rejects, rejects_batch};
use super::rows;
use super::small_tables::SmallTables;
use crate::block::{Block, SensorName};
use crate::error::LoadError;
use crate::files::{self, Access};
use crate::input::Table;
use crate::parquet_io::{Pick, Sorted, Written, write_batches, write_readings};
use crate::reject::Reject;
use crate::settle_readings::{FileRows, Merged, SensorRows};
use crate::study::Study;

/// Readings in a file of the store, about: enough for a scan to be long, few enough to write side by side.
const SHARD_ROWS: usize = 1 << 20;

/// Where new files of the store go.
pub(super) struct Target<'d> {
    pub dir: &'d Path,
    pub access: Access,
    /// Part of the name of every file of this state.
    pub generation: String,
    /// Readings that may lie in memory.
    pub most_readings: usize,
}

impl Target<'_> {
    fn file(&self, kind: Kind, part: usize) -> String {
        let kind = match kind {
            Kind::Readings => "readings",
            Kind::SetAside => "set-aside",
            Kind::Fingersticks => "fingersticks",
            Kind::WearEvents => "wear-events",
            Kind::Judgements => "judgements",
            Kind::Rejects => "rejects",
            Kind::Contradictions => "contradictions",
        };
        format!("{kind}-{}-{part:04}.parquet", self.generation)
    }

    fn entry(file: String, kind: Kind, (bytes, sha256): Written) -> Entry {
        Entry {
            file,
            kind,
            bytes,
            sha256,
        }
    }

    /// Where readings wait, in order, until those of all files are read; no manifest names it.
    pub fn run(&self, part: usize) -> PathBuf {
        self.dir
            .join(format!("run-{}-{part:04}.parquet", self.generation))
    }

    fn write(&self, kind: Kind, batches: &[RecordBatch]) -> Result<Entry, LoadError> {
        let file = self.file(kind, 0);
        let written = write_batches(&self.dir.join(&file), batches, self.access)?;
        Ok(Self::entry(file, kind, written))
    }

    fn write_rejects(&self, kind: Kind, rejects: &[Reject]) -> Result<Entry, LoadError> {
        let batch = rejects_batch(rejects).map_err(LoadError::store(self.dir))?;
        self.write(kind, &[batch])
    }

    /// Removes what was written of this state, as far as possible.
    pub fn remove_generation(&self) {
        let part = format!("-{}-", self.generation);
        for name in Manifest::default().leftovers(self.dir) {
            if name.contains(&part) {
                let _ = fs::remove_file(self.dir.join(name));
            }
        }
    }
}

/// Writes the new state, its manifest last.
pub(super) fn write(
    to: &Target<'_>,
    study: &Study,
    old: &Manifest,
    settings: String,
    changes: Changes<'_>,
    mut parsed: Parsed,
) -> Result<Manifest, LoadError> {
    let mut manifest = Manifest {
        version: VERSION,
        settings,
        ..old.clone()
    };
    let readings_touched = changes.touches(Table::Readings, old) || old.version != VERSION;
    let kept: BTreeSet<&str> = (changes.kept.iter())
        .map(|record| record.name.as_str())
        .collect();
    manifest.inputs.clone_from(&changes.kept);
    manifest.inputs.append(&mut parsed.records);
    manifest
        .inputs
        .sort_by(|a, b| a.name.as_bytes().cmp(b.name.as_bytes()));
    let of_readings = [Kind::Readings, Kind::SetAside, Kind::Contradictions];
    manifest
        .entries
        .retain(|entry| !readings_touched && of_readings.contains(&entry.kind));
    if readings_touched {
        write_all_readings(to, study, old, &mut manifest, &mut parsed)?;
    }
    let mut small = SmallTables::read(to.dir, old)?;
    small.retain_files(&kept);
    small.append(parsed.small);
    for (kind, batches) in small.batches().map_err(LoadError::store(to.dir))? {
        manifest.entries.push(to.write(kind, &batches)?);
    }
    drop(small);
    let mut rejects = read_rejects(to.dir, old, Kind::Rejects)?;
    rejects.retain(|reject| kept.contains(reject.file.as_str()));
    rejects.extend(parsed.rejects);
    rejects.sort_by(|a, b| (a.file.as_bytes(), a.line).cmp(&(b.file.as_bytes(), b.line)));
    manifest
        .entries
        .push(to.write_rejects(Kind::Rejects, &rejects)?);
    files::sync_dir(to.dir).map_err(LoadError::io(to.dir, "writing"))?;
    let path = to.dir.join(FILE);
    let text = manifest.seal().map_err(LoadError::store(&path))?;
    files::replace(&path, &text, to.access).map_err(LoadError::io(&path, "writing"))?;
    Ok(manifest)
}

/// Writes all readings of the study in the order of the store. Where they are too many to lie in memory, the sensors are
/// merged some at a time.
fn write_all_readings(
    to: &Target<'_>,
    study: &Study,
    old: &Manifest,
    manifest: &mut Manifest,
    parsed: &mut Parsed,
) -> Result<(), LoadError> {
    let of_readings = |record: &&InputRecord| record.table == Table::Readings;
    let is_old = |record: &InputRecord| old.inputs.iter().any(|old| old.number == record.number);
    let any_kept = manifest.inputs.iter().filter(of_readings).any(is_old);
    let mut stored: BTreeMap<SensorName, usize> = BTreeMap::new();
    for record in old.sensors.iter().filter(|_| any_kept) {
        let (wearer, sensor) = record.name();
        stored.insert(SensorName { wearer, sensor }, record.rows as usize);
    }
    let all = stored.values().sum::<usize>() + parsed.readings_held();
    let in_one = parsed.runs.is_empty() && all <= to.most_readings;
    if !in_one {
        parsed.put_aside(to, 0)?;
    }
    let paths = |kind: Kind| {
        let files = old.files(kind).filter(|_| any_kept);
        files.map(|file| to.dir.join(file)).collect()
    };
    let mut sources: Vec<Sorted> = [Kind::Readings, Kind::SetAside]
        .map(|kind| Sorted::new(paths(kind)))
        .into();
    sources.extend(parsed.runs.drain(..).map(|run| Sorted::new(vec![run])));
    for (name, rows) in std::mem::take(&mut parsed.put_aside_of) {
        *stored.entry(name).or_default() += rows;
    }
    let ends = match in_one {
        true => vec![None],
        false => group_ends(&stored, to.most_readings / 2),
    };
    manifest.sensors.clear();
    manifest.duplicate_readings = 0;
    manifest.contradicting_readings = 0;
    let mut contradictions = rows::Contradictions::default();
    for end in ends {
        let mut blocks = std::mem::take(&mut parsed.readings);
        for record in manifest.inputs.iter().filter(of_readings) {
            blocks.entry(record.number).or_default();
        }
        for source in &mut sources {
            source.take_up_to(end.as_ref(), &mut blocks)?;
        }
        write_sensors(to, manifest, blocks, &mut contradictions)?;
    }
    let contradictions = contradictions.rejects(study, manifest)?;
    let entry = to.write_rejects(Kind::Contradictions, &contradictions)?;
    manifest.entries.push(entry);
    Ok(())
}

/// The last sensors of groups that have about so many readings each; of the last group no end.
fn group_ends(rows: &BTreeMap<SensorName, usize>, most: usize) -> Vec<Option<SensorName>> {
    let (mut ends, mut held) = (Vec::new(), 0);
    for (name, rows) in rows {
        held += rows;
        if held >= most {
            ends.push(Some(name.clone()));
            held = 0;
        }
    }
    ends.push(None);
    ends
}

/// Adds sensors, the readings of which come by the numbers of their files, to what is written.
fn write_sensors(
    to: &Target<'_>,
    manifest: &mut Manifest,
    mut blocks: BTreeMap<u32, Block>,
    contradictions: &mut rows::Contradictions,
) -> Result<(), LoadError> {
    let files: Vec<FileRows> = manifest
        .inputs
        .iter()
        .filter_map(|record| {
            let block = blocks.remove(&record.number)?;
            Some(FileRows {
                file: record.number,
                name: record.name.clone(),
                block,
            })
        })
        .collect();
    let merged = Merged::new(&files);
    contradictions.note(&merged);
    let kept = write_shards(to, manifest, &merged, Kind::Readings, |s| s.kept.clone())?;
    let aside = write_shards(to, manifest, &merged, Kind::SetAside, SensorRows::aside)?;
    let sensors = merged.sensors.iter();
    let records = sensors.clone().filter_map(|s| sensor_record(&merged, s));
    manifest.sensors.extend(records);
    let duplicates = sensors.clone().map(|s| s.duplicates.len() as u64);
    manifest.duplicate_readings += duplicates.sum::<u64>();
    let contradicting = sensors.map(|s| s.contradictions.len() as u64);
    manifest.contradicting_readings += contradicting.sum::<u64>();
    manifest.entries.extend(kept);
    manifest.entries.extend(aside);
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

/// Writes sensors in files of about [`SHARD_ROWS`] readings, side by side; they follow those that the manifest has.
fn write_shards(
    to: &Target<'_>,
    manifest: &Manifest,
    merged: &Merged<'_>,
    kind: Kind,
    pick: Pick,
) -> Result<Vec<Entry>, LoadError> {
    let (first_part, first_sensor) = (manifest.files(kind).count(), manifest.sensors.len());
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
        .map(|(part, sensors)| {
            let file = to.file(kind, first_part + part);
            let path = to.dir.join(&file);
            let sensors = (sensors, first_sensor);
            let written = write_readings(&path, merged, sensors, pick, to.access)?;
            Ok(Target::entry(file, kind, written))
        })
        .collect()
}

/// Removes what the manifest does not name, unless another run still reads it; to be called under the writer's
/// lock, so that nobody writes meanwhile. What cannot be removed now goes later.
pub(super) fn clean(
    dir: &Path,
    manifest: &Manifest,
    readers: ReaderLock,
    access: Access,
) -> ReaderLock {
    let leftovers = manifest.leftovers(dir);
    if leftovers.is_empty() {
        return readers;
    }
    drop(readers);
    if let Some(_alone) = ReaderLock::alone(dir, access) {
        for name in leftovers {
            let path = dir.join(name);
            let _ = match path.is_dir() {
                true => fs::remove_dir_all(path),
                false => fs::remove_file(path),
            };
        }
    }
    ReaderLock::share(dir, access)
}
