//! A meter that somebody else uses too: two fingersticks within minutes that no one body has.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use whereworn_model::rows::Check;
use whereworn_model::time::{MICROS_PER_MINUTE, Micros};

use crate::checks::days_off::Worn;
use crate::checks::twice::{leave_out, rows_at};
use crate::clocks::meter_words;
use crate::finding::{Finding, OF_PAIRS, Severity};

/// Fingersticks so near in time differ by so much at most, in logarithms: glucose moves by 4 mg/dL a minute where it moves fast,
/// and meters scatter by 5 %.
const NEAR: Micros = 6 * MICROS_PER_MINUTE;
const FAR: f64 = 0.3;

/// Least pairs that differ by more, and least share of all so near in time: a slip now and then is no other body.
const LEAST: usize = 12;
const SHARE: f64 = 0.25;

/// Glucose of a body without diabetes, mg/dL, and how many of the fingersticks taken for another's lie there: the first of two
/// with something sweet on the finger is high. Common practice, no source.
const WITHOUT_DIABETES: RangeInclusive<f64> = 60.0..=145.0;
const MOST: f64 = 0.8;

/// Takes what seems to be somebody else's out of a wearer's fingersticks, which come by time; a finding for each meter, and these.
pub(crate) fn take_out(checks: &mut Vec<Check>, worn: &Worn<'_>) -> Vec<(Finding, Vec<Check>)> {
    let mut by: BTreeMap<&str, Vec<(usize, &Check)>> = BTreeMap::new();
    // Who doubts a reading measures again.
    let own = |check: &Check| check.purpose.as_str() == "routine";
    for (place, check) in checks.iter().enumerate().filter(|(_, check)| own(check)) {
        by.entry(check.meter.as_str())
            .or_default()
            .push((place, check));
    }
    let (mut found, mut taken) = (Vec::new(), BTreeSet::new());
    for all in by.values() {
        let near = all.windows(2).filter_map(|two| match two {
            [a, b] if b.1.time - a.1.time <= NEAR => Some((a, b)),
            _ => None,
        });
        let near: Vec<_> = near.collect();
        let apart = near
            .iter()
            .filter(|(a, b)| (a.1.glucose / b.1.glucose).ln().abs() > FAR);
        let apart: Vec<_> = apart.collect();
        if apart.len() < LEAST || (apart.len() as f64) < SHARE * near.len() as f64 {
            continue;
        }
        let others = apart.iter().filter_map(|(a, b)| further(a, b, worn));
        let others: BTreeSet<usize> = others.collect();
        let rows = rows_at(checks, &others);
        let usual = rows
            .iter()
            .filter(|check| WITHOUT_DIABETES.contains(&check.glucose));
        if rows.len() < LEAST || (usual.count() as f64) < MOST * rows.len() as f64 {
            continue;
        }
        found.extend(finding(&rows, apart.len()).map(|finding| (finding, rows)));
        taken.extend(others);
    }
    leave_out(checks, &taken);
    found
}

/// The place of the one of two that is further from the reading.
fn further(a: &(usize, &Check), b: &(usize, &Check), worn: &Worn<'_>) -> Option<usize> {
    let off = |check: &Check| Some((check.glucose.ln() - worn.reading_at(check.time)?).abs());
    Some(if off(a.1)? > off(b.1)? { a.0 } else { b.0 })
}

fn finding(rows: &[Check], pairs: usize) -> Option<Finding> {
    let (first, last) = (rows.first()?, rows.last()?);
    Some(Finding {
        size: Some(rows.len() as f64),
        unit: "rows",
        text: format!(
            "{} of `{}`: {pairs} times two fingersticks within 6 min differ by a third and more, which no body does, and the one further from the reading is nearly always what a body without diabetes has: somebody else seems to use it too, or the first was measured badly (something sweet or wet on the finger); comparisons leave out the one further from the reading",
            meter_words(&first.meter),
            first.wearer
        ),
        todo: "ask who uses the meter, and take what is somebody else's, or was measured badly, out of the file".to_owned(),
        leaves_out: false,
        ..Finding::new("wrong-wearer", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    })
}
