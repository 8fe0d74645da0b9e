//! A meter that took the place of another: no sensor has both, but all later ones seem to read otherwise than all before.

use std::collections::BTreeMap;

use whereworn_model::time::Micros;
use whereworn_stats::distributions::t_quantile;

use crate::bias::{LEAST, Levels, finding, label, percent, robust_mean};
use crate::clocks::Wearer;
use crate::finding::Finding;
use crate::words::day;

/// Least fingersticks of a sensor whose level is known, and least such sensors on either side.
const CHECKS: usize = 5;
const SENSORS: usize = 4;

/// Least standard deviation of the gains of sensors that is believed, in logarithms.
const LEAST_SPREAD: f64 = 0.04;

/// Standard deviation of a fingerstick against a sensor, and of a sensor's level from some days to the next, in logarithms.
const NOISE: f64 = 0.12;
const DRIFT: f64 = 0.03;

/// Chance of a false claim on either side.
const CHANCE: f64 = 0.0005;

/// The level of one sensor: log(fingerstick) less log(reading).
struct Level<'a> {
    site: &'a str,
    insert: Micros,
    level: f64,
}

/// By how much levels differ from a moment on, in logarithms, and how many of its standard errors that is.
struct Change {
    mean: f64,
    error: f64,
    freedom: f64,
}

impl Change {
    /// Within sites that have sensors on both sides: what a site does to readings is no meter.
    fn of(levels: &[Level<'_>], from: Micros) -> Option<Self> {
        let mut sites: BTreeMap<&str, [Vec<f64>; 2]> = BTreeMap::new();
        for level in levels {
            let sides = sites.entry(level.site).or_default();
            sides[usize::from(level.insert >= from)].push(level.level);
        }
        sites.retain(|_, sides| sides.iter().all(|side| !side.is_empty()));
        let counts =
            [0, 1].map(|side| sites.values().map(|sides| sides[side].len()).sum::<usize>());
        if counts.iter().any(|count| *count < SENSORS) {
            return None;
        }
        let (mut weights, mut sum, mut squares, mut freedom) = (0.0, 0.0, 0.0, 0.0);
        for [before, after] in sites.values() {
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

    /// With what a sensor worn at that moment has of both meters.
    fn with(self, before: &[f64], after: &[f64]) -> Self {
        if before.len().min(after.len()) < CHECKS {
            return self;
        }
        let (n, m) = (before.len() as f64, after.len() as f64);
        let error = (NOISE * NOISE * (1.0 / n + 1.0 / m) + DRIFT * DRIFT).sqrt();
        let own = robust_mean(after) - robust_mean(before);
        let [w, v] = [self.error, error].map(|error| 1.0 / (error * error));
        Self {
            mean: (w * self.mean + v * own) / (w + v),
            error: (w + v).powf(-0.5),
            ..self
        }
    }

    /// Its size where it is beyond doubt.
    fn size(&self) -> Option<f64> {
        let sure = t_quantile(1.0 - CHANCE, self.freedom.max(1.0)) * self.error;
        let size = self.mean.exp() - 1.0;
        let plain = self.mean.abs() > sure && self.mean.abs() - self.error >= LEAST / 1.5;
        (self.freedom >= 2.0 && plain && size.abs() >= LEAST).then_some(size)
    }
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
                site: &session.site,
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

/// Of two meters one of which begins where the other ends.
pub(crate) fn replaced(
    wearer: &Wearer<'_>,
    levels: &Levels,
    (a, b): (usize, usize),
) -> Option<Finding> {
    let (one, other) = (span(wearer, a)?, span(wearer, b)?);
    let (old, new, from) = match (one.1 <= other.0, other.1 <= one.0) {
        (true, _) => (a, b, other.0),
        (_, true) => (b, a, one.0),
        _ => return None,
    };
    // A sensor worn then has levels of both; it counts to the side on which it was inserted with those of that meter.
    let mut own = of_sensors(wearer, levels, old);
    own.retain(|level| level.insert < from);
    own.extend(
        of_sensors(wearer, levels, new)
            .into_iter()
            .filter(|level| level.insert >= from),
    );
    let worn_then = levels
        .iter()
        .filter(|((_, meter), _)| *meter == old)
        .find_map(|((sensor, _), before)| Some((before, levels.get(&(*sensor, new))?)));
    let change = Change::of(&own, from)?;
    let change = match worn_then {
        Some((before, after)) => change.with(before, after),
        None => change,
    };
    let size = change.size()?;
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
