//! What was found in all files of FHIR: their observations, column by column, and which copy of each stands.

use whereworn_model::settings::Settings;
use whereworn_model::time::{MICROS_PER_SECOND, Micros};
use whereworn_model::units::Unit;

use super::FhirFile;
use super::copies::{Copy, key, settle};
use super::names::{Names, short};
use super::notes::Notes;
use super::observation::{self, Kind, Sample, Standing, code_name, kind, samples, standing};
use super::resource::{self, Entry, EntryKind, Resource, text};
use super::scan::{Piece, Scanner};
use super::worn::Worn;
use super::writer::{Row, Writer};
use crate::input::InputFile;
use crate::reject::Fault;
use crate::times::TimeReader;

/// Rejects of a file: whether of a fingerstick, line, path, fault, and what the resource is.
pub(super) type Rejected = (bool, u64, String, Fault, String);

/// How the path of a resource in a file is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Path {
    /// The line says it all.
    None,
    Bundle,
    Array,
}

impl Path {
    /// The path of a resource by its place in the file, from 1.
    pub(super) fn at(self, place: u32) -> Option<String> {
        let place = place.saturating_sub(1);
        match self {
            Self::None => None,
            Self::Bundle => Some(format!("Bundle.entry[{place}].resource")),
            Self::Array => Some(format!("[{place}]")),
        }
    }
}

/// All observations of all files, their samples column by column.
pub(super) struct Found<'s> {
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
    pub(super) notes: Notes,
    pub(super) rejects: Vec<Rejected>,
    samples: Vec<Sample>,
    times: TimeReader<'static>,
    updates: TimeReader<'static>,
}

static FORMAT: crate::times::TimeFormat = observation::FORMAT;

impl<'s> Found<'s> {
    pub(super) fn new(settings: &'s Settings) -> Self {
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

    pub(super) fn begin(&mut self, file: u16) {
        self.file = file;
        self.paths.push(Path::None);
    }

    fn note_path(&mut self, path: Path) {
        if let Some(own) = self.paths.last_mut() {
            *own = path;
        }
    }

    /// A piece of a file that is one JSON value.
    pub(super) fn piece(&mut self, piece: Piece, json: &[u8]) {
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
    pub(super) fn line(&mut self, number: u64, json: &[u8]) -> Result<(), serde_json::Error> {
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
    pub(super) fn settle(&mut self) {
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
    pub(super) fn give(self, files: &[&InputFile], parsed: &mut [FhirFile], worn: &Worn) {
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
