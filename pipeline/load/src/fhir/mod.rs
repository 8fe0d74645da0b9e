//! Glucose in HL7 FHIR R4 (hl7.org/fhir/R4): bundles, arrays and NDJSON of Observations and Devices, streamed.
//!
//! All files of a study are read as one: a Device may stand in another file than its readings, and an observation may
//! be amended or withdrawn in a later one.

use std::io::BufRead;

use whereworn_model::settings::Settings;

use crate::block::Block;
use crate::bytes::{Bytes, Print};
use crate::error::LoadError;
use crate::fingersticks::Fingerstick;
use crate::input::InputFile;
use crate::records::Seen;
use crate::reject::Reject;
use crate::wear_events::{Placed, WearEvent};

mod copies;
mod found;
mod names;
mod notes;
mod observation;
mod resource;
mod scan;
#[cfg(test)]
mod tests;
mod worn;
mod writer;

use found::Found;
use scan::Scanner;
use worn::Worn;

/// What a file of FHIR gave.
#[derive(Default)]
pub(crate) struct FhirFile {
    pub readings: Block,
    pub fingersticks: Vec<Placed<Fingerstick>>,
    /// What was seen of the fingersticks.
    pub seen: Seen,
    pub warnings: Vec<String>,
    pub print: Print,
}

/// Whether a file is one of FHIR, by its name.
pub(crate) fn is_fhir(name: &str) -> bool {
    let name = name.to_ascii_lowercase();
    let name = name.strip_suffix(".gz").unwrap_or(&name);
    name.ends_with(".json") || name.ends_with(".ndjson")
}

fn has_lines(name: &str) -> bool {
    let name = name.to_ascii_lowercase();
    name.strip_suffix(".gz")
        .unwrap_or(&name)
        .ends_with(".ndjson")
}

/// Reads all files of FHIR of a study; `events` are the log of wear, which may say whose sensor a reading is.
///
/// # Errors
/// A file that is no JSON or was cut off, with the byte.
pub(crate) fn parse_fhir(
    files: &[&InputFile],
    settings: &Settings,
    events: &[Placed<WearEvent>],
    progress: &dyn Fn(&str),
) -> Result<Vec<FhirFile>, LoadError> {
    let mut found = Found::new(settings);
    let mut parsed: Vec<FhirFile> = Vec::new();
    for (number, file) in (0..).zip(files) {
        progress(&file.name);
        found.begin(number);
        let print = read_file(file, &mut found)?;
        let mut notes = std::mem::take(&mut found.notes);
        let rejects = std::mem::take(&mut found.rejects);
        let mut own = FhirFile {
            print,
            warnings: notes.warnings(),
            ..FhirFile::default()
        };
        for (is_fingerstick, line, column, fault, raw) in rejects {
            let seen = if is_fingerstick {
                &mut own.seen
            } else {
                &mut own.readings.seen
            };
            seen.rows += 1;
            seen.rejects.push(Reject {
                file: file.name.clone(),
                line,
                column,
                reason: fault.reason,
                raw,
            });
        }
        parsed.push(own);
    }
    found.settle();
    found.give(files, &mut parsed, &Worn::new(events));
    Ok(parsed)
}

fn read_file(file: &InputFile, found: &mut Found<'_>) -> Result<Print, LoadError> {
    let stop = |line: u64, message: String| LoadError::File {
        file: file.name.clone(),
        line,
        message,
    };
    let bytes = Bytes::open(file)?;
    if has_lines(&file.name) {
        return read_lines(bytes, found).map_err(|(line, message)| stop(line, message));
    }
    let mut scanner = Scanner::new(bytes);
    let read = scanner.each(|piece, json| found.piece(piece, json));
    read.map_err(|broken| stop(1, format!("byte {}: {}", broken.offset, broken.message)))?;
    Ok(scanner.into_inner().finish())
}

/// Reads a resource a line.
fn read_lines(bytes: Bytes, found: &mut Found<'_>) -> Result<Print, (u64, String)> {
    let mut reader = std::io::BufReader::with_capacity(1 << 18, bytes);
    let mut line = Vec::new();
    let mut offset = 0;
    for number in 1.. {
        line.clear();
        let read = reader.read_until(b'\n', &mut line);
        let read = read.map_err(|error| (number, format!("cannot be read on ({error})")))?;
        if read == 0 {
            break;
        }
        let json = line
            .strip_prefix(b"\xef\xbb\xbf".as_slice())
            .unwrap_or(&line)
            .trim_ascii();
        let whole = line.ends_with(b"\n");
        let cut = |error: &serde_json::Error| !whole && error.is_eof();
        if !json.is_empty()
            && let Err(error) = found.line(number, json)
            && cut(&error)
        {
            let byte = offset + line.len();
            return Err((
                number,
                format!("byte {byte}: the file ends in the middle of a resource: it was cut off"),
            ));
        }
        offset += read;
    }
    Ok(reader.into_inner().finish())
}
