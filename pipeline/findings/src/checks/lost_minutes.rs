//! Fingersticks whose minutes are lost: nearly all stand at whole hours, or at halves or quarters of one, as of an export that
//! cuts times, or of a diary with the hours of meals.

use std::collections::BTreeSet;
use std::ops::Range;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::MICROS_PER_MINUTE;

use crate::checks::days_off::{by_meter, highest_sum};
use crate::checks::twice::{leave_out, rows_at};
use crate::clocks::meter_words;
use crate::finding::{Finding, OF_CLOCKS, Severity};
use crate::words::checks_from;

/// Minutes between the times that are left. Zones differ by quarters of an hour: what stands at quarters by one clock does by all.
const QUARTER: i64 = 15;
const COARSER: [i64; 2] = [60, 30];

/// Least fingersticks of a meter one after the other, and share of them. By chance one in fifteen stands at a quarter of an hour,
/// one in three where times are written to five minutes.
const LEAST: usize = 20;
const SHARE: f64 = 0.95;

/// Fingersticks of one meter, one after the other, without their minutes.
struct Run {
    /// Minutes between the times that are left.
    grid: i64,
    /// Places of those that stand there.
    places: Vec<usize>,
    /// How many between them do not.
    others: usize,
}

/// Takes those that are off by more than a quarter of an hour out of a wearer's fingersticks; a finding for each row of
/// them, and these fingersticks, which comparisons have to leave out. Quarters of an hour stay.
pub(crate) fn take_out(checks: &mut Vec<Check>, zone: &TimeZone) -> Vec<(Finding, Vec<Check>)> {
    let mut found = Vec::new();
    let mut taken = BTreeSet::new();
    for mut left in by_meter(checks) {
        while let Some(run) = longest_run(checks, &left) {
            left.retain(|place| !run.places.contains(place));
            let mut rows = rows_at(checks, &run.places);
            rows.sort_by_key(|check| check.time);
            let told = finding(&run, &rows, zone);
            if run.grid == QUARTER {
                rows.clear();
            } else {
                taken.extend(run.places);
            }
            found.extend(told.map(|told| (told, rows)));
        }
    }
    leave_out(checks, &taken);
    found
}

fn minute(check: &Check) -> i64 {
    check.time.div_euclid(MICROS_PER_MINUTE)
}

/// The longest run at quarters of an hour, or at as many minutes past them: a clock may have been put right since.
fn longest_run(checks: &[Check], places: &[usize]) -> Option<Run> {
    let minutes: Vec<i64> = places.iter().map(|place| minute(&checks[*place])).collect();
    let runs = (0..QUARTER).map(|past| run_at(&minutes, QUARTER, past));
    let (range, _) = runs.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let (places, minutes) = (places.get(range.clone())?, minutes.get(range)?);
    let coarser = COARSER.into_iter().find_map(|grid| {
        let past = most_frequent(minutes, grid)?;
        let on = minutes.iter().filter(|at| at.rem_euclid(grid) == past);
        (on.count() as f64 >= SHARE * minutes.len() as f64).then_some((grid, past))
    });
    let (grid, past) = coarser.or(Some((QUARTER, most_frequent(minutes, QUARTER)?)))?;
    let (range, _) = run_at(minutes, grid, past);
    let all = places.get(range.clone())?.iter().zip(minutes.get(range)?);
    let (on, others): (Vec<_>, Vec<_>) = all.partition(|(_, at)| at.rem_euclid(grid) == past);
    (on.len() >= LEAST).then(|| Run {
        grid,
        others: others.len(),
        places: on.into_iter().map(|(place, _)| *place).collect(),
    })
}

/// The run that stands at so many minutes past those of a grid, but for a few; the higher, the longer.
fn run_at(minutes: &[i64], grid: i64, past: i64) -> (Range<usize>, f64) {
    let score = |at: &i64| match at.rem_euclid(grid) == past {
        true => 1.0 - SHARE,
        false => -SHARE,
    };
    highest_sum(&minutes.iter().map(score).collect::<Vec<f64>>())
}

/// By how many minutes most of some times are past those of a grid.
fn most_frequent(minutes: &[i64], grid: i64) -> Option<i64> {
    let past = |minute: &i64| minute.rem_euclid(grid);
    (0..grid).max_by_key(|of| minutes.iter().filter(|minute| past(minute) == *of).count())
}

fn finding(run: &Run, rows: &[Check], zone: &TimeZone) -> Option<Finding> {
    let (first, last) = (rows.first()?, rows.last()?);
    let local = zone.to_datetime(Timestamp::from_microsecond(first.time).ok()?);
    let times = match run.grid {
        60 => "whole hours",
        30 => "whole and half hours",
        _ => "quarters of an hour",
    };
    let times = match i64::from(local.minute()).rem_euclid(run.grid) {
        0 => format!("at {times}"),
        past => format!("{past} min past {times}"),
    };
    let but = match run.others {
        0 => String::new(),
        others => format!(", but for {others} between them"),
    };
    let (severity, meaning) = match run.grid {
        QUARTER => (
            Severity::Thin,
            "rounded to the nearest they are up to 8 min off, which does no harm; cut down they are up to a quarter of an hour late, which comparisons and delays do not know".to_owned(),
        ),
        grid => (
            Severity::Doubtful,
            format!("their minutes are lost, and a fingerstick up to {grid} min off stands beside the reading of another time; no clock or meter is judged by them, and comparisons leave them out"),
        ),
    };
    Some(Finding {
        text: format!(
            "{}, {}, are all {times}{but}: {meaning}",
            checks_from(first, last, rows.len(), zone),
            meter_words(&first.meter),
        ),
        todo: "export them again with their minutes, or write down each time to the minute from now on".to_owned(),
        ..Finding::new("clock-meter", severity, OF_CLOCKS).of_checks(first, last)
    })
}
