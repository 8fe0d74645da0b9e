//! Clocks of sensors and meters, told from fingersticks and from sensors worn at once.

pub(crate) mod causes;
pub(crate) mod drift;
pub(crate) mod edges;
pub(crate) mod journeys;
pub(crate) mod lag;
pub(crate) mod sensor_shifts;
pub(crate) mod shared_breaks;
pub(crate) mod stretches;
pub(crate) mod unfit;
pub(crate) mod worn_at_once;
pub(crate) mod zones;

use std::collections::BTreeSet;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::{MICROS_PER_DAY, Micros};

use crate::clocks::causes::{Cause, Scope, USUAL_DELAY, causes, delays};
use crate::clocks::edges::{edges, told};
use crate::clocks::lag::{Item, Profiles, STEP};
use crate::clocks::unfit::{fits, foreign, unfit};
use crate::clocks::worn_at_once::pairs;
use crate::finding::{ChecksOut, Finding, OF_CLOCKS, OF_PAIRS, Severity};
use crate::log::Session;
use crate::readings::trace::{Trace, micros, minutes};
use crate::words::{clock_correction, day, signed_minutes};

/// Minutes of a clock are never told better than this.
const LEAST_ERROR: f64 = 2.0;

/// No shift further from whole hours is taken for them, however little its minutes are known: of a clock that was off
/// throughout, and of one from a day on, which is more often a journey's or a change of the clocks.
const NEAR_HOUR: f64 = 6.5;
const NEAR_HOUR_FROM_A_DAY_ON: f64 = 9.0;

/// From so many hours on hardly anything but a time zone shifts a clock: odds of whole hours, and how near they have to be.
const FAR_HOURS: f64 = 3.0;
const ODDS_FAR: (f64, f64) = (8.0, 14.0);

/// Most minutes that a shift may be off the change of the clocks that explains it.
const NEAR_CHANGE: f64 = 12.0;

/// A break that the readings show so near to a change of the clocks, minutes, is that change.
const SAME_MOMENT: f64 = 180.0;

/// Log-likelihood that another moment of a shift may cost.
const OTHER_MOMENT: f64 = 3.0;

/// How much delays of sensors at one site differ, and at several, minutes.
const SPREAD_AT_SITE: f64 = 3.0;
const SPREAD: f64 = 5.0;

/// A shift of all data is the meter's (or the readings' device's) from so many sensors on; of fewer, the sensors'.
const MANY_SENSORS: usize = 3;

/// Readings further apart, minutes, do not tell minutes of a clock.
const WIDEST_SPACING: f64 = 20.0;

/// A wearer's sensors and checks.
pub(crate) struct Wearer<'a> {
    pub name: &'a str,
    pub sessions: Vec<&'a Session>,
    /// As long as `sessions`.
    pub traces: Vec<&'a Trace>,
    pub checks: Vec<&'a Check>,
    /// Labels of meters, each once.
    pub meters: Vec<&'a str>,
    pub zone: TimeZone,
    /// Minutes.
    pub warm_up: f64,
    pub cutoff: Micros,
}

impl<'a> Wearer<'a> {
    /// Fingersticks against the sensors worn then, by time.
    pub fn items(&self) -> Vec<Item> {
        let mut items = Vec::new();
        for check in &self.checks {
            let meter = self.meters.iter().position(|meter| check.meter == **meter);
            for (sensor, session) in self.sessions.iter().enumerate() {
                let dense = self
                    .traces
                    .get(sensor)
                    .is_some_and(|trace| trace.spacing <= WIDEST_SPACING);
                if dense && (session.insert..=session.until(self.cutoff)).contains(&check.time) {
                    items.push(Item {
                        time: minutes(check.time),
                        sensor,
                        meter: meter.unwrap_or(0),
                        level: check.glucose.ln(),
                    });
                }
            }
        }
        items.sort_by(|a, b| a.time.total_cmp(&b.time).then(a.sensor.cmp(&b.sensor)));
        items
    }

    pub fn finding(&self, kind: &'static str, severity: Severity, size: f64) -> Finding {
        Finding {
            wearer: self.name.to_owned(),
            size: Some(size),
            unit: "min",
            ..Finding::new(kind, severity, OF_CLOCKS)
        }
    }
}

/// Least minutes by which the clock of a sensor as a whole is said to be off.
const LEAST_WHOLE: f64 = 10.0;

/// What a wearer's clocks show: findings, and the profiles with everything found explained.
pub(crate) struct Clocks {
    pub findings: Vec<Finding>,
    pub profiles: Profiles,
    /// Each sensor's delay with that explained.
    pub delays: Vec<Option<f64>>,
    /// Items that no clock explains.
    pub unfit: BTreeSet<usize>,
}

/// Looks at the clocks of a wearer.
pub(crate) fn clocks(wearer: &Wearer<'_>) -> Clocks {
    let mut profiles = Profiles::new(
        wearer.items(),
        &wearer.traces,
        edges(&wearer.sessions, wearer.warm_up),
    );
    let pairs = pairs(&wearer.sessions, &wearer.traces);
    let look =
        |profiles: &mut Profiles| causes(profiles, &wearer.traces, &pairs, wearer.meters.len());
    let plain = look(&mut profiles);
    let (found, drift) = drift::instead(&mut profiles, wearer, plain, look);
    let foreign = foreign(&profiles, &wearer.traces);
    let is_foreign = |item: &usize| foreign[profiles.items[*item].sensor];
    let is_own = |cause: &Cause| {
        let others = cause.items.iter().filter(|item| is_foreign(item));
        2 * others.count() <= cause.items.len()
    };
    let (found, others): (Vec<Cause>, Vec<Cause>) = found
        .into_iter()
        .partition(|cause| is_own(cause) && fits(&profiles, &wearer.traces, cause));
    let sensors = profiles.of_sensor.iter().zip(&foreign);
    let sensors = sensors.filter(|(_, foreign)| **foreign);
    let mut others: Vec<Vec<usize>> = others.into_iter().map(|cause| cause.items).collect();
    others.extend(sensors.map(|(items, _)| items.clone()));
    let delays = delays(&profiles);
    let mut clocks = Clocks {
        unfit: others.iter().flatten().copied().collect(),
        findings: unfit(wearer, &profiles, others),
        profiles,
        delays,
    };
    clocks
        .findings
        .extend(drift.map(|drift| drift::told(wearer, &drift)));
    let shifted_whole: Vec<usize> = found
        .iter()
        .filter(|cause| cause.whole)
        .filter_map(|cause| match cause.scope {
            Scope::Sensor(sensor) => Some(sensor),
            _ => None,
        })
        .collect();
    let found = zones::added(found);
    let found = found.iter();
    let made = found.flat_map(|cause| of_cause(wearer, &clocks, cause, &shifted_whole));
    let made = journeys::joined(wearer, made.collect());
    clocks.findings.extend(made);
    clocks
}

fn of_cause(
    wearer: &Wearer<'_>,
    clocks: &Clocks,
    cause: &Cause,
    shifted_whole: &[usize],
) -> Vec<Finding> {
    let sensors = touched(clocks, cause);
    let of_all = match cause.scope {
        Scope::All => true,
        Scope::Meter(_) => wearer.meters.len() == 1,
        Scope::Sensor(_) => false,
    };
    if of_all
        && cause.whole
        && let Some(finding) = zones::told(wearer, cause, &sensors)
    {
        return vec![finding];
    }
    match cause.scope {
        Scope::Sensor(sensor) if cause.whole => {
            let site = wearer
                .sessions
                .get(sensor)
                .map_or("", |session| session.site.as_str());
            let (delay, spread) = usual_delay(wearer, clocks, site, shifted_whole);
            let lag = cause.lag.unwrap_or(0.0);
            // Beside sensors that are shifted too it looks usual: its lag alone says that no delay explains it.
            let delay = match (lag - delay).abs() < LEAST_WHOLE {
                true => USUAL_DELAY.0,
                false => delay,
            };
            let minutes = lag - delay;
            let (minutes, error) = told((minutes, cause.error.hypot(spread)), &cause.edges);
            if whole_hours(minutes, error, NEAR_HOUR).is_some()
                && journeys::log_denies(&clocks.profiles, cause)
            {
                let cause = Cause {
                    minutes,
                    error,
                    ..cause.clone()
                };
                return vec![change(wearer, clocks, &cause, (&[sensor], None))];
            }
            vec![whole_sensor(wearer, sensor, minutes, error)]
        }
        Scope::Sensor(sensor) => vec![change(wearer, clocks, cause, (&[sensor], None))],
        Scope::Meter(meter) if cause.whole => {
            vec![whole_meter(wearer, meter, (cause.minutes, cause.error))]
        }
        Scope::Meter(meter) => vec![change(wearer, clocks, cause, (&sensors, Some(meter)))],
        Scope::All if sensors.len() == 1 => match sensors.first() {
            Some(&sensor) if covers(clocks, cause, sensor) => {
                vec![whole_sensor(wearer, sensor, cause.minutes, cause.error)]
            }
            _ => vec![change(wearer, clocks, cause, (&sensors, None))],
        },
        Scope::All if cause.whole && sensors.len() < MANY_SENSORS => sensors
            .iter()
            .map(|sensor| whole_sensor(wearer, *sensor, cause.minutes, cause.error))
            .collect(),
        Scope::All if cause.whole && wearer.meters.len() < 2 => {
            vec![whole_meter(wearer, 0, (cause.minutes, cause.error))]
        }
        Scope::All => vec![change(wearer, clocks, cause, (&sensors, None))],
    }
}

/// Sensors with a fair number of shifted checks.
fn touched(clocks: &Clocks, cause: &Cause) -> Vec<usize> {
    let shifted = |sensor: usize| {
        let own = cause.items.iter();
        own.filter(|item| clocks.profiles.items[**item].sensor == sensor)
            .count()
    };
    (0..clocks.profiles.of_sensor.len())
        .filter(|sensor| shifted(*sensor) >= 2)
        .collect()
}

/// Whether a shift may as well begin, or end, at another moment: what the checks in between say against it.
fn may_begin(clocks: &Clocks, cause: &Cause, moment: f64) -> bool {
    let Some(own) = cause.begins.or(cause.ends) else {
        return false;
    };
    let (from, to) = (own.min(moment), own.max(moment));
    let profiles = &clocks.profiles;
    let lost = |(place, item): (usize, &Item)| {
        if !cause.scope.has_item(item) || !(from..=to).contains(&item.time) {
            return 0.0;
        }
        let delay = clocks.delays.get(item.sensor).copied().flatten();
        let delay = (delay.unwrap_or(USUAL_DELAY.0) / STEP).round() as i32;
        let shifted = cause.items.contains(&place);
        let other = delay + if shifted { -cause.steps } else { cause.steps };
        profiles.at(place, delay) - profiles.at(place, other)
    };
    let edges = profiles.edges.iter().filter(|edge| cause.scope.has(edge));
    let edges = edges.filter(|edge| (from..=to).contains(&edge.time));
    let by_log = edges.map(|edge| {
        let shifted = edge.is_in(None, [cause.begins, cause.ends]);
        -edge.gain(if shifted {
            -cause.minutes
        } else {
            cause.minutes
        })
    });
    profiles
        .items
        .iter()
        .enumerate()
        .map(lost)
        .chain(by_log)
        .sum::<f64>()
        < OTHER_MOMENT
}

fn covers(clocks: &Clocks, cause: &Cause, sensor: usize) -> bool {
    let all = clocks.profiles.of_sensor.get(sensor).map_or(0, Vec::len);
    cause.items.len() as f64 >= 0.85 * all as f64
}

/// Mean delay of the wearer's other sensors at a site, held to that of all others as if those were one sensor more, and
/// these to what is usual as if that were two; and by how much a sensor's may differ from that.
fn usual_delay(wearer: &Wearer<'_>, clocks: &Clocks, site: &str, shifted: &[usize]) -> (f64, f64) {
    let known = clocks.delays.iter().zip(&wearer.sessions).enumerate();
    let others: Vec<(f64, bool)> = known
        .filter(|(sensor, _)| !shifted.contains(sensor))
        .filter_map(|(_, (delay, session))| Some(((*delay)?, session.site == site)))
        .collect();
    let mean = |held: (f64, f64), delays: &mut dyn Iterator<Item = f64>| {
        let (sum, count) = delays.fold((held.0 * held.1, held.1), |(sum, count), delay| {
            (sum + delay, count + 1.0)
        });
        sum / count
    };
    let all = mean(
        (USUAL_DELAY.0, 2.0),
        &mut others.iter().map(|(delay, _)| *delay),
    );
    let here = others.iter().filter(|(_, here)| *here);
    let spread = match here.clone().count() {
        0 => SPREAD,
        _ => SPREAD_AT_SITE,
    };
    let delay = mean((all, 1.0), &mut here.map(|(delay, _)| *delay));
    (delay, spread)
}

/// Whole hours where a time zone explains a shift better than a clock set to any other minute: of mistakes up to two hours
/// one in two is whole hours, of larger ones most are, the rest spread evenly. `error` is the standard error of the minutes.
fn whole_hours(minutes: f64, error: f64, near: f64) -> Option<f64> {
    let hours = (minutes / 60.0).round();
    let error = error.max(LEAST_ERROR);
    let off = minutes - 60.0 * hours;
    let density = (-(off / error).powi(2) / 2.0).exp() / (error * std::f64::consts::TAU.sqrt());
    let (odds, near) = match hours.abs() {
        many if many >= FAR_HOURS => ODDS_FAR,
        _ => (1.0, near),
    };
    (hours != 0.0 && off.abs() <= near && odds * density > 1.0 / 60.0).then_some(60.0 * hours)
}

/// Whole hours where they are near, else the minutes.
fn rounded(minutes: f64, error: f64) -> f64 {
    whole_hours(minutes, error, NEAR_HOUR).unwrap_or_else(|| minutes.round())
}

fn whole_sensor(wearer: &Wearer<'_>, sensor: usize, minutes: f64, error: f64) -> Finding {
    let hours = whole_hours(minutes, error, NEAR_HOUR);
    let session = wearer.sessions[sensor];
    let size = hours.unwrap_or_else(|| minutes.round());
    let from_meter = if hours.is_some() {
        "a time zone or a change of the clocks would explain it"
    } else {
        "no delay of a sensor does"
    };
    Finding {
        sensor: session.sensor.clone(),
        site: session.site.clone(),
        file: session.file.clone(),
        line: Some(session.line),
        from: Some(session.insert),
        to: Some(session.until(wearer.cutoff)),
        text: format!(
            "sensor `{}` of `{}`: its clock is about {} the meter's{}: {from_meter}; every reading is compared with a fingerstick of another time, which makes its site look worse than it is",
            session.sensor,
            wearer.name,
            signed_minutes(size, "ahead of", "behind"),
            match hours {
                Some(_) => String::new(),
                None => format!(" (give or take {:.0})", 2.0 * error.max(LEAST_ERROR)),
            },
        ),
        todo: "compare the clock of the device that recorded this sensor, or the time zone of its export, with the meter's; if it was off, paste the lines".to_owned(),
        paste: clock_correction(wearer.name, "sensor", &session.sensor, size, None, None, &wearer.zone),
        ..wearer.finding("clock-sensor", Severity::Doubtful, size)
    }
}

fn meter_name(wearer: &Wearer<'_>, meter: usize) -> String {
    wearer
        .meters
        .get(meter)
        .map_or(String::new(), |name| (*name).to_owned())
}

/// Words for a meter that may have no label.
pub(crate) fn meter_words(name: &str) -> String {
    if name.is_empty() {
        "the meter".to_owned()
    } else {
        format!("meter `{name}`")
    }
}

/// A meter whose clock is off throughout; a later fingerstick clock makes the lag shorter.
fn whole_meter(wearer: &Wearer<'_>, meter: usize, (minutes, error): (f64, f64)) -> Finding {
    let size = -rounded(minutes, error);
    let name = meter_name(wearer, meter);
    let words = meter_words(&name);
    let against = if wearer.meters.len() > 1 {
        "the other meters'"
    } else {
        "the clock of the sensors (or theirs is off the other way)"
    };
    let first = wearer.checks.iter().find(|check| check.meter == name);
    let last = wearer.checks.iter().rev().find(|check| check.meter == name);
    Finding {
        file: first
            .map(|check| check.file.to_string())
            .unwrap_or_default(),
        line: first.map(|check| check.line),
        from: first.map(|check| check.time),
        to: last.map(|check| check.time),
        text: format!(
            "{words} of `{}`: its clock is about {} {against}; its fingersticks are compared with readings of another time",
            wearer.name,
            signed_minutes(size, "ahead of", "behind"),
        ),
        todo: "look at the meter's clock; if it was off, paste the lines".to_owned(),
        paste: clock_correction(wearer.name, "meter", &name, size, None, None, &wearer.zone),
        meter: name,
        touches: OF_PAIRS,
        // Those of one meter alone are all that there are.
        leaves_out_checks: match wearer.meters.len() {
            1 => ChecksOut::None,
            _ => ChecksOut::OfMeter,
        },
        ..wearer.finding("clock-meter", Severity::Doubtful, size)
    }
}

/// A shift that begins or ends within the data.
fn change(
    wearer: &Wearer<'_>,
    clocks: &Clocks,
    cause: &Cause,
    (sensors, meter): (&[usize], Option<usize>),
) -> Finding {
    let around = [cause.begins, cause.ends].map(|at| at.map(micros));
    let put = around[0]
        .or(around[1])
        .and_then(|at| transition(&wearer.zone, at));
    let near = match cause.scope {
        Scope::Sensor(_) => (2.0 * cause.error).clamp(LEAST_ERROR, NEAR_CHANGE),
        _ => (3.0 * cause.error).clamp(NEAR_HOUR, NEAR_CHANGE),
    };
    let followed = put
        .filter(|(_, put)| (cause.minutes.abs() - put.abs()).abs() <= near)
        .filter(|(at, _)| !cause.shown || cause.is_within(SAME_MOMENT, minutes(*at)))
        .filter(|(at, _)| may_begin(clocks, cause, minutes(*at)));
    let hours = match followed {
        Some((_, put)) => Some(put.abs().copysign(cause.minutes)),
        None => whole_hours(cause.minutes, cause.error, NEAR_HOUR_FROM_A_DAY_ON),
    };
    let put = followed;
    let only = match sensors {
        [one] => wearer.sessions.get(*one),
        _ => None,
    };
    // The clocks were put forward or back then: which device did not follow is told by the sign.
    let by_meter = match (meter, hours, put) {
        (Some(_), _, _) => true,
        _ if cause.is_of_readings() => false,
        (None, Some(_), _) if journeys::is_denied(wearer, &clocks.profiles, cause) => true,
        (None, Some(hours), Some((_, put))) => hours == put,
        (None, Some(_), None) => false,
        (None, None, _) => only.is_none() && wearer.meters.len() < 2,
    };
    let shifted = hours.unwrap_or_else(|| cause.minutes.round());
    let size = if by_meter { -shifted } else { shifted };
    let from = match (around[0], hours.and(put)) {
        (Some(_), Some((at, _))) => Some(at),
        (begins, _) => begins,
    };
    let kind = match (hours, by_meter, only) {
        (Some(_), _, _) => "clock-change",
        (None, true, _) => "clock-meter",
        (None, false, _) => "clock-sensor",
    };
    let severity = if hours.is_some() {
        Severity::Wrong
    } else {
        Severity::Doubtful
    };
    let every_meter = by_meter && meter.is_none() && wearer.meters.len() > 1;
    let meter = match meter {
        Some(meter) => meter_name(wearer, meter),
        None if by_meter && wearer.meters.len() == 1 => meter_name(wearer, 0),
        None => String::new(),
    };
    let whose = match (by_meter, only) {
        (true, _) if every_meter => format!("the meters of `{}`", wearer.name),
        (true, _) => format!("{} of `{}`", meter_words(&meter), wearer.name),
        (false, Some(session)) => format!("sensor `{}` of `{}`", session.sensor, wearer.name),
        (false, None) => format!("the sensors of `{}`", wearer.name),
    };
    let worn = only.filter(|_| cause.whole);
    let around = match worn {
        Some(session) => [Some(session.insert), Some(session.until(wearer.cutoff))],
        None => around,
    };
    let from = from.or(worn.map(|session| session.insert));
    // Of one sensor alone it is known no longer than it was worn.
    let alone = only.filter(|_| hours.is_some() && !by_meter);
    let to = around[1].or(alone.map(|session| session.until(wearer.cutoff)));
    let since = since(wearer, from, to);
    let why = match (hours, put) {
        (Some(_), Some(_)) => {
            "the clocks were put forward or back then, and one device did not follow"
        }
        (Some(_), None) => {
            "a journey or a change of the clocks that one device did not follow would explain it"
        }
        (None, _) => "its clock was set then",
    };
    let all_sensors = || {
        let own = sensors
            .iter()
            .filter_map(|sensor| wearer.sessions.get(*sensor));
        own.map(|session| ("sensor", session.sensor.clone()))
            .collect()
    };
    let devices: Vec<(&str, String)> = match (by_meter, only) {
        (true, _) if every_meter => (0..wearer.meters.len())
            .map(|one| ("meter", meter_name(wearer, one)))
            .collect(),
        (true, _) => vec![("meter", meter.clone())],
        (false, Some(session)) => vec![("sensor", session.sensor.clone())],
        (false, None) => all_sensors(),
    };
    let first_sensor = sensors
        .first()
        .and_then(|sensor| wearer.sessions.get(*sensor));
    Finding {
        sensor: match (by_meter, only) {
            (false, Some(session)) => session.sensor.clone(),
            _ => String::new(),
        },
        file: first_sensor
            .map(|session| session.file.clone())
            .unwrap_or_default(),
        line: first_sensor.map(|session| session.line),
        from: from.or_else(|| first_sensor.map(|session| session.insert)),
        to,
        text: format!(
            "{whose}: {since} the clock is about {} that of the {}: {why}; readings are compared with fingersticks of another time",
            signed_minutes(size, "ahead of", "behind"),
            if by_meter { "sensors" } else { "meter" },
        ),
        todo: "look at the clocks of both devices; if one was off, paste the lines".to_owned(),
        paste: devices
            .iter()
            .map(|(key, name)| {
                clock_correction(wearer.name, key, name, size, from, around[1], &wearer.zone)
            })
            .collect(),
        meter,
        touches: if by_meter { OF_PAIRS } else { OF_CLOCKS },
        leaves_out: !by_meter,
        leaves_out_checks: match (by_meter, every_meter) {
            (false, _) => ChecksOut::None,
            (true, false) => ChecksOut::OfMeter,
            (true, true) => ChecksOut::All,
        },
        ..wearer.finding(kind, severity, size)
    }
}

/// `from 2026-03-02 to 2026-03-09`, or what of it is known.
pub(crate) fn since(wearer: &Wearer<'_>, from: Option<Micros>, to: Option<Micros>) -> String {
    let day = |at: Micros| day(at, &wearer.zone);
    match (from, to) {
        (Some(from), None) => format!("from {} on", day(from)),
        (Some(from), Some(to)) => format!("from {} to {}", day(from), day(to)),
        (None, Some(to)) => format!("until {}", day(to)),
        (None, None) => "throughout".to_owned(),
    }
}

/// A change of the clocks within ten days of an instant, and the minutes by which they were put forward.
fn transition(zone: &TimeZone, at: Micros) -> Option<(Micros, f64)> {
    let near = 10 * MICROS_PER_DAY;
    let start = Timestamp::from_microsecond(at - near).ok()?;
    let next = zone.following(start).next()?;
    let when = next.timestamp();
    if when.as_microsecond() > at + near {
        return None;
    }
    let before = zone.to_offset(Timestamp::from_microsecond(when.as_microsecond() - 1).ok()?);
    let forward = f64::from(next.offset().seconds() - before.seconds()) / 60.0;
    Some((when.as_microsecond(), forward))
}
