//! One sensor under two ids, as where a label and a serial number are both in the log: everything it says counts twice.

use crate::finding::{Finding, OF_ALL, Severity};
use crate::log::{Log, Session};
use crate::readings::trace::Trace;
use crate::sessions::of_session;

/// Least readings at common times, and share of them that are equal.
const LEAST: usize = 50;
const SHARE: f64 = 0.9;

/// Smoothed readings so near each other, in logarithms, are equal to the digit, and so are those around them.
const EQUAL: f32 = 1e-5;

/// A finding for each sensor that an earlier one is.
pub(crate) fn findings(log: &Log<'_>, sessions: &[&Session], traces: &[&Trace]) -> Vec<Finding> {
    let start = |sensor: usize| traces[sensor].times.first().copied();
    let mut by_start: Vec<usize> = (0..traces.len())
        .filter(|sensor| start(*sensor).is_some())
        .collect();
    by_start.sort_by(|a, b| start(*a).partial_cmp(&start(*b)).unwrap_or(a.cmp(b)));
    let mut same: Vec<(usize, usize, Common)> = Vec::new();
    for (place, first) in by_start.iter().copied().enumerate() {
        let last = traces[first].times.last().copied();
        let later = by_start.iter().copied().skip(place + 1);
        for second in later.take_while(|second| start(*second) <= last) {
            let common = Common::of(traces[first], traces[second]);
            if common.is_one_sensor() {
                same.push((first.max(second), first.min(second), common));
            }
        }
    }
    same.sort_by_key(|(later, earlier, _)| (*later, *earlier));
    same.dedup_by_key(|(later, _, _)| *later);
    let known = same
        .into_iter()
        .map(|(later, earlier, common)| finding(log, sessions[earlier], sessions[later], &common));
    known.collect()
}

/// Readings of two sensors at common times, and how many of them are equal; those that repeat the one before count for nothing,
/// since any two sensors are equal at a limit.
#[derive(Default)]
struct Common {
    all: usize,
    equal: usize,
}

impl Common {
    fn of(first: &Trace, second: &Trace) -> Self {
        let mut common = Self::default();
        let mut levels = second.times.iter().zip(&second.levels).peekable();
        let mut before = f32::NAN;
        for (time, level) in first.times.iter().zip(&first.levels) {
            let repeats = *level == std::mem::replace(&mut before, *level);
            while levels.next_if(|(other, _)| *other < time).is_some() {}
            let at_once = levels.next_if(|(other, _)| *other == time);
            if let Some((_, other)) = at_once.filter(|_| !repeats) {
                common.all += 1;
                common.equal += usize::from((level - other).abs() <= EQUAL);
            }
        }
        common
    }

    fn is_one_sensor(&self) -> bool {
        self.all >= LEAST && self.equal as f64 >= SHARE * self.all as f64
    }
}

fn finding(log: &Log<'_>, earlier: &Session, later: &Session, common: &Common) -> Finding {
    Finding {
        size: Some(common.equal as f64),
        unit: "rows",
        text: format!(
            "sensors `{}` and `{}` of `{}`: {} of {} readings at common times are equal, which no two sensors are: two ids, one sensor; what it says would count twice, so comparisons leave `{}` out",
            earlier.sensor, later.sensor, later.wearer, common.equal, common.all, later.sensor
        ),
        todo: "give both one id, in the log (with one `insert` and one `end`) and in the readings"
            .to_owned(),
        leaves_out: true,
        ..of_session(log, later, "sensor-reused", Severity::Wrong, OF_ALL)
    }
}
