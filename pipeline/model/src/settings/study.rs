//! `[study]`, `[wear]`, `[models]`, `[night]`, `[pairing]`: what holds for the study as a whole.

use serde::{Deserialize, Serialize};

use crate::units::Unit;

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
    /// Unit of rows that name none, and of the report. There is no default: a wrong one goes unseen.
    pub unit: Option<Unit>,
    /// Language of the report.
    pub language: Language,
    /// How the report writes dates; `None` for what the language does.
    pub date_format: Option<DateFormat>,
    /// Whether sensors whose clock, unit or wearer is plainly off stay in the comparisons.
    pub keep_doubtful: bool,
    /// Whether others than the owner may read the store and reports, as far as the system's defaults let them.
    pub shared: bool,
}

impl Default for Study {
    fn default() -> Self {
        Self {
            title: "Where sensors were worn".to_owned(),
            wearer: "wearer-1".to_owned(),
            timezone: None,
            unit: None,
            language: Language::English,
            date_format: None,
            keep_doubtful: false,
            shared: false,
        }
    }
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

/// How a date is written, in the notation of `strftime`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct DateFormat(String);

impl DateFormat {
    /// The pattern, which has a year, a month and a day.
    pub fn pattern(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for DateFormat {
    type Error = String;

    fn try_from(pattern: String) -> Result<Self, String> {
        let day = jiff::civil::Date::constant(2026, 3, 4);
        let round_trip = jiff::fmt::strtime::format(&pattern, day)
            .and_then(|text| jiff::civil::Date::strptime(&pattern, text));
        if round_trip.is_ok_and(|read| read == day) {
            return Ok(Self(pattern));
        }
        Err(format!(
            "`{pattern}` does not write a date: give %Y, %m and %d in your order, for example \"%d.%m.%Y\""
        ))
    }
}

impl From<DateFormat> for String {
    fn from(format: DateFormat) -> Self {
        format.0
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
