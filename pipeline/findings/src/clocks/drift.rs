//! A clock that gains or loses some minutes a week and is never set: off by more and more, which shifts from one day on would
//! tell as a stair.
//!
//! It is asked for only where such shifts of a meter's, or of all, fingersticks are there to be told, and takes their place
//! where it explains more than they do together.

use std::collections::BTreeSet;

use crate::clocks::causes::{Cause, Scope};
use crate::clocks::lag::{DELAYS, Profiles, STEP};
use crate::clocks::stretches::{STRETCH, Search, log_sum};
use crate::clocks::{Wearer, meter_words};
use crate::finding::{Finding, Severity};
use crate::readings::trace::{micros, middle_and_scatter, minutes};
use crate::words::{clock_correction, day};

const MINUTES_PER_DAY: f64 = 1440.0;
const MINUTES_PER_WEEK: f64 = 7.0 * MINUTES_PER_DAY;

/// Over so many days, and of so many sensors; one or two that are off are no drift.
const LEAST_DAYS: f64 = 60.0;
const LEAST_SENSORS: usize = 5;

/// Least minutes in all.
const LEAST_TOTAL: f64 = 20.0;

/// Eighths of a minute a week either way, and how far, in steps of the grid, the clock is off in the middle.
const EIGHTHS: i32 = 48;
const MOST_OFF: i32 = 40;

/// What lines to paste leave of the drift, minutes either way.
const LEFT: f64 = 2.5;

/// How many times as much the log has to scatter against a clock than against the other, for the former to be the one that drifts.
const WHOSE: f64 = 2.0;

/// Whose clock drifts, by the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Whose {
    Readings,
    Meter,
    Unknown,
}

/// A drift of the lag.
#[derive(Clone, Debug)]
pub(crate) struct Drift {
    scope: Scope,
    /// First and last fingerstick, minutes since 1970.
    from: f64,
    to: f64,
    per_week: f64,
    /// Minutes by which the lag is longer in the middle.
    middle: f64,
    /// Gain of log-likelihood, less its price.
    net: f64,
    whose: Whose,
}

impl Drift {
    /// Minutes by which the lag is longer at a time.
    fn minutes(&self, at: f64) -> f64 {
        let weeks = (at - (self.from + self.to) / 2.0) / MINUTES_PER_WEEK;
        self.middle + self.per_week * weeks
    }

    fn total(&self) -> f64 {
        self.minutes(self.to) - self.minutes(self.from)
    }

    fn steps(&self, at: f64) -> i32 {
        (self.minutes(at) / STEP).round() as i32
    }

    /// Takes it as explained.
    fn explain(&self, profiles: &mut Profiles) {
        for (item, shift) in profiles.items.iter().zip(&mut profiles.shift) {
            if self.scope.has_item(item) {
                *shift += self.steps(item.time);
            }
        }
        let readings = self.whose == Whose::Readings;
        for edge in profiles.edges.iter_mut().filter(|_| readings) {
            edge.shift += self.steps(edge.time);
        }
    }

    /// With what the log says of whose clock it is: first and last readings come as long after `insert` and before `end` as
    /// others unless it is the readings'.
    fn with_log(self, wearer: &Wearer<'_>) -> Self {
        let scatter = |end: bool, drift: f64| {
            let late = wearer.sessions.iter().filter_map(|session| {
                let (logged, read) = match end {
                    false => (Some(session.insert), session.seen.first),
                    true => (session.end, session.seen.last),
                };
                let (logged, read) = (minutes(logged?), minutes(read?));
                Some(read - logged - drift * self.minutes(logged))
            });
            middle_and_scatter(&mut late.collect::<Vec<_>>()).map_or(0.0, |(_, scatter)| scatter)
        };
        let [plain, drifted] = [0.0, 1.0].map(|drift| scatter(false, drift) + scatter(true, drift));
        let whose = match self.scope {
            Scope::All if plain > WHOSE * drifted => Whose::Readings,
            _ if drifted > WHOSE * plain => Whose::Meter,
            _ => Whose::Unknown,
        };
        Self { whose, ..self }
    }
}

/// A drift in the place of causes that it explains better, with those that are left then; the causes as they are without one.
/// `profiles` keep what is taken as explained.
pub(crate) fn instead(
    profiles: &mut Profiles,
    wearer: &Wearer<'_>,
    plain: Vec<Cause>,
    causes: impl Fn(&mut Profiles) -> Vec<Cause>,
) -> (Vec<Cause>, Option<Drift>) {
    let is_step = |cause: &&Cause| !cause.whole && !cause.shown;
    let steps = plain.iter().filter(is_step).map(|cause| cause.scope);
    let scopes: Vec<Scope> = steps
        .filter(|scope| !matches!(scope, Scope::Sensor(_)))
        .collect();
    if scopes.is_empty() {
        return (plain, None);
    }
    let kept = profiles.take_explained();
    let search = Search::new(profiles);
    let found = scopes
        .iter()
        .filter_map(|scope| drift(profiles, &search, *scope));
    let best = found.max_by(|a, b| a.net.total_cmp(&b.net));
    if let Some(best) = best.map(|best| best.with_log(wearer)) {
        let net = |causes: &[Cause]| causes.iter().map(|cause| cause.net).sum::<f64>();
        best.explain(profiles);
        let rest = causes(profiles);
        if best.net + net(&rest) > net(&plain) {
            return (rest, Some(best));
        }
    }
    profiles.put_explained(kept);
    (plain, None)
}

/// The likeliest drift of a scope's lag.
fn drift(profiles: &Profiles, search: &Search, scope: Scope) -> Option<Drift> {
    let own = || profiles.items.iter().filter(|item| scope.has_item(item));
    let from = own().map(|item| item.time).reduce(f64::min)?;
    let to = own().map(|item| item.time).reduce(f64::max)?;
    let sensors = own().map(|item| item.sensor).collect::<BTreeSet<_>>().len();
    if to - from < LEAST_DAYS * MINUTES_PER_DAY || sensors < LEAST_SENSORS {
        return None;
    }
    let none = Drift {
        scope,
        from,
        to,
        per_week: 0.0,
        middle: 0.0,
        net: 0.0,
        whose: Whose::Unknown,
    };
    let without = likelihood(profiles, search, &none);
    let one = |eighths: i32, off: i32| {
        let drift = Drift {
            per_week: f64::from(eighths) / 8.0,
            middle: f64::from(off) * STEP,
            ..none.clone()
        };
        let net = likelihood(profiles, search, &drift) - without - STRETCH;
        Drift { net, ..drift }
    };
    // Few first, then those beside the best.
    let slopes = (-EIGHTHS..=EIGHTHS).step_by(4);
    let offs = || (-MOST_OFF..=MOST_OFF).step_by(2);
    let coarse = slopes.flat_map(|slope| offs().map(move |off| (slope, off)));
    let coarse = coarse.map(|(slope, off)| ((slope, off), one(slope, off).net));
    let ((slope, off), _) = coarse.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let near =
        (slope - 3..=slope + 3).flat_map(|slope| [off - 1, off, off + 1].map(|off| (slope, off)));
    let near = near.map(|(slope, off)| one(slope, off));
    let found = near.max_by(|a, b| a.net.total_cmp(&b.net))?;
    (found.net > 0.0 && found.total().abs() >= LEAST_TOTAL).then_some(found)
}

/// Log-likelihood with a drift explained, each sensor having a delay of its own.
fn likelihood(profiles: &Profiles, search: &Search, drift: &Drift) -> f64 {
    let of_sensor = |items: &Vec<usize>| {
        let mut sums = search.prior.clone();
        for item in items {
            let own = &profiles.items[*item];
            let steps = match drift.scope.has_item(own) {
                true => drift.steps(own.time),
                false => 0,
            };
            for (delay, sum) in DELAYS.zip(&mut sums) {
                *sum += profiles.at(*item, delay + steps);
            }
        }
        log_sum(sums.iter().copied())
    };
    profiles.of_sensor.iter().map(of_sensor).sum()
}

/// The finding that tells it.
pub(crate) fn told(wearer: &Wearer<'_>, drift: &Drift) -> Finding {
    let meters = of_meters(wearer, drift);
    let sign = if meters.is_empty() { 1.0 } else { -1.0 };
    let (total, per_week) = ((sign * drift.total()).round(), sign * drift.per_week);
    let (first, last) = (micros(drift.from), micros(drift.to));
    let (kind, whose, other) = match meters[..] {
        [] => (
            "clock-sensor",
            "the sensors".to_owned(),
            "that of the meter",
        ),
        [one] => ("clock-meter", meter_words(one), "that of the sensors"),
        _ => (
            "clock-meter",
            "the meters".to_owned(),
            "that of the sensors",
        ),
    };
    let check = wearer.checks.iter().find(|check| check.time >= first);
    Finding {
        meter: match meters[..] {
            [one] => one.to_owned(),
            _ => String::new(),
        },
        file: check.map(|check| check.file.to_string()).unwrap_or_default(),
        line: check.map(|check| check.line),
        from: Some(first),
        to: Some(last),
        text: format!(
            "{whose} of `{}`: the clock {} about {:.1} min a week against {other}{}, {} min from {} to {}; readings are compared with fingersticks of another time",
            wearer.name,
            if per_week > 0.0 { "gains" } else { "loses" },
            per_week.abs(),
            match drift.whose {
                Whose::Unknown => " (or that drifts the other way)",
                _ => "",
            },
            total.abs(),
            day(first, &wearer.zone),
            day(last, &wearer.zone)
        ),
        todo: "set both clocks, and look at them every few weeks; paste the lines, which take the drift off piece by piece".to_owned(),
        paste: match meters[..] {
            [] => paste_sensors(wearer, drift),
            _ => meters.iter().map(|meter| paste_meter(wearer, drift, meter)).collect(),
        },
        ..wearer.finding(kind, Severity::Doubtful, total)
    }
}

/// The meters whose clocks drift; none where it is the readings'.
fn of_meters<'a>(wearer: &Wearer<'a>, drift: &Drift) -> Vec<&'a str> {
    match (drift.scope, drift.whose) {
        (Scope::Meter(meter), _) => wearer.meters.get(meter).copied().into_iter().collect(),
        (_, Whose::Meter) => wearer.meters.clone(),
        (_, Whose::Unknown) if wearer.meters.len() < 2 => wearer.meters.clone(),
        _ => Vec::new(),
    }
}

/// Lines that take it off the sensors, of each what it is in its middle.
fn paste_sensors(wearer: &Wearer<'_>, drift: &Drift) -> String {
    let own = wearer.sessions.iter().map(|session| {
        let middle = (session.insert + session.until(wearer.cutoff)) / 2;
        let off = drift.minutes(minutes(middle)).round();
        let (name, sensor) = (wearer.name, &session.sensor);
        clock_correction(name, "sensor", sensor, off, None, None, &wearer.zone)
    });
    own.collect()
}

/// Lines that take it off a meter, a piece of time after the other.
fn paste_meter(wearer: &Wearer<'_>, drift: &Drift, meter: &str) -> String {
    let pieces = (drift.total().abs() / (2.0 * LEFT)).ceil();
    let at = |piece: f64| drift.from + (drift.to - drift.from) * piece / pieces;
    let piece = |piece: i32| {
        let piece = f64::from(piece);
        let off = -drift.minutes(at(piece + 0.5)).round();
        let from = (piece > 0.0).then(|| micros(at(piece)));
        let to = (piece + 1.0 < pieces).then(|| micros(at(piece + 1.0)));
        clock_correction(wearer.name, "meter", meter, off, from, to, &wearer.zone)
    };
    (0..pieces as i32).map(piece).collect()
}
