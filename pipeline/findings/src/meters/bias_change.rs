//! A meter that took the place of another, under a name of its own or not: no sensor, or one, has both, but all later ones seem
//! to read otherwise than all before.

use std::collections::BTreeMap;

use whereworn_model::time::Micros;
use whereworn_stats::distributions::t_quantile;

use crate::clocks::Wearer;
use crate::finding::Finding;
use crate::meters::bias::{LEAST, Levels, finding, label, percent, robust_mean};
use crate::readings::trace::{ROBUST, median, micros};
use crate::words::day;

/// Least fingersticks of a sensor whose level is known, and least such sensors on either side.
const CHECKS: usize = 5;
const SENSORS: usize = 4;

/// Least standard deviation of the gains of sensors that is believed, in logarithms.
const LEAST_SPREAD: f64 = 0.04;

/// Least standard deviation of a fingerstick against its sensor that is believed, that where nothing is known of it, and that
/// of a sensor's level from some days to the next, in logarithms.
const LEAST_NOISE: f64 = 0.06;
const NOISE: f64 = 0.12;
const DRIFT: f64 = 0.03;

/// Least standard errors of a change that no label tells of, since it is looked for at every fingerstick, and of that within the
/// sensor worn then alone: what changes from one sensor to the next may be the sensors.
const UNNAMED: f64 = 4.5;
const WITHIN: f64 = 1.5;

/// Standard errors of the change within one sensor by which it may differ from that of the others and count in full.
const MOST_BESIDE: f64 = 1.5;

/// Least change of a meter under one name that is told: where it is so many standard errors, little is worth telling too.
const LEAST_CHANGE: f64 = 0.05;

/// Chance of a false claim on either side.
const CHANCE: f64 = 0.0005;

/// The level of one sensor: log(fingerstick) less log(reading).
struct Level<'a> {
    /// Site and model.
    like: (&'a str, &'a str),
    insert: Micros,
    level: f64,
}

/// By how much levels differ from a moment on, in logarithms, and how many of its standard errors that is.
#[derive(Clone)]
struct Change {
    mean: f64,
    error: f64,
    freedom: f64,
}

impl Change {
    /// Within sites and models that have sensors on both sides: what a site or a model does to readings is no meter.
    fn of(levels: &[&Level<'_>], from: Micros) -> Option<Self> {
        let mut alike: BTreeMap<(&str, &str), [Vec<f64>; 2]> = BTreeMap::new();
        for level in levels {
            let sides = alike.entry(level.like).or_default();
            sides[usize::from(level.insert >= from)].push(level.level);
        }
        alike.retain(|_, sides| sides.iter().all(|side| !side.is_empty()));
        let counts =
            [0, 1].map(|side| alike.values().map(|sides| sides[side].len()).sum::<usize>());
        if counts.iter().any(|count| *count < SENSORS) {
            return None;
        }
        let (mut weights, mut sum, mut squares, mut freedom) = (0.0, 0.0, 0.0, 0.0);
        for [before, after] in alike.values() {
            let (n, m) = (before.len() as f64, after.len() as f64);
            let weight = n * m / (n + m);
            weights += weight;
            sum += weight * (mean(after) - mean(before));
            squares += off(before) + off(after);
            freedom += n + m - 2.0;
        }
        let spread = (squares / freedom.max(1.0)).sqrt().max(LEAST_SPREAD);
        Some(Self {
            mean: sum / weights,
            error: spread / weights.sqrt(),
            freedom,
        })
    }

    /// With what a sensor worn at that moment has of both meters. It may fail just then, and adds to what the others say no
    /// more than it would if it read as they do, give or take its error.
    fn with(self, before: &[f64], after: &[f64], noise: f64) -> Self {
        if before.len().min(after.len()) < CHECKS {
            return self;
        }
        let (own, error) = within(before, after, noise);
        let own = own.clamp(
            self.mean - MOST_BESIDE * error,
            self.mean + MOST_BESIDE * error,
        );
        let [w, v] = [self.error, error].map(|error| 1.0 / (error * error));
        Self {
            mean: (w * self.mean + v * own) / (w + v),
            error: (w + v).powf(-0.5),
            ..self
        }
    }

    /// Its size where it is beyond doubt.
    fn size(&self, least: f64) -> Option<f64> {
        let sure = t_quantile(1.0 - CHANCE, self.freedom.max(1.0)) * self.error;
        let size = self.mean.exp() - 1.0;
        (self.freedom >= 2.0 && self.mean.abs() > sure && size.abs() >= least).then_some(size)
    }
}

/// Standard deviation of fingersticks about the levels of their sensors.
fn noise(steady: &Levels) -> f64 {
    let mut off = Vec::new();
    for values in steady.values().filter(|values| values.len() >= CHECKS) {
        let middle = robust_mean(values);
        off.extend(values.iter().map(|value| (value - middle).abs()));
    }
    let noise = median(&mut off).map_or(NOISE, |off| ROBUST * off);
    noise.clamp(LEAST_NOISE, NOISE)
}

/// By how much the level of one sensor changes, and the error of that.
fn within(before: &[f64], after: &[f64], noise: f64) -> (f64, f64) {
    let (n, m) = (before.len() as f64, after.len() as f64);
    let error = (noise * noise * (1.0 / n + 1.0 / m) + DRIFT * DRIFT).sqrt();
    (robust_mean(after) - robust_mean(before), error)
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Sum of squares about the mean.
fn off(values: &[f64]) -> f64 {
    let mean = mean(values);
    values.iter().map(|value| (value - mean).powi(2)).sum()
}

/// Levels of the sensors that have fingersticks of one meter enough, by their insertion.
fn of_sensors<'a>(wearer: &Wearer<'a>, levels: &Levels, of: usize) -> Vec<Level<'a>> {
    let mut own: Vec<Level<'a>> = Vec::new();
    for ((sensor, meter), values) in levels {
        let session = wearer.sessions.get(*sensor);
        if let Some(session) = session.filter(|_| *meter == of && values.len() >= CHECKS) {
            own.push(Level {
                like: (&session.site, &session.model),
                insert: session.insert,
                level: robust_mean(values),
            });
        }
    }
    own.sort_by_key(|level| level.insert);
    own
}

/// First and last time of a meter's fingersticks.
fn span(wearer: &Wearer<'_>, meter: usize) -> Option<(Micros, Micros)> {
    let name = wearer.meters.get(meter)?;
    let mut own = wearer.checks.iter().filter(|check| check.meter == **name);
    let first = own.next()?.time;
    Some((first, own.next_back().map_or(first, |last| last.time)))
}

/// Of two meters one of which begins where the other ends; levels as sensors read, and with failing ones put at that of their
/// first days.
pub(crate) fn replaced(
    wearer: &Wearer<'_>,
    [levels, steady]: [&Levels; 2],
    (a, b): (usize, usize),
) -> Option<Finding> {
    let (one, other) = (span(wearer, a)?, span(wearer, b)?);
    let (old, new, from) = match (one.1 <= other.0, other.1 <= one.0) {
        (true, _) => (a, b, other.0),
        (_, true) => (b, a, one.0),
        _ => return None,
    };
    // A sensor worn then has levels of both; it counts to the side on which it was inserted with those of that meter.
    let mut own = of_sensors(wearer, steady, old);
    own.retain(|level| level.insert < from);
    own.extend(
        of_sensors(wearer, steady, new)
            .into_iter()
            .filter(|level| level.insert >= from),
    );
    let worn_then = levels
        .iter()
        .filter(|((_, meter), _)| *meter == old)
        .find_map(|((sensor, _), before)| Some((before, levels.get(&(*sensor, new))?)));
    let change = Change::of(&own.iter().collect::<Vec<_>>(), from)?;
    let change = match worn_then {
        Some((before, after)) => change.with(before, after, noise(steady)),
        None => change,
    };
    let size = change.size(LEAST)?;
    let made = finding(wearer, new, size);
    let name = |meter: usize| wearer.meters.get(meter).map_or("", |name| *name);
    Some(Finding {
        from: Some(from),
        text: format!(
            "{} of `{}` took the place of {} on {} and reads {} than it against the sensors, at all sites: sites worn more before or after seem to read differently",
            label(name(new)),
            wearer.name,
            label(name(old)),
            day(from, &wearer.zone),
            percent(size)
        ),
        meter: format!("{} + {}", name(new), name(old)),
        ..made
    })
}

/// A meter whose fingersticks read otherwise from one on, under the same label: another meter, or other strips.
pub(crate) fn changed(
    wearer: &Wearer<'_>,
    [levels, steady]: [&Levels; 2],
    times: &Levels,
    meter: usize,
) -> Option<Finding> {
    let all = of_sensors(wearer, steady, meter);
    let noise = noise(steady);
    let worn = wearer.sessions.iter().enumerate();
    let found = worn.flat_map(|(sensor, session)| {
        let of = (sensor, meter);
        let own = levels.get(&of).map_or(&[][..], Vec::as_slice);
        let from = session.insert;
        let others = || all.iter().filter(move |level| level.insert != from);
        let others = Change::of(&others().collect::<Vec<_>>(), from);
        let splits = CHECKS..(own.len() + 1).saturating_sub(CHECKS);
        splits.filter_map(move |split| {
            let (before, after) = own.split_at_checked(split)?;
            let change = others.clone()?.with(before, after, noise);
            let (own, error) = within(before, after, noise);
            let is_plain = own * change.mean > 0.0 && own.abs() >= WITHIN * error;
            let at = *times.get(&of)?.get(split)?;
            is_plain.then(|| {
                (
                    change.mean.abs() / change.error,
                    at,
                    change.size(LEAST_CHANGE),
                )
            })
        })
    });
    let best = found.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let (sure, at, size) = best;
    let size = size.filter(|_| sure >= UNNAMED)?;
    let made = finding(wearer, meter, size);
    let from = micros(at);
    Some(Finding {
        from: Some(from),
        text: format!(
            "{} of `{}` reads {} against the sensors from about {} on, within the sensor worn then and at all sites after it: another meter of that name, or other strips; sites worn more before or after seem to read differently",
            label(&made.meter),
            wearer.name,
            percent(size),
            day(from, &wearer.zone)
        ),
        todo: "look whether the meter or its strips were changed then; give a new meter a name of its own, and compare both with a control solution".to_owned(),
        ..made
    })
}
