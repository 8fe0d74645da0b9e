//! Instants, days and months. All calendar arithmetic is jiff's.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// Microseconds since 1970-01-01T00:00:00Z.
pub type Micros = i64;

/// Microseconds in a second.
pub const MICROS_PER_SECOND: i64 = 1_000_000;

/// Microseconds of a minute.
pub const MICROS_PER_MINUTE: i64 = 60 * MICROS_PER_SECOND;

/// Microseconds in a day of 86 400 s.
pub const MICROS_PER_DAY: i64 = 86_400 * MICROS_PER_SECOND;

/// Elapsed days of 86 400 s from one instant to another; negative where `to` is earlier.
pub fn days_between(from: Micros, to: Micros) -> f64 {
    (to - from) as f64 / MICROS_PER_DAY as f64
}

/// An instant as ISO 8601 in UTC with `Z`, seconds with as many decimals as needed.
pub fn format_utc(at: Micros) -> String {
    match Timestamp::from_microsecond(at) {
        Ok(timestamp) => timestamp.to_string(),
        Err(_) => String::new(),
    }
}

/// The local date of an instant.
pub fn local_date(at: Micros, zone: &TimeZone) -> Option<Date> {
    let timestamp = Timestamp::from_microsecond(at).ok()?;
    Some(timestamp.to_zoned_datetime(zone.clone()).date())
}

/// The instant of an ISO 8601 text with an offset.
pub fn parse_instant(text: &str) -> Option<Micros> {
    let timestamp: Timestamp = text.trim().parse().ok()?;
    Some(timestamp.as_microsecond())
}

/// The instant at which a local date begins; where midnight does not exist, the first instant after it.
pub fn start_of_day(date: Date, zone: &TimeZone) -> Option<Micros> {
    let zoned = date.to_zoned_datetime(zone.clone()).ok()?;
    Some(zoned.start_of_day().ok()?.timestamp().as_microsecond())
}

/// The instant of a local wall-clock time on a date, moved forward where the clocks skip it.
pub fn at_clock(date: Date, clock: jiff::civil::Time, zone: &TimeZone) -> Option<Micros> {
    let zoned = date
        .to_datetime(clock)
        .to_zoned_datetime(zone.clone())
        .ok()?;
    Some(zoned.timestamp().as_microsecond())
}

/// A calendar month, local to the study's time zone; by default January of the year 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Month {
    first: Date,
}

impl Default for Month {
    fn default() -> Self {
        Self {
            first: Date::constant(0, 1, 1),
        }
    }
}

impl Month {
    /// Reads `YYYY-MM`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let (year, month) = text.split_once('-')?;
        if year.len() != 4 || month.len() != 2 {
            return None;
        }
        let first = Date::new(year.parse().ok()?, month.parse().ok()?, 1).ok()?;
        Some(Self { first })
    }

    /// The month that an instant belongs to: a month is the time after its first midnight up to and
    /// including the midnight that ends it.
    pub fn of(at: Micros, zone: &TimeZone) -> Option<Self> {
        let timestamp = Timestamp::from_microsecond(at).ok()?;
        let before = timestamp.checked_sub(SignedDuration::from_micros(1)).ok()?;
        let date = before.to_zoned_datetime(zone.clone()).date();
        Some(Self {
            first: date.first_of_month(),
        })
    }

    /// The local midnight with which the month begins.
    pub fn start(self, zone: &TimeZone) -> Option<Micros> {
        start_of_day(self.first, zone)
    }

    /// The local midnight that ends the month.
    pub fn end(self, zone: &TimeZone) -> Option<Micros> {
        start_of_day(self.first.checked_add(1.month()).ok()?, zone)
    }
}

impl std::fmt::Display for Month {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04}-{:02}", self.first.year(), self.first.month())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lisbon() -> TimeZone {
        TimeZone::get("Europe/Lisbon").unwrap()
    }

    /// ISO 8601 examples; the epoch of 2026-01-01T00:00:00Z is 1 767 225 600 s (POSIX time, by `date -u`).
    #[test]
    fn instants_round_trip() {
        let at = parse_instant("2026-01-01T01:00:00+01:00").unwrap();
        assert_eq!(at, 1_767_225_600_000_000);
        assert_eq!(format_utc(at), "2026-01-01T00:00:00Z");
        assert_eq!(format_utc(at + 250_000), "2026-01-01T00:00:00.25Z");
        assert_eq!(parse_instant("2026-01-01"), None);
    }

    /// Portugal puts its clocks forward on 2026-03-29 at 01:00 UTC (IANA time zone database).
    #[test]
    fn a_month_follows_the_local_clock() {
        let march = Month::parse("2026-03").unwrap();
        let zone = lisbon();
        assert_eq!(
            format_utc(march.start(&zone).unwrap()),
            "2026-03-01T00:00:00Z"
        );
        assert_eq!(
            format_utc(march.end(&zone).unwrap()),
            "2026-03-31T23:00:00Z"
        );
    }

    #[test]
    fn the_closing_midnight_still_belongs_to_the_month() {
        let zone = lisbon();
        let march = Month::parse("2026-03").unwrap();
        assert_eq!(Month::of(march.end(&zone).unwrap(), &zone), Some(march));
        assert_ne!(Month::of(march.end(&zone).unwrap() + 1, &zone), Some(march));
        assert_eq!(march.to_string(), "2026-03");
    }

    #[test]
    fn months_are_year_and_month() {
        for text in ["2026-13", "2026-1", "26-01", "2026-01-01", "june", ""] {
            assert_eq!(Month::parse(text), None, "{text}");
        }
    }

    /// By hand: a day has 86,400 s; 1 January 1970 was a Thursday everywhere, but in New York still New Year's Eve.
    #[test]
    fn days_and_dates_by_hand() {
        let day = 86_400_000_000;
        assert_eq!(MICROS_PER_DAY, day);
        assert_eq!(days_between(day, day * 5 / 2), 1.5);
        assert_eq!(days_between(day, 0), -1.0);
        let new_york = TimeZone::get("America/New_York").unwrap();
        let date = |at, zone: &TimeZone| local_date(at, zone).unwrap().to_string();
        assert_eq!(date(0, &TimeZone::UTC), "1970-01-01");
        assert_eq!(date(0, &new_york), "1969-12-31");
        let begins = start_of_day(jiff::civil::date(1970, 1, 1), &new_york).unwrap();
        assert_eq!(begins, 5 * 3_600_000_000, "New York is five hours behind");
        let clock = jiff::civil::time(7, 30, 0, 0);
        let at = at_clock(jiff::civil::date(1970, 1, 1), clock, &new_york).unwrap();
        assert_eq!(at, begins + 7 * 3_600_000_000 + 1_800_000_000);
    }
}
