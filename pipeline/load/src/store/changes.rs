//! Which files the store has as they are, and which have to be parsed.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::Loaded;
use super::manifest::{InputRecord, Manifest};
use crate::bytes::Print;
use crate::error::LoadError;
use crate::fhir::is_fhir;
use crate::files::fingerprint;
use crate::input::{InputFile, Table};
use crate::study::Study;

/// Sizes and hashes of input files, each taken once a run.
#[derive(Default)]
pub(super) struct Prints(BTreeMap<String, Print>);

/// An input to be parsed, and the number that the store will know it by.
pub(super) struct Changed<'s> {
    pub file: &'s InputFile,
    pub number: u32,
}

/// What differs between the study's files and the store.
pub(super) struct Changes<'s> {
    pub kept: Vec<InputRecord>,
    pub changed: Vec<Changed<'s>>,
    gone: usize,
    settings_differ: bool,
}

impl<'s> Changes<'s> {
    /// Compares files with what the store knows of them. A file is hashed where only its bytes can tell: one that
    /// is new or of another size is parsed in any case.
    pub fn find(
        study: &'s Study,
        old: &Manifest,
        settings: &str,
        prints: &mut Prints,
    ) -> Result<Self, LoadError> {
        let records = old.inputs.iter().map(|record| {
            let export = record.export.as_deref();
            ((record.name.as_str(), record.table, export), record)
        });
        let known: BTreeMap<(&str, Table, Option<&str>), &InputRecord> = records.collect();
        let known_as = |input: &InputFile| {
            let key = (input.name.as_str(), input.table, input.export.as_deref());
            known.get(&key).copied()
        };
        prints.take(study, known_as)?;
        let mut next = old
            .inputs
            .iter()
            .map(|input| input.number + 1)
            .max()
            .unwrap_or(0);
        let mut changes = Self {
            kept: Vec::new(),
            changed: Vec::new(),
            gone: 0,
            settings_differ: old.settings != settings,
        };
        for file in &study.inputs {
            let print = prints.0.get(&file.name);
            let same = known_as(file).filter(|record| {
                print.is_some_and(|(size, sha256)| *size == record.size && *sha256 == record.sha256)
            });
            if let Some(record) = same {
                changes.kept.push(record.clone());
            } else {
                changes.changed.push(Changed { file, number: next });
                next += 1;
            }
        }
        changes.renew_fhir(study, old, next);
        let here =
            |record: &&InputRecord| study.inputs.iter().any(|input| input.name == record.name);
        let names = |records: Vec<&InputRecord>| {
            distinct(records.into_iter().map(|record| record.name.as_str()))
        };
        changes.gone =
            names(old.inputs.iter().collect()) - names(old.inputs.iter().filter(here).collect());
        Ok(changes)
    }

    /// Files of FHIR are read together: where one of them changed, or the log of wear that names their sensors, all of
    /// them are read again.
    fn renew_fhir(&mut self, study: &'s Study, old: &Manifest, mut next: u32) {
        let by_log = study.settings.fhir.sensor.is_some();
        let matters =
            |name: &str, table: Table| is_fhir(name) || (by_log && table == Table::WearEvents);
        let gone =
            |record: &InputRecord| !study.inputs.iter().any(|input| input.name == record.name);
        let changed = self
            .changed
            .iter()
            .any(|input| matters(&input.file.name, input.file.table))
            || old
                .inputs
                .iter()
                .any(|record| matters(&record.name, record.table) && gone(record));
        if !changed {
            return;
        }
        let (again, kept) = std::mem::take(&mut self.kept)
            .into_iter()
            .partition(|record| is_fhir(&record.name));
        self.kept = kept;
        for record in again {
            let same =
                |input: &&InputFile| input.name == record.name && input.table == record.table;
            if let Some(file) = study.inputs.iter().find(same) {
                self.changed.push(Changed { file, number: next });
                next += 1;
            }
        }
        self.changed
            .sort_by(|a, b| a.file.name.as_bytes().cmp(b.file.name.as_bytes()));
    }

    pub fn is_idle(&self) -> bool {
        self.changed.is_empty() && self.gone == 0 && !self.settings_differ
    }

    /// Whether rows of a table come, change or go.
    pub fn touches(&self, table: Table, old: &Manifest) -> bool {
        let kept = |record: &InputRecord| self.kept.iter().any(|kept| kept.number == record.number);
        self.changed.iter().any(|input| input.file.table == table)
            || old
                .inputs
                .iter()
                .any(|record| record.table == table && !kept(record))
    }

    pub fn loaded(&self) -> Loaded {
        Loaded {
            parsed: distinct(self.changed.iter().map(|input| input.file.name.as_str())),
            unchanged: distinct(self.kept.iter().map(|record| record.name.as_str())),
            gone: self.gone,
            notes: Vec::new(),
        }
    }
}

/// How many files there are: one of FHIR stands for its readings and for its fingersticks.
fn distinct<'n>(names: impl Iterator<Item = &'n str>) -> usize {
    names.collect::<BTreeSet<_>>().len()
}

impl Prints {
    /// Hashes the files that the store knows by name and size.
    fn take<'r>(
        &mut self,
        study: &Study,
        known_as: impl Fn(&InputFile) -> Option<&'r InputRecord> + Sync,
    ) -> Result<(), LoadError> {
        let done = &self.0;
        let new: Vec<(String, Print)> = study
            .inputs
            .par_iter()
            .filter(|input| !done.contains_key(&input.name))
            .filter(|input| {
                let size = std::fs::metadata(&input.path).map_or(0, |meta| meta.len());
                known_as(input).is_some_and(|record| record.size == size)
            })
            .map(|input| {
                let print =
                    fingerprint(&input.path).map_err(LoadError::io(&input.path, "reading"))?;
                Ok((input.name.clone(), print))
            })
            .collect::<Result<_, LoadError>>()?;
        self.0.extend(new);
        Ok(())
    }
}
