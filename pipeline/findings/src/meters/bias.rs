//! What one meter reads against another, on the same sensors.

use std::collections::BTreeMap;

use whereworn_model::time::Micros;
use whereworn_stats::distributions::t_quantile;

use crate::clocks::{Clocks, Wearer};
use crate::finding::{Finding, OF_PAIRS, Severity};
use crate::meters::bias_change::{changed, replaced};
use crate::meters::steady::Steps;
use crate::readings::trace::middle_and_scatter;
use crate::words::day;

/// Least sensors and checks of each meter.
const SENSORS: usize = 4;
const CHECKS: usize = 30;

/// Twelve percent and more is what shall be found: less than this is not claimed, nor what could as well be half of it.
pub(crate) const LEAST: f64 = 0.095;

/// Differences further from the middle than so many robust standard deviations are drawn in to it.
const FAR: f64 = 2.5;

/// log(fingerstick) less log(reading) at the sensor's delay, by sensor and meter.
pub(crate) type Levels = BTreeMap<(usize, usize), Vec<f64>>;

/// Findings on the meters of a wearer.
pub(crate) fn findings(wearer: &Wearer<'_>, clocks: &Clocks, steps: &[Steps]) -> Vec<Finding> {
    let (level, times) = levels(wearer, clocks);
    let steady = with(&level, &times, steps, |steps, _| steps.first);
    let levels = with(&level, &times, steps, Steps::at);
    let counts = |meter: usize| -> (usize, usize) {
        let own = || levels.iter().filter(|((_, m), _)| *m == meter);
        (own().count(), own().map(|(_, values)| values.len()).sum())
    };
    let enough: Vec<usize> = (0..wearer.meters.len())
        .filter(|meter| {
            let (sensors, checks) = counts(*meter);
            sensors >= SENSORS && checks >= CHECKS
        })
        .collect();
    if let [only] = enough[..] {
        return changed(wearer, [&levels, &steady], &times, only)
            .into_iter()
            .collect();
    }
    // Of two, the one used less is named first: that it is the odd one cannot be told.
    if let [a, b] = enough[..] {
        let (first, second) = if counts(a).1 <= counts(b).1 {
            (a, b)
        } else {
            (b, a)
        };
        let told = swapped(wearer, &levels, first, second)
            .or_else(|| {
                let size = difference(&levels, first, &[second])?;
                Some(pair(wearer, first, second, size))
            })
            .or_else(|| replaced(wearer, [&levels, &steady], (a, b)));
        return told.into_iter().collect();
    }
    let mut off: Vec<(usize, f64)> = Vec::new();
    let mut left = enough;
    // The furthest from all others first; without it the rest is looked at again.
    while left.len() > 2 {
        let others =
            |meter: usize| -> Vec<usize> { left.iter().copied().filter(|m| *m != meter).collect() };
        let furthest = left
            .iter()
            .filter_map(|meter| Some((*meter, difference(&levels, *meter, &others(*meter))?)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let Some(found) = furthest else {
            break;
        };
        left.retain(|meter| *meter != found.0);
        off.push(found);
    }
    off.into_iter()
        .map(|(meter, size)| odd(wearer, meter, size))
        .collect()
}

/// Levels, and when each was, minutes since 1970.
fn levels(wearer: &Wearer<'_>, clocks: &Clocks) -> (Levels, Levels) {
    let (mut levels, mut times) = (Levels::new(), Levels::new());
    let profiles = &clocks.profiles;
    let mut at = Vec::with_capacity(1);
    for (place, item) in profiles.items.iter().enumerate() {
        if clocks.unfit.contains(&place) {
            continue;
        }
        let Some(trace) = wearer.traces.get(item.sensor) else {
            continue;
        };
        let delay = clocks
            .delays
            .get(item.sensor)
            .copied()
            .flatten()
            .unwrap_or(0.0);
        let shift =
            f64::from(profiles.shift.get(place).copied().unwrap_or(0)) * crate::clocks::lag::STEP;
        trace.around(item.time, &[delay + shift], &mut at);
        if let Some(level) = at.first().filter(|level| !level.is_nan()) {
            let of = (item.sensor, item.meter);
            let level = item.level - f64::from(*level);
            levels.entry(of).or_default().push(level);
            times.entry(of).or_default().push(item.time);
        }
    }
    (levels, times)
}

/// Levels of traces that were put at the level of the fingersticks, with what that took off.
fn with(levels: &Levels, times: &Levels, steps: &[Steps], off: fn(&Steps, f64) -> f64) -> Levels {
    let mut levels = levels.clone();
    for (of, values) in &mut levels {
        let (Some(steps), Some(times)) = (steps.get(of.0), times.get(of)) else {
            continue;
        };
        for (value, time) in values.iter_mut().zip(times) {
            *value += off(steps, *time);
        }
    }
    levels
}

/// The fraction by which a meter reads higher than others, where that is beyond doubt: within sensors, each with the
/// weight n m / (n + m), robust against single checks, with the scatter between sensors in its error.
fn difference(levels: &Levels, meter: usize, others: &[usize]) -> Option<f64> {
    let mut of_sensor: BTreeMap<usize, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for ((sensor, of), values) in levels {
        let sides = of_sensor.entry(*sensor).or_default();
        if *of == meter {
            sides.0.extend(values);
        } else if others.contains(of) {
            sides.1.extend(values);
        }
    }
    let shared: Vec<(f64, f64)> = of_sensor
        .values()
        .filter(|(own, other)| !own.is_empty() && !other.is_empty())
        .map(|(own, other)| {
            let (n, m) = (own.len() as f64, other.len() as f64);
            (robust_mean(own) - robust_mean(other), n * m / (n + m))
        })
        .collect();
    if shared.len() < SENSORS {
        return None;
    }
    let weight: f64 = shared.iter().map(|(_, weight)| weight).sum();
    let mean = shared
        .iter()
        .map(|(value, weight)| value * weight)
        .sum::<f64>()
        / weight;
    let df = shared.len() as f64 - 1.0;
    let squares: f64 = shared
        .iter()
        .map(|(value, weight)| weight * (value - mean).powi(2))
        .sum();
    // Noise of 5 % a check at least, however well few sensors happen to agree.
    let error = (squares / df).max(0.05 * 0.05).sqrt() / weight.sqrt();
    let sure = t_quantile(0.9995, df) * error;
    let size = mean.exp() - 1.0;
    (mean.abs() > sure.min(4.5 * error) && size.abs() >= LEAST && mean.abs() - error >= LEAST / 1.5)
        .then_some(size)
}

/// Two meters whose names changed places between two sensors: what one reads against the other is beyond doubt before and after, and
/// the other way round.
fn swapped(wearer: &Wearer<'_>, levels: &Levels, meter: usize, other: usize) -> Option<Finding> {
    let part = |late: bool, from: Micros| -> Levels {
        let own = levels.iter().filter(|((sensor, _), _)| {
            let session = wearer.sessions.get(*sensor);
            session.is_some_and(|session| (session.insert >= from) == late)
        });
        own.map(|(of, values)| (*of, values.clone())).collect()
    };
    let turned = wearer.sessions.iter().filter_map(|session| {
        let from = session.insert;
        let before = difference(&part(false, from), meter, &[other])?;
        let after = difference(&part(true, from), meter, &[other])?;
        (before * after < 0.0).then_some((before, after, from))
    });
    let (before, after, from) =
        turned.max_by(|a, b| (a.0 - a.1).abs().total_cmp(&(b.0 - b.1).abs()))?;
    let made = pair(wearer, meter, other, after);
    let names = [meter, other].map(|meter| label(wearer.meters.get(meter).map_or("", |name| name)));
    Some(Finding {
        from: Some(from),
        text: format!(
            "{} of `{}` reads {} than {} on the same sensors until about {}, and {} from then on: their names seem to have changed places",
            names[0],
            wearer.name,
            percent(before),
            names[1],
            day(from, &wearer.zone),
            percent(after)
        ),
        todo: "look which meter was used when, and write its name into the rows from then on; compare both with a control solution".to_owned(),
        ..made
    })
}

/// Mean with values far from the middle drawn in (Huber 1964, Ann Math Stat 35:73, one step; from memory).
pub(crate) fn robust_mean(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    let Some((middle, scale)) = middle_and_scatter(&mut sorted) else {
        return 0.0;
    };
    let most = FAR * scale.max(0.04);
    values
        .iter()
        .map(|value| value.clamp(middle - most, middle + most))
        .sum::<f64>()
        / values.len() as f64
}

pub(crate) fn finding(wearer: &Wearer<'_>, meter: usize, size: f64) -> Finding {
    let name = wearer.meters.get(meter).map_or("", |name| *name);
    let own = || wearer.checks.iter().filter(|check| check.meter == name);
    Finding {
        wearer: wearer.name.to_owned(),
        meter: name.to_owned(),
        file: own().next().map(|check| check.file.to_string()).unwrap_or_default(),
        line: own().next().map(|check| check.line),
        from: own().next().map(|check| check.time),
        to: own().next_back().map(|check| check.time),
        size: Some((size * 1000.0).round() / 1000.0),
        unit: "fraction",
        todo: "compare both with a control solution or a laboratory value, and use one meter; no line in study.toml cures this".to_owned(),
        ..Finding::new("meter", Severity::Doubtful, OF_PAIRS)
    }
}

pub(crate) fn percent(size: f64) -> String {
    let word = if size > 0.0 { "higher" } else { "lower" };
    format!("{:.0} % {word}", 100.0 * size.abs())
}

pub(crate) fn label(name: &str) -> String {
    if name.is_empty() {
        "the meter without a label".to_owned()
    } else {
        format!("meter `{name}`")
    }
}

fn pair(wearer: &Wearer<'_>, first: usize, second: usize, size: f64) -> Finding {
    let made = finding(wearer, first, size);
    let other = wearer.meters.get(second).map_or("", |name| *name);
    Finding {
        text: format!(
            "{} of `{}` reads {} than {} on the same sensors: which of the two is wrong cannot be told, and the site that was checked more with one of them seems to read differently",
            label(&made.meter),
            wearer.name,
            percent(size),
            label(other)
        ),
        meter: format!("{} + {other}", made.meter),
        ..made
    }
}

fn odd(wearer: &Wearer<'_>, meter: usize, size: f64) -> Finding {
    let made = finding(wearer, meter, size);
    Finding {
        text: format!(
            "{} of `{}` reads {} than the others on the same sensors: a site that was checked more with it seems to read differently",
            label(&made.meter),
            wearer.name,
            percent(size)
        ),
        ..made
    }
}
