//! Shifts of the lag of one sensor: as a whole, and from a moment on.

use crate::clocks::causes::{Cause, LEAST_CHECKS, LEAST_JUMP, SIDE_DAYS, Scope, USUAL_DELAY};
use crate::clocks::lag::{DELAYS, Profiles, REACH, STEP, around_top, highest, value};
use crate::clocks::worn_at_once::Pair;
use crate::readings::trace::{Break, Sign};

const SIDE_CHECKS: usize = 8;

/// Checks on each side of a break that the readings themselves show.
const BREAK_CHECKS: usize = 4;

/// Least gain of log-likelihood, by what is claimed.
const WHOLE_SENSOR: f64 = 9.0;

/// The same without what the log says.
const WITHOUT_LOG: f64 = 4.5;

const SENSOR_JUMP: f64 = 15.0;

const GAP_JUMP: f64 = 9.5;

const OTHER_MINUTES: f64 = 1.5;

/// Minutes that the lag before a jump has to be further off than the lag after it, to be the wrong one.
const RATHER_AFTER: f64 = 10.0;

/// Log-likelihood by which the log tells it instead.
const TOLD_BY_LOG: f64 = 3.0;

/// A sensor's lag is claimed from so many minutes outside 0 to 20; ten and more is what shall be found.
const OUTSIDE: f64 = 5.0;

/// How unusual a delay is beside a usual one in minutes, as a part of a log-likelihood.
pub(crate) fn unusual(delay: i32, usual: f64) -> f64 {
    let off = (f64::from(delay) * STEP - usual) / USUAL_DELAY.1;
    -off * off / 2.0
}

/// The highest that a profile is at a delay, with how usual that is.
fn highest_delay(profile: &[f64]) -> f64 {
    DELAYS
        .map(|delay| value(profile, delay) + unusual(delay, USUAL_DELAY.0))
        .fold(f64::NEG_INFINITY, f64::max)
}

/// What sensors worn at the same time add to the profile of a sensor: they have delays as delays are.
fn add_beside(
    profiles: &Profiles,
    (pairs, wholes): (&[Pair], &[i32]),
    sensor: usize,
    profile: &mut [f64],
) -> usize {
    let mut used = 0;
    for pair in pairs {
        let Some(other) = pair.other(sensor) else {
            continue;
        };
        let own = profiles.of_sensor.get(other).map_or(&[][..], Vec::as_slice);
        let theirs = profiles.sum(own);
        let usual = highest_delay(&theirs);
        if highest(&theirs, -REACH..=REACH).1 - usual > WHOLE_SENSOR / 2.0 {
            continue;
        }
        used += 1;
        let shift = |sensor: usize| wholes.get(sensor).copied().unwrap_or(0);
        let apart = shift(sensor) - shift(other);
        for (lag, sum) in (-REACH..=REACH).zip(profile.iter_mut()) {
            *sum += DELAYS
                .map(|delay| {
                    value(&theirs, delay) + unusual(delay, USUAL_DELAY.0) - usual
                        + pair.lag_of(sensor, lag - delay + apart)
                })
                .fold(f64::NEG_INFINITY, f64::max);
        }
    }
    used
}

/// A profile of a sensor's lag with what the log says of its shift, delays being as they are.
fn with_log(profiles: &Profiles, sensor: usize, profile: &[f64]) -> Vec<f64> {
    let span = [None, None];
    let shifts: Vec<f64> = (-REACH..=REACH)
        .map(|steps| profiles.edges_gain(Some(sensor), span, f64::from(steps) * STEP))
        .collect();
    let by_log = |lag: i32| {
        DELAYS
            .map(|delay| value(&shifts, lag - delay) + unusual(delay, USUAL_DELAY.0))
            .fold(f64::NEG_INFINITY, f64::max)
    };
    let lags = (-REACH..=REACH).zip(profile);
    lags.map(|(lag, own)| own + by_log(lag)).collect()
}

/// What the log says where the clock of a sensor is put forward after a moment, and put back before it.
fn log_around(profiles: &Profiles, sensor: usize, at: f64, minutes: f64) -> (f64, f64) {
    let own = Some(sensor);
    (
        profiles.edges_gain(own, [Some(at), None], minutes),
        profiles.edges_gain(own, [None, Some(at)], -minutes),
    )
}

/// The lag of a sensor outside what a delay can be.
pub(crate) fn whole_sensor(
    profiles: &Profiles,
    beside: (&[Pair], &[i32]),
    sensor: usize,
) -> Option<Cause> {
    let items = profiles.of_sensor.get(sensor)?;
    let mut profile = profiles.sum(items);
    let others = add_beside(profiles, beside, sensor, &mut profile);
    if items.len() < LEAST_CHECKS && others == 0 {
        return None;
    }
    let with_log = with_log(profiles, sensor, &profile);
    let (lag, top) = highest(&with_log, -REACH..=REACH);
    let usual = highest_delay(&with_log);
    if value(&profile, lag) - highest_delay(&profile) < WITHOUT_LOG {
        return None;
    }
    let (minutes, error) = around_top(&profile, lag);
    let outside = !(-OUTSIDE..=20.0 + OUTSIDE).contains(&minutes);
    outside.then(|| Cause {
        scope: Scope::Sensor(sensor),
        items: items.clone(),
        whole: true,
        minutes: minutes - USUAL_DELAY.0,
        error,
        lag: Some(minutes),
        net: top - usual - WHOLE_SENSOR,
        begins: None,
        ends: None,
        steps: lag - (USUAL_DELAY.0 / STEP).round() as i32,
        shown: false,
        by_log: 0.0,
        edges: Vec::new(),
    })
}

/// The best moment at which a sensor's lag changes, whatever it is before and after.
pub(crate) fn sensor_jump(profiles: &Profiles, sensor: usize) -> Option<Cause> {
    let items = profiles.of_sensor.get(sensor)?;
    if items.len() < 2 * SIDE_CHECKS {
        return None;
    }
    let time = |position: usize| profiles.items[items[position]].time;
    let whole = profiles.sum(items);
    let (_, flat) = highest(&whole, -REACH..=REACH);
    let mut before = vec![0.0; whole.len()];
    let mut found: Option<(f64, usize)> = None;
    for split in 1..items.len() {
        for (lag, sum) in (-REACH..=REACH).zip(&mut before) {
            *sum += profiles.at(items[split - 1], lag);
        }
        let early = (time(split) - time(0)) / 1440.0;
        let late = (time(items.len() - 1) - time(split)) / 1440.0;
        let enough = split.min(items.len() - split) >= SIDE_CHECKS;
        if !enough || early < SIDE_DAYS || late < SIDE_DAYS {
            continue;
        }
        let first = before.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let second = before
            .iter()
            .zip(&whole)
            .map(|(before, whole)| whole - before)
            .fold(f64::NEG_INFINITY, f64::max);
        if found.is_none_or(|best| first + second > best.0) {
            found = Some((first + second, split));
        }
    }
    let (top, split) = found?;
    let cause = jump_at(profiles, sensor, split, None)?;
    let usual = highest(&whole, DELAYS).1;
    let top = top + cause.by_log;
    let enough = top - flat > SENSOR_JUMP && cause.minutes.abs() >= LEAST_JUMP;
    enough.then_some(Cause {
        net: top - usual - SENSOR_JUMP,
        ..cause
    })
}

/// A jump of a sensor's lag between two of its checks; by so many minutes where that is known.
fn jump_at(profiles: &Profiles, sensor: usize, split: usize, known: Option<f64>) -> Option<Cause> {
    let items = profiles.of_sensor.get(sensor)?;
    let time = |position: usize| profiles.items[items[position]].time;
    let (first, second) = (profiles.sum(&items[..split]), profiles.sum(&items[split..]));
    let (early, late) = match known {
        None => (
            highest(&first, -REACH..=REACH).0,
            highest(&second, -REACH..=REACH).0,
        ),
        Some(minutes) => {
            let steps = (minutes / STEP).round() as i32;
            let (early, _) = best_before(&first, &second, steps);
            (early, early + steps)
        }
    };
    let told = || {
        let (first, second) = (around_top(&first, early), around_top(&second, late));
        (second.0 - first.0, second.1.hypot(first.1))
    };
    let (minutes, error) = known.map_or_else(told, |minutes| (minutes, 1.0));
    // Which side is off is told by the one that no delay explains; where both may be, clocks go wrong more often than right.
    let off = |lag: i32| (f64::from(lag) * STEP - USUAL_DELAY.0).abs();
    let at = (time(split - 1) + time(split)) / 2.0;
    let (log_after, log_before) = log_around(profiles, sensor, at, minutes);
    let after = match log_after - log_before {
        told if told.abs() >= TOLD_BY_LOG => told > 0.0,
        _ => off(late) + RATHER_AFTER >= off(early),
    };
    let (shifted, steps) = if after {
        (items[split..].to_vec(), late - early)
    } else {
        (items[..split].to_vec(), early - late)
    };
    Some(Cause {
        scope: Scope::Sensor(sensor),
        items: shifted,
        whole: false,
        minutes: if after { minutes } else { -minutes },
        error,
        lag: None,
        net: 0.0,
        begins: after.then_some(at),
        ends: (!after).then_some(at),
        steps,
        shown: known.is_some(),
        by_log: if after { log_after } else { log_before },
        edges: Vec::new(),
    })
}

/// The lag before a jump of so many steps that explains both sides best, and how well.
fn best_before(first: &[f64], second: &[f64], steps: i32) -> (i32, f64) {
    (-REACH..=REACH)
        .map(|lag| (lag, value(first, lag) + value(second, lag + steps)))
        .fold((0, f64::NEG_INFINITY), |best, next| {
            if next.1 > best.1 { next } else { best }
        })
}

/// Logarithm of how many breaks there are of each sign that chance may give.
pub(crate) fn chances<'a>(breaks: impl Iterator<Item = &'a Break> + Clone) -> impl Fn(Sign) -> f64 {
    let of = |sign: Sign| {
        let own = breaks.clone().filter(|found| found.sign == sign);
        let count = own.filter(|found| found.price == 0.0).count();
        (count.max(1) as f64).ln()
    };
    let (gaps, others) = (of(Sign::Gap), of(Sign::OtherMinutes));
    move |sign| match sign {
        Sign::Overlap => 0.0,
        Sign::OtherMinutes => others,
        Sign::Gap => gaps,
    }
}

/// What a jump that readings show, one of some, is worth for what it gained; `None` where it is not.
pub(crate) fn worth(sign: Sign, gained: f64, chances: impl Fn(Sign) -> f64) -> Option<f64> {
    let gained = gained - chances(sign);
    let worth = match sign {
        Sign::Overlap if gained > -GAP_JUMP => gained + SENSOR_JUMP,
        Sign::Overlap => return None,
        Sign::OtherMinutes => gained - OTHER_MINUTES,
        Sign::Gap => gained - GAP_JUMP,
    };
    (worth > 0.0).then_some(worth)
}

/// A jump where the times of the readings show one: its size is known, and with an overlap that it was one.
pub(crate) fn sensor_break(profiles: &Profiles, sensor: usize, breaks: &[Break]) -> Option<Cause> {
    let items = profiles.of_sensor.get(sensor)?;
    let whole = profiles.sum(items);
    let (_, flat) = highest(&whole, -REACH..=REACH);
    let usual = highest(&whole, DELAYS).1;
    let chances = chances(breaks.iter());
    let mut best: Option<Cause> = None;
    for found in breaks {
        let split = items.partition_point(|item| profiles.items[*item].time <= found.at);
        let sides = split.min(items.len() - split);
        let done = items
            .get(split.saturating_sub(1)..=split)
            .is_some_and(|two| matches!(two, [a, b] if profiles.shift[*a] != profiles.shift[*b]));
        if sides < BREAK_CHECKS || done {
            continue;
        }
        let (first, second) = (profiles.sum(&items[..split]), profiles.sum(&items[split..]));
        let steps = (found.minutes / STEP).round() as i32;
        let (after, before) = log_around(profiles, sensor, found.at, found.minutes);
        let gained = best_before(&first, &second, steps).1 - flat + after.max(before);
        // Worth its price against one lag for all; ranked, as other causes are, against a delay alone.
        let Some(worth) = worth(found.sign, gained - found.price, &chances) else {
            continue;
        };
        let net = worth + flat - usual;
        if best.as_ref().is_none_or(|best| net > best.net) {
            let cause = jump_at(profiles, sensor, split, Some(found.minutes))?;
            let at = Some(found.at);
            best = Some(Cause {
                net,
                begins: cause.begins.and(at),
                ends: cause.ends.and(at),
                ..cause
            });
        }
    }
    best
}
