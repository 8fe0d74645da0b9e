//! Times of raw rows: ISO 8601, or a format of the study's own, made absolute by offset or time zone.

use jiff::civil::{Date, DateTime};
use jiff::fmt::strtime::BrokenDownTime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp, civil};
use whereworn_model::settings::{Settings, ZoneFrom};
use whereworn_model::time::{MICROS_PER_DAY, MICROS_PER_SECOND, Micros};

use crate::reject::Fault;

/// How the reason begins for which a row's time cannot be read.
pub(crate) const UNPARSABLE_TIME: &str = "unparsable time";

/// How the times of a file are written.
#[derive(Clone, Debug)]
pub(crate) enum TimeFormat {
    Iso,
    Strftime(String),
    /// Seconds, or parts of seconds so long in microseconds, since 1970-01-01T00:00:00Z (POSIX.1-2017, 4.16).
    Since1970(Micros),
}

/// `time_format` of seconds since 1970, in jiff's notation, and of milliseconds, for which that has none.
pub(crate) const SECONDS: &str = "%s";
pub(crate) const MILLISECONDS: &str = "milliseconds";

impl TimeFormat {
    pub fn new(written: Option<&str>) -> Self {
        match written {
            None => Self::Iso,
            Some(SECONDS) => Self::Since1970(MICROS_PER_SECOND),
            Some(MILLISECONDS) => Self::Since1970(MICROS_PER_SECOND / 1000),
            Some(format) => Self::Strftime(format.to_owned()),
        }
    }
}

/// A time as it is written: an instant, or the reading of a local clock in microseconds since
/// 1970-01-01T00:00 of that clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Written {
    Absolute(Micros),
    Clock(i64),
}

/// What the reading of a local clock means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Moment {
    One(Micros),
    /// The clocks were put back: it was this time twice.
    Twice {
        earlier: Micros,
        later: Micros,
    },
    /// The clocks were put forward past this time.
    Never,
}

/// Reads times; remembers the last date, since rows of one day follow each other.
pub(crate) struct TimeReader<'f> {
    format: &'f TimeFormat,
    last_date: [u8; 10],
    last_midnight: i64,
}

impl<'f> TimeReader<'f> {
    pub fn new(format: &'f TimeFormat) -> Self {
        Self {
            format,
            last_date: [0; 10],
            last_midnight: 0,
        }
    }

    /// The instant of a row's time, and the later one where its local time occurred twice.
    pub fn instant(
        &mut self,
        text: &[u8],
        clock: &mut Clock,
    ) -> Result<(Micros, Option<Micros>), Fault> {
        let fault = |reason: &str| Fault::new("time", reason);
        let written = self.read(text).ok_or_else(|| self.unparsable(text))?;
        match clock.resolve(written) {
            Moment::One(at) | Moment::Twice { earlier: at, .. } if at < 0 => {
                Err(fault("a time before 1970: is the year right?"))
            }
            Moment::One(at) => Ok((at, None)),
            Moment::Twice { earlier, later } => Ok((earlier, Some(later))),
            Moment::Never => Err(fault(
                "a local time that does not exist: the clocks were put forward past it",
            )),
        }
    }

    /// The instant of a text that has an offset; `Some(None)` for a time without one, `None` for what is no time.
    pub fn absolute(&mut self, text: &[u8]) -> Option<Option<Micros>> {
        match self.read(text)? {
            Written::Absolute(at) => Some(Some(at)),
            Written::Clock(_) => Some(None),
        }
    }

    /// Whether a text is a time.
    pub fn reads(&mut self, text: &[u8]) -> bool {
        self.read(text).is_some()
    }

    fn unparsable(&self, text: &[u8]) -> Fault {
        let shown = String::from_utf8_lossy(text);
        Fault::new(
            "time",
            match self.format {
                _ if text.is_empty() => format!("{UNPARSABLE_TIME}: the field is empty"),
                TimeFormat::Iso => format!(
                    "{UNPARSABLE_TIME} `{shown}`: use ISO 8601 with date and time of day, as 2026-03-01T08:05, or map the file in study.toml with its time_format"
                ),
                TimeFormat::Strftime(format) => format!(
                    "{UNPARSABLE_TIME} `{shown}`: it does not fit time_format = \"{format}\""
                ),
                TimeFormat::Since1970(part) => format!(
                    "{UNPARSABLE_TIME} `{shown}`: time_format says whole {} since 1970",
                    if *part == MICROS_PER_SECOND {
                        "seconds"
                    } else {
                        "milliseconds"
                    }
                ),
            },
        )
    }

    /// `None` where the text is no time; a date alone is none.
    fn read(&mut self, text: &[u8]) -> Option<Written> {
        match self.format {
            TimeFormat::Iso => self.read_usual_iso(text).or_else(|| read_any_iso(text)),
            TimeFormat::Strftime(format) => read_format(format, text),
            TimeFormat::Since1970(part) => read_since_1970(*part, text),
        }
    }

    /// `YYYY-MM-DD`, `T` or a blank, `HH:MM` or `HH:MM:SS`, then nothing, `Z` or `+HH:MM`.
    fn read_usual_iso(&mut self, text: &[u8]) -> Option<Written> {
        let (date, rest) = text.split_first_chunk::<10>()?;
        let (separator, rest) = rest.split_first()?;
        if *separator != b'T' && *separator != b' ' {
            return None;
        }
        let (hour, rest) = two_digits(rest)?;
        let (minute, mut rest) = two_digits(rest.strip_prefix(b":")?)?;
        let mut second = 0;
        if let Some(after) = rest.strip_prefix(b":") {
            (second, rest) = two_digits(after)?;
        }
        if hour > 23 || minute > 59 || second > 59 {
            return None;
        }
        let clock = self.midnight(date)? + (hour * 3600 + minute * 60 + second) * MICROS_PER_SECOND;
        match rest {
            [] => Some(Written::Clock(clock)),
            [b'Z'] => Some(Written::Absolute(clock)),
            [sign @ (b'+' | b'-'), offset @ ..] => {
                let (hours, rest) = two_digits(offset)?;
                let (minutes, rest) = two_digits(rest.strip_prefix(b":")?)?;
                if !rest.is_empty() || hours > 23 || minutes > 59 {
                    return None;
                }
                let offset = (hours * 3600 + minutes * 60) * MICROS_PER_SECOND;
                Some(Written::Absolute(if *sign == b'+' {
                    clock - offset
                } else {
                    clock + offset
                }))
            }
            _ => None,
        }
    }

    fn midnight(&mut self, date: &[u8; 10]) -> Option<i64> {
        if *date != self.last_date {
            let date_text = std::str::from_utf8(date).ok()?;
            let parsed: Date = date_text.parse().ok()?;
            self.last_midnight = clock_micros(parsed.to_datetime(civil::Time::midnight()))?;
            self.last_date = *date;
        }
        Some(self.last_midnight)
    }
}

fn two_digits(text: &[u8]) -> Option<(i64, &[u8])> {
    match text {
        [a @ b'0'..=b'9', b @ b'0'..=b'9', rest @ ..] => {
            Some((i64::from(a - b'0') * 10 + i64::from(b - b'0'), rest))
        }
        _ => None,
    }
}

fn read_any_iso(text: &[u8]) -> Option<Written> {
    let text = std::str::from_utf8(text).ok()?;
    let (_, clock) = text.split_once(['T', 't', ' '])?;
    let offset = clock
        .rsplit(['+', '-'])
        .next()
        .filter(|offset| *offset != clock);
    if offset.is_some_and(|offset| offset.get(..2).is_some_and(|hours| hours > "23")) {
        return None;
    }
    if let Ok(timestamp) = text.parse::<Timestamp>() {
        return Some(Written::Absolute(timestamp.as_microsecond()));
    }
    if text.contains('[') || !text.contains(':') && text.len() < 13 {
        return None;
    }
    Some(Written::Clock(clock_micros(
        text.parse::<DateTime>().ok()?,
    )?))
}

fn read_since_1970(part: Micros, text: &[u8]) -> Option<Written> {
    let number: i64 = std::str::from_utf8(text).ok()?.parse().ok()?;
    let at = number.checked_mul(part)?;
    // What no calendar has is no time.
    Timestamp::from_microsecond(at).ok()?;
    Some(Written::Absolute(at))
}

/// The parts of a time that a format finds in a text; `a.m.` and `p. m.` are read as `%p` is.
pub(crate) fn broken_down(format: &str, text: &[u8]) -> Option<BrokenDownTime> {
    if let Ok(broken) = BrokenDownTime::parse(format, text) {
        return Some(broken);
    }
    if !format.contains("%p") {
        return None;
    }
    let plain = half_of_day(std::str::from_utf8(text).ok()?)?;
    BrokenDownTime::parse(format, plain).ok()
}

/// A text with `a.m.` or `p. m.` written as `am` and `pm`; `None` where it has neither.
fn half_of_day(text: &str) -> Option<String> {
    let text = text.replace(['\u{a0}', '\u{202f}'], " ");
    for half in ["a.m.", "p.m.", "a. m.", "p. m.", "a.m", "p.m"] {
        let lower = text.to_ascii_lowercase();
        if let Some(start) = lower.find(half) {
            let (before, rest) = (text.get(..start)?, text.get(start + half.len()..)?);
            return Some(format!("{before}{}m{rest}", half.get(..1)?));
        }
    }
    None
}

fn read_format(format: &str, text: &[u8]) -> Option<Written> {
    let broken = broken_down(format, text)?;
    broken.hour()?;
    let clock = clock_micros(broken.to_datetime().ok()?)?;
    Some(match broken.offset() {
        Some(offset) => Written::Absolute(clock - i64::from(offset.seconds()) * MICROS_PER_SECOND),
        None => Written::Clock(clock),
    })
}

fn clock_micros(datetime: DateTime) -> Option<i64> {
    let zoned = datetime.to_zoned_datetime(TimeZone::UTC).ok()?;
    Some(zoned.timestamp().as_microsecond())
}

/// The time zones that a clock was set to, one after the other; remembers the offset of the last day on which it
/// was not changed.
pub(crate) struct Clock {
    stretches: Vec<Stretch>,
    day: i64,
    offset: Option<i64>,
}

/// A time zone, from one instant up to another.
struct Stretch {
    from: Micros,
    until: Micros,
    zone: TimeZone,
}

impl Clock {
    /// A clock that is never set to another time zone.
    pub fn new(zone: TimeZone) -> Self {
        Self::with(vec![Stretch {
            from: Micros::MIN,
            until: Micros::MAX,
            zone,
        }])
    }

    /// A clock that follows a wearer's journeys.
    pub fn of_wearer(settings: &Settings, wearer: &str) -> Self {
        let zones = settings.wearer_zones(wearer);
        let ends = zones.iter().skip(1).map(|next| next.from);
        let ends: Vec<Option<Micros>> = ends.chain([None]).collect();
        let stretch = |(zone, until): (ZoneFrom, Option<Micros>)| Stretch {
            from: zone.from.unwrap_or(Micros::MIN),
            until: until.unwrap_or(Micros::MAX),
            zone: zone.zone,
        };
        Self::with(zones.into_iter().zip(ends).map(stretch).collect())
    }

    fn with(stretches: Vec<Stretch>) -> Self {
        Self {
            stretches,
            day: i64::MIN,
            offset: None,
        }
    }

    /// What a written time means by this clock.
    fn resolve(&mut self, written: Written) -> Moment {
        let clock = match written {
            Written::Absolute(at) => return Moment::One(at),
            Written::Clock(clock) => clock,
        };
        let day = clock.div_euclid(MICROS_PER_DAY);
        if day != self.day {
            self.day = day;
            self.offset = self.steady_offset(day);
        }
        match self.offset {
            Some(offset) => Moment::One(clock - offset),
            None => self.resolve_exactly(clock),
        }
    }

    /// The offset throughout a day, where the clocks are not changed on it.
    fn steady_offset(&self, day: i64) -> Option<i64> {
        let offset = |clock| match self.resolve_exactly(clock) {
            Moment::One(at) => Some(clock - at),
            _ => None,
        };
        let [midnight, next] = [day, day + 1].map(|day| day * MICROS_PER_DAY);
        let (first, last) = (offset(midnight)?, offset(next - 1)?);
        let (start, end) = (midnight - first, next - last);
        let mut here = self.stretches.iter();
        let stretch = here.find(|stretch| stretch.from <= start && end <= stretch.until)?;
        let end = Timestamp::from_microsecond(end).ok()?;
        let quiet = stretch
            .zone
            .following(Timestamp::from_microsecond(start).ok()?)
            .next()
            .is_none_or(|change| change.timestamp() >= end);
        (first == last && quiet).then_some(first)
    }

    fn resolve_exactly(&self, clock: i64) -> Moment {
        let Ok(wall) = Timestamp::from_microsecond(clock) else {
            return Moment::Never;
        };
        let wall = TimeZone::UTC.to_datetime(wall);
        let at = |offset: jiff::tz::Offset| clock - i64::from(offset.seconds()) * MICROS_PER_SECOND;
        let mut meant: Vec<Micros> = Vec::new();
        for stretch in &self.stretches {
            let (one, other) = match stretch.zone.to_ambiguous_timestamp(wall).offset() {
                AmbiguousOffset::Unambiguous { offset } => (Some(at(offset)), None),
                AmbiguousOffset::Fold { before, after } => (Some(at(before)), Some(at(after))),
                AmbiguousOffset::Gap { .. } => (None, None),
            };
            let here = |at: &Micros| (stretch.from..stretch.until).contains(at);
            meant.extend(one.into_iter().chain(other).filter(here));
        }
        match (meant.first(), meant.last()) {
            (Some(earlier), Some(later)) if earlier < later => Moment::Twice {
                earlier: *earlier,
                later: *later,
            },
            (Some(at), _) => Moment::One(*at),
            (None, _) => Moment::Never,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use whereworn_model::time::format_utc;

    fn read(text: &str) -> Option<Written> {
        TimeReader::new(&TimeFormat::Iso).read(text.as_bytes())
    }

    fn lisbon(text: &str) -> Moment {
        Clock::new(TimeZone::get("Europe/Lisbon").unwrap()).resolve(read(text).unwrap())
    }

    fn utc(at: Micros) -> Moment {
        Moment::One(at)
    }

    #[test]
    fn a_year_that_is_mistyped() {
        let iso = TimeFormat::Iso;
        let mut clock = Clock::new(TimeZone::get("Europe/Lisbon").unwrap());
        let mut read = |text: &str| TimeReader::new(&iso).instant(text.as_bytes(), &mut clock);
        for text in [
            "0001-11-13T18:30",
            "1026-03-01T08:00Z",
            "1969-12-31T23:59:59Z",
        ] {
            assert!(read(text).is_err(), "{text}");
        }
        assert_eq!(read("1970-01-01T00:00:00Z").unwrap(), (0, None));
    }

    /// Examples of ISO 8601-1:2019 forms; instants by `date -u -d`.
    #[test]
    fn iso_8601() {
        let noon = 1_767_268_800_000_000;
        for text in [
            "2026-01-01T12:00:00Z",
            "2026-01-01 12:00Z",
            "2026-01-01T13:00+01:00",
            "2026-01-01T06:30:00-05:30",
            "2026-01-01T12:00:00.000Z",
            "2026-01-01T13:00:00+01",
        ] {
            assert_eq!(read(text), Some(Written::Absolute(noon)), "{text}");
        }
        for text in [
            "2026-01-01T12:00",
            "2026-01-01 12:00:00",
            "2026-01-01T12:00:00.0",
        ] {
            assert_eq!(read(text), Some(Written::Clock(noon)), "{text}");
        }
    }

    #[test]
    fn what_is_no_time() {
        for text in [
            "",
            "2026-01-01",
            "2026-02-30T10:00",
            "2026-01-01T25:00",
            "12:00",
            "yesterday",
            "2026-01-01T12:00+25:00",
            "2026-01-01T12:00[Europe/Lisbon]",
            "20260101T12",
            "NaN",
        ] {
            assert_eq!(read(text), None, "{text}");
        }
    }

    /// Portugal's clocks in 2026 by the IANA time zone database: forward on 29 March at 01:00 UTC,
    /// back on 25 October at 01:00 UTC.
    #[test]
    fn clocks_forward_and_back() {
        assert_eq!(lisbon("2026-03-29T01:30"), Moment::Never);
        let Moment::Twice { earlier, later } = lisbon("2026-10-25T01:30") else {
            panic!()
        };
        assert_eq!(format_utc(earlier), "2026-10-25T00:30:00Z");
        assert_eq!(format_utc(later), "2026-10-25T01:30:00Z");
        assert_eq!(lisbon("2026-07-01T12:00"), utc(1_782_903_600_000_000));
        assert_eq!(lisbon("2026-10-25T12:00"), utc(1_792_929_600_000_000));
    }

    /// From Lisbon (UTC in March) to Tokyo (UTC+9) the clock is put forward by nine hours, and back on return
    /// (IANA time zone database).
    #[test]
    fn a_clock_that_travels() {
        let text = "[study]\ntimezone = \"Europe/Lisbon\"\n[wearers.a]\nzones = [\n\
            { from = \"2026-03-02\", timezone = \"Asia/Tokyo\" },\n\
            { from = \"2026-03-12T18:00\", timezone = \"Europe/Lisbon\" }]\n";
        let settings = Settings::parse(text).unwrap();
        let mut clock = Clock::of_wearer(&settings, "a");
        let mut meant = |text: &str| match clock.resolve(read(text).unwrap()) {
            Moment::One(at) => format_utc(at),
            Moment::Twice { earlier, later } => {
                format!("{} or {}", format_utc(earlier), format_utc(later))
            }
            Moment::Never => "never".to_owned(),
        };
        for (local, utc) in [
            ("2026-03-01T23:59", "2026-03-01T23:59:00Z"),
            ("2026-03-02T08:59", "never"),
            ("2026-03-02T09:00", "2026-03-02T00:00:00Z"),
            ("2026-03-05T12:00", "2026-03-05T03:00:00Z"),
            ("2026-03-12T08:59", "2026-03-11T23:59:00Z"),
            (
                "2026-03-12T09:00",
                "2026-03-12T00:00:00Z or 2026-03-12T09:00:00Z",
            ),
            ("2026-03-12T18:00", "2026-03-12T18:00:00Z"),
        ] {
            assert_eq!(meant(local), utc, "{local}");
        }
    }

    #[test]
    fn other_formats() {
        let format = TimeFormat::Strftime("%d/%m/%Y %H:%M".to_owned());
        let mut reader = TimeReader::new(&format);
        assert_eq!(
            reader.read(b"01/01/2026 12:00"),
            Some(Written::Clock(1_767_268_800_000_000))
        );
        assert_eq!(reader.read(b"2026-01-01T12:00"), None);
        let format = TimeFormat::Strftime("%d/%m/%Y".to_owned());
        assert_eq!(TimeReader::new(&format).read(b"01/01/2026"), None);
        let format = TimeFormat::Strftime("%m/%d/%Y %I:%M %p".to_owned());
        assert_eq!(
            TimeReader::new(&format).read(b"01/02/2026 01:00 PM"),
            Some(Written::Clock(1_767_358_800_000_000))
        );
        for text in [
            "01/02/2026 01:00 p.m.",
            "01/02/2026 01:00 P. M.",
            "01/02/2026 01:00pm",
        ] {
            let read = TimeReader::new(&format).read(text.as_bytes());
            assert_eq!(read, Some(Written::Clock(1_767_358_800_000_000)), "{text}");
        }
        assert_eq!(
            TimeReader::new(&format).read(b"01/02/2026 01:00 x.m."),
            None
        );
    }

    /// 2026-01-01T12:00:00Z is 1 767 268 800 s after 1970 (`date -u -d @1767268800`).
    #[test]
    fn seconds_and_milliseconds_since_1970() {
        for (format, text) in [("%s", "1767268800"), ("milliseconds", "1767268800000")] {
            let format = TimeFormat::new(Some(format));
            let mut reader = TimeReader::new(&format);
            let noon = Some(Written::Absolute(1_767_268_800_000_000));
            assert_eq!(reader.read(text.as_bytes()), noon);
            for text in [
                "",
                "1.7e9",
                "2026-01-01T12:00",
                "99999999999999999",
                "9223372036854775807",
            ] {
                assert_eq!(reader.read(text.as_bytes()), None, "{text}");
            }
            assert!(
                reader
                    .unparsable(b"x")
                    .reason
                    .contains("seconds since 1970")
            );
        }
    }
}
