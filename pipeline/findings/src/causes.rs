//! What shifts of clocks explain the lags of a wearer's sensors: the fewest, the weightiest first.
//!
//! A cause shifts the lag of some fingersticks: all of a sensor, a sensor's from a moment on, all of a meter, a meter's
//! or everybody's over a stretch of time. Each is weighed by the gain of log-likelihood over delays of 0 to 20 min
//! alone; the best that is worth its price is taken, and the rest is looked at again with it explained. So one
//! meter's clock is one cause, not one for each sensor.

use crate::lag::{DELAYS, Profiles, REACH, STEP, around_top, highest, moments, value};
use crate::trace::{Break, Sign, Trace};
use crate::worn_at_once::Pair;

/// Steps of the grid in an hour.
pub(crate) const HOUR: i32 = 24;

/// Mean delay of sensors behind the blood, minutes, and how much sensors differ: what several sensors together are
/// held to. Published means lie between 5 and 15 min (Basu et al. 2013 Diabetes 62:4083 and later work on devices).
pub(crate) const USUAL_DELAY: (f64, f64) = (9.0, 5.0);

/// Days on each side of a jump, and checks there.
const SIDE_DAYS: f64 = 4.5;
const SIDE_CHECKS: usize = 8;

/// Checks on each side of a break that the readings themselves show.
const BREAK_CHECKS: usize = 4;

/// Least checks of a sensor whose clock is judged.
const LEAST_CHECKS: usize = 6;

/// Least checks of a stretch, and beside it.
const LEAST_STRETCH: usize = 12;

/// Least gain of log-likelihood, by what is claimed.
const WHOLE_SENSOR: f64 = 9.0;
const SENSOR_JUMP: f64 = 15.0;
const GAP_JUMP: f64 = 9.5;
const OTHER_MINUTES: f64 = 3.0;
const WHOLE_METER: f64 = 11.0;
const STRETCH: f64 = 17.0;
/// More for a stretch that ends within the data too.
const BOTH_ENDS: f64 = 4.0;

/// Least minutes claimed of a jump or between meters; fifteen and more is what shall be found.
const LEAST_JUMP: f64 = 11.5;

/// Minutes that the lag before a jump has to be further off than the lag after it, to be the wrong one.
const RATHER_AFTER: f64 = 10.0;

/// A sensor's lag is claimed from so many minutes outside 0 to 20; ten and more is what shall be found.
const OUTSIDE: f64 = 5.0;

/// How often the ends of a stretch are moved.
const MOST_TRIMS: usize = 5;

/// Blocks that a sensor's checks are cut into for a search over time.
const BLOCKS: usize = 8;

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
}

/// All causes worth their price, in the order in which they were taken; `profiles` keep them as explained.
pub(crate) fn causes(
    profiles: &mut Profiles,
    traces: &[&Trace],
    pairs: &[Pair],
    meters: usize,
) -> Vec<Cause> {
    // Steps by which each sensor as a whole was found to be shifted.
    let mut wholes = vec![0; profiles.of_sensor.len()];
    let mut taken: Vec<Cause> = Vec::new();
    for _ in 0..4 + 2 * profiles.of_sensor.len() {
        let Some(best) = best(profiles, traces, (pairs, &wholes), meters) else {
            break;
        };
        for item in &best.items {
            profiles.shift[*item] += best.steps;
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
    meters: usize,
) -> Option<Cause> {
    let mut found: Vec<Cause> = Vec::new();
    for sensor in 0..profiles.of_sensor.len() {
        found.extend(whole_sensor(profiles, beside, sensor));
        found.extend(sensor_jump(profiles, sensor));
        let breaks = traces.get(sensor).map_or(&[][..], |trace| &trace.breaks);
        found.extend(sensor_break(profiles, sensor, breaks));
    }
    let search = Search::new(profiles);
    if meters > 1 {
        for meter in 0..meters {
            found.extend(whole_meter(profiles, &search, meter));
            found.extend(stretch(profiles, &search, Scope::Meter(meter)));
        }
    }
    found.extend(stretch(profiles, &search, Scope::All));
    found
        .into_iter()
        .filter(|cause| cause.net > 0.0)
        .fold(None, |best: Option<Cause>, next| match best {
            Some(best) if best.net >= next.net => Some(best),
            _ => Some(next),
        })
}

/// How unusual a delay is, as a part of a log-likelihood.
fn unusual(delay: i32) -> f64 {
    let off = (f64::from(delay) * STEP - USUAL_DELAY.0) / USUAL_DELAY.1;
    -off * off / 2.0
}

/// The highest that a profile is at a delay, with how usual that is.
fn highest_delay(profile: &[f64]) -> f64 {
    DELAYS
        .map(|delay| value(profile, delay) + unusual(delay))
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
                    value(&theirs, delay) + unusual(delay) - usual
                        + pair.lag_of(sensor, lag - delay + apart)
                })
                .fold(f64::NEG_INFINITY, f64::max);
        }
    }
    used
}

/// The lag of a sensor outside what a delay can be.
fn whole_sensor(profiles: &Profiles, beside: (&[Pair], &[i32]), sensor: usize) -> Option<Cause> {
    let items = profiles.of_sensor.get(sensor)?;
    let mut profile = profiles.sum(items);
    let others = add_beside(profiles, beside, sensor, &mut profile);
    if items.len() < LEAST_CHECKS && others == 0 {
        return None;
    }
    let (lag, top) = highest(&profile, -REACH..=REACH);
    let usual = highest_delay(&profile);
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
    })
}

/// The best moment at which a sensor's lag changes, whatever it is before and after.
fn sensor_jump(profiles: &Profiles, sensor: usize) -> Option<Cause> {
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
    let after = off(late) + RATHER_AFTER >= off(early);
    let (shifted, steps) = if after {
        (items[split..].to_vec(), late - early)
    } else {
        (items[..split].to_vec(), early - late)
    };
    let at = (time(split - 1) + time(split)) / 2.0;
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

/// A jump where the times of the readings show one: its size is known, and with an overlap that it was one.
fn sensor_break(profiles: &Profiles, sensor: usize, breaks: &[Break]) -> Option<Cause> {
    let items = profiles.of_sensor.get(sensor)?;
    let whole = profiles.sum(items);
    let (_, flat) = highest(&whole, -REACH..=REACH);
    let usual = highest(&whole, DELAYS).1;
    let gaps = breaks
        .iter()
        .filter(|found| found.sign == Sign::Gap)
        .count() as f64;
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
        let gained = best_before(&first, &second, steps).1 - flat;
        // Worth its price against one lag for all; ranked, as other causes are, against a delay alone.
        let worth = match found.sign {
            Sign::Overlap if gained > -GAP_JUMP => gained + SENSOR_JUMP,
            Sign::Overlap => continue,
            Sign::OtherMinutes => gained - OTHER_MINUTES,
            Sign::Gap => gained - GAP_JUMP - gaps.ln(),
        };
        if worth <= 0.0 {
            continue;
        }
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

/// A run of checks of one sensor, few enough that a shift holds for all or none.
struct Block {
    sensor: usize,
    items: Vec<usize>,
    from: f64,
    to: f64,
}

/// Blocks of all sensors, by time, and the weights of delays.
struct Search {
    blocks: Vec<Block>,
    prior: Vec<f64>,
}

impl Search {
    fn new(profiles: &Profiles) -> Self {
        let mut blocks = Vec::new();
        for (sensor, items) in profiles.of_sensor.iter().enumerate() {
            let size = items.len().div_ceil(BLOCKS).max(3);
            for run in items.chunks(size) {
                let time =
                    |item: Option<&usize>| item.map_or(0.0, |item| profiles.items[*item].time);
                blocks.push(Block {
                    sensor,
                    items: run.to_vec(),
                    from: time(run.first()),
                    to: time(run.last()),
                });
            }
        }
        blocks.sort_by(|a, b| a.from.total_cmp(&b.from).then(a.sensor.cmp(&b.sensor)));
        let prior = DELAYS.map(unusual).collect();
        Self { blocks, prior }
    }
}

/// Log of the sum of exponentials.
fn log_sum(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = values.clone().fold(f64::NEG_INFINITY, f64::max);
    top + values.map(|value| (value - top).exp()).sum::<f64>().ln()
}

/// Gain of log-likelihood where the lag of `items` is longer by `steps`, each sensor having a delay of its own.
fn gain(profiles: &Profiles, prior: &[f64], items: &[usize], steps: i32) -> f64 {
    let mut by_sensor = std::collections::BTreeMap::<usize, Vec<usize>>::new();
    for item in items {
        by_sensor
            .entry(profiles.items[*item].sensor)
            .or_default()
            .push(*item);
    }
    by_sensor
        .iter()
        .map(|(sensor, shifted)| sensor_gain(profiles, prior, *sensor, shifted, steps))
        .sum()
}

fn sensor_gain(
    profiles: &Profiles,
    prior: &[f64],
    sensor: usize,
    shifted: &[usize],
    steps: i32,
) -> f64 {
    let own = profiles
        .of_sensor
        .get(sensor)
        .map_or(&[][..], Vec::as_slice);
    let sums = |of: &[usize], more: i32| -> Vec<f64> {
        DELAYS
            .map(|delay| of.iter().map(|item| profiles.at(*item, delay + more)).sum())
            .collect()
    };
    let (all, before, after) = (sums(own, 0), sums(shifted, 0), sums(shifted, steps));
    let base = log_sum(prior.iter().zip(&all).map(|(p, a)| p + a));
    let with = prior.iter().zip(&all).zip(before.iter().zip(&after));
    log_sum(with.map(|((p, all), (before, after))| p + all - before + after)) - base
}

/// Shifts tried over stretches of time: every 5 min up to 3 h, then whole hours.
fn shifts() -> impl Iterator<Item = i32> {
    let near = (6..=72).step_by(2);
    let hours = (4..=14).map(|hours| hours * HOUR);
    near.chain(hours).flat_map(|steps| [steps, -steps])
}

/// The checks of one meter against those of the others.
fn whole_meter(profiles: &Profiles, search: &Search, meter: usize) -> Option<Cause> {
    let items: Vec<usize> = (0..profiles.items.len())
        .filter(|item| profiles.items[*item].meter == meter)
        .collect();
    if items.len() < LEAST_CHECKS || profiles.items.len() - items.len() < LEAST_CHECKS {
        return None;
    }
    let gains: Vec<(i32, f64)> = shifts()
        .map(|steps| (steps, gain(profiles, &search.prior, &items, steps)))
        .collect();
    let (steps, top) = refined(profiles, search, &items, &gains)?;
    shift_of(
        profiles,
        search,
        Scope::Meter(meter),
        items,
        (steps, top),
        WHOLE_METER,
    )
}

/// The best of some shifts, refined to a step of the grid.
fn refined(
    profiles: &Profiles,
    search: &Search,
    items: &[usize],
    gains: &[(i32, f64)],
) -> Option<(i32, f64)> {
    let best = gains.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    [best.0 - 1, best.0 + 1]
        .into_iter()
        .map(|steps| (steps, gain(profiles, &search.prior, items, steps)))
        .chain([*best])
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

/// A cause that shifts some checks of several sensors; its size is the mean over the likelihood around its top.
fn shift_of(
    profiles: &Profiles,
    search: &Search,
    scope: Scope,
    items: Vec<usize>,
    (steps, top): (i32, f64),
    price: f64,
) -> Option<Cause> {
    if top <= price {
        return None;
    }
    let (mean, error) = moments((-5..=5).map(|near| {
        let share = (gain(profiles, &search.prior, &items, steps + near) - top).exp();
        (share, f64::from(near) * STEP)
    }));
    let minutes = f64::from(steps) * STEP + mean;
    let in_scope = |item: &usize| match scope {
        Scope::Meter(meter) => profiles.items[*item].meter == meter,
        _ => true,
    };
    let others: Vec<usize> = (0..profiles.items.len()).filter(in_scope).collect();
    let (first_item, last_item) = (items.iter().min().copied()?, items.iter().max().copied()?);
    let time = |item: usize| profiles.items[item].time;
    let before = others.iter().rev().find(|item| **item < first_item);
    let after = others.iter().find(|item| **item > last_item);
    let (begins, ends) = (before.is_some(), after.is_some());
    if begins || ends {
        let days = (time(last_item) - time(first_item)) / 1440.0;
        let rest = others.len() - items.len();
        if days < SIDE_DAYS || items.len().min(rest) < LEAST_STRETCH {
            return None;
        }
    }
    // Clocks that are set stay so; only a journey ends.
    let hours = (minutes / 60.0).round();
    let journey = hours != 0.0 && (minutes - 60.0 * hours).abs() <= 10.0;
    if begins && ends && !journey {
        return None;
    }
    let price = price + if begins && ends { BOTH_ENDS } else { 0.0 };
    (minutes.abs() >= LEAST_JUMP).then(|| Cause {
        scope,
        whole: before.is_none() && after.is_none(),
        minutes,
        error,
        lag: None,
        net: top - price,
        begins: before.map(|item| (time(*item) + time(first_item)) / 2.0),
        ends: after.map(|item| (time(*item) + time(last_item)) / 2.0),
        items,
        steps,
    })
}

/// The best stretch of time over which all checks, or those of a meter, are shifted.
fn stretch(profiles: &Profiles, search: &Search, scope: Scope) -> Option<Cause> {
    let blocks: Vec<(f64, f64, Vec<usize>)> = search
        .blocks
        .iter()
        .filter_map(|block| {
            let own = |item: &&usize| match scope {
                Scope::Meter(meter) => profiles.items[**item].meter == meter,
                _ => true,
            };
            let items: Vec<usize> = block.items.iter().filter(own).copied().collect();
            (!items.is_empty()).then_some((block.from, block.to, items))
        })
        .collect();
    if blocks.len() < 2 {
        return None;
    }
    let sums: Vec<Vec<f64>> = blocks.iter().map(|block| profiles.sum(&block.2)).collect();
    let total: usize = blocks.iter().map(|block| block.2.len()).sum();
    let ends = [blocks.first(), blocks.last()]
        .map(|block| block.and_then(|block| block.2.first()).copied());
    let at_an_end = |items: &[usize]| ends.iter().flatten().any(|end| items.contains(end));
    let mut found: [Option<(Vec<usize>, i32, f64)>; 2] = [None, None];
    for steps in shifts() {
        for run in runs(&sums, steps) {
            let items: Vec<usize> = blocks
                .get(run)?
                .iter()
                .flat_map(|block| block.2.iter().copied())
                .collect();
            let gained = gain(profiles, &search.prior, &items, steps);
            let sides = usize::from(items.len() < total && !at_an_end(&items));
            let best = found.get_mut(sides)?;
            if best.as_ref().is_none_or(|best| gained > best.2) {
                *best = Some((items, steps, gained));
            }
        }
    }
    if let Some(side) = one_sided(profiles, search, &blocks)
        && found[0].as_ref().is_none_or(|best| side.2 > best.2)
    {
        found[0] = Some(side);
    }
    let made = found.into_iter().flatten().filter_map(|(items, steps, _)| {
        let mut items = items;
        for _ in 0..MOST_TRIMS {
            let trimmed = trimmed(profiles, search, scope, items.clone(), steps);
            if trimmed == items {
                break;
            }
            items = trimmed;
        }
        let top = gain(profiles, &search.prior, &items, steps);
        let (steps, top) = refined(profiles, search, &items, &[(steps, top)])?;
        shift_of(profiles, search, scope, items, (steps, top), STRETCH)
    });
    made.max_by(|a, b| a.net.total_cmp(&b.net))
}

/// The best moment from which, or until which, all checks are shifted by up to an hour: a free delay of each block would
/// hide so small a shift.
fn one_sided(
    profiles: &Profiles,
    search: &Search,
    blocks: &[(f64, f64, Vec<usize>)],
) -> Option<(Vec<usize>, i32, f64)> {
    let mut own: Vec<(usize, Vec<usize>)> = Vec::new();
    let mut all: Vec<usize> = blocks
        .iter()
        .flat_map(|block| block.2.iter().copied())
        .collect();
    all.sort_unstable();
    for item in &all {
        let sensor = profiles.items[*item].sensor;
        match own.iter_mut().find(|known| known.0 == sensor) {
            Some(known) => known.1.push(*item),
            None => own.push((sensor, vec![*item])),
        }
    }
    let mut best: Option<(usize, bool, i32, f64)> = None;
    for steps in shifts().filter(|steps| steps.abs() <= HOUR) {
        let whole: Vec<f64> = own
            .iter()
            .map(|(sensor, items)| sensor_gain(profiles, &search.prior, *sensor, items, steps))
            .collect();
        for block in blocks {
            let Some(&split) = block.2.first() else {
                continue;
            };
            let (mut after, mut before) = (0.0, 0.0);
            for ((sensor, items), whole) in own.iter().zip(&whole) {
                let cut = items.partition_point(|item| *item < split);
                if cut == 0 {
                    after += whole;
                } else if cut == items.len() {
                    before += whole;
                } else {
                    after += sensor_gain(profiles, &search.prior, *sensor, &items[cut..], steps);
                    before += sensor_gain(profiles, &search.prior, *sensor, &items[..cut], steps);
                }
            }
            for (late, gained) in [(true, after), (false, before)] {
                if best.is_none_or(|best| gained > best.3) {
                    best = Some((split, late, steps, gained));
                }
            }
        }
    }
    let (split, late, steps, gained) = best?;
    let items = all
        .into_iter()
        .filter(|item| (*item >= split) == late)
        .collect();
    Some((items, steps, gained))
}

/// Runs of blocks worth a closer look for a shift: the best one, and from its ends to those of the data.
fn runs(sums: &[Vec<f64>], steps: i32) -> Vec<std::ops::Range<usize>> {
    let usual = *DELAYS.start()..=*DELAYS.end();
    let shifted = DELAYS.start() + steps..=DELAYS.end() + steps;
    let (mut best, mut top) = (0..0, 0.0);
    let (mut start, mut sum) = (0, 0.0);
    for (position, profile) in sums.iter().enumerate() {
        let gain = highest(profile, shifted.clone()).1 - highest(profile, usual.clone()).1;
        if sum <= 0.0 {
            (start, sum) = (position, 0.0);
        }
        sum += gain;
        if sum > top {
            (best, top) = (start..position + 1, sum);
        }
    }
    if best.is_empty() {
        return Vec::new();
    }
    vec![best.clone(), best.start..sums.len(), 0..best.end]
}

/// Moves the ends of a stretch check by check, where that explains more.
fn trimmed(
    profiles: &Profiles,
    search: &Search,
    scope: Scope,
    items: Vec<usize>,
    steps: i32,
) -> Vec<usize> {
    let own: Vec<usize> = (0..profiles.items.len())
        .filter(|item| match scope {
            Scope::Meter(meter) => profiles.items[*item].meter == meter,
            _ => true,
        })
        .collect();
    let place = |item: Option<usize>| item.and_then(|item| own.binary_search(&item).ok());
    let (Some(first), Some(last)) = (
        place(items.iter().min().copied()),
        place(items.iter().max().copied()),
    ) else {
        return items;
    };
    let score = |range: std::ops::Range<usize>| {
        own.get(range).map_or(f64::NEG_INFINITY, |items| {
            gain(profiles, &search.prior, items, steps)
        })
    };
    let near = |place: usize, most: usize| place.saturating_sub(12)..=(place + 12).min(most);
    let start = near(first, if first == 0 { 0 } else { last })
        .map(|start| (start, score(start..last + 1)))
        .fold((first, f64::NEG_INFINITY), |best, next| {
            if next.1 > best.1 { next } else { best }
        })
        .0;
    let end = near(last, own.len() - 1)
        .filter(|end| *end >= start && (last + 1 < own.len() || *end == last))
        .map(|end| (end, score(start..end + 1)))
        .fold((last, f64::NEG_INFINITY), |best, next| {
            if next.1 > best.1 { next } else { best }
        })
        .0;
    own.get(start..=end).map_or(items, <[usize]>::to_vec)
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
