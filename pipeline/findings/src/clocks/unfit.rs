//! Fingersticks that fit the readings under no clock: somebody else's, or with readings of somebody else.

use std::collections::BTreeMap;
use std::f64::consts::SQRT_2;

use whereworn_model::rows::Check;

use crate::clocks::Wearer;
use crate::clocks::causes::Cause;
use crate::clocks::lag::{DELAYS, Profiles, STEP, highest};
use crate::finding::{Finding, OF_PAIRS, Severity};
use crate::readings::trace::{ROBUST, Trace, median, minutes};
use crate::words::checks_from;

/// Least mean log-likelihood of fingersticks once their clock is explained. Those of the same body have -0.2 to -0.75,
/// another's at the likeliest clock -0.95 to -2, a dozen of them at times less.
const LEAST_FIT: f64 = -0.9;

/// Whether the fingersticks that a cause shifts fit the readings then: those that have one then. A sensor whose clock is hours
/// behind has none for those of its first hours, and what they had by the wrong clock says nothing of the right one.
pub(crate) fn fits(profiles: &Profiles, traces: &[&Trace], cause: &Cause) -> bool {
    let mut of_sensor = vec![Vec::new(); profiles.of_sensor.len()];
    for item in cause.items.iter().filter(|item| profiles.tells(**item)) {
        of_sensor[profiles.items[*item].sensor].push(*item);
    }
    let (mut sum, mut count) = (0.0, 0.0);
    for (own, trace) in of_sensor.iter().zip(traces) {
        let (lag, _) = highest(&profiles.sum(own), DELAYS);
        let with_reading = own.iter().filter(|item| {
            let lag = f64::from(lag + profiles.shift[**item]) * STEP;
            trace.at(profiles.items[**item].time + lag).is_some()
        });
        for item in with_reading {
            sum += profiles.at(*item, lag);
            count += 1.0;
        }
    }
    sum >= LEAST_FIT * count
}

/// Robust standard deviation of log(fingerstick) less log(reading) within a sensor and meter that no body's own reach: of 503
/// clean sensors the most was 0.108; those of another have 0.17 to 0.4.
const MOST_SCATTER: f64 = 0.16;

/// The same of one fingerstick less the next, over the root of 2: a sensor that comes to read otherwise, as one that fails or
/// wears in does, scatters about its middle and not from one fingerstick to the next (von Neumann 1941 Ann Math Stat 12:367,
/// from memory). Of 144 own sensors, among them such, the most was 0.116; of those of another four in five have more.
const MOST_FROM_NEXT: f64 = 0.12;

/// Least fingersticks of a sensor whose scatter is believed.
const ENOUGH: usize = 15;

/// Sensors whose fingersticks scatter as those of somebody else do, at any delay and with every clock explained.
pub(crate) fn foreign(profiles: &Profiles, traces: &[&Trace]) -> Vec<bool> {
    let of_sensor = profiles.of_sensor.iter().zip(traces);
    let is_foreign = |(items, trace): (&Vec<usize>, &&Trace)| {
        let at_lags = DELAYS.filter_map(|lag| scatter(profiles, trace, items, lag));
        let least = at_lags.reduce(|a, b| [a[0].min(b[0]), a[1].min(b[1])]);
        least.is_some_and(|[about, from_next]| about > MOST_SCATTER && from_next > MOST_FROM_NEXT)
    };
    of_sensor.map(is_foreign).collect()
}

/// Scatter about the middle of a sensor and meter, and from one fingerstick to the next.
fn scatter(profiles: &Profiles, trace: &Trace, items: &[usize], lag: i32) -> Option<[f64; 2]> {
    let mut of_meter: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    let mut at = Vec::with_capacity(1);
    for place in items {
        let item = &profiles.items[*place];
        let lag = f64::from(lag + profiles.shift[*place]) * STEP;
        trace.around(item.time, &[lag], &mut at);
        if let Some(level) = at.first().filter(|level| !level.is_nan()) {
            let off = item.level - f64::from(*level);
            of_meter.entry(item.meter).or_default().push(off);
        }
    }
    let (mut about, mut from_next) = (Vec::with_capacity(items.len()), Vec::new());
    for own in of_meter.values_mut() {
        let nexts = own.iter().skip(1);
        from_next.extend(own.iter().zip(nexts).map(|(off, next)| (next - off).abs()));
        let middle = median(own)?;
        about.extend(own.iter().map(|off| (off - middle).abs()));
    }
    if about.len() < ENOUGH {
        return None;
    }
    let robust = ROBUST * median(&mut about)?;
    Some([robust, ROBUST * median(&mut from_next)? / SQRT_2])
}

/// The only one of some places; `None` of several.
fn only(mut places: impl Iterator<Item = usize>) -> Option<usize> {
    let first = places.next()?;
    places.all(|place| place == first).then_some(first)
}

/// A finding for each stretch of time over which some items fit under no clock.
pub(crate) fn unfit(
    wearer: &Wearer<'_>,
    profiles: &Profiles,
    mut all: Vec<Vec<usize>>,
) -> Vec<Finding> {
    let mut stretches: Vec<Vec<usize>> = Vec::new();
    all.iter_mut().for_each(|items| items.sort_unstable());
    all.sort_unstable();
    for items in all {
        match stretches.last_mut() {
            Some(known) if known.iter().max().map(|last| last + 1) >= items.first().copied() => {
                known.extend(items);
            }
            _ => stretches.push(items),
        }
    }
    let found = stretches.iter();
    found
        .filter_map(|items| finding(wearer, profiles, items))
        .collect()
}

fn finding(wearer: &Wearer<'_>, profiles: &Profiles, items: &[usize]) -> Option<Finding> {
    let is_one = |check: &&&Check| {
        let at = minutes(check.time);
        items.iter().any(|item| profiles.items[*item].time == at)
    };
    let checks: Vec<&&Check> = wearer.checks.iter().filter(is_one).collect();
    let (first, last) = (checks.first()?, checks.last()?);
    let sensor = only(items.iter().map(|item| profiles.items[*item].sensor))
        .and_then(|sensor| wearer.sessions.get(sensor));
    let meter = only(items.iter().map(|item| profiles.items[*item].meter))
        .and_then(|meter| wearer.meters.get(meter));
    Some(Finding {
        sensor: sensor.map_or(String::new(), |session| session.sensor.clone()),
        meter: meter.map_or(String::new(), |meter| (*meter).to_owned()),
        size: Some(checks.len() as f64),
        unit: "rows",
        text: format!(
            "{} fit the readings under no clock: they seem to be of somebody else, or the readings are; compared with each other they say nothing of how a sensor reads",
            checks_from(first, last, checks.len(), &wearer.zone)
        ),
        todo: "ask whose these fingersticks are, and whose the readings of that time; write the right wearer into their rows".to_owned(),
        ..Finding::new("wrong-wearer", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    })
}
