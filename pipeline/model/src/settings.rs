//! The settings of a study, `study.toml`.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::known_keys::first_unknown;
use crate::sites::{BUILT_IN, Site};
use crate::units::Unit;

pub use crate::known_keys::nearest_word;

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
}

/// The study as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Study {
    /// Title of the report.
    pub title: String,
    /// Who wears the sensors of rows that do not say.
    pub wearer: String,
    /// IANA time zone of local times, nights and months; `None` where the file names none (UTC is used).
    pub timezone: Option<String>,
    /// Unit of files that name none, and of the report.
    pub unit: Unit,
    /// Language of the report.
    pub language: Language,
    /// How the report writes dates; `None` for what the language does.
    pub date_format: Option<DateFormat>,
}

/// A language of the report.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Language {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
    /// German.
    #[serde(rename = "de")]
    German,
}

/// How a date is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum DateFormat {
    /// ISO 8601.
    #[serde(rename = "YYYY-MM-DD")]
    YearMonthDay,
    /// With full stops.
    #[serde(rename = "DD.MM.YYYY")]
    DayMonthYear,
    /// With slashes, the day first.
    #[serde(rename = "DD/MM/YYYY")]
    DaySlashMonth,
    /// With slashes, the month first.
    #[serde(rename = "MM/DD/YYYY")]
    MonthSlashDay,
}

impl DateFormat {
    /// The pattern in the notation of `strftime`.
    pub fn pattern(self) -> &'static str {
        match self {
            Self::YearMonthDay => "%Y-%m-%d",
            Self::DayMonthYear => "%d.%m.%Y",
            Self::DaySlashMonth => "%d/%m/%Y",
            Self::MonthSlashDay => "%m/%d/%Y",
        }
    }
}

impl Default for Study {
    fn default() -> Self {
        Self {
            title: "Where sensors were worn".to_owned(),
            wearer: "wearer-1".to_owned(),
            timezone: None,
            unit: Unit::MgDl,
            language: Language::English,
            date_format: None,
        }
    }
}

/// How long sensors are rated for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Wear {
    /// Rated wear, days: the horizon of survival.
    pub rated_days: f64,
    /// Readings of a sensor's first hours are not paired.
    pub warmup_hours: f64,
}

impl Default for Wear {
    fn default() -> Self {
        Self {
            rated_days: 14.0,
            warmup_hours: 1.0,
        }
    }
}

/// What differs for a wearer.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct WearerSettings {
    /// IANA time zone of this wearer's local times.
    pub timezone: Option<String>,
    /// Rated wear, days.
    pub rated_days: Option<f64>,
    /// Hours of warm-up.
    pub warmup_hours: Option<f64>,
}

/// What differs for a model of sensor.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ModelSettings {
    /// Rated wear, days.
    pub rated_days: Option<f64>,
}

/// Nights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Night {
    /// Local time at which a night begins where `bed` was not recorded, `HH:MM`.
    pub from: String,
    /// Local time at which it ends where `rise` was not recorded, `HH:MM`.
    pub to: String,
    /// Least share of expected readings with which a sensor-night counts.
    pub coverage: f64,
}

impl Default for Night {
    fn default() -> Self {
        Self {
            from: "23:00".to_owned(),
            to: "07:00".to_owned(),
            coverage: 0.70,
        }
    }
}

/// How a fingerstick finds its reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Pairing {
    /// Most minutes between a fingerstick and its reading.
    pub minutes: f64,
}

impl Default for Pairing {
    fn default() -> Self {
        Self { minutes: 5.0 }
    }
}

/// A site of the study.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SiteSettings {
    /// Name shown to a reader.
    pub label: Option<String>,
    /// Whether the site is on the device's label.
    pub on_label: Option<bool>,
}

/// An export with other column names than ours.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Export {
    /// Table that the rows belong to: `readings`, `fingersticks` or `wear-events`.
    pub table: String,
    /// Which files, relative to the study folder; `*` and `?` stand for any characters.
    pub files: String,
    /// Our column to theirs; several of theirs are joined with a blank (date and time apart).
    pub columns: BTreeMap<String, Columns>,
    /// Format of times in the notation of `strftime`; ISO 8601 where absent.
    #[serde(default)]
    pub time_format: Option<String>,
    /// Unit of rows that name none.
    #[serde(default)]
    pub unit: Option<Unit>,
    /// Lines before the header.
    #[serde(default)]
    pub skip_lines: usize,
}

/// One or several columns of an export.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Columns {
    /// One column.
    One(String),
    /// Several, joined with a blank.
    Several(Vec<String>),
}

impl Columns {
    /// The names, in order.
    pub fn names(&self) -> &[String] {
        match self {
            Self::One(name) => std::slice::from_ref(name),
            Self::Several(names) => names,
        }
    }
}

/// A settings file that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("line {line}: {message}")]
pub struct SettingsError {
    /// Line of the file, from 1.
    pub line: usize,
    /// What is wrong and what to do.
    pub message: String,
}

impl Settings {
    /// Reads the text of a `study.toml`.
    ///
    /// # Errors
    /// A syntax error, an unknown key (with the nearest known one), a value of the wrong type or out of
    /// its range, an unknown time zone or table.
    pub fn parse(text: &str) -> Result<Self, SettingsError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let at = |offset: usize| text[..offset.min(text.len())].matches('\n').count() + 1;
        let from_toml = |error: toml::de::Error| SettingsError {
            line: error.span().map_or(1, |span| at(span.start)),
            message: error.message().trim_end().replace('\n', " "),
        };
        let table = toml::de::DeTable::parse(text).map_err(from_toml)?;
        if let Some(unknown) = first_unknown(table.get_ref()) {
            return Err(SettingsError {
                line: at(unknown.offset),
                message: format!(
                    "unknown key `{}`: did you mean `{}`?",
                    unknown.path, unknown.nearest
                ),
            });
        }
        let settings: Self = toml::from_str(text).map_err(from_toml)?;
        settings.check().map_err(|(key, message)| SettingsError {
            line: line_of(text, key),
            message,
        })?;
        Ok(settings)
    }

    fn check(&self) -> Result<(), (&'static str, String)> {
        let zones = self.wearers.values().filter_map(|w| w.timezone.as_ref());
        for name in self.study.timezone.iter().chain(zones) {
            if TimeZone::get(name).is_err() {
                return Err((
                    "timezone",
                    format!(
                        "unknown time zone `{name}`: use an IANA name such as \"Europe/Lisbon\""
                    ),
                ));
            }
        }
        let rated = [self.wear.rated_days]
            .into_iter()
            .chain(self.models.values().filter_map(|m| m.rated_days))
            .chain(self.wearers.values().filter_map(|w| w.rated_days));
        for days in rated {
            in_range("rated_days", days, f64::MIN_POSITIVE, 3650.0)?;
        }
        let warmups = self.wearers.values().filter_map(|w| w.warmup_hours);
        for hours in [self.wear.warmup_hours].into_iter().chain(warmups) {
            in_range("warmup_hours", hours, 0.0, 240.0)?;
        }
        in_range("coverage", self.night.coverage, 0.0, 1.0)?;
        in_range("minutes", self.pairing.minutes, 0.0, 60.0)?;
        for (key, clock) in [("from", &self.night.from), ("to", &self.night.to)] {
            if parse_clock(clock).is_none() {
                return Err((
                    key,
                    format!("`{clock}` is no time of day: write it as \"23:00\""),
                ));
            }
        }
        for (name, export) in &self.exports {
            if !["readings", "fingersticks", "wear-events"].contains(&export.table.as_str()) {
                return Err((
                    "table",
                    format!(
                        "exports.{name}: unknown table `{}`: use \"readings\", \"fingersticks\" or \"wear-events\"",
                        export.table
                    ),
                ));
            }
        }
        Ok(())
    }

    /// The time zone of nights, months and of local times that no wearer's own zone governs.
    pub fn zone(&self) -> TimeZone {
        zone_or_utc(self.study.timezone.as_deref())
    }

    /// The time zone of a wearer's local times.
    pub fn wearer_zone(&self, wearer: &str) -> TimeZone {
        let own = self.wearers.get(wearer).and_then(|w| w.timezone.as_deref());
        zone_or_utc(own.or(self.study.timezone.as_deref()))
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
            match sites.iter_mut().find(|site| site.key == *key) {
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

fn zone_or_utc(name: Option<&str>) -> TimeZone {
    name.and_then(|name| TimeZone::get(name).ok())
        .unwrap_or(TimeZone::UTC)
}

fn in_range(
    key: &'static str,
    value: f64,
    least: f64,
    most: f64,
) -> Result<(), (&'static str, String)> {
    if (least..=most).contains(&value) {
        return Ok(());
    }
    let least = if least == f64::MIN_POSITIVE {
        "more than 0".to_owned()
    } else {
        least.to_string()
    };
    Err((
        key,
        format!("`{key}` is {value}: it goes from {least} to {most}"),
    ))
}

fn parse_clock(text: &str) -> Option<jiff::civil::Time> {
    jiff::civil::Time::strptime("%H:%M", text.trim()).ok()
}

/// The first line on which a key is set.
fn line_of(text: &str, key: &str) -> usize {
    text.lines()
        .position(|line| {
            line.split('=')
                .next()
                .is_some_and(|left| left.trim() == key)
                || line.contains(&format!("{key} ="))
                || line.contains(&format!("{key}="))
        })
        .map_or(1, |index| index + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_are_those_of_the_definitions() {
        let settings = Settings::parse("").unwrap();
        assert_eq!(settings.wear.rated_days, 14.0);
        assert_eq!(settings.pairing.minutes, 5.0);
        assert_eq!(settings.night.coverage, 0.70);
        assert_eq!(settings.study.wearer, "wearer-1");
        assert_eq!(settings.all_sites().len(), 9);
    }

    #[test]
    fn an_unknown_key_names_its_line_and_the_nearest() {
        let error =
            Settings::parse("[study]\ntitle = \"a\"\n\n[wear]\nrated_day = 10\n").unwrap_err();
        assert_eq!(error.line, 5);
        assert!(error.message.contains("`wear.rated_day`"), "{error}");
        assert!(error.message.contains("`rated_days`"), "{error}");
    }

    #[test]
    fn a_wrong_value_names_its_line() {
        for (text, line, word) in [
            ("[study]\ntimezone = \"Lisbon\"", 2, "Lisbon"),
            ("[study]\nunit = \"mg\"", 2, "mg"),
            ("[study]\nlanguage = \"tlh\"", 2, "tlh"),
            ("[wear]\n\nrated_days = 0", 3, "rated_days"),
            ("[night]\nfrom = \"25:00\"", 2, "25:00"),
            ("[study\n", 1, ""),
        ] {
            let error = Settings::parse(text).unwrap_err();
            assert_eq!(error.line, line, "{error}");
            assert!(error.message.contains(word), "{error}");
        }
    }

    #[test]
    fn every_known_key_is_read() {
        let text = r#"
            [study]
            title = "t"
            wearer = "w"
            timezone = "Europe/Lisbon"
            unit = "mmol/L"
            language = "de"
            date_format = "DD/MM/YYYY"
            [wear]
            rated_days = 14
            warmup_hours = 1
            [wearers.a]
            timezone = "UTC"
            rated_days = 10
            warmup_hours = 2
            [models."M 1"]
            rated_days = 7
            [night]
            from = "22:30"
            to = "06:00"
            coverage = 0.5
            [pairing]
            minutes = 7
            [sites.lower-back]
            label = "Back"
            on_label = false
            [sites.hip]
            [exports.x]
            table = "readings"
            files = "exports/*.csv"
            columns = { time = ["Day", "Clock"], glucose = "G" }
            time_format = "%d/%m/%Y %H:%M"
            unit = "mmol/L"
            skip_lines = 1
        "#;
        let settings = Settings::parse(text).unwrap();
        assert_eq!(settings.rated_days("a", "M 1"), 7.0);
        assert_eq!(settings.rated_days("a", ""), 10.0);
        assert_eq!(settings.warmup_hours("b"), 1.0);
        let sites = settings.all_sites();
        let back = sites.iter().find(|s| s.key == "lower-back").unwrap();
        assert_eq!((back.label.as_str(), back.on_label), ("Back", Some(false)));
        assert_eq!(sites.last().unwrap().label, "hip");
        assert_eq!(
            settings.exports["x"].columns["time"].names(),
            ["Day", "Clock"]
        );
    }
}
