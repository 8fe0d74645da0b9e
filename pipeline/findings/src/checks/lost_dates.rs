//! Fingersticks of a meter that lost its date: in their file they follow on those of today, with dates of years before.

use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::{MICROS_PER_DAY, Micros};

use crate::checks::days_off::{Worn, by_meter};
use crate::finding::{Finding, OF_PAIRS, Severity};
use crate::words::{checks_from, day};

/// By how much a date falls back at least where it was lost, and least fingersticks after that. The history of an old meter that
/// is put behind that of a new one is as old; but then the new one goes on.
const BACK: Micros = 180 * MICROS_PER_DAY;
const LEAST: usize = 5;

/// Least days with readings that then have no fingerstick of the meter.
const WITHOUT: Micros = 5 * MICROS_PER_DAY;

/// By so much a last fingerstick may be later than what else the study has.
const LATER: Micros = 3 * MICROS_PER_DAY;

/// A finding for each row of fingersticks whose meter had lost its date.
pub(crate) fn findings(checks: &[Check], worn: &Worn<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for places in by_meter(checks) {
        let mut rows: Vec<&Check> = places
            .iter()
            .filter_map(|place| checks.get(*place))
            .collect();
        if is_newest_first(&rows) {
            rows.reverse();
        }
        let mut blocks = rows
            .chunk_by(|a, b| a.file == b.file && (b.time - a.time).abs() < BACK)
            .peekable();
        let mut before: Option<&Check> = None;
        while let Some(block) = blocks.next() {
            let after = blocks.peek().and_then(|block| block.first()).copied();
            findings.extend(before.and_then(|before| lost(block, (before, after), worn)));
            before = block.last().copied();
        }
    }
    findings
}

/// Whether most rows are older than those before them.
fn is_newest_first(rows: &[&Check]) -> bool {
    let older = rows.windows(2).filter(|two| two[1].time < two[0].time);
    2 * older.count() > rows.len()
}

fn lost(
    block: &[&Check],
    (before, after): (&Check, Option<&Check>),
    worn: &Worn<'_>,
) -> Option<Finding> {
    let (first, last) = (block.first()?, block.last()?);
    let same_file = |other: &Check| other.file == first.file;
    if !same_file(before) || block.len() < LEAST || before.time - last.time < BACK {
        return None;
    }
    // Until the meter has its date again it has no fingerstick of its own time.
    let after = after.filter(|after| same_file(after));
    if after.is_some_and(|after| after.time <= before.time) {
        return None;
    }
    let until = after.map_or(worn.cutoff, |after| after.time);
    let has_room = last.time - first.time <= until - before.time + LATER;
    let read = worn.days_read(before.time, until);
    let fits_none = block
        .iter()
        .all(|check| worn.reading_at(check.time).is_none());
    (has_room && read >= WITHOUT && fits_none)
        .then(|| finding(first, last, block.len(), before, worn.zone))
}

fn finding(first: &Check, last: &Check, rows: usize, before: &Check, zone: &TimeZone) -> Finding {
    Finding {
        text: format!(
            "{} stand in their file behind those of {}, and the meter has none of the time after that: it seems to have lost its date then; they make no pairs",
            checks_from(first, last, rows, zone),
            day(before.time, zone)
        ),
        todo: "set the meter's date; where it is known how far these are off, correct them by `clock_minutes`, or write their true times".to_owned(),
        ..Finding::new("clock-meter", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    }
}
