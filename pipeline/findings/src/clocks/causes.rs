//! What shifts of clocks explain the lags of a wearer's sensors: the fewest, the weightiest first.
//!
//! A cause shifts the lag of some fingersticks: all of a sensor, a sensor's from a moment on, all of a meter, a meter's
//! or everybody's over a stretch of time. Each is weighed by the gain of log-likelihood over delays of 0 to 20 min
//! alone; the best that is worth its price is taken, and the rest is looked at again with it explained. So one
//! meter's clock is one cause, not one for each sensor.

use std::collections::BTreeSet;

use crate::clocks::edges::{Edge, told};
use crate::clocks::lag::{DELAYS, Item, Profiles, STEP, highest, moments, value};
use crate::clocks::sensor_shifts::{sensor_break, sensor_jump, whole_sensor};
use crate::clocks::shared_breaks::shared_break;
use crate::clocks::stretches::{Search, stretch, whole_meter};
use crate::clocks::worn_at_once::Pair;
use crate::readings::trace::Trace;

/// Mean delay of sensors behind the blood, minutes, and how much sensors differ: what several sensors together are
/// held to. Published means lie between 5 and 15 min (Basu et al. 2013 Diabetes 62:4083 and later work on devices).
pub(crate) const USUAL_DELAY: (f64, f64) = (9.0, 5.0);

/// Days on each side of a jump, and checks there.
pub(crate) const SIDE_DAYS: f64 = 4.5;

/// Least checks of a sensor whose clock is judged.
pub(crate) const LEAST_CHECKS: usize = 6;

/// Least minutes claimed of a jump or between meters; fifteen and more is what shall be found.
pub(crate) const LEAST_JUMP: f64 = 11.5;

/// Log-likelihood by which the log has to say whose clock it is.
const WHOSE: f64 = 3.0;

/// Whose lag is shifted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scope {
    /// One sensor's.
    Sensor(usize),
    /// That of fingersticks by one meter.
    Meter(usize),
    /// Everybody's.
    All,
}

impl Scope {
    /// Whether it is about a fingerstick.
    pub fn has_item(self, item: &Item) -> bool {
        match self {
            Self::Sensor(sensor) => item.sensor == sensor,
            Self::Meter(meter) => item.meter == meter,
            Self::All => true,
        }
    }

    /// Whether the log tells of it by this edge: of no meter.
    pub fn has(self, edge: &Edge) -> bool {
        match self {
            Self::Sensor(sensor) => edge.sensor == sensor,
            Self::Meter(_) => false,
            Self::All => true,
        }
    }
}

/// One shift.
#[derive(Clone, Debug)]
pub(crate) struct Cause {
    pub scope: Scope,
    /// Items shifted.
    pub items: Vec<usize>,
    /// Whether these are all of the scope.
    pub whole: bool,
    /// Minutes by which the lag of these is longer than a delay; for a jump, than before it.
    pub minutes: f64,
    /// Standard error of `minutes`.
    pub error: f64,
    /// Lag of a sensor as a whole, minutes.
    pub lag: Option<f64>,
    /// Gain of log-likelihood less its price.
    pub net: f64,
    /// Time of the last item before a shift that begins within the data, and of the last item shifted.
    pub begins: Option<f64>,
    /// The same of its end.
    pub ends: Option<f64>,
    /// The same in steps of the grid, as the profiles keep it.
    pub steps: i32,
    /// Whether the times of the readings show when it begins or ends.
    pub shown: bool,
    /// Gain of log-likelihood by the log, which tells of the clocks of readings alone.
    pub by_log: f64,
    /// What the log says of its size.
    pub edges: Vec<Edge>,
}

impl Cause {
    /// Whether it is the clock of readings, by their times or by the log.
    pub fn is_of_readings(&self) -> bool {
        self.shown || self.by_log >= WHOSE
    }

    /// Whether it begins or ends within some minutes of a moment.
    pub fn is_within(&self, most: f64, moment: f64) -> bool {
        let around = [self.begins, self.ends];
        around
            .iter()
            .flatten()
            .any(|at| (at - moment).abs() <= most)
    }

    /// With what the log says of its size.
    fn with_log(mut self, profiles: &Profiles) -> Self {
        if self.shown {
            return self;
        }
        let own = profiles.edges.iter().filter(|edge| self.scope.has(edge));
        let own = own.filter(|edge| edge.is_in(None, [self.begins, self.ends]));
        self.edges = own.copied().collect();
        if self.lag.is_none() {
            (self.minutes, self.error) = told((self.minutes, self.error), &self.edges);
        }
        self
    }
}

/// Least sensors, and share of all, that are shifted besides where shared shifts may lie half-way between two clocks.
const BETWEEN: (usize, f64) = (3, 0.5);

/// All causes worth their price, in the order in which they were taken; `profiles` keep them as explained. Where some sensors
/// are of one clock and as many of another, a shift of all, or of each meter, lies between the two and every sensor is off the other way:
/// so where most are shifted besides, the causes are those of single sensors if these explain as much for less.
pub(crate) fn causes(
    profiles: &mut Profiles,
    traces: &[&Trace],
    pairs: &[Pair],
    meters: usize,
) -> Vec<Cause> {
    let before = profiles.explained();
    let plain = weightiest(profiles, traces, pairs, (meters, true));
    if !may_lie_between(profiles, &plain) {
        return plain;
    }
    let with_all = profiles.explained();
    profiles.put_explained(before);
    let apart = weightiest(profiles, traces, pairs, (meters, false));
    let net = |causes: &[Cause]| causes.iter().map(|cause| cause.net).sum::<f64>();
    if net(&apart) > net(&plain) {
        return apart;
    }
    profiles.put_explained(with_all);
    plain
}

fn may_lie_between(profiles: &Profiles, causes: &[Cause]) -> bool {
    let shared = causes
        .iter()
        .filter(|cause| !matches!(cause.scope, Scope::Sensor(_)));
    let shared: usize = shared.map(|cause| cause.items.len()).sum();
    let sensors: BTreeSet<usize> = causes
        .iter()
        .filter_map(|cause| match cause.scope {
            Scope::Sensor(sensor) => Some(sensor),
            _ => None,
        })
        .collect();
    let (least, share) = BETWEEN;
    let enough =
        sensors.len() >= least && sensors.len() as f64 >= share * profiles.of_sensor.len() as f64;
    enough && 2 * shared > profiles.items.len()
}

/// Causes one after the other, each the weightiest of what is left; shifts of a meter or of everybody where they may be `shared`.
fn weightiest(
    profiles: &mut Profiles,
    traces: &[&Trace],
    pairs: &[Pair],
    (meters, shared): (usize, bool),
) -> Vec<Cause> {
    // Steps by which each sensor as a whole was found to be shifted.
    let mut wholes = vec![0; profiles.of_sensor.len()];
    let mut taken: Vec<Cause> = Vec::new();
    for _ in 0..4 + 2 * profiles.of_sensor.len() {
        let Some(best) = best(profiles, traces, (pairs, &wholes), (meters, shared)) else {
            break;
        };
        let best = best.with_log(profiles);
        for item in &best.items {
            profiles.shift[*item] += best.steps;
        }
        for edge in &mut profiles.edges {
            if best.scope.has(edge) && edge.is_in(None, [best.begins, best.ends]) {
                edge.shift += best.steps;
            }
        }
        if let (Scope::Sensor(sensor), true) = (best.scope, best.whole)
            && let Some(whole) = wholes.get_mut(sensor)
        {
            *whole += best.steps;
        }
        taken.push(best);
    }
    taken
}

fn best(
    profiles: &Profiles,
    traces: &[&Trace],
    beside: (&[Pair], &[i32]),
    (meters, shared): (usize, bool),
) -> Option<Cause> {
    let mut found: Vec<Cause> = Vec::new();
    for sensor in 0..profiles.of_sensor.len() {
        found.extend(whole_sensor(profiles, beside, sensor));
        found.extend(sensor_jump(profiles, sensor));
        let breaks = traces.get(sensor).map_or(&[][..], |trace| &trace.breaks);
        found.extend(sensor_break(profiles, sensor, breaks));
    }
    let search = Search::new(profiles);
    if shared {
        found.extend(of_meters(profiles, &search, meters));
        found.extend(shared_break(profiles, &search, traces));
    }
    found
        .into_iter()
        .filter(|cause| cause.net > 0.0)
        .fold(None, |best: Option<Cause>, next| match best {
            Some(best) if best.net >= next.net => Some(best),
            _ => Some(next),
        })
}

/// Shifts of a meter, or of everybody, over a stretch of time.
fn of_meters(profiles: &Profiles, search: &Search, meters: usize) -> Vec<Cause> {
    let mut found = Vec::new();
    let all = stretch(profiles, search, Scope::All);
    if meters > 1 {
        for meter in 0..meters {
            found.extend(whole_meter(profiles, search, meter));
            found.extend(stretch(profiles, search, Scope::Meter(meter)));
        }
        found.extend(all);
    } else if profiles.edges.is_empty() {
        found.extend(all);
    } else {
        // Of one meter and everybody's readings the log says whose clock it is.
        let denied = |meter: &Cause, all: &Cause| all.net <= 0.0 || meter.net > all.net + WHOSE;
        let meter = stretch(profiles, search, Scope::Meter(0));
        let meter = meter.filter(|meter| all.as_ref().is_none_or(|all| denied(meter, all)));
        found.extend(meter.or(all));
    }
    found
}

/// Delay of each sensor, minutes, with the causes taken explained: the mean over 0 to 20 min.
pub(crate) fn delays(profiles: &Profiles) -> Vec<Option<f64>> {
    let one = |items: &Vec<usize>| {
        if items.len() < LEAST_CHECKS {
            return None;
        }
        let profile = profiles.sum(items);
        let top = highest(&profile, DELAYS).1;
        let shares = DELAYS.map(|lag| ((value(&profile, lag) - top).exp(), f64::from(lag) * STEP));
        Some(moments(shares).0)
    };
    profiles.of_sensor.iter().map(one).collect()
}
