//! A date or time written in the settings.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::time::Micros;

/// A local date, a local time of a date, or an instant with its offset.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum When {
    /// A whole day of a local clock.
    Date(Date),
    /// A moment of a local clock.
    Clock(DateTime),
    /// A moment anywhere.
    Instant(Timestamp),
}

impl When {
    /// Reads `2026-03-01`, `2026-03-01T08:30` or `2026-03-01T08:30:00+01:00`.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if text.len() <= 10 {
            return text.parse().ok().map(Self::Date);
        }
        let instant = text.parse().ok().map(Self::Instant);
        instant.or_else(|| text.parse().ok().map(Self::Clock))
    }

    /// The first instant meant, by the clock of a time zone; moved forward where the clocks skip it.
    pub fn first(&self, zone: &TimeZone) -> Option<Micros> {
        let local = match self {
            Self::Instant(at) => return Some(at.as_microsecond()),
            Self::Clock(local) => *local,
            Self::Date(date) => date.to_datetime(Time::midnight()),
        };
        let zoned = local.to_zoned_datetime(zone.clone()).ok()?;
        Some(zoned.timestamp().as_microsecond())
    }

    /// The first instant that is no longer meant: after the whole day of a date, after the moment itself.
    pub fn after(&self, zone: &TimeZone) -> Option<Micros> {
        match self {
            Self::Date(date) => Self::Date(date.checked_add(1.day()).ok()?).first(zone),
            _ => self.first(zone).map(|at| at + 1),
        }
    }
}

impl std::fmt::Display for When {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Date(date) => date.fmt(f),
            Self::Clock(local) => local.fmt(f),
            Self::Instant(at) => at.fmt(f),
        }
    }
}

impl Serialize for When {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for When {
    /// A text, or a date of TOML.
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged)]
        enum Written {
            Toml(toml::value::Datetime),
            Text(String),
        }
        let text = match Written::deserialize(deserializer) {
            Ok(Written::Toml(datetime)) => datetime.to_string(),
            Ok(Written::Text(text)) => text,
            Err(_) => return Err(de::Error::custom("no date: write it as \"2026-03-01\"")),
        };
        Self::parse(&text).ok_or_else(|| {
            de::Error::custom(format!("`{text}` is no date: write it as \"2026-03-01\""))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::format_utc;

    /// Lisbon is an hour ahead of UTC in April 2026 (IANA time zone database).
    #[test]
    fn a_date_is_a_whole_day_of_the_local_clock() {
        let lisbon = TimeZone::get("Europe/Lisbon").unwrap();
        for (text, first, after) in [
            ("2026-04-02", "2026-04-01T23:00:00Z", "2026-04-02T23:00:00Z"),
            (
                "2026-04-02T08:30",
                "2026-04-02T07:30:00Z",
                "2026-04-02T07:30:00.000001Z",
            ),
            (
                "2026-04-02 08:30:00",
                "2026-04-02T07:30:00Z",
                "2026-04-02T07:30:00.000001Z",
            ),
            (
                "2026-04-02T08:30:00Z",
                "2026-04-02T08:30:00Z",
                "2026-04-02T08:30:00.000001Z",
            ),
        ] {
            let when = When::parse(text).unwrap();
            assert_eq!(format_utc(when.first(&lisbon).unwrap()), first, "{text}");
            assert_eq!(format_utc(when.after(&lisbon).unwrap()), after, "{text}");
        }
        for text in ["2026-13-01", "April", "2026-04", ""] {
            assert_eq!(When::parse(text), None, "{text}");
        }
    }
}
