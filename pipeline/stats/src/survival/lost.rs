//! What subjects lost track of could change.

use super::incidence::cumulative_incidence;
use crate::comparison::at_most;
use crate::interval::Interval;

/// The incidence of cause 0 by `time`, at the two extremes of what became of the subjects that were lost.
///
/// Upper: each of them had the event when it was last seen; lower: none ever had it (they stay under watch for good).
/// `causes` as for [`cumulative_incidence`], `lost[i]` is true where subject i,
/// censored, dropped out of sight. These are bounds of the estimate, not a confidence interval. `None` without subjects.
/// Source: the worst-case bounds of Manski 1990 Am Econ Rev 80:319 (from memory) for an outcome that is missing. Checked by
/// `tests/lost.rs`.
#[must_use]
pub fn lost_bounds(
    times: &[f64],
    causes: &[Option<usize>],
    lost: &[bool],
    time: f64,
) -> Option<Interval> {
    let missing = |subject: usize| lost[subject] && causes[subject].is_none();
    let incidence = |times: &[f64], causes: &[Option<usize>]| {
        let count = causes.iter().flatten().max().map_or(1, |&cause| cause + 1);
        let curve = cumulative_incidence(times, causes, count).swap_remove(0);
        let known = curve.partition_point(|point| at_most(point.time, time));
        known
            .checked_sub(1)
            .map_or(0.0, |last| curve[last].incidence)
    };
    let subjects = 0..times.len();
    let kept: Vec<f64> = subjects
        .clone()
        .map(|subject| {
            if missing(subject) {
                f64::MAX
            } else {
                times[subject]
            }
        })
        .collect();
    let came_off: Vec<Option<usize>> = subjects
        .map(|subject| {
            if missing(subject) {
                Some(0)
            } else {
                causes[subject]
            }
        })
        .collect();
    (!times.is_empty()).then(|| Interval {
        lower: incidence(&kept, causes),
        upper: incidence(times, &came_off),
    })
}
