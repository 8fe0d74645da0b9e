//! Rows fetched again from the raw files, to be shown as they stand there.

use std::collections::{BTreeMap, BTreeSet};

use super::manifest::{InputRecord, Manifest};
use super::parsed::all_listed;
use crate::error::LoadError;
use crate::fhir::is_fhir;
use crate::reject::{Reject, Rejects, shown};
use crate::settle_readings::Merged;
use crate::source::Source;
use crate::study::Study;
use whereworn_model::rows::contradiction;

/// The lines of an input file with the given numbers, as they are shown; none where the file is no longer the one
/// that was parsed.
pub(crate) fn raw_lines(
    study: &Study,
    record: &InputRecord,
    wanted: &BTreeSet<u64>,
) -> Result<BTreeMap<u64, String>, LoadError> {
    let mut found = BTreeMap::new();
    let Some(input) = study.inputs.iter().find(|input| input.name == record.name) else {
        return Ok(found);
    };
    // A bundle may be one line of any length: its resources are named by their place in it.
    if is_fhir(&input.name) {
        return Ok(found);
    }
    let mut source = Source::open(input)?;
    while let Some(segment) = source.next(b',')? {
        for (line, text) in (segment.first_line..).zip(segment.bytes.split(|byte| *byte == b'\n')) {
            if wanted.contains(&line) {
                let text = String::from_utf8_lossy(text.trim_ascii());
                found.insert(line, shown(&text));
            }
        }
    }
    if source.finish()? != (record.size, record.sha256.clone()) {
        found.clear();
    }
    Ok(found)
}

/// Readings that contradict one that counts: by file and line, where that one stands.
#[derive(Default)]
pub(super) struct Contradictions(BTreeMap<u32, BTreeMap<u64, (u32, u32)>>);

impl Contradictions {
    /// Notes those among some sensors.
    pub fn note(&mut self, merged: &Merged<'_>) {
        let sensors = merged.sensors.iter();
        for (place, first) in sensors.flat_map(|sensor| &sensor.contradictions) {
            let (file, line) = merged.origin(*place);
            let lines = self.0.entry(file).or_default();
            lines.insert(u64::from(line), merged.origin(*first));
        }
    }

    /// A reject for each; of a file with very many the first, and how many.
    pub fn rejects(mut self, study: &Study, manifest: &Manifest) -> Result<Vec<Reject>, LoadError> {
        let mut rejects = Vec::new();
        for record in &manifest.inputs {
            let Some(lines) = self.0.remove(&record.number) else {
                continue;
            };
            let mut of_file = Rejects::default();
            let mut raw = raw_lines(study, record, &lines.keys().copied().collect())?;
            for (line, (first_file, first_line)) in lines {
                of_file.push(Reject {
                    file: record.name.clone(),
                    line,
                    column: "glucose".to_owned(),
                    reason: contradiction(manifest.file_name(first_file), u64::from(first_line)),
                    raw: raw.remove(&line).unwrap_or_default(),
                });
            }
            rejects.extend(all_listed(&record.name, of_file));
        }
        Ok(rejects)
    }
}
