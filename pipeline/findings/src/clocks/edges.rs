//! The log against the readings: a sensor's first reading comes as long after its `insert`, and its last as long before
//! its `end`, as those of the wearer's other sensors, unless the clock of its readings is off. The log keeps the
//! wearer's time, so it tells shifts of readings, and none of a meter.

use crate::clocks::lag::{REACH, STEP};
use crate::log::Session;
use crate::readings::trace::minutes;

/// Share of first and last readings that come at any time at all: a sensor that starts late, an end that is noticed late.
const ASTRAY: f64 = 0.2;

/// Minutes to the middle of a usual time within which others are as usual.
const USUAL: f64 = 15.0;

/// Most standard deviation of those, minutes, of few less: times spread evenly, as of a log kept to the hour, have 8.7
/// there, and their middle is no usual time. Such a log tells nothing.
const MOST_SPREAD: f64 = 6.5;

/// A time is usual where this share of the wearer's sensors keeps it, and so many: a clock may have been off for most.
const LEAST_SHARE: f64 = 0.1;
const LEAST_SENSORS: usize = 2;

/// Least minutes by which first and last readings vary: logs are kept to some minutes.
const LEAST_SPREAD: f64 = 2.5;

/// Steps either way in which a shift is looked for within four standard errors.
const OFFS: i32 = 100;

/// Spread of the time to the next reading, in spacings: that of a uniform variate.
const OF_SPACING: f64 = 0.29;

/// An end of a sensor's readings against the log.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Edge {
    /// The sensor, a position among those of the wearer.
    pub sensor: usize,
    /// When by the log, minutes since 1970.
    pub time: f64,
    /// Minutes by which the reading comes later than usual.
    late: f64,
    /// Standard deviation of what is usual, minutes.
    spread: f64,
    /// Steps explained so far.
    pub shift: i32,
}

impl Edge {
    /// Log-likelihood of a shift in minutes, beyond what is explained.
    pub fn at(&self, minutes: f64) -> f64 {
        let ratio = (self.rest() - minutes) / self.spread;
        let usual = (-ratio * ratio / 2.0).exp() / (self.spread * std::f64::consts::TAU.sqrt());
        let anywhere = 1.0 / (2.0 * f64::from(REACH) * STEP);
        ((1.0 - ASTRAY) * usual + ASTRAY * anywhere).ln()
    }

    /// Gain of log-likelihood by a shift in minutes.
    pub fn gain(&self, minutes: f64) -> f64 {
        self.at(minutes) - self.at(0.0)
    }

    /// Whether it is of a sensor, or any, and lies between two moments.
    pub fn is_in(&self, sensor: Option<usize>, [from, to]: [Option<f64>; 2]) -> bool {
        sensor.is_none_or(|sensor| sensor == self.sensor)
            && from.is_none_or(|from| self.time > from)
            && to.is_none_or(|to| self.time <= to)
    }

    fn rest(&self) -> f64 {
        self.late - f64::from(self.shift) * STEP
    }
}

/// The edges of a wearer's sensors, by time. The first reading of a sensor comes at its `insert` or after its warm-up, minutes, by
/// what a device shows: so the clock of a telephone that was put back does not bring it to a usual time.
pub(crate) fn edges(sessions: &[&Session], warm_up: f64) -> Vec<Edge> {
    let mut edges = Vec::new();
    for end in [false, true] {
        let due = if end { [0.0; 2] } else { [0.0, warm_up] };
        let known = sessions.iter().enumerate().filter_map(|(sensor, session)| {
            let (logged, read) = match end {
                false => (Some(session.insert), session.seen.first),
                true => (session.end, session.seen.last),
            };
            let (logged, read) = (minutes(logged?), minutes(read?));
            Some((sensor, logged, read - logged, session.seen.spacing))
        });
        edges.extend(of_kind(&known.collect::<Vec<_>>(), due));
    }
    edges.sort_by(|a, b| a.time.total_cmp(&b.time));
    edges
}

/// Edges of one kind: sensor, when by the log, minutes from there to the reading, spacing.
fn of_kind(known: &[(usize, f64, f64, f64)], due: [f64; 2]) -> Vec<Edge> {
    let delays: Vec<f64> = known.iter().map(|one| one.2).collect();
    let Some((middle, spread)) = usual(&delays, due) else {
        return Vec::new();
    };
    let edge = |one: &(usize, f64, f64, f64)| Edge {
        sensor: one.0,
        time: one.1,
        late: one.2 - middle,
        spread: spread.max(OF_SPACING * one.3).max(LEAST_SPREAD),
        shift: 0,
    };
    known.iter().map(edge).collect()
}

/// Middle and standard deviation of the usual one among some times, minutes, that nearest to one when they are due; `None` where there
/// is none.
fn usual(times: &[f64], due: [f64; 2]) -> Option<(f64, f64)> {
    let off = |time: &f64| (time - due[0]).abs().min((time - due[1]).abs());
    let near = |middle: f64| {
        let off = times.iter().map(move |time| time - middle);
        off.filter(|off| off.abs() <= USUAL)
    };
    let least = LEAST_SENSORS.max((LEAST_SHARE * times.len() as f64).ceil() as usize);
    let usual = times.iter().filter(|time| near(**time).count() >= least);
    let usual = usual.min_by(|a, b| off(a).total_cmp(&off(b)))?;
    let count = near(*usual).count() as f64;
    let middle = usual + near(*usual).sum::<f64>() / count;
    let count = near(middle).count() as f64;
    let squares = near(middle).map(|off| off * off).sum::<f64>();
    let spread = (squares / (count - 1.0)).sqrt();
    (spread * (1.0 + 2.0 / count) <= MOST_SPREAD).then_some((middle, spread))
}

/// Mean and standard deviation of a shift in minutes, from what is known of it and what the log says.
pub(crate) fn told((minutes, error): (f64, f64), edges: &[Edge]) -> (f64, f64) {
    if edges.is_empty() {
        return (minutes, error);
    }
    let score = |off: f64| {
        let by_log: f64 = edges.iter().map(|edge| edge.at(minutes + off)).sum();
        by_log - (off / error).powi(2) / 2.0
    };
    let offs = || (-OFFS..=OFFS).map(|step| f64::from(step) * 4.0 * error / f64::from(OFFS));
    let top = offs().map(score).fold(f64::NEG_INFINITY, f64::max);
    let (mut all, mut first, mut second) = (0.0, 0.0, 0.0);
    for off in offs() {
        let share = (score(off) - top).exp();
        (all, first, second) = (all + share, first + share * off, second + share * off * off);
    }
    let mean = first / all;
    (minutes + mean, (second / all - mean * mean).max(0.0).sqrt())
}
