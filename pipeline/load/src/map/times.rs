//! In which format times are written, told from the times themselves.

use jiff::civil::DateTime;
use jiff::fmt::strtime::BrokenDownTime;

use crate::times::{MILLISECONDS, SECONDS, broken_down};

/// Which of two numbers is the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateOrder {
    /// Day, month, year.
    DayFirst,
    /// Month, day, year.
    MonthFirst,
}

/// Forms of a date; those of numbers alone, in which day and month may be mistaken, say which comes first.
const DATES: [(&str, Option<DateOrder>); 22] = {
    use DateOrder::{DayFirst, MonthFirst};
    [
        ("%Y-%m-%d", None),
        ("%Y/%m/%d", None),
        ("%Y.%m.%d", None),
        ("%Y%m%d", None),
        ("%d/%m/%Y", Some(DayFirst)),
        ("%m/%d/%Y", Some(MonthFirst)),
        ("%d.%m.%Y", Some(DayFirst)),
        ("%m.%d.%Y", Some(MonthFirst)),
        ("%d-%m-%Y", Some(DayFirst)),
        ("%m-%d-%Y", Some(MonthFirst)),
        ("%d/%m/%y", Some(DayFirst)),
        ("%m/%d/%y", Some(MonthFirst)),
        ("%d.%m.%y", Some(DayFirst)),
        ("%m.%d.%y", Some(MonthFirst)),
        ("%d-%m-%y", Some(DayFirst)),
        ("%m-%d-%y", Some(MonthFirst)),
        ("%d %b %Y", None),
        ("%d-%b-%Y", None),
        ("%d %B %Y", None),
        ("%b %d, %Y", None),
        ("%b %d %Y", None),
        ("%B %d, %Y", None),
    ]
};

const CLOCKS: [&str; 18] = [
    "%H:%M:%S",
    "%H:%M",
    "%H.%M",
    "%H.%M.%S",
    "%I:%M:%S %p",
    "%I:%M %p",
    "%H:%M:%S%.f",
    "%H:%M:%S %z",
    "%H:%M %z",
    "%H:%M:%S%z",
    "%H:%M:%S%:z",
    "%H:%M%:z",
    "%H:%M:%S %:z",
    "%H:%M %:z",
    "%H:%M:%S GMT%:z",
    "%H:%M:%S UTC%:z",
    "%H:%M GMT%:z",
    "%H:%M UTC%:z",
];

const BETWEEN: [&str; 3] = [" ", "T", ", "];

/// A format and, where it was chosen among others, in words why.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Told {
    /// ISO 8601, which needs no format.
    Iso,
    /// The one format that fits.
    Format(String),
    /// The one of two under which rows follow each other; under the other they leap by a month so many times.
    Follows(String, usize),
    /// Day and month may be either way round: the format with the day first, and the one with the month first.
    Either(String, String),
}

/// Times are told from this many texts, spread over the file.
const LOOKED_AT: usize = 400;

/// Texts that need not fit: a footer, a typing error.
const MAY_MISS: f64 = 0.02;

/// The format that fits the times of a column; `None` where none does. An order asked for is taken.
pub(super) fn tell(texts: &[&str], order: Option<DateOrder>) -> Option<Told> {
    let spread = spread(texts);
    if fits(&spread, is_iso) {
        return Some(Told::Iso);
    }
    let mut found: Vec<(String, Option<DateOrder>)> = Vec::new();
    for (date, of) in DATES {
        for between in BETWEEN {
            for clock in CLOCKS {
                let format = format!("{date}{between}{clock}");
                if fits(&spread, |text| parse(&format, text).is_some()) {
                    found.push((format, of));
                }
            }
        }
    }
    if found.is_empty() {
        return since_1970(&spread);
    }
    let by = |wanted| {
        found
            .iter()
            .find(|(_, of)| *of == Some(wanted))
            .map(|(format, _)| format.clone())
    };
    match (by(DateOrder::DayFirst), by(DateOrder::MonthFirst)) {
        (Some(day), Some(month)) => Some(choose(texts, day, month, order)),
        (Some(one), None) | (None, Some(one)) => Some(Told::Format(one)),
        (None, None) => found
            .into_iter()
            .next()
            .map(|(format, _)| Told::Format(format)),
    }
}

impl Told {
    /// Whether they are seconds or milliseconds since 1970.
    pub fn is_since_1970(&self) -> bool {
        matches!(self, Self::Format(format) if is_since_1970(format))
    }

    /// The format; the one with the day first where it may be either way round, and `None` of ISO 8601.
    pub fn format(&self) -> Option<&str> {
        match self {
            Self::Iso => None,
            Self::Format(format) | Self::Follows(format, _) | Self::Either(format, _) => {
                Some(format)
            }
        }
    }

    /// The order of day and month that the texts tell.
    pub fn order(&self) -> Option<DateOrder> {
        match self {
            Self::Either(..) => None,
            told => order_of(told.format()?),
        }
    }
}

fn is_since_1970(format: &str) -> bool {
    [SECONDS, MILLISECONDS].contains(&format)
}

/// The years that seconds since 1970 are looked for in: 2000 to 2100. Milliseconds of these are no seconds of them.
const SINCE_1970: std::ops::Range<i64> = 946_684_800..4_102_444_800;

fn since_1970(texts: &[&str]) -> Option<Told> {
    let within = |part: i64| {
        fits(texts, |text| {
            let number = text.parse::<i64>();
            number.is_ok_and(|number| SINCE_1970.contains(&(number / part)))
        })
    };
    let format = match (within(1), within(1000)) {
        (true, _) => SECONDS,
        (_, true) => MILLISECONDS,
        _ => return None,
    };
    Some(Told::Format(format.to_owned()))
}

/// The order of day and month in a format; `None` where they cannot be mistaken.
pub(super) fn order_of(format: &str) -> Option<DateOrder> {
    DATES
        .iter()
        .filter(|(date, _)| format.starts_with(date))
        .find_map(|(_, order)| *order)
}

/// The clock that a title names: `UTC`, or an offset from it as `+01:00`.
pub(super) fn zone_in(title: &str) -> Option<String> {
    let lower = title.to_lowercase();
    let start = ["utc", "gmt"].iter().find_map(|word| {
        let start = lower.find(word)?;
        let before = lower.get(..start)?.chars().next_back();
        let after = lower.get(start + word.len()..)?;
        let word = before.is_none_or(|c| !c.is_alphabetic())
            && after.chars().next().is_none_or(|c| !c.is_alphabetic());
        word.then_some(after)
    })?;
    let rest = start.trim_start();
    let Some(sign) = rest.chars().next().filter(|c| ['+', '-'].contains(c)) else {
        return Some("UTC".to_owned());
    };
    let digits: String = rest
        .chars()
        .skip(1)
        .take_while(|c| c.is_ascii_digit() || *c == ':')
        .collect();
    let (hours, minutes) = digits.split_once(':').unwrap_or((&digits, "00"));
    let (hours, minutes): (u8, u8) = (hours.parse().ok()?, minutes.parse().ok()?);
    Some(match (hours, minutes) {
        (0, 0) => "UTC".to_owned(),
        _ => format!("{sign}{hours:02}:{minutes:02}"),
    })
}

/// Whether times name their offset from UTC themselves.
pub(super) fn is_absolute(format: Option<&str>, texts: &[&str]) -> bool {
    match format {
        Some(format) => format.contains('z') || is_since_1970(format),
        None => {
            let iso = crate::times::TimeFormat::Iso;
            let mut reader = crate::times::TimeReader::new(&iso);
            let offset = |text: &str| matches!(reader.absolute(text.as_bytes()), Some(Some(_)));
            let mut texts = texts.iter().copied().filter(|text| !text.is_empty());
            texts.next().is_some_and(offset)
        }
    }
}

/// Whether a column holds offsets from UTC, as +01:00.
pub(super) fn is_offset(texts: &[&str]) -> bool {
    let offset = |text: &str| match text.as_bytes() {
        [b'+' | b'-', a, b, b':', c, d] => [a, b, c, d].iter().all(|byte| byte.is_ascii_digit()),
        _ => false,
    };
    fits(&spread(texts), offset)
}

/// Of two formats the one that all texts fit, where it is one: a single day past the twelfth tells.
fn choose(texts: &[&str], day: String, month: String, order: Option<DateOrder>) -> Told {
    match order {
        Some(DateOrder::DayFirst) => return Told::Format(day),
        Some(DateOrder::MonthFirst) => return Told::Format(month),
        None => {}
    }
    let count = |format: &str| {
        texts
            .iter()
            .filter(|text| parse(format, text).is_some())
            .count()
    };
    match count(&day).cmp(&count(&month)) {
        std::cmp::Ordering::Greater => Told::Format(day),
        std::cmp::Ordering::Less => Told::Format(month),
        std::cmp::Ordering::Equal => match (leaps(texts, &day), leaps(texts, &month)) {
            (Some(0), Some(many)) if many >= FEW_LEAPS => Told::Follows(day, many),
            (Some(many), Some(0)) if many >= FEW_LEAPS => Told::Follows(month, many),
            _ => Told::Either(day, month),
        },
    }
}

/// Days from one row to the next that are a leap: a day taken for a month is at least 28.
const LEAP_DAYS: i64 = 20;

/// Leaps from which on an order of day and month is out of the question.
const FEW_LEAPS: usize = 3;

/// How often rows that follow each other within minutes leap by weeks; `None` of rows that do not follow so closely.
fn leaps(texts: &[&str], format: &str) -> Option<usize> {
    let seconds: Vec<i64> = texts
        .iter()
        .filter_map(|text| clock_seconds(Some(format), text))
        .collect();
    let steps = seconds.iter().zip(seconds.iter().skip(1));
    let mut steps: Vec<i64> = steps.map(|(a, b)| (b - a).abs()).collect();
    steps.sort_unstable();
    let usual = steps.get(steps.len() / 2)?;
    let leap = LEAP_DAYS * 24 * 3600;
    (*usual <= super::guess::DENSE_SECONDS)
        .then(|| steps.iter().filter(|step| **step > leap).count())
}

/// Whether a column holds dates without a time of day, and a column times of day without a date.
pub(super) fn is_date(texts: &[&str]) -> bool {
    let date = |text: &str| {
        DATES.iter().any(|(format, _)| {
            let date = BrokenDownTime::parse(format, text).and_then(|broken| broken.to_date());
            date.is_ok_and(|date| date.year() >= FIRST_YEAR)
        })
    };
    fits(&spread(texts), date)
}

/// Whether a column holds times of day without a date.
pub(super) fn is_clock(texts: &[&str]) -> bool {
    let clock = |text: &str| {
        CLOCKS
            .iter()
            .any(|format| broken_down(format, text.as_bytes()).is_some())
    };
    fits(&spread(texts), clock)
}

/// Whether one text looks like a date or time of any kind.
pub(super) fn looks_like_time(text: &str) -> bool {
    is_date(&[text]) || is_clock(&[text]) || tell(&[text], None).is_some()
}

/// The local clock of a text, in seconds.
pub(super) fn clock_seconds(format: Option<&str>, text: &str) -> Option<i64> {
    let written = match format {
        Some(SECONDS) => return text.parse().ok(),
        Some(MILLISECONDS) => return text.parse::<i64>().ok().map(|at| at / 1000),
        Some(format) => parse(format, text),
        None => text
            .get(..19)
            .or(text.get(..16))
            .and_then(|start| start.parse().ok()),
    };
    let zoned = written?.to_zoned_datetime(jiff::tz::TimeZone::UTC).ok()?;
    Some(zoned.timestamp().as_second())
}

fn parse(format: &str, text: &str) -> Option<DateTime> {
    let broken = broken_down(format, text.as_bytes())?;
    broken.hour()?;
    broken
        .to_datetime()
        .ok()
        .filter(|time| time.year() >= FIRST_YEAR)
}

/// A year of two digits is not one of the first century.
const FIRST_YEAR: i16 = 1970;

/// A date and a time of day, as ISO 8601 has them.
fn is_iso(text: &str) -> bool {
    let format = crate::times::TimeFormat::Iso;
    crate::times::TimeReader::new(&format).reads(text.as_bytes())
}

fn spread<'t>(texts: &[&'t str]) -> Vec<&'t str> {
    let given: Vec<&str> = texts
        .iter()
        .copied()
        .filter(|text| !text.is_empty())
        .collect();
    let step = given.len().div_ceil(LOOKED_AT).max(1);
    given.into_iter().step_by(step).collect()
}

fn fits(texts: &[&str], fit: impl Fn(&str) -> bool) -> bool {
    let allowed = (texts.len() as f64 * MAY_MISS) as usize;
    let mut missed = 0;
    !texts.is_empty()
        && texts.iter().all(|text| {
            missed += usize::from(!fit(text));
            missed <= allowed
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: the thirteenth is no month.
    #[test]
    fn formats_told_from_the_data() {
        let told = |texts: &[&str]| tell(texts, None);
        let format = |text: &str| Some(Told::Format(text.to_owned()));
        assert_eq!(
            told(&["2026-03-01T08:05", "2026-03-01 08:10:00"]),
            Some(Told::Iso)
        );
        assert_eq!(
            told(&["01/03/2026 08:05", "13/03/2026 08:05"]),
            format("%d/%m/%Y %H:%M")
        );
        assert_eq!(
            told(&["03/01/2026 08:05 AM", "03/13/2026 01:05 PM"]),
            format("%m/%d/%Y %I:%M %p")
        );
        assert_eq!(
            told(&["1.3.2026 8:05", "2.3.2026 8:05", "31.3.2026 8:05"]),
            format("%d.%m.%Y %H:%M")
        );
        assert_eq!(told(&["5", "6"]), None);
        let either = Told::Either("%d/%m/%Y %H:%M".to_owned(), "%m/%d/%Y %H:%M".to_owned());
        let both = ["01/03/2026 08:05", "02/03/2026 08:05"];
        assert_eq!(told(&both), Some(either));
        assert_eq!(
            tell(&both, Some(DateOrder::MonthFirst)),
            format("%m/%d/%Y %H:%M")
        );
    }

    /// By hand: four days of readings every 10 min. With the month first each midnight would be a leap of a month.
    #[test]
    fn readings_that_follow_each_other_tell_the_order() {
        let text = |day: i64, minute: i64| {
            format!("{:02}/05/2026 {:02}:{:02}", day, minute / 60, minute % 60)
        };
        let times = |step: usize| -> Vec<String> {
            let days = (1..=4).flat_map(|day| (0..1440).step_by(step).map(move |m| (day, m)));
            days.map(|(day, minute)| text(day, minute)).collect()
        };
        let told =
            |texts: &[String]| tell(&texts.iter().map(String::as_str).collect::<Vec<_>>(), None);
        let day = "%d/%m/%Y %H:%M".to_owned();
        assert_eq!(told(&times(10)), Some(Told::Follows(day, 3)));
        assert!(matches!(told(&times(10)[..300]), Some(Told::Either(..))));
        assert!(matches!(told(&times(360)), Some(Told::Either(..))));
    }

    #[test]
    fn dates_and_clocks_apart() {
        assert!(is_date(&["01/03/2026", "13/03/2026"]));
        assert!(!is_date(&["01/03/2026 08:05"]));
        assert!(is_clock(&["8:05", "12:00"]));
        assert!(!is_clock(&["112", "2026-03-01T08:05"]));
    }
}
