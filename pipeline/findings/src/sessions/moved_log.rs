//! A sensor whose `insert` and `end` both lie some days before its readings, or after them, those of other sensors with them:
//! the log was written a day late or early, or the dates of its readings are off.

use whereworn_model::rows::{Check, Reading};
use whereworn_model::time::{MICROS_PER_DAY, Micros};

use crate::checks::extremes::shown;
use crate::finding::{Finding, OF_ALL, Severity};
use crate::log::{HOUR, Log, Session};
use crate::readings::trace::middle_and_scatter;
use crate::sessions::of_session;
use crate::words::{clock, count};

/// So far from whole days an end of the readings may lie: first readings come after a warm-up, and ends are logged late.
const GIVE_OR_TAKE: Micros = 4 * HOUR;

/// Most days that a log is off; one that is off by more is told as worn for too long.
const MOST_DAYS: i64 = 2;

/// Sensors of the wearer that begin and end with their log, of each that does not, and at least.
const OTHERS: usize = 2;

/// Least fingersticks that tell which is off, most that they scatter about the readings where these have the right date, in
/// logarithms, and how many times as much they have to where the dates were off.
const LEAST: usize = 10;
const MOST_SCATTER: f64 = 0.16;
const BESIDE: f64 = 1.6;

/// How a sensor's readings lie to its log.
#[derive(Clone, Debug)]
pub(crate) struct Moved {
    /// Days by which the log is ahead of the readings, at both ends.
    days: i64,
    /// First and last reading.
    span: (Micros, Micros),
    /// Fingersticks that fit the readings as they stand and not so many days later; none where they do not tell.
    fitting: usize,
}

impl Moved {
    /// Of a sensor with an `end`, its readings and its wearer's fingersticks by time; `None` where both ends are not as far off.
    pub fn of(session: &Session, readings: &[Reading], checks: &[Check]) -> Option<Self> {
        let span = (readings.first()?.time, readings.last()?.time);
        let ahead = [session.insert - span.0, session.end? - span.1];
        let days = (ahead[0] + ahead[1]).div_euclid(2) + MICROS_PER_DAY / 2;
        let days = days.div_euclid(MICROS_PER_DAY);
        let is_off = |ahead: Micros| (ahead - days * MICROS_PER_DAY).abs() <= GIVE_OR_TAKE;
        let is_one = days.abs() <= MOST_DAYS && ahead.into_iter().all(is_off);
        let fitting = || {
            let own = scatter(checks, readings)?;
            let late = readings.iter().map(|reading| Reading {
                time: reading.time + days * MICROS_PER_DAY,
                ..*reading
            });
            let other = scatter(checks, &late.collect::<Vec<_>>())?;
            let fits = own.1 <= MOST_SCATTER && other.1 >= BESIDE * own.1;
            fits.then_some(own.0)
        };
        is_one.then(|| Self {
            days,
            span,
            fitting: if days == 0 { 0 } else { fitting().unwrap_or(0) },
        })
    }
}

/// How many fingersticks have a reading, and their robust standard deviation about them.
fn scatter(checks: &[Check], readings: &[Reading]) -> Option<(usize, f64)> {
    let apart = shown(checks, readings).map(|(check, shown)| (check.glucose / shown.glucose).ln());
    let mut apart: Vec<f64> = apart.collect();
    let (_, scatter) = middle_and_scatter(&mut apart).filter(|_| apart.len() >= LEAST)?;
    Some((apart.len(), scatter))
}

/// A finding for each sensor whose log is off at both ends while those of the wearer's others are not.
pub(crate) fn findings(log: &Log<'_>, sessions: &[Session]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for own in sessions.chunk_by(|a, b| a.wearer == b.wearer) {
        let known = own
            .iter()
            .filter_map(|one| Some((one, one.seen.moved.as_ref()?)));
        let (right, off): (Vec<_>, Vec<_>) = known.partition(|(_, moved)| moved.days == 0);
        if right.len() >= OTHERS * off.len().max(1) {
            findings.extend(
                off.iter()
                    .map(|(session, moved)| finding(log, session, moved)),
            );
        }
    }
    findings
}

fn finding(log: &Log<'_>, session: &Session, moved: &Moved) -> Finding {
    let (first, last) = moved.span;
    let zone = log.home(&session.wearer);
    let warm = log.warm_up(&session.wearer);
    let days = count(moved.days.unsigned_abs() as usize, "day");
    let (before, late) = match moved.days > 0 {
        true => ("before", "late"),
        false => ("after", "early"),
    };
    let (severity, why) = match moved.fitting {
        0 => (
            Severity::Doubtful,
            format!("both rows were noted {days} {late}, or the dates of its readings are off"),
        ),
        fitting => (
            Severity::Wrong,
            format!(
                "both rows were noted {days} {late}, for {fitting} fingersticks fit its readings as they stand"
            ),
        ),
    };
    Finding {
        size: Some(moved.days as f64),
        unit: "days",
        text: format!(
            "sensor `{}` of `{}`: its readings begin and end {days} {before} its `insert` and its `end`, those of other sensors with theirs: {why}; its readings outside the log are used for nothing",
            session.sensor, session.wearer
        ),
        todo: format!(
            "look at the dates of both rows; if they are wrong, log its true `insert`, about {}, and its true `end`, about {}",
            clock(first - warm, &zone),
            clock(last, &zone)
        ),
        ..of_session(log, session, "set-aside", severity, OF_ALL)
    }
}
