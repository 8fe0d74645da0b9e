//! Fingersticks whose minutes are lost: nearly all stand at whole hours, or at halves or quarters of one, as of an export that
//! cuts times, or of a diary with the hours of meals; or most at whole or half hours, as of somebody who notes "about 8".

use std::collections::BTreeSet;

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

/// Least fingersticks of a meter one after the other, and share of them at quarters of an hour. By chance one in fifteen stands
/// there, one in three where times are written to five minutes.
const LEAST: usize = 20;
const SHARE: f64 = 0.95;

/// Share of them at whole or half hours: by chance one in thirty, one in six of times written to five minutes, one in three of
/// those written to ten.
const MOST: f64 = 0.6;

/// How many others may stand at quarters of an hour, or so few minutes off, for each that is told: who rounds to quarters, or
/// measures when the hour strikes, loses nothing.
const BESIDE: f64 = 0.2;
const NEAR: i64 = 3;

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

/// The longest run; of the coarsest grid that tells nearly as many.
fn longest_run(checks: &[Check], places: &[usize]) -> Option<Run> {
    let minutes: Vec<i64> = places.iter().map(|place| minute(&checks[*place])).collect();
    let grids = [(60, MOST), (30, MOST), (QUARTER, SHARE)];
    let runs = grids.into_iter();
    runs.filter_map(|(grid, share)| run_of(places, &minutes, grid, share))
        .reduce(|coarser, finer| {
            let is_more = SHARE * finer.places.len() as f64 > coarser.places.len() as f64;
            if is_more { finer } else { coarser }
        })
}

/// The longest run of which a share stands at the times of a grid, or as many minutes past them: a clock may have been put right
/// since.
fn run_of(places: &[usize], minutes: &[i64], grid: i64, share: f64) -> Option<Run> {
    let score = |at: &i64, past: i64| match at.rem_euclid(grid) == past {
        true => 1.0 - share,
        false => -share,
    };
    let at = |past: i64| {
        let scores: Vec<f64> = minutes.iter().map(|at| score(at, past)).collect();
        (past, highest_sum(&scores))
    };
    let (past, (range, _)) = (0..grid)
        .map(at)
        .max_by(|(_, (_, a)), (_, (_, b))| a.total_cmp(b))?;
    let all = places.get(range.clone())?.iter().zip(minutes.get(range)?);
    let (on, others): (Vec<_>, Vec<_>) = all.partition(|(_, at)| at.rem_euclid(grid) == past);
    let is_beside = |at: i64| {
        let off = (at - past).rem_euclid(grid);
        off % QUARTER == 0 || off.min(grid - off) <= NEAR
    };
    let beside = others.iter().filter(|(_, at)| is_beside(**at)).count();
    let is_lost = on.len() >= LEAST && beside as f64 <= BESIDE * on.len() as f64;
    is_lost.then(|| Run {
        grid,
        others: others.len(),
        places: on.into_iter().map(|(place, _)| *place).collect(),
    })
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
    let all = (rows.len() + run.others) as f64;
    let stand = match run.others {
        0 => format!("are all {times}"),
        others if rows.len() as f64 >= SHARE * all => {
            format!("are all {times}, but for {others} between them")
        }
        others => format!("are {times}, which {others} between them are not and stay"),
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
            "{}, {}, {stand}: {meaning}",
            checks_from(first, last, rows.len(), zone),
            meter_words(&first.meter),
        ),
        todo: "export them again with their minutes, or write down each time to the minute from now on".to_owned(),
        ..Finding::new("clock-meter", severity, OF_CLOCKS).of_checks(first, last)
    })
}
