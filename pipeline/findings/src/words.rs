//! Words that several findings share.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::{Micros, local_date};

/// A count with its noun.
pub(crate) fn count(n: usize, noun: &str) -> String {
    if n == 1 {
        format!("1 {noun}")
    } else {
        format!("{n} {noun}s")
    }
}

/// Most that a text names of many.
const MOST_NAMED: usize = 3;

/// `sensor `a``, or the first of several and how many more.
pub(crate) fn first_of(noun: &str, names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
    match quoted.as_slice() {
        [one] => format!("{noun} {one}"),
        few if few.len() <= MOST_NAMED + 1 => format!("{noun}s {}", few.join(", ")),
        many => {
            let named: Vec<&str> = many.iter().take(MOST_NAMED).map(String::as_str).collect();
            let more = many.len() - named.len();
            format!("{noun}s {} and {more} more", named.join(", "))
        }
    }
}

/// The local date of an instant.
pub(crate) fn day(at: Micros, zone: &TimeZone) -> String {
    local_date(at, zone).map_or(String::new(), |date| date.to_string())
}

/// The local clock at an instant, to the minute.
pub(crate) fn clock(at: Micros, zone: &TimeZone) -> String {
    Timestamp::from_microsecond(at).map_or(String::new(), |at| {
        at.to_zoned_datetime(zone.clone())
            .strftime("%Y-%m-%dT%H:%M")
            .to_string()
    })
}

/// `60 min ahead of` or `60 min behind`.
pub(crate) fn signed_minutes(minutes: f64, ahead: &str, behind: &str) -> String {
    let word = if minutes >= 0.0 { ahead } else { behind };
    format!("{} min {word}", minutes.abs())
}

/// A text as a TOML string.
pub(crate) fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", c as u32)),
            c => out.push(c),
        }
    }
    out + "\""
}

/// Lines that take a clock's error off again.
pub(crate) fn clock_correction(
    wearer: &str,
    key: &str,
    name: &str,
    size: f64,
    from: Option<Micros>,
    to: Option<Micros>,
    zone: &TimeZone,
) -> String {
    let mut lines = format!(
        "[[corrections]]\nwearer = {}\n{key} = {}\n",
        quoted(wearer),
        quoted(name)
    );
    for (word, at) in [("from", from), ("to", to)] {
        if let Some(at) = at {
            lines += &format!("{word} = \"{}\"\n", clock(at, zone));
        }
    }
    lines + &format!("clock_minutes = {}\n", -size)
}

/// Fingersticks from one to another: how many, whose, and on which days.
pub(crate) fn checks_from(first: &Check, last: &Check, rows: usize, zone: &TimeZone) -> String {
    format!(
        "{} of `{}` from {} to {}",
        count(rows, "fingerstick"),
        first.wearer,
        day(first.time, zone),
        day(last.time, zone)
    )
}
