//! Rows fetched again from the raw files, to be shown as they stand there.

use std::collections::{BTreeMap, BTreeSet};

use crate::error::LoadError;
use crate::reject::Reject;
use crate::settle_readings::Merged;
use crate::source::Source;
use crate::store::Manifest;
use crate::study::Study;

/// The lines of an input file with the given numbers.
pub(crate) fn raw_lines(
    study: &Study,
    name: &str,
    wanted: &BTreeSet<u64>,
) -> Result<BTreeMap<u64, String>, LoadError> {
    let mut found = BTreeMap::new();
    let Some(input) = study.inputs.iter().find(|input| input.name == name) else {
        return Ok(found);
    };
    let mut source = Source::open(input)?;
    while let Some(segment) = source.next()? {
        for (line, text) in (segment.first_line..).zip(segment.bytes.split(|byte| *byte == b'\n')) {
            if wanted.contains(&line) {
                found.insert(
                    line,
                    String::from_utf8_lossy(text.trim_ascii()).into_owned(),
                );
            }
        }
    }
    Ok(found)
}

/// A reject for each reading that contradicts one that counts.
pub(super) fn contradictions(
    merged: &Merged<'_>,
    study: &Study,
    manifest: &Manifest,
) -> Result<Vec<Reject>, LoadError> {
    let mut by_file: BTreeMap<&str, BTreeMap<u64, String>> = BTreeMap::new();
    for (place, first) in merged
        .sensors
        .iter()
        .flat_map(|sensor| &sensor.contradictions)
    {
        let (file, line) = merged.origin(*place);
        let (first_file, first_line) = merged.origin(*first);
        let reason = format!(
            "contradicts {}, line {first_line}: same sensor and time, another glucose or status; the first stays",
            manifest.file_name(first_file)
        );
        by_file
            .entry(manifest.file_name(file))
            .or_default()
            .insert(u64::from(line), reason);
    }
    let mut rejects = Vec::new();
    for (file, reasons) in by_file {
        let mut raw = raw_lines(study, file, &reasons.keys().copied().collect())?;
        for (line, reason) in reasons {
            let raw = raw.remove(&line).unwrap_or_default();
            rejects.push(Reject {
                file: file.to_owned(),
                line,
                column: "glucose".to_owned(),
                reason,
                raw,
            });
        }
    }
    Ok(rejects)
}
