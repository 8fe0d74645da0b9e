//! How long the next sensor will be of use.

use crate::interval::Interval;

/// Fewest sensors that foretell anything.
pub const FEWEST: usize = 3;

/// Of a chance of 1 / (r + 1), that the next of r + 1 sensors ends before all of r that outlasted the horizon, this part is taken
/// to lie before the horizon.
const BEFORE_THE_HORIZON: f64 = 0.5;

/// Foretold days of the next sensor, the horizon at most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextDays {
    /// Sensors that it rests on.
    pub sensors: usize,
    /// 95 % prediction interval; its upper end is the horizon where the next may well reach it.
    pub prediction: Interval,
    /// As likely more as less.
    pub median: f64,
    /// Chance that it reaches the horizon.
    pub reaches: f64,
}

/// The next sensor's days up to any ending, from days worn and whether they ended there (`false`: censored), up to
/// `horizon`; `None` below [`FEWEST`] sensors.
///
/// The next one is as likely to fall into any gap between those that have been: its chance to outlast an ending is r / (r + 1) of what
/// it was before, r those still worn just before it (tied endings see r, r - 1, …); within a gap it is spread evenly. Of the last
/// chance, past all endings, half lies before the horizon where r > 0 sensors reached it: 1 / (2 (r + 1)); where none did, all of
/// it does, evenly. The interval, though, goes on to the horizon while more than 2.5 % lie past all endings: nothing seen keeps the next
/// from reaching it. Source, from memory: Hill 1968 J Am Stat Assoc 63:677 and, with censoring, Berliner and Hill 1988 J Am Stat Assoc 83:772; the
/// even spread and the half are ours. No form of the law of endings is taken for granted, so few sensors leave the lower end low.
/// Coverage by `cargo xtask calibrate next`. Checked by `tests/prediction.rs`.
#[must_use]
pub fn next_days(days: &[f64], ended: &[bool], horizon: f64) -> Option<NextDays> {
    if days.len() < FEWEST {
        return None;
    }
    let mut lives: Vec<(f64, bool)> = days
        .iter()
        .zip(ended)
        .map(|(&day, &ended)| (day.min(horizon), ended && day < horizon))
        .collect();
    // Of a tie the endings come first.
    lives.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
    let mut left = 1.0;
    let mut course = vec![(0.0, 0.0)];
    for (place, (day, ended)) in lives.iter().enumerate() {
        if *ended {
            let at_risk = (lives.len() - place) as f64;
            left *= at_risk / (at_risk + 1.0);
            course.push((*day, 1.0 - left));
        }
    }
    let outlasted = lives.iter().filter(|(day, _)| *day >= horizon).count() as f64;
    let reaches = if outlasted > 0.0 {
        left * (1.0 - BEFORE_THE_HORIZON / (outlasted + 1.0))
    } else {
        0.0
    };
    course.push((horizon, 1.0 - reaches));
    Some(NextDays {
        sensors: lives.len(),
        prediction: Interval {
            lower: day_of(&course, 0.025),
            upper: if left > 0.025 {
                horizon
            } else {
                day_of(&course, 0.975)
            },
        },
        median: day_of(&course, 0.5),
        reaches,
    })
}

/// The day by which a chance has been reached along a course of days and chances; the last day where it is not.
fn day_of(course: &[(f64, f64)], chance: f64) -> f64 {
    let mut before = (0.0, 0.0);
    for &(day, reached) in course {
        if reached >= chance && reached > before.1 {
            return before.0 + (day - before.0) * (chance - before.1) / (reached - before.1);
        }
        before = (day, reached);
    }
    before.0
}
