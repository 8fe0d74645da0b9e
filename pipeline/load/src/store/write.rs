//! A new state of the store: files beside the old ones, then the manifest in the place of the old one.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use arrow::array::RecordBatch;
use rayon::prelude::*;
use whereworn_model::store::VERSION;

use super::changes::Changes;
use super::lock::ReaderLock;
use super::manifest::{Entry, FILE, Kind, Manifest, SensorRecord};
use super::parsed::Parsed;
use super::rejects::{read_rejects, rejects_batch};
use super::rows;
use super::small_tables::SmallTables;
use crate::block::Block;
use crate::error::LoadError;
use crate::files::{self, Access};
use crate::input::Table;
use crate::parquet_io::{Written, read_readings, write_batch, write_readings};
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

    fn write(&self, kind: Kind, batch: &RecordBatch) -> Result<Entry, LoadError> {
        let file = self.file(kind, 0);
        let written = write_batch(&self.dir.join(&file), batch, self.access)?;
        Ok(Self::entry(file, kind, written))
    }

    fn write_rejects(&self, kind: Kind, rejects: &[Reject]) -> Result<Entry, LoadError> {
        let batch = rejects_batch(rejects).map_err(LoadError::store(self.dir))?;
        self.write(kind, &batch)
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
    let kept: Vec<String> = changes
        .kept
        .iter()
        .map(|record| record.name.clone())
        .collect();
    manifest.inputs = changes.kept;
    manifest.inputs.append(&mut parsed.records);
    manifest
        .inputs
        .sort_by(|a, b| a.name.as_bytes().cmp(b.name.as_bytes()));
    let of_readings = [Kind::Readings, Kind::SetAside, Kind::Contradictions];
    manifest
        .entries
        .retain(|entry| !readings_touched && of_readings.contains(&entry.kind));
    if readings_touched {
        write_all_readings(to, study, old, &mut manifest, parsed.readings)?;
    }
    let mut small = SmallTables::read(to.dir, old)?;
    small.retain_files(&kept);
    small.append(parsed.small);
    for (kind, batch) in small.batches().map_err(LoadError::store(to.dir))? {
        manifest.entries.push(to.write(kind, &batch)?);
    }
    let mut rejects = read_rejects(to.dir, old, Kind::Rejects)?;
    rejects.retain(|reject| kept.contains(&reject.file));
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

fn write_all_readings(
    to: &Target<'_>,
    study: &Study,
    old: &Manifest,
    manifest: &mut Manifest,
    parsed: BTreeMap<u32, Block>,
) -> Result<(), LoadError> {
    let mut blocks = parsed;
    let mut from_store: BTreeMap<u32, Block> = manifest
        .inputs
        .iter()
        .filter(|record| record.table == Table::Readings && !blocks.contains_key(&record.number))
        .map(|record| (record.number, Block::default()))
        .collect();
    if !from_store.is_empty() {
        for name in old.files(Kind::Readings).chain(old.files(Kind::SetAside)) {
            read_readings(&to.dir.join(name), &mut from_store)?;
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
                name: record.name.clone(),
                block,
            })
        })
        .collect();
    let merged = Merged::new(&files);
    let sensors = merged.sensors.iter();
    manifest.sensors = sensors
        .clone()
        .filter_map(|sensor| sensor_record(&merged, sensor))
        .collect();
    manifest.duplicate_readings = sensors.clone().map(|s| s.duplicates.len() as u64).sum();
    manifest.contradicting_readings = sensors.map(|s| s.contradictions.len() as u64).sum();
    let contradictions = rows::contradictions(&merged, study, manifest)?;
    let kept = write_shards(to, &merged, Kind::Readings, |sensor| sensor.kept.clone())?;
    manifest.entries.extend(kept);
    let aside = |sensor: &SensorRows| -> Vec<(u32, u32)> {
        let contradicting = sensor.contradictions.iter().map(|(place, _)| *place);
        let duplicates = sensor.duplicates.iter().copied();
        duplicates.chain(contradicting).collect()
    };
    let aside = write_shards(to, &merged, Kind::SetAside, aside)?;
    manifest.entries.extend(aside);
    let entry = to.write_rejects(Kind::Contradictions, &contradictions)?;
    manifest.entries.push(entry);
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

/// Writes sensors in files of about [`SHARD_ROWS`] readings, side by side.
fn write_shards(
    to: &Target<'_>,
    merged: &Merged<'_>,
    kind: Kind,
    pick: fn(&SensorRows) -> Vec<(u32, u32)>,
) -> Result<Vec<Entry>, LoadError> {
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
            let file = to.file(kind, part);
            let written = write_readings(&to.dir.join(&file), merged, sensors, pick, to.access)?;
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
