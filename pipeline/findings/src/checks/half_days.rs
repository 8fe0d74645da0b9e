//! Fingersticks whose times lost their a.m. and p.m.: what was measured in the afternoon stands in the small hours.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::Micros;

use crate::checks::twice::leave_out;
use crate::finding::{Finding, OF_CLOCKS, Severity};
use crate::readings::trace::{Trace, median, minutes};
use crate::words::checks_from;

/// Minutes of half a day.
const HALF_A_DAY: f64 = 720.0;

/// The last hour of a clock that knows twelve, midnight and noon alike.
const LAST: i8 = 12;

/// Hours in which people sleep, who are awake twelve hours later.
const ASLEEP: Range<i8> = 1..6;

/// Least fingersticks of a meter one after the other without one after [`LAST`], and the share of them in the hours of sleep: a
/// meter by day has half of them later and hardly one then.
const LEAST: usize = 30;
const SHARE: f64 = 0.2;

/// Least of those in the hours of sleep that have readings then and twelve hours later, and how many times as far off they are
/// then: a meter by the bed is off later.
const COMPARED: usize = 10;
const FURTHER_OFF: f64 = 2.0;

/// Takes such fingersticks out of a wearer's, which come by time; a finding for each meter and time.
pub(crate) fn take_out(
    checks: &mut Vec<Check>,
    zone: &TimeZone,
    traces: &[&Trace],
) -> Vec<Finding> {
    let hour = |at: Micros| {
        let at = Timestamp::from_microsecond(at).unwrap_or_default();
        zone.to_datetime(at).hour()
    };
    let mut by: BTreeMap<&str, Vec<(&Check, usize, i8)>> = BTreeMap::new();
    for (place, check) in checks.iter().enumerate() {
        let of_meter = by.entry(check.meter.as_str()).or_default();
        of_meter.push((check, place, hour(check.time)));
    }
    let mut lost = BTreeSet::new();
    let mut findings = Vec::new();
    for own in by.values() {
        for run in own.split(|(_, _, hour)| *hour > LAST) {
            let asleep = run.iter().filter(|(_, _, hour)| ASLEEP.contains(hour));
            let asleep: Vec<&Check> = asleep.map(|(check, ..)| *check).collect();
            if let [(first, ..), .., (last, ..)] = run
                && run.len() >= LEAST
                && asleep.len() as f64 >= SHARE * run.len() as f64
                && are_of_the_afternoon(&asleep, traces)
            {
                findings.push(finding((first, last), [run.len(), asleep.len()], zone));
                lost.extend(run.iter().map(|(_, place, _)| *place));
            }
        }
    }
    leave_out(checks, &lost);
    findings
}

/// Whether fingersticks fit the readings of twelve hours later far better than those of their time.
fn are_of_the_afternoon(checks: &[&Check], traces: &[&Trace]) -> bool {
    let mut levels = Vec::new();
    let mut off = [Vec::new(), Vec::new()];
    for check in checks {
        for trace in traces {
            trace.around(minutes(check.time), &[0.0, HALF_A_DAY], &mut levels);
            if levels.iter().all(|level| level.is_finite()) {
                for (off, level) in off.iter_mut().zip(&levels) {
                    off.push((check.glucose.ln() - f64::from(*level)).abs());
                }
            }
        }
    }
    let [then, later] = off;
    let compared = then.len() >= COMPARED;
    let [then, later] = [then, later].map(|mut off| median(&mut off).unwrap_or(0.0));
    compared && then >= FURTHER_OFF * later
}

fn finding(
    (first, last): (&Check, &Check),
    [rows, asleep]: [usize; 2],
    zone: &TimeZone,
) -> Finding {
    Finding {
        size: Some(-HALF_A_DAY),
        unit: "min",
        text: format!(
            "none of {} is later than 13:00, and {asleep} are between 1:00 and 6:00: their times seem to have lost a.m. and p.m., so that afternoons stand at night",
            checks_from(first, last, rows, zone)
        ),
        todo: "export them with 24 hours, or map their time with a `time_format` that has %p"
            .to_owned(),
        ..Finding::new("clock-meter", Severity::Wrong, OF_CLOCKS).of_checks(first, last)
    }
}
