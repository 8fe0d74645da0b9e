//! Minutes since 1970 in UTC, and how they are written in local time.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

use crate::DemoError;

/// Minutes since 1970-01-01T00:00Z.
pub(crate) type Minute = i64;

/// Minutes of a day.
pub(crate) const DAY: Minute = 1440;

/// The offsets of one time zone over the years that a study can cover.
pub(crate) struct Clock {
    /// First minute and offset (minutes east of UTC) of each span between clock changes.
    spans: Vec<(Minute, i64)>,
}

impl Clock {
    /// Reads the clock changes of an IANA zone from 1950 to 2030.
    pub(crate) fn new(zone: &str) -> Result<Self, DemoError> {
        let zone = TimeZone::get(zone)?;
        let first = Timestamp::from_second(-20 * 365 * 86_400)?;
        let last = Timestamp::from_second(60 * 365 * 86_400)?;
        let mut spans = vec![(Minute::MIN, i64::from(zone.to_offset(first).seconds()) / 60)];
        for change in zone
            .following(first)
            .take_while(|change| change.timestamp() < last)
        {
            let minute = change.timestamp().as_second().div_euclid(60);
            spans.push((minute, i64::from(change.offset().seconds()) / 60));
        }
        Ok(Self { spans })
    }

    /// The span that holds an instant: its first minute, the first minute after it, and its offset.
    fn span(&self, utc: Minute) -> (Minute, Minute, i64) {
        let next = self.spans.partition_point(|span| span.0 <= utc);
        let (start, offset) = self.spans[next - 1];
        let end = self.spans.get(next).map_or(Minute::MAX, |span| span.0);
        (start, end, offset)
    }

    /// Local minutes (counted as if the zone were UTC) of an instant.
    pub(crate) fn local(&self, utc: Minute) -> Minute {
        utc + self.span(utc).2
    }

    /// The instant of a local minute: the earlier one where it occurs twice, moved on by the length of the
    /// change where it does not exist.
    pub(crate) fn utc(&self, local: Minute) -> Minute {
        let before = self.span(local - DAY).2;
        let after = self.span(local + DAY).2;
        let early = local - before;
        if self.local(early) == local {
            return early;
        }
        let late = local - after;
        if self.local(late) == local {
            late
        } else {
            early
        }
    }

    /// Whether the local time of this instant occurs twice.
    pub(crate) fn is_repeated(&self, utc: Minute) -> bool {
        let (start, end, offset) = self.span(utc);
        let local = utc + offset;
        let again = end < Minute::MAX && local - self.span(end).2 >= end;
        let before = start > Minute::MIN && local - self.span(start - 1).2 < start;
        again || before
    }

    /// The same instant, or the first one after the repeated hour where it lies in that hour, so that its
    /// local time names it alone.
    pub(crate) fn settled(&self, utc: Minute) -> Minute {
        (utc..)
            .find(|&minute| !self.is_repeated(minute))
            .unwrap_or(utc)
    }

    /// The local times (as local minutes) that clock changes skip between two instants: first minute skipped.
    pub(crate) fn skipped(&self, from: Minute, to: Minute) -> Vec<Minute> {
        let change = self
            .spans
            .windows(2)
            .filter(|pair| pair[1].0 >= from && pair[1].0 < to);
        change
            .filter(|pair| pair[1].1 > pair[0].1)
            .map(|pair| pair[1].0 + pair[0].1)
            .collect()
    }
}

/// The day number (days since 1970-01-01) of a calendar date.
pub(crate) fn day_number(date: Date) -> Result<i64, DemoError> {
    Ok(i64::from(date.since(Date::new(1970, 1, 1)?)?.get_days()))
}

/// How a time is written.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Style {
    /// Local time without an offset: `2026-03-29T10:15`.
    Local,
    /// Local time with its offset: `2026-03-29T10:15-01:00`.
    Offset,
    /// UTC: `2026-03-29T11:15Z`.
    Utc,
}

/// Writes times; the calendar is asked only when the day changes, the zone only at a clock change.
pub(crate) struct Stamp<'c> {
    clock: &'c Clock,
    style: Style,
    span: (Minute, Minute, i64),
    day: i64,
    date: [u8; 10],
    suffix: [u8; 6],
}

impl<'c> Stamp<'c> {
    /// A writer of times in the given style.
    pub(crate) fn new(clock: &'c Clock, style: Style) -> Self {
        Self {
            clock,
            style,
            span: (0, 0, 0),
            day: i64::MIN,
            date: *b"0000-00-00",
            suffix: *b"+00:00",
        }
    }

    /// Appends the time of an instant to a line.
    pub(crate) fn write(&mut self, utc: Minute, line: &mut Vec<u8>) -> Result<(), DemoError> {
        if utc < self.span.0 || utc >= self.span.1 {
            self.enter_span(utc);
        }
        let local = utc + self.span.2;
        let day = local.div_euclid(DAY);
        if day != self.day {
            self.date = date_text(day)?;
            self.day = day;
        }
        let minute = local.rem_euclid(DAY);
        line.extend_from_slice(&self.date);
        line.push(b'T');
        line.extend_from_slice(&two_digits(minute / 60));
        line.push(b':');
        line.extend_from_slice(&two_digits(minute % 60));
        match self.style {
            Style::Local => {}
            Style::Offset => line.extend_from_slice(&self.suffix),
            Style::Utc => line.push(b'Z'),
        }
        Ok(())
    }

    /// The time of an instant as text.
    pub(crate) fn text(&mut self, utc: Minute) -> Result<String, DemoError> {
        let mut line = Vec::new();
        self.write(utc, &mut line)?;
        Ok(String::from_utf8_lossy(&line).into_owned())
    }

    fn enter_span(&mut self, utc: Minute) {
        self.span = match self.style {
            Style::Utc => (Minute::MIN, Minute::MAX, 0),
            Style::Local | Style::Offset => self.clock.span(utc),
        };
        let east = self.span.2.abs();
        self.suffix[0] = if self.span.2 < 0 { b'-' } else { b'+' };
        self.suffix[1..3].copy_from_slice(&two_digits(east / 60));
        self.suffix[4..6].copy_from_slice(&two_digits(east % 60));
    }
}

/// `2026-03-29` of a day number.
pub(crate) fn date_text(day: i64) -> Result<[u8; 10], DemoError> {
    let date = Date::new(1970, 1, 1)?.checked_add(day.days())?;
    let mut text = *b"0000-00-00";
    let year = i64::from(date.year());
    text[0..2].copy_from_slice(&two_digits(year / 100));
    text[2..4].copy_from_slice(&two_digits(year % 100));
    text[5..7].copy_from_slice(&two_digits(i64::from(date.month())));
    text[8..10].copy_from_slice(&two_digits(i64::from(date.day())));
    Ok(text)
}

fn two_digits(value: i64) -> [u8; 2] {
    [b'0' + (value / 10 % 10) as u8, b'0' + (value % 10) as u8]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same instants by the calendar library alone.
    fn by_library(minute: Minute, format: &str) -> String {
        let zone = TimeZone::get("Atlantic/Azores").unwrap();
        Timestamp::from_second(minute * 60)
            .unwrap()
            .to_zoned_datetime(zone)
            .strftime(format)
            .to_string()
    }

    /// Minutes around the clock changes of 2025-10-26 and 2026-03-29, both at 01:00Z (rule of the European Union,
    /// Directive 2000/84/EC, articles 2 and 3).
    fn around_changes() -> impl Iterator<Item = Minute> {
        let changes = ["2025-10-26T01:00Z", "2026-03-29T01:00Z"];
        changes.into_iter().flat_map(|text| {
            let change = text.parse::<Timestamp>().unwrap().as_second() / 60;
            change - 3000..change + 3000
        })
    }

    #[test]
    fn stamps_agree_with_the_calendar_library() {
        let clock = Clock::new("Atlantic/Azores").unwrap();
        let mut local = Stamp::new(&clock, Style::Local);
        let mut offset = Stamp::new(&clock, Style::Offset);
        let mut utc = Stamp::new(&clock, Style::Utc);
        for minute in around_changes() {
            assert_eq!(
                local.text(minute).unwrap(),
                by_library(minute, "%Y-%m-%dT%H:%M")
            );
            assert_eq!(
                offset.text(minute).unwrap(),
                by_library(minute, "%Y-%m-%dT%H:%M%:z")
            );
            let instant: Timestamp = utc
                .text(minute)
                .unwrap()
                .replace('Z', ":00Z")
                .parse()
                .unwrap();
            assert_eq!(instant.as_second(), minute * 60);
        }
    }

    #[test]
    fn local_times_come_back_unless_repeated() {
        let clock = Clock::new("Atlantic/Azores").unwrap();
        let mut repeated = 0;
        for minute in around_changes() {
            if clock.is_repeated(minute) {
                repeated += 1;
                assert!(!clock.is_repeated(clock.settled(minute)));
            } else {
                assert_eq!(clock.utc(clock.local(minute)), minute);
                assert_eq!(clock.settled(minute), minute);
            }
        }
        assert_eq!(repeated, 120, "one hour, twice");
    }

    #[test]
    fn the_skipped_hour_begins_at_local_midnight_in_spring() {
        let clock = Clock::new("Atlantic/Azores").unwrap();
        let day = day_number(Date::new(2026, 3, 29).unwrap()).unwrap();
        assert_eq!(
            clock.skipped(day * DAY - 100 * DAY, day * DAY + 100 * DAY),
            [day * DAY]
        );
        assert_eq!(clock.local(clock.utc(day * DAY + 30)), day * DAY + 90);
    }
}
