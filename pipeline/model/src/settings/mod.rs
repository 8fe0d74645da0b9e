//! The settings of a study, `study.toml`.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use toml::de::DeTable;

use crate::readable::readable;
use crate::sites::{BUILT_IN, Site};
use crate::time::{self, Micros};
use crate::units::Unit;

mod check;
mod corrections;
mod exports;
mod fhir;
mod keys;
mod plan;
mod study;
#[cfg(test)]
mod tests;
mod wearers;
mod when;
mod words;

pub use corrections::{Correction, FINDING_KINDS, SeenFinding};
pub use exports::{Columns, Encoding, Export};
pub use fhir::{Fhir, SensorFrom};
pub use plan::{Aim, Measure, Plan, PlanSettings, Primary, PrimaryRow, Priorities};
pub use study::{DateFormat, Language, ModelSettings, Night, Pairing, Study, Wear};
pub use wearers::{Journey, SiteSettings, WearerSettings};
pub use when::When;
pub use words::{nearest_word, suggestion};

/// All settings of a study, defaults filled in.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// The study as a whole.
    pub study: Study,
    /// How long sensors are rated for.
    pub wear: Wear,
    /// What differs for a wearer.
    pub wearers: BTreeMap<String, WearerSettings>,
    /// What differs for a model of sensor.
    pub models: BTreeMap<String, ModelSettings>,
    /// Nights.
    pub night: Night,
    /// How a fingerstick finds its reading.
    pub pairing: Pairing,
    /// Sites that the study adds or relabels.
    pub sites: BTreeMap<String, SiteSettings>,
    /// Exports read through a mapping of columns.
    pub exports: BTreeMap<String, Export>,
    /// What is wrong with some raw rows.
    pub corrections: Vec<Correction>,
    /// Findings that are all right.
    pub seen: Vec<SeenFinding>,
    /// What the study is to settle; `None` where nothing is planned.
    pub plan: Option<PlanSettings>,
    /// What matters to the wearer; all 0 where nothing is said.
    pub priorities: Priorities,
    /// How resources of HL7 FHIR R4 are read.
    pub fhir: Fhir,
}

/// A settings file that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("line {line}: {message}")]
pub struct SettingsError {
    /// Line of the file, from 1.
    pub line: usize,
    /// What is wrong and what to do, on one line.
    pub message: String,
}

impl SettingsError {
    /// Names and values in a message may hold anything.
    fn new(line: usize, message: &str) -> Self {
        let message = crate::text::plain(message);
        Self { line, message }
    }
}

/// A time zone and the instant from which on it holds; the first holds from ever.
#[derive(Clone, Debug, PartialEq)]
pub struct ZoneFrom {
    /// From when on; `None` for from ever.
    pub from: Option<Micros>,
    /// Its IANA name.
    pub name: String,
    /// The time zone.
    pub zone: TimeZone,
}

impl ZoneFrom {
    /// The instant at which the clock of someone who lived by these time zones first showed a time on a date; where
    /// it was set past that time, when it was.
    pub fn at_clock(
        zones: &[Self],
        date: jiff::civil::Date,
        clock: jiff::civil::Time,
    ) -> Option<Micros> {
        let ends = zones.iter().skip(1).map(|next| next.from).chain([None]);
        zones.iter().zip(ends).find_map(|(zone, until)| {
            let at = time::at_clock(date, clock, &zone.zone)?;
            let at = zone.from.map_or(at, |from| at.max(from));
            until.is_none_or(|until| at < until).then_some(at)
        })
    }
}

impl Settings {
    /// Reads the text of a `study.toml`.
    ///
    /// # Errors
    /// A syntax error, an unknown key (with the known one that is at most two letters off, else all known ones), a
    /// value of the wrong type or out of its range, an unknown time zone, table, site or kind: each with the line of
    /// the key and its path.
    pub fn parse(text: &str) -> Result<Self, SettingsError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let line = |place: usize| {
            let before = text.as_bytes().iter().take(place);
            before.filter(|byte| **byte == b'\n').count() + 1
        };
        let plain = |error: &toml::de::Error| readable(error.message());
        let table = DeTable::parse(text).map_err(|error| {
            let line = error.span().map_or(1, |span| line(span.start));
            SettingsError::new(line, &plain(&error))
        })?;
        let table = table.get_ref();
        if let Some((place, message)) = keys::first_unknown(table) {
            return Err(SettingsError::new(line(place), &message));
        }
        let settings: Self = toml::from_str(text).map_err(|error| {
            let place = error.span().map_or(0, |span| span.start);
            let key = keys::path_at(table, place);
            let message = match key.is_empty() {
                true => plain(&error),
                false => format!("{key}: {}", plain(&error)),
            };
            SettingsError::new(line(place), &message)
        })?;
        check::check(&settings).map_err(|problem| {
            let line = line(keys::offset_of(table, &problem.path));
            let message = format!("{}: {}", shown(&problem.path), problem.message);
            SettingsError::new(line, &message)
        })?;
        Ok(settings)
    }

    /// The unit of the report: the study's, else that of an export, else mg/dL, in which tables are kept.
    pub fn unit(&self) -> Unit {
        let exported = self.exports.values().find_map(|export| export.unit);
        self.study.unit.or(exported).unwrap_or(Unit::MgDl)
    }

    /// The time zone of months, and of nights and local times that no wearer's own zone governs.
    pub fn zone(&self) -> TimeZone {
        zone_or_utc(self.study.timezone.as_deref().unwrap_or("UTC"))
    }

    /// The time zone of a wearer who does not travel.
    pub fn home_zone(&self, wearer: &str) -> TimeZone {
        zone_or_utc(self.home_name(wearer))
    }

    fn home_name(&self, wearer: &str) -> &str {
        let own = self
            .wearers
            .get(wearer)
            .and_then(|own| own.timezone.as_deref());
        own.or(self.study.timezone.as_deref()).unwrap_or("UTC")
    }

    /// The time zones that a wearer lived by, in order of time; the first from ever. Each journey begins by the
    /// clock of the place left.
    pub fn wearer_zones(&self, wearer: &str) -> Vec<ZoneFrom> {
        let own = self.wearers.get(wearer);
        let home = self.home_name(wearer);
        let mut left = zone_or_utc(home);
        let mut zones = vec![ZoneFrom {
            from: None,
            name: home.to_owned(),
            zone: left.clone(),
        }];
        for journey in own.iter().flat_map(|own| &own.zones) {
            let zone = zone_or_utc(&journey.timezone);
            zones.push(ZoneFrom {
                from: journey.from.first(&left),
                name: journey.timezone.clone(),
                zone: zone.clone(),
            });
            left = zone;
        }
        zones
    }

    /// Rated wear of a session, days: the model's, else the wearer's, else the study's.
    pub fn rated_days(&self, wearer: &str, model: &str) -> f64 {
        let of_model = self.models.get(model).and_then(|m| m.rated_days);
        let of_wearer = self.wearers.get(wearer).and_then(|w| w.rated_days);
        of_model.or(of_wearer).unwrap_or(self.wear.rated_days)
    }

    /// Warm-up of a wearer's sensors, hours.
    pub fn warmup_hours(&self, wearer: &str) -> f64 {
        let own = self.wearers.get(wearer).and_then(|w| w.warmup_hours);
        own.unwrap_or(self.wear.warmup_hours)
    }

    /// The local times at which a night begins and ends where no one recorded `bed` and `rise`.
    pub fn clock_night(&self) -> (jiff::civil::Time, jiff::civil::Time) {
        let clock = |text| parse_clock(text).unwrap_or(jiff::civil::Time::midnight());
        (clock(&self.night.from), clock(&self.night.to))
    }

    /// Every site that a row may name: those of the program in their order, then those of the study.
    pub fn all_sites(&self) -> Vec<Site> {
        let mut sites: Vec<Site> = BUILT_IN
            .iter()
            .map(|(key, label)| Site {
                key: (*key).to_owned(),
                label: (*label).to_owned(),
                on_label: None,
            })
            .collect();
        for (key, own) in &self.sites {
            let label = own.label.clone().unwrap_or_else(|| key.replace('-', " "));
            // Keys of the study's own are unequal: looking through them too would take quadratic time.
            let mut built_in = sites.iter_mut().take(BUILT_IN.len());
            match built_in.find(|site| site.key == *key) {
                Some(site) => {
                    site.on_label = own.on_label;
                    if own.label.is_some() {
                        site.label = label;
                    }
                }
                None => sites.push(Site {
                    key: key.clone(),
                    label,
                    on_label: own.on_label,
                }),
            }
        }
        sites
    }
}

impl Export {
    /// The clock that wrote its times, where it is not the wearer's.
    pub fn zone(&self) -> Option<TimeZone> {
        if let Some(offset) = &self.offset {
            return check::parse_offset(offset).map(TimeZone::fixed);
        }
        self.timezone.as_deref().map(zone_or_utc)
    }
}

/// A path as it is written in the file: `corrections`, the second, is `corrections[2]`.
fn shown(path: &[String]) -> String {
    let mut text = String::new();
    for part in path.iter().filter(|part| !part.is_empty()) {
        match part.parse::<usize>() {
            Ok(index) if !text.is_empty() => text += &format!("[{}]", index + 1),
            _ if text.is_empty() => text = part.clone(),
            _ => text += &format!(".{part}"),
        }
    }
    text
}

fn zone_or_utc(name: &str) -> TimeZone {
    TimeZone::get(name).unwrap_or(TimeZone::UTC)
}

fn parse_clock(text: &str) -> Option<jiff::civil::Time> {
    jiff::civil::Time::strptime("%H:%M", text.trim()).ok()
}
