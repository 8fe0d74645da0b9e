//! Fingersticks of a meter that all have one time: its clock stood still.

use std::collections::{BTreeMap, BTreeSet};

use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::MICROS_PER_MINUTE;

use crate::checks::twice::{are_many, leave_out, rows_at};
use crate::clocks::meter_words;
use crate::finding::{Finding, OF_CLOCKS, Severity};
use crate::words::{clock, count};

/// Takes fingersticks of one minute out of a wearer's where they are more than a finger gives; a finding for each meter and
/// minute, and these fingersticks, which comparisons have to leave out.
pub(crate) fn take_out(checks: &mut Vec<Check>, zone: &TimeZone) -> Vec<(Finding, Vec<Check>)> {
    let mut by: BTreeMap<(String, i64), Vec<usize>> = BTreeMap::new();
    for (place, check) in checks.iter().enumerate() {
        let minute = check.time.div_euclid(MICROS_PER_MINUTE);
        let of = by.entry((check.meter.to_string(), minute)).or_default();
        of.push(place);
    }
    let (mut found, mut taken) = (Vec::new(), BTreeSet::new());
    for places in by.into_values() {
        let rows = rows_at(checks, &places);
        if are_many(rows.iter()) {
            found.extend(finding(&rows, zone).map(|finding| (finding, rows)));
            taken.extend(places);
        }
    }
    leave_out(checks, &taken);
    found
}

fn finding(rows: &[Check], zone: &TimeZone) -> Option<Finding> {
    let (first, last) = (rows.first()?, rows.last()?);
    Some(Finding {
        text: format!(
            "{} of `{}`: {} have one time, {}: its clock stood still, and all but the first are of later; no clock or meter is judged by them, and comparisons leave them out",
            meter_words(&first.meter),
            first.wearer,
            count(rows.len(), "fingerstick"),
            clock(first.time, zone)
        ),
        todo: "set the meter's clock, or change its battery; where their true times are known, write them into the file".to_owned(),
        ..Finding::new("clock-meter", Severity::Wrong, OF_CLOCKS).of_checks(first, last)
    })
}
