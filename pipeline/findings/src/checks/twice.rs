//! Fingersticks that stand twice, at two times: one meter exported under two clocks.

use std::collections::{BTreeMap, BTreeSet};

use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::{MICROS_PER_SECOND, Micros};

use crate::finding::{Finding, OF_CLOCKS, Severity};
use crate::readings::trace::minutes;
use crate::words::checks_from;

/// Clocks lie no further apart than time zones do.
const APART: Micros = 14 * 3600 * MICROS_PER_SECOND;

/// Least fingersticks that have their like at one distance, how many values these have at least, and the share of all
/// between the first and the last that they and their likes are. Chance gives a few of hundreds the same value at the same
/// distance.
const LEAST: usize = 10;
const VALUES: usize = 5;
pub(crate) const SHARE: f64 = 0.8;

/// Takes fingersticks that stand twice out of a wearer's, which come by time; a finding for each meter that has some.
pub(crate) fn take_out(checks: &mut Vec<Check>, zone: &TimeZone) -> Vec<Finding> {
    let mut by: BTreeMap<(String, Micros), Vec<(usize, usize)>> = BTreeMap::new();
    for (place, check) in checks.iter().enumerate() {
        let later = checks.iter().enumerate().skip(place + 1);
        let later = later.take_while(|(_, other)| other.time - check.time <= APART);
        for (other, _) in later.filter(|(_, other)| {
            other.meter == check.meter && other.glucose == check.glucose && other.time > check.time
        }) {
            let apart = checks[other].time - check.time;
            let of = by.entry((check.meter.to_string(), apart)).or_default();
            of.push((place, other));
        }
    }
    let mut twice = BTreeSet::new();
    let mut findings = Vec::new();
    for ((meter, apart), pairs) in by.iter().filter(|(_, pairs)| pairs.len() >= LEAST) {
        let both: BTreeSet<usize> = pairs.iter().flat_map(|(a, b)| [*a, *b]).collect();
        let (Some(first), Some(last)) = (both.first(), both.last()) else {
            continue;
        };
        let between = &checks[*first..=*last];
        let all = between.iter().filter(|check| check.meter == *meter).count();
        if are_many(both.iter().map(|of| &checks[*of])) && both.len() as f64 >= SHARE * all as f64 {
            let span = (&checks[*first], &checks[*last]);
            findings.push(finding(span, *apart, pairs.len(), zone));
            twice.extend(both);
        }
    }
    leave_out(checks, &twice);
    findings
}

/// Whether fingersticks are so many, of so many values, that no chance repeats what they have in common.
pub(crate) fn are_many<'a>(checks: impl Iterator<Item = &'a Check>) -> bool {
    let values: Vec<u64> = checks.map(|check| check.glucose.to_bits()).collect();
    let different: BTreeSet<&u64> = values.iter().collect();
    values.len() >= LEAST && different.len() >= VALUES
}

/// Fingersticks at some places.
pub(crate) fn rows_at<'a>(
    checks: &[Check],
    places: impl IntoIterator<Item = &'a usize>,
) -> Vec<Check> {
    let row = |place: &usize| checks.get(*place).cloned();
    places.into_iter().filter_map(row).collect()
}

/// Leaves fingersticks out by their places.
pub(crate) fn leave_out(checks: &mut Vec<Check>, places: &BTreeSet<usize>) {
    let mut place = 0..;
    checks.retain(|_| place.next().is_none_or(|place| !places.contains(&place)));
}

fn finding(
    (first, last): (&Check, &Check),
    apart: Micros,
    rows: usize,
    zone: &TimeZone,
) -> Finding {
    let minutes = minutes(apart);
    Finding {
        size: Some(minutes),
        unit: "min",
        text: format!(
            "{} stand twice, the second time {minutes} min later: they seem to be exported under two clocks, and one of the two is compared with readings of another time",
            checks_from(first, last, rows, zone)
        ),
        todo: "look which of the two exports has the wearer's clock, and take the other out of the folder".to_owned(),
        ..Finding::new("clock-meter", Severity::Wrong, OF_CLOCKS).of_checks(first, last)
    }
}
