//! The study's store: what it holds, and bringing it up to date.
//!
//! A load that changes anything writes new files beside the old ones, syncs them, and then puts a new manifest in
//! the place of the old one: a run that is killed leaves the old store, and what it wrote is cleared away later.
//! The manifest names every file with the hash of its bytes. Whatever is missing, damaged or of another version
//! is built again from the raw files.

use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use whereworn_model::settings::{Journey, Settings};
use whereworn_model::store::FOLDER;

use crate::error::LoadError;
use crate::fhir::is_fhir;
use crate::files::{self, Access};
use crate::reject::Reject;
use crate::study::Study;
use crate::wear_events::{Placed, WearEvent};

mod changes;
mod lock;
mod manifest;
mod parsed;
mod rejects;
mod rows;
mod small_tables;
mod write;

use changes::{Changed, Changes, Prints};
use lock::{ReaderLock, WriterLock};
use manifest::{Found, Manifest};
use parsed::Parsed;

pub use lock::Holder;
pub(crate) use lock::exclusive;
pub use manifest::InputRecord;
pub(crate) use manifest::Kind;
pub(crate) use rows::raw_lines;
pub(crate) use small_tables::{SmallTables, Stored, Wearers};

/// Bytes that readings may take while they are loaded.
const MEMORY: usize = 512 << 20;

/// Bytes that a reading takes then: parsed, in its place among all, and on its way into a file.
const READING_BYTES: usize = 80;

/// How the names of folders begin in which queries put rows aside.
const SPILL: &str = "spill-";

/// An up-to-date store. While it lives, no other run removes its files.
#[derive(Debug)]
pub struct Store {
    pub(crate) dir: PathBuf,
    pub(crate) manifest: Manifest,
    pub(crate) small: SmallTables,
    /// Rows rejected when their files were read.
    pub(crate) rejects: Vec<Reject>,
    /// Readings that contradict one that counts.
    pub(crate) contradictions: Vec<Reject>,
    _readers: ReaderLock,
}

/// How to load.
#[derive(Clone, Debug, Default)]
pub struct LoadOptions {
    /// Who loads, for others that find the study locked.
    pub holder: Holder,
    /// Makes a private folder for the store of a study that can only be read, which the caller removes after use;
    /// without it, such a study is an error.
    pub scratch: Option<fn() -> std::io::Result<PathBuf>>,
    /// Folder of the store; in the study's folder where none is named.
    pub store: Option<PathBuf>,
    /// Bytes that readings may take while they are loaded, about; 512 MiB where none are named.
    pub memory: Option<usize>,
}

/// What a load did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Loaded {
    /// Files parsed, because they are new or changed.
    pub parsed: usize,
    /// Files found as the store has them.
    pub unchanged: usize,
    /// Files that the store had and the study no longer has.
    pub gone: usize,
    /// What a reader should know about the store itself: that it had to be built again, and why.
    pub notes: Vec<String>,
}

/// Brings the store up to date with the study's files. The store is as it was until every file has been read.
///
/// `progress` is called with a few words before each file that is read.
///
/// # Errors
/// A file that cannot be read at all, an I/O error, another run that writes the same store.
pub fn load(
    study: &Study,
    options: &LoadOptions,
    progress: &dyn Fn(&str),
) -> Result<(Store, Loaded), LoadError> {
    let run = Run {
        study,
        access: study.access(),
        settings: parse_settings(&study.settings),
        most_readings: options.memory.unwrap_or(MEMORY) / READING_BYTES,
        progress,
    };
    let own = || study.dir.join(FOLDER);
    let dir = options.store.clone().unwrap_or_else(own);
    let mut prints = Prints::default();
    if let Some(done) = run.read(&dir, &options.holder, &mut prints)? {
        return Ok(done);
    }
    match WriterLock::take(&dir, &options.holder, run.access) {
        Ok(lock) => run.write(&dir, lock, &mut prints),
        Err(LoadError::Io { source, .. }) if cannot_be_written(&source) => {
            let Some(scratch) = options.scratch else {
                return Err(LoadError::Study(format!(
                    "{}: the folder cannot be written ({source}): give write permission, or copy the study",
                    study.dir.display()
                )));
            };
            let dir =
                scratch().map_err(LoadError::io(&study.dir, "making a temporary folder for"))?;
            let lock = WriterLock::take(&dir, &options.holder, run.access)?;
            let (store, mut loaded) = run.write(&dir, lock, &mut prints)?;
            loaded.notes.push(
                "the study's folder cannot be written: what is read from it is kept for this run alone"
                    .to_owned(),
            );
            Ok((store, loaded))
        }
        Err(error) => Err(error),
    }
}

fn cannot_be_written(error: &std::io::Error) -> bool {
    [ErrorKind::PermissionDenied, ErrorKind::ReadOnlyFilesystem].contains(&error.kind())
}

/// One load.
struct Run<'s> {
    study: &'s Study,
    access: Access,
    settings: String,
    /// Readings that may lie in memory.
    most_readings: usize,
    progress: &'s dyn Fn(&str),
}

impl Run<'_> {
    /// The store where it is up to date; `None` where it has to be written.
    fn read(
        &self,
        dir: &Path,
        holder: &Holder,
        prints: &mut Prints,
    ) -> Result<Option<(Store, Loaded)>, LoadError> {
        if !dir.is_dir() {
            return Ok(None);
        }
        let readers = ReaderLock::share(dir, self.access);
        let Found::Whole(manifest) = Manifest::find(dir)? else {
            return Ok(None);
        };
        let changes = Changes::find(self.study, &manifest, &self.settings, prints)?;
        if !changes.is_idle() {
            return Ok(None);
        }
        let mut readers = readers;
        if !manifest.leftovers(dir).is_empty()
            && let Ok(Some(lock)) = WriterLock::attempt(dir, &holder.name, self.access)
        {
            // Another run may have written in between: only what the manifest of now does not name goes.
            if let Found::Whole(now) = Manifest::find(dir)?
                && now == manifest
            {
                readers = write::clean(dir, &now, readers, self.access);
            }
            drop(lock);
        }
        let loaded = changes.loaded();
        let done = Store::open(dir, manifest, readers).map(|store| (store, loaded));
        // What has the right hash and still cannot be read is built again.
        match done {
            Err(LoadError::Store { .. }) => Ok(None),
            other => other.map(Some),
        }
    }

    fn write(
        &self,
        dir: &Path,
        lock: WriterLock,
        prints: &mut Prints,
    ) -> Result<(Store, Loaded), LoadError> {
        let (old, trouble) = match Manifest::find(dir)? {
            Found::Nothing => (Manifest::default(), None),
            Found::Whole(manifest) => (manifest, None),
            Found::Unusable(trouble) => (Manifest::default(), Some(trouble)),
        };
        let readers = ReaderLock::share(dir, self.access);
        let built = self.build(dir, old, prints);
        let (manifest, mut loaded, trouble) = match built {
            Err(LoadError::Store { path, message }) if path.starts_with(dir) => {
                let (manifest, loaded) = self.build(dir, Manifest::default(), prints)?;
                (manifest, loaded, Some(message))
            }
            other => {
                let (manifest, loaded) = other?;
                (manifest, loaded, trouble)
            }
        };
        if let Some(trouble) = trouble {
            loaded.notes.push(format!(
                "the store was built again from the raw files: {trouble}"
            ));
        }
        let readers = write::clean(dir, &manifest, readers, self.access);
        drop(lock);
        Ok((Store::open(dir, manifest, readers)?, loaded))
    }

    /// Parses what is new or changed beside an older state of the store, and writes a new one.
    fn build(
        &self,
        dir: &Path,
        old: Manifest,
        prints: &mut Prints,
    ) -> Result<(Manifest, Loaded), LoadError> {
        let old = if old.settings == self.settings {
            old
        } else {
            Manifest::default()
        };
        let changes = Changes::find(self.study, &old, &self.settings, prints)?;
        let loaded = changes.loaded();
        let to = write::Target {
            dir,
            access: self.access,
            generation: manifest::next_generation(dir),
            most_readings: self.most_readings,
        };
        let written = self.parse_and_write(&to, &old, changes);
        if written.is_err() {
            // On a full disk half-written files are in the way.
            to.remove_generation();
        }
        Ok((written?, loaded))
    }

    fn parse_and_write(
        &self,
        to: &write::Target<'_>,
        old: &Manifest,
        changes: Changes<'_>,
    ) -> Result<Manifest, LoadError> {
        let mut parsed = Parsed::default();
        let is_group = |input: &&Changed| is_fhir(&input.file.name);
        for input in changes.changed.iter().filter(|input| !is_group(input)) {
            (self.progress)(&input.file.name);
            parsed.add(input, &self.study.settings)?;
            parsed.put_aside(to, self.most_readings)?;
        }
        let group: Vec<&Changed> = changes.changed.iter().filter(is_group).collect();
        if !group.is_empty() {
            let log = self.log_of_wear(to.dir, old, &changes, &parsed)?;
            parsed.add_fhir(&group, &self.study.settings, &log, self.progress)?;
        }
        let settings = self.settings.clone();
        write::write(to, self.study, old, settings, changes, parsed)
    }
}

impl Run<'_> {
    /// The log of wear, where it has to name the sensors of readings.
    fn log_of_wear(
        &self,
        dir: &Path,
        old: &Manifest,
        changes: &Changes<'_>,
        parsed: &Parsed,
    ) -> Result<Vec<Placed<WearEvent>>, LoadError> {
        if self.study.settings.fhir.sensor.is_none() {
            return Ok(Vec::new());
        }
        let kept = changes.kept.iter().map(|record| record.name.as_str());
        let mut log = SmallTables::read(dir, old)?;
        log.retain_files(&kept.collect());
        log.append(parsed.small.clone());
        log.all().map_err(LoadError::store(dir))
    }
}

impl Store {
    /// A new folder in the store for what queries put aside while they run, which the caller removes after use; what is
    /// left of one goes with a later run. Its name bears a number that no other run has now.
    ///
    /// # Errors
    /// It cannot be made.
    pub fn spill_folder(&self, number: u32, access: Access) -> std::io::Result<PathBuf> {
        let folder = self.dir.join(format!("{SPILL}{number}"));
        files::create_dir(&folder, access)?;
        Ok(folder)
    }

    /// Text that stands for all that the store holds.
    pub fn hash(&self) -> String {
        let manifest = serde_json::to_vec(&self.manifest);
        manifest.map_or_else(|_| String::new(), |bytes| files::sha256(&bytes))
    }

    /// Text that stands for the readings that count: other readings have another.
    pub fn hash_of_readings(&self) -> String {
        let files = self.manifest.entries.iter();
        let hashes = files.filter(|entry| entry.kind == Kind::Readings);
        hashes.map(|entry| entry.sha256.as_str()).collect()
    }

    /// All wearers with rows in the small tables, in groups.
    pub(crate) fn groups(&self) -> Result<Vec<Wearers>, LoadError> {
        self.small.groups().map_err(LoadError::store(&self.dir))
    }

    /// Rows of some wearers in a small table.
    pub(crate) fn rows_of<T: Stored>(
        &self,
        wearers: &Wearers,
    ) -> Result<Vec<Placed<T>>, LoadError> {
        let rows = self.small.of_wearers(wearers);
        rows.map_err(LoadError::store(&self.dir))
    }

    /// The store without the rows that it holds in memory: its files stay under its protection.
    #[must_use]
    pub fn without_rows(mut self) -> Self {
        self.small = SmallTables::default();
        self.rejects.clear();
        self.contradictions.clear();
        self
    }

    /// The store with its rows in memory again, read from its files; for as long as this one lives.
    ///
    /// # Errors
    /// A damaged store.
    pub fn rows_again(&self) -> Result<Self, LoadError> {
        let readers = ReaderLock::share(&self.dir, Access::Owner);
        Self::open(&self.dir, self.manifest.clone(), readers)
    }

    fn open(dir: &Path, manifest: Manifest, readers: ReaderLock) -> Result<Self, LoadError> {
        Ok(Self {
            dir: dir.to_owned(),
            small: SmallTables::read(dir, &manifest)?,
            rejects: rejects::read_rejects(dir, &manifest, Kind::Rejects)?,
            contradictions: rejects::read_rejects(dir, &manifest, Kind::Contradictions)?,
            manifest,
            _readers: readers,
        })
    }
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
        settings.exports,
        settings.corrections,
        settings.fhir
    ])
    .to_string()
}
