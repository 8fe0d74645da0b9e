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
const LEAST: usize = 10;

/// Least days with readings that then have no fingerstick of the meter.
const WITHOUT: Micros = 7 * MICROS_PER_DAY;

/// By so much a last fingerstick may be later than what else the study has.
const LATER: Micros = 2 * MICROS_PER_DAY;

/// A finding for each row of fingersticks whose meter had lost its date.
pub(crate) fn findings(checks: &[Check], worn: &Worn<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for places in by_meter(checks) {
        let all: Vec<&Check> = places
            .iter()
            .filter_map(|place| checks.get(*place))
            .collect();
        for of_file in all.chunk_by(|a, b| a.file == b.file) {
            let mut rows = of_file.to_vec();
            if is_newest_first(&rows) {
                rows.reverse();
            }
            let blocks: Vec<&[&Check]> = rows
                .chunk_by(|a, b| (b.time - a.time).abs() < BACK)
                .collect();
            let with_before = blocks.iter().zip(blocks.iter().skip(1));
            findings.extend(
                with_before.filter_map(|(before, block)| lost(block, before.last()?, &all, worn)),
            );
        }
    }
    findings
}

/// Whether most rows are older than those before them.
fn is_newest_first(rows: &[&Check]) -> bool {
    let older = rows.windows(2).filter(|two| two[1].time < two[0].time);
    2 * older.count() > rows.len()
}

/// Rows that follow on one from much later, where the meter has none of the time after that one.
fn lost(block: &[&Check], before: &Check, all: &[&Check], worn: &Worn<'_>) -> Option<Finding> {
    let (first, last) = (block.first()?, block.last()?);
    if block.len() < LEAST || before.time - last.time < BACK {
        return None;
    }
    let later = all
        .iter()
        .map(|check| check.time)
        .filter(|at| *at > before.time);
    let until = later.min().unwrap_or(worn.cutoff);
    let has_room = last.time - first.time <= until - before.time + LATER;
    let read = worn.days_read(before.time, until);
    let fits_none = block
        .iter()
        .all(|check| worn.reading_at(check.time).is_none());
    let found = || finding(first, last, block.len(), before, worn.zone);
    (has_room && read >= WITHOUT && fits_none).then(found)
}

fn finding(first: &Check, last: &Check, rows: usize, before: &Check, zone: &TimeZone) -> Finding {
    Finding {
        text: format!(
            "{} stand in their file next to those of {}, and the meter has none of the time after that: it seems to have lost its date then; they make no pairs",
            checks_from(first, last, rows, zone),
            day(before.time, zone)
        ),
        todo: "set the meter's date; where it is known how far these are off, write their true times into the file".to_owned(),
        ..Finding::new("clock-meter", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    }
}
