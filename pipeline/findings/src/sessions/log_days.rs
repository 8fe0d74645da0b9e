//! A sensor's readings against the days of its log: an `insert` or an `end` that was noted most of a day too early or too
//! late, so that the sensor seems to have stayed on for longer, or for less, than it did.
//!
//! A clock or a date that is off moves both ends of a sensor's readings alike. Where one end alone lies further from the log
//! than clocks do, the log is off, or readings are missing.

use whereworn_model::time::{MICROS_PER_DAY, Micros, days_between};

use crate::finding::{Finding, OF_ALL, OF_WEAR, Severity};
use crate::log::{FURTHEST_OUT, HOUR, Log, Session};
use crate::sessions::of_session;
use crate::words::clock;

/// Time without a reading after the warm-up, or before the `end`, from which on the log is doubted: a day, less what logs kept
/// to some hours are off.
const SILENT: Micros = 20 * HOUR;

/// And so many times as long as the sensor's longest pause: one that loses readings for hours may lose some at an end too.
const LONGER_THAN_PAUSES: Micros = 2;

/// A sensor whose readings end within so much of its rated wear ran out, and may well have been taken off a day later: it
/// counts as worn for its rated days and no longer.
const RAN_OUT: Micros = MICROS_PER_DAY / 2;

/// Endings of sensors that fall silent while they are worn.
const FELL_SILENT: [&str; 2] = ["sensor-fault", "not-started"];

/// By how much each end of a sensor's readings lies outside its log, or inside; 0 and less where it does not.
struct Ends {
    before_insert: Micros,
    after_end: Micros,
    silent_first: Micros,
    silent_last: Micros,
    /// The longest pause between two readings.
    pause: Micros,
}

impl Ends {
    fn of(log: &Log<'_>, session: &Session) -> Option<Self> {
        let (first, last) = session.seen.span?;
        let (from, to) = session.seen.run?;
        let end = session.end;
        Some(Self {
            before_insert: session.insert - from,
            after_end: end.map_or(0, |end| to - end),
            silent_first: first - session.insert - log.warm_up(&session.wearer),
            silent_last: end.map_or(0, |end| end - last),
            pause: session.seen.gap.map_or(0, |(from, to)| to - from),
        })
    }

    fn is_silent(&self, time: Micros) -> bool {
        time >= SILENT && time >= LONGER_THAN_PAUSES * self.pause
    }

    /// Whether all readings lie as much too early, or too late: a date of theirs is off, and not the log's.
    fn are_moved(&self) -> bool {
        let both = |outside, silent| outside >= FURTHEST_OUT && silent >= FURTHEST_OUT;
        both(self.before_insert, self.silent_last) || both(self.after_end, self.silent_first)
    }
}

/// Findings on a session whose readings run on beyond its log, or are silent for most of a day at an end of it.
pub(crate) fn findings(log: &Log<'_>, session: &Session) -> Vec<Finding> {
    let Some(ends) = Ends::of(log, session).filter(|ends| !ends.are_moved()) else {
        return Vec::new();
    };
    let zone = log.home(&session.wearer);
    let warm = log.warm_up(&session.wearer);
    let at = |time: Micros| clock(time, &zone);
    let (first, last) = session.seen.span.unwrap_or_default();
    let (from, to) = session.seen.run.unwrap_or_default();
    let mut findings = Vec::new();
    if ends.before_insert >= FURTHEST_OUT {
        let text = format!(
            "its readings run on from {}, before its `insert`, with no warm-up after it: the `insert` was noted late; those before it are used for nothing, and it counts as worn for less",
            at(from)
        );
        let todo = format!("log its true `insert`, about {}", at(from - warm));
        findings.push(outside(log, session, ends.before_insert, &text, todo));
    }
    if ends.after_end >= FURTHEST_OUT {
        let text = format!(
            "its readings run on until {}, after its `end`: the `end` was noted early; those after it are used for nothing, and it counts as worn for less",
            at(to)
        );
        let todo = format!("log its true `end`, about {}", at(to));
        let found = outside(log, session, ends.after_end, &text, todo);
        findings.push(of_the_end(found, session));
    }
    if ends.is_silent(ends.silent_first) {
        let text = format!(
            "its first reading is of {}: its `insert` was noted early, or it was started late, or readings are missing; it counts as worn all the while",
            at(first)
        );
        let todo = format!(
            "if it was put on then, log its `insert`, about {}",
            at(first - warm)
        );
        findings.push(silent(log, session, ends.silent_first, &text, todo));
    }
    if ends.is_silent(ends.silent_last) && falls_silent_for_no_reason(log, session, last) {
        let text = format!(
            "its last reading is of {}: its `end` was noted late, or readings are missing; it counts as having stayed on all the while",
            at(last)
        );
        let todo = format!("if it came off then, log its `end`, about {}", at(last));
        let found = silent(log, session, ends.silent_last, &text, todo);
        findings.push(of_the_end(found, session));
    }
    findings
}

/// Neither failed nor ran out.
fn falls_silent_for_no_reason(log: &Log<'_>, session: &Session, last: Micros) -> bool {
    let rated = log.settings.rated_days(&session.wearer, &session.model) * MICROS_PER_DAY as f64;
    let ran_out = last >= session.insert + rated as Micros - RAN_OUT;
    !ran_out && !FELL_SILENT.contains(&session.ending.cause.as_str())
}

/// Readings outside the log.
fn outside(log: &Log<'_>, session: &Session, by: Micros, text: &str, todo: String) -> Finding {
    let made = of_session(log, session, "set-aside", Severity::Doubtful, OF_ALL);
    told(made, by, text, todo)
}

/// None inside it.
fn silent(log: &Log<'_>, session: &Session, by: Micros, text: &str, todo: String) -> Finding {
    let made = of_session(
        log,
        session,
        "session-too-long",
        Severity::Doubtful,
        OF_WEAR,
    );
    told(made, by, text, todo)
}

fn told(made: Finding, by: Micros, text: &str, todo: String) -> Finding {
    Finding {
        size: Some((days_between(0, by) * 100.0).round() / 100.0),
        unit: "days",
        text: format!("sensor `{}` of `{}`: {text}", made.sensor, made.wearer),
        todo,
        ..made
    }
}

/// At the row of the `end`.
fn of_the_end(found: Finding, session: &Session) -> Finding {
    Finding {
        file: session.ending.file.to_string(),
        line: Some(session.ending.line),
        ..found
    }
}
