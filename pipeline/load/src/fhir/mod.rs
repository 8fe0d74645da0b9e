//! Glucose in HL7 FHIR R4 (hl7.org/fhir/R4): bundles, arrays and NDJSON of Observations and Devices, streamed.
//!
//! All files of a study are read as one: a Device may stand in another file than its readings, and an observation may
//! be amended or withdrawn in a later one.

use std::collections::BTreeMap;
use std::io::BufRead;

use whereworn_model::settings::Settings;
use whereworn_model::time::{MICROS_PER_SECOND, Micros};
use whereworn_model::units::Unit;

use crate::block::Block;
use crate::bytes::{Bytes, Print};
use crate::error::LoadError;
use crate::fingersticks::Fingerstick;
use crate::input::InputFile;
use crate::records::Seen;
use crate::reject::{Fault, Reject};
use crate::times::TimeReader;
use crate::wear_events::{Placed, WearEvent};

mod copies;
mod names;
mod observation;
mod resource;
mod scan;
#[cfg(test)]
mod tests;
mod worn;
mod writer;

use copies::{Copy, key, settle};
use names::{Names, short};
use observation::{Kind, Sample, Standing, code_name, kind, samples, standing};
use resource::{Entry, EntryKind, Resource, text};
use scan::{Piece, Scanner};
use worn::Worn;
use writer::{Row, Writer};

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

/// What is counted and said of a file.
#[derive(Default)]
struct Notes {
    /// Resources that are of no use here, by what they are.
    unused: BTreeMap<String, u64>,
    preliminary: u64,
}

/// Kinds of unused resources that are named.
const NAMED: usize = 12;

impl Notes {
    fn warnings(&mut self) -> Vec<String> {
        let mut warnings = Vec::new();
        if !self.unused.is_empty() {
            let named = self.unused.iter().take(NAMED);
            let mut named: Vec<String> = named
                .map(|(what, count)| format!("{what} ({count})"))
                .collect();
            if self.unused.len() > NAMED {
                named.push(format!("and {} other kinds", self.unused.len() - NAMED));
            }
            warnings.push(format!("not used: {}", named.join(", ")));
        }
        if self.preliminary > 0 {
            warnings.push(format!(
                "{} of the observations used are preliminary",
                self.preliminary
            ));
        }
        warnings
    }
}

/// Rejects of a file: whether of a fingerstick, line, path, fault, and what the resource is.
type Rejected = (bool, u64, String, Fault, String);

/// How the path of a resource in a file is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Path {
    /// The line says it all.
    None,
    Bundle,
    Array,
}

impl Path {
    /// The path of a resource by its place in the file, from 1.
    fn at(self, place: u32) -> Option<String> {
        let place = place.saturating_sub(1);
        match self {
            Self::None => None,
            Self::Bundle => Some(format!("Bundle.entry[{place}].resource")),
            Self::Array => Some(format!("[{place}]")),
        }
    }
}

/// All observations of all files, their samples column by column.
struct Found<'s> {
    settings: &'s Settings,
    names: Names,
    copies: Vec<Copy>,
    /// Further keys of copies, by their place.
    identifiers: Vec<(u64, u32)>,
    time: Vec<Micros>,
    glucose: Vec<f64>,
    status: Vec<u8>,
    file: u16,
    /// By the numbers of files: how the path of a resource in it is written.
    paths: Vec<Path>,
    notes: Notes,
    rejects: Vec<Rejected>,
    samples: Vec<Sample>,
    times: TimeReader<'static>,
    updates: TimeReader<'static>,
}

static FORMAT: crate::times::TimeFormat = observation::FORMAT;

impl<'s> Found<'s> {
    fn new(settings: &'s Settings) -> Self {
        Self {
            settings,
            names: Names::default(),
            copies: Vec::new(),
            identifiers: Vec::new(),
            time: Vec::new(),
            glucose: Vec::new(),
            status: Vec::new(),
            file: 0,
            paths: Vec::new(),
            notes: Notes::default(),
            rejects: Vec::new(),
            samples: Vec::new(),
            times: TimeReader::new(&FORMAT),
            updates: TimeReader::new(&FORMAT),
        }
    }

    fn begin(&mut self, file: u16) {
        self.file = file;
        self.paths.push(Path::None);
    }

    fn note_path(&mut self, path: Path) {
        if let Some(own) = self.paths.last_mut() {
            *own = path;
        }
    }

    /// A piece of a file that is one JSON value.
    fn piece(&mut self, piece: Piece, json: &[u8]) {
        match piece {
            Piece::Entry(_) => self.note_path(Path::Bundle),
            Piece::Item(_) => self.note_path(Path::Array),
            Piece::Top(_) => {}
        }
        match piece {
            Piece::Entry(place) => match serde_json::from_slice::<Entry>(json) {
                Ok(Entry {
                    full_url,
                    resource: Some(resource),
                }) => {
                    let path = format_args!("Bundle.entry[{place}].resource");
                    self.resource(&resource, text(&full_url), place + 1, &path);
                }
                Ok(_) => self.unused("entry without a resource"),
                Err(error) => {
                    let kind = serde_json::from_slice::<EntryKind>(json)
                        .ok()
                        .and_then(|entry| entry.resource);
                    let path = format!("Bundle.entry[{place}].resource");
                    self.unreadable(kind, place + 1, path, &error);
                }
            },
            Piece::Item(place) => self.single(json, place + 1, &format!("[{place}]")),
            Piece::Top(place) => self.single(json, place + 1, ""),
        }
    }

    /// A line of NDJSON.
    fn line(&mut self, number: u64, json: &[u8]) -> Result<(), serde_json::Error> {
        match serde_json::from_slice::<Resource>(json) {
            Ok(resource) if text(&resource.resource_type) == "Bundle" => {
                let scanned = Scanner::new(json).each(|piece, json| match piece {
                    Piece::Top(_) => {}
                    piece => self.piece(piece, json),
                });
                if let Err(broken) = scanned {
                    self.unreadable_text(number, String::new(), broken.message);
                }
                Ok(())
            }
            Ok(resource) => {
                self.resource(&resource, "", number, &format_args!(""));
                Ok(())
            }
            Err(error) if error.is_eof() => {
                self.unreadable_text(number, String::new(), error.to_string());
                Err(error)
            }
            Err(error) => {
                let kind = serde_json::from_slice(json).ok();
                self.unreadable(kind, number, String::new(), &error);
                Ok(())
            }
        }
    }

    fn single(&mut self, json: &[u8], line: u64, path: &str) {
        match serde_json::from_slice::<Resource>(json) {
            Ok(resource) if text(&resource.resource_type) == "Bundle" => {}
            Ok(resource) => self.resource(&resource, "", line, &format_args!("{path}")),
            Err(error) => {
                let kind = serde_json::from_slice(json).ok();
                self.unreadable(kind, line, path.to_owned(), &error);
            }
        }
    }

    /// What cannot be read is rejected where it is an observation; of other resources nothing is wanted.
    fn unreadable(
        &mut self,
        kind: Option<resource::Kind<'_>>,
        line: u64,
        path: String,
        error: &serde_json::Error,
    ) {
        let kind = kind.map(|kind| text(&kind.resource_type).to_owned());
        match kind.as_deref() {
            None | Some("Observation") => self.unreadable_text(line, path, error.to_string()),
            Some("Bundle") => {}
            Some(other) => self.unused(if other.is_empty() {
                "resource without a type"
            } else {
                other
            }),
        }
    }

    fn unreadable_text(&mut self, line: u64, path: String, error: String) {
        let fault = Fault::new("", format!("the resource cannot be read: {error}"));
        self.rejects.push((false, line, path, fault, String::new()));
    }

    fn unused(&mut self, what: &str) {
        match self.notes.unused.get_mut(what) {
            Some(count) => *count += 1,
            None => {
                self.notes.unused.insert(what.to_owned(), 1);
            }
        }
    }

    fn resource(
        &mut self,
        resource: &Resource<'_>,
        full_url: &str,
        line: u64,
        path: &std::fmt::Arguments<'_>,
    ) {
        match text(&resource.resource_type) {
            "Observation" => {}
            "Device" => return self.names.describe(resource, full_url),
            "Patient" => {
                self.names.describe(resource, full_url);
                return self.unused("Patient");
            }
            "" => return self.unused("resource without a type"),
            other => return self.unused(other),
        }
        let Some((kind, unit)) = resource
            .code
            .as_ref()
            .and_then(|code| kind(code, self.settings))
        else {
            return self.unused(&code_name(resource.code.as_ref()));
        };
        if let Err(fault) = self.observation(resource, full_url, line, kind, unit) {
            let written = text(&resource.effective_date_time);
            let raw = format!("Observation/{} {written}", text(&resource.id));
            let is_fingerstick = kind == Kind::Fingerstick;
            self.rejects
                .push((is_fingerstick, line, path.to_string(), fault, raw));
        }
    }

    fn observation(
        &mut self,
        resource: &Resource<'_>,
        full_url: &str,
        line: u64,
        kind: Kind,
        unit: Option<Unit>,
    ) -> Result<(), Fault> {
        let standing = standing(text(&resource.status))?;
        let at = observation::instant(resource, &mut self.times);
        let read = samples(resource, unit, &mut self.samples);
        let (at, unit) = match (at, read) {
            (at, read) if standing == Standing::Withdrawn => {
                self.samples.truncate(1);
                (at.unwrap_or(0), read.unwrap_or(Unit::MgDl))
            }
            (at, read) => (at?, read?),
        };
        let is_fingerstick = kind == Kind::Fingerstick;
        if is_fingerstick && standing != Standing::Withdrawn {
            match self.samples.as_slice() {
                [sample] if sample.glucose.is_nan() => {
                    self.unused("fingerstick without a value");
                    return Ok(());
                }
                [sample] if sample.status != observation::OK => {
                    return Err(Fault::new(
                        "value",
                        "off the meter's scale: a check without a value pairs with nothing",
                    ));
                }
                [_] => {}
                _ => return Err(Fault::new("value", "a fingerstick is no series")),
            }
        }
        let wearer = self.names.number(resource.subject.as_ref(), resource);
        let device = self.names.number(resource.device.as_ref(), resource);
        self.notes.preliminary += u64::from(standing == Standing::Preliminary);
        let (key, identifier) = self.keys(resource, full_url, (wearer, device, at));
        let place = self.copies.len() as u32;
        if let Some(identifier) = identifier {
            self.identifiers.push((identifier, place));
        }
        let (updated, issued) = self.version(resource);
        self.copies.push(Copy {
            key,
            updated,
            issued,
            first: self.time.len() as u32,
            wearer,
            device,
            line: line as u32,
            file: self.file,
            standing,
            is_fingerstick,
            is_mmol: unit == Unit::MmolL,
            stands: true,
        });
        for sample in &self.samples {
            self.time.push(at + sample.after);
            self.glucose.push(sample.glucose);
            self.status.push(sample.status);
        }
        Ok(())
    }

    /// By which copies of an observation are known: its address or id, else its identifier, else what it says; and its
    /// identifier besides, where it has an id too.
    fn keys(
        &self,
        resource: &Resource<'_>,
        full_url: &str,
        said: (u32, u32, Micros),
    ) -> (u64, Option<u64>) {
        let identifier = resource
            .identifier
            .first()
            .filter(|own| !text(&own.value).is_empty());
        let identifier =
            identifier.map(|own| key(("identifier", text(&own.system), text(&own.value))));
        let id = text(&resource.id);
        let address = if full_url.starts_with("urn:") {
            ""
        } else {
            short(full_url)
        };
        let own = match (address, id) {
            ("", "") => None,
            ("", id) => Some(key(("Observation/", id))),
            (address, _) => match address.strip_prefix("Observation/") {
                Some(id) => Some(key(("Observation/", id))),
                None => Some(key(address)),
            },
        };
        match (own, identifier) {
            (Some(own), more) => (own, more),
            (None, Some(identifier)) => (identifier, None),
            (None, None) => {
                let first = self
                    .samples
                    .first()
                    .map_or(0, |sample| sample.glucose.to_bits());
                (key((said, first)), None)
            }
        }
    }

    /// When the observation was last changed, and when it was issued.
    fn version(&mut self, resource: &Resource<'_>) -> (i64, u32) {
        let mut at = |written: &str| match written {
            "" => 0,
            written => self
                .updates
                .absolute(written.as_bytes())
                .flatten()
                .unwrap_or(0),
        };
        let updated = resource
            .meta
            .as_ref()
            .map_or("", |meta| text(&meta.last_updated));
        (
            at(updated),
            (at(text(&resource.issued)) / MICROS_PER_SECOND) as u32,
        )
    }

    /// Lets one copy of each observation stand.
    fn settle(&mut self) {
        let (time, glucose, status) = (&self.time, &self.glucose, &self.status);
        let first: Vec<u32> = self.copies.iter().map(|copy| copy.first).collect();
        let rows = |copy: &Copy, place: u32| {
            let end = first
                .get(place as usize + 1)
                .map_or(time.len(), |next| *next as usize);
            copy.first as usize..end
        };
        let same = |a: &Copy, at_a: u32, b: &Copy, at_b: u32| {
            let (a_rows, b_rows) = (rows(a, at_a), rows(b, at_b));
            (a.wearer, a.device, a.is_fingerstick) == (b.wearer, b.device, b.is_fingerstick)
                && time.get(a_rows.clone()) == time.get(b_rows.clone())
                && status.get(a_rows.clone()) == status.get(b_rows.clone())
                && equal(glucose.get(a_rows), glucose.get(b_rows))
        };
        settle(&mut self.copies, &self.identifiers, same);
    }

    /// Gives each file its rows.
    fn give(self, files: &[&InputFile], parsed: &mut [FhirFile], worn: &Worn) {
        let devices = self.names.device_names();
        let wearers = self.names.wearer_names(self.settings);
        let mut writers: Vec<Writer> = files
            .iter()
            .zip(parsed)
            .zip(&self.paths)
            .map(|((input, file), path)| Writer::new(input, file, *path, self.settings))
            .collect();
        let ends = self.copies.iter().skip(1).map(|next| next.first as usize);
        for (copy, end) in self.copies.iter().zip(ends.chain([self.time.len()])) {
            let Some(writer) = writers.get_mut(usize::from(copy.file)) else {
                continue;
            };
            let rows = copy.first as usize..end;
            if !copy.stands {
                writer.withdrawn(copy, rows.len().max(1) as u64);
                continue;
            }
            let wearer = wearers
                .get(copy.wearer as usize)
                .unwrap_or(&self.settings.study.wearer);
            let device = devices.get(copy.device as usize);
            let columns = (
                self.time.get(rows.clone()),
                self.glucose.get(rows.clone()),
                self.status.get(rows),
            );
            let (Some(time), Some(glucose), Some(status)) = columns else {
                continue;
            };
            for ((time, glucose), status) in time.iter().zip(glucose).zip(status) {
                let row = Row {
                    wearer,
                    device: device.map(String::as_str),
                    time: *time,
                    glucose: *glucose,
                    status: *status,
                };
                writer.row(copy, &row, worn);
            }
        }
    }
}

fn equal(a: Option<&[f64]>, b: Option<&[f64]>) -> bool {
    let bits = |values: Option<&[f64]>| {
        values.map(|values| {
            values
                .iter()
                .map(|value| value.to_bits())
                .collect::<Vec<_>>()
        })
    };
    bits(a) == bits(b)
}
