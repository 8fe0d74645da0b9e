//! Shifts of the lag of several sensors: of a meter's checks, and of a meter's or everybody's over a stretch of time.

use std::cell::RefCell;
use std::collections::BTreeMap;

use crate::clocks::causes::{
    Cause, LEAST_CHECKS, LEAST_JUMP, SIDE_DAYS, Scope, USUAL_DELAY, delays,
};
use crate::clocks::lag::{DELAY_COUNT, DELAYS, Profiles, REACH, STEP, highest, moments};
use crate::clocks::sensor_shifts::unusual;

/// Steps of the grid in an hour.
pub(crate) const HOUR: i32 = 24;

/// Least checks of a stretch, and beside it.
const LEAST_STRETCH: usize = 12;

/// Least gain of log-likelihood by fingersticks, whatever the log says.
const WITHOUT_LOG: f64 = 8.0;

const WHOLE_METER: f64 = 11.0;

/// Price of a shift of several sensors over a stretch of time.
pub(crate) const STRETCH: f64 = 17.0;

/// Less for one of so many checks, with as many beside it: few are shifted by chance more easily than many.
const OF_MANY: f64 = 3.0;
const MANY: usize = 40;

/// More for a stretch that ends within the data too.
pub(crate) const BOTH_ENDS: f64 = 4.0;

/// How often the ends of a stretch are moved.
const MOST_TRIMS: usize = 5;

/// Gain of log-likelihood by a lag that is no delay from which on a sensor's clock is doubted.
const DOUBTED: f64 = 4.5;

/// Blocks that a sensor's checks are cut into for a search over time.
const BLOCKS: usize = 8;

/// A run of checks of one sensor, few enough that a shift holds for all or none.
struct Block {
    sensor: usize,
    items: Vec<usize>,
    from: f64,
    to: f64,
}

/// Blocks of all sensors, by time, and the weights of delays.
pub(crate) struct Search {
    blocks: Vec<Block>,
    /// How usual each delay is, as a part of a log-likelihood.
    pub prior: Vec<f64>,
    /// Sums over all checks of a sensor, whose lags are longer by some steps.
    of_all: RefCell<BTreeMap<(usize, i32), Delays>>,
}

/// A value for each delay.
type Delays = [f64; DELAY_COUNT];

impl Search {
    pub fn new(profiles: &Profiles) -> Self {
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
        let usual = mean_delay(profiles);
        let prior = DELAYS.map(|delay| unusual(delay, usual)).collect();
        Self {
            blocks,
            prior,
            of_all: RefCell::default(),
        }
    }
}

/// Mean delay of the sensors whose clock nothing doubts, minutes, held to what is usual as if that were two sensors more.
fn mean_delay(profiles: &Profiles) -> f64 {
    let known = delays(profiles).into_iter().zip(&profiles.of_sensor);
    let undoubted = known.filter_map(|(delay, items)| {
        let profile = profiles.sum(items);
        let outside = highest(&profile, -REACH..=REACH).1 - highest(&profile, DELAYS).1;
        delay.filter(|_| outside < DOUBTED)
    });
    let (sum, count) = undoubted.fold((2.0 * USUAL_DELAY.0, 2.0), |(sum, count), delay| {
        (sum + delay, count + 1.0)
    });
    sum / count
}

/// Log of the sum of exponentials.
pub(crate) fn log_sum(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = values.clone().fold(f64::NEG_INFINITY, f64::max);
    top + values.map(|value| (value - top).exp()).sum::<f64>().ln()
}

/// Gain of log-likelihood where the lag of `items` is longer by `steps`, each sensor having a delay of its own.
pub(crate) fn gain(profiles: &Profiles, search: &Search, items: &[usize], steps: i32) -> f64 {
    let mut counts = vec![0; profiles.of_sensor.len()];
    let sensor_of = |item: &usize| profiles.items[*item].sensor;
    for item in items {
        counts[sensor_of(item)] += 1;
    }
    let mut parts = BTreeMap::<usize, Vec<usize>>::new();
    for item in items {
        let sensor = sensor_of(item);
        if counts[sensor] < profiles.of_sensor[sensor].len() {
            parts.entry(sensor).or_default().push(*item);
        }
    }
    let counted = counts.iter().enumerate().filter(|(_, count)| **count > 0);
    counted
        .map(|(sensor, _)| {
            let shifted = parts.get(&sensor).unwrap_or(&profiles.of_sensor[sensor]);
            sensor_gain(profiles, search, sensor, shifted, steps)
        })
        .sum()
}

/// The checks that a scope is about.
fn of_scope(profiles: &Profiles, scope: Scope) -> Vec<usize> {
    let all = 0..profiles.items.len();
    all.filter(|item| scope.has_item(&profiles.items[*item]))
        .collect()
}

/// Sums over items at each delay and some steps more.
fn sums(profiles: &Profiles, of: &[usize], more: i32) -> Delays {
    let mut sums = [0.0; DELAY_COUNT];
    for (delay, sum) in DELAYS.zip(&mut sums) {
        *sum = of.iter().map(|item| profiles.at(*item, delay + more)).sum();
    }
    sums
}

fn sensor_gain(
    profiles: &Profiles,
    search: &Search,
    sensor: usize,
    shifted: &[usize],
    steps: i32,
) -> f64 {
    let own = &profiles.of_sensor[sensor];
    let of_all = |more: i32| {
        let mut known = search.of_all.borrow_mut();
        let known = known.entry((sensor, more));
        *known.or_insert_with(|| sums(profiles, own, more))
    };
    let all = of_all(0);
    let (before, after) = match shifted.len() == own.len() {
        true => (all, of_all(steps)),
        false => (sums(profiles, shifted, 0), sums(profiles, shifted, steps)),
    };
    let base = log_sum(search.prior.iter().zip(&all).map(|(p, a)| p + a));
    let with = search.prior.iter().zip(&all).zip(before.iter().zip(&after));
    log_sum(with.map(|((p, all), (before, after))| p + all - before + after)) - base
}

/// What the log says of a stretch: its gain, and the moments between which the stretch begins and ends.
struct ByLog {
    gain: f64,
    begins: (f64, f64),
    ends: (f64, f64),
}

/// What the log says of shifted items: all in between counts, and beside them as far as it says that it is shifted too.
fn by_log(profiles: &Profiles, scope: Scope, items: &[usize], steps: i32) -> ByLog {
    let time = |item: usize| profiles.items.get(item).map(|item| item.time);
    let (first, last) = (items.iter().min(), items.iter().max());
    let of_scope = |item: &usize| scope.has_item(&profiles.items[*item]);
    let before = first.and_then(|first| (0..*first).rev().find(of_scope));
    let after = last.and_then(|last| (last + 1..profiles.items.len()).find(of_scope));
    let moment = |item: Option<usize>, none: f64| item.and_then(time).unwrap_or(none);
    let (before, after) = (
        moment(before, f64::NEG_INFINITY),
        moment(after, f64::INFINITY),
    );
    let (first, last) = (moment(first.copied(), before), moment(last.copied(), after));
    let mut told = ByLog {
        gain: 0.0,
        begins: (before, first),
        ends: (last, after),
    };
    let minutes = f64::from(steps) * STEP;
    let own = profiles.edges.iter().filter(|edge| scope.has(edge));
    let own: Vec<(f64, f64)> = own.map(|edge| (edge.time, edge.gain(minutes))).collect();
    let inside = own.iter().filter(|edge| (first..=last).contains(&edge.0));
    told.gain += inside.map(|edge| edge.1).sum::<f64>();
    let (early, (from, to)) = as_far(
        own.iter()
            .rev()
            .filter(|edge| before < edge.0 && edge.0 < first),
        before,
    );
    told.gain += early;
    told.begins = (from.unwrap_or(before), to.unwrap_or(first));
    let (late, (to, from)) = as_far(
        own.iter().filter(|edge| last < edge.0 && edge.0 < after),
        after,
    );
    told.gain += late;
    told.ends = (from.unwrap_or(last), to.unwrap_or(after));
    told
}

/// What fingersticks and the log gain together.
fn gain_with_log(
    profiles: &Profiles,
    search: &Search,
    scope: Scope,
    items: &[usize],
    steps: i32,
) -> f64 {
    gain(profiles, search, items, steps) + by_log(profiles, scope, items, steps).gain
}

/// How much the first of some edges gain together at most, the first that is left out then and the last that is not;
/// all of them where nothing lies beyond.
fn as_far<'a>(
    edges: impl Iterator<Item = &'a (f64, f64)>,
    beyond: f64,
) -> (f64, (Option<f64>, Option<f64>)) {
    let (mut best, mut sum) = ((0.0, (None, None)), 0.0);
    let mut last = None;
    for (time, gain) in edges {
        if last == best.1.1 {
            best.1.0 = Some(*time);
        }
        sum += gain;
        last = Some(*time);
        if sum > best.0 || beyond.is_infinite() {
            best = (sum, (None, last));
        }
    }
    best
}

/// Shifts tried over stretches of time: every 5 min up to 3 h, then whole hours.
fn shifts() -> impl Iterator<Item = i32> {
    let near = (6..=72).step_by(2);
    let hours = (4..=14).map(|hours| hours * HOUR);
    near.chain(hours).flat_map(|steps| [steps, -steps])
}

/// The checks of one meter against those of the others.
pub(crate) fn whole_meter(profiles: &Profiles, search: &Search, meter: usize) -> Option<Cause> {
    let items = of_scope(profiles, Scope::Meter(meter));
    if items.len() < LEAST_CHECKS || profiles.items.len() - items.len() < LEAST_CHECKS {
        return None;
    }
    let gains: Vec<(i32, f64)> = shifts()
        .map(|steps| (steps, gain(profiles, search, &items, steps)))
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
        .map(|steps| (steps, gain(profiles, search, items, steps)))
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
    if top <= WITHOUT_LOG {
        return None;
    }
    let log = by_log(profiles, scope, &items, steps);
    let (mean, error) = moments((-5..=5).map(|near| {
        let share = (gain(profiles, search, &items, steps + near) - top).exp();
        (share, f64::from(near) * STEP)
    }));
    let minutes = f64::from(steps) * STEP + mean;
    let others = of_scope(profiles, scope);
    let (first_item, last_item) = (items.iter().min().copied()?, items.iter().max().copied()?);
    let time = |item: usize| profiles.items[item].time;
    let before = others.iter().rev().find(|item| **item < first_item);
    let after = others.iter().find(|item| **item > last_item);
    let (begins, ends) = (before.is_some(), after.is_some());
    let rest = others.len() - items.len();
    if begins || ends {
        let days = (time(last_item) - time(first_item)) / 1440.0;
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
    let price = price
        + match (begins, ends) {
            (true, true) => BOTH_ENDS,
            _ if items.len().min(rest) >= MANY => -OF_MANY,
            _ => 0.0,
        };
    let middle = |(from, to): (f64, f64)| (from + to) / 2.0;
    (minutes.abs() >= LEAST_JUMP).then(|| Cause {
        scope,
        whole: !begins && !ends,
        minutes,
        error,
        lag: None,
        net: top + log.gain - price,
        begins: begins.then(|| middle(log.begins)),
        ends: ends.then(|| middle(log.ends)),
        items,
        steps,
        shown: false,
        by_log: log.gain,
        edges: Vec::new(),
    })
}

/// The best stretch of time over which all checks, or those of a meter, are shifted.
pub(crate) fn stretch(profiles: &Profiles, search: &Search, scope: Scope) -> Option<Cause> {
    let blocks: Vec<(f64, f64, Vec<usize>)> = search
        .blocks
        .iter()
        .filter_map(|block| {
            let own = |item: &&usize| scope.has_item(&profiles.items[**item]);
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
            let gained = gain(profiles, search, &items, steps);
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
        let mut items = from_the_log(profiles, search, scope, items, steps);
        for _ in 0..MOST_TRIMS {
            let trimmed = trimmed(profiles, search, scope, items.clone(), steps);
            if trimmed == items {
                break;
            }
            items = trimmed;
        }
        let items = or_all(profiles, scope, items);
        let top = gain(profiles, search, &items, steps);
        let (steps, top) = refined(profiles, search, &items, &[(steps, top)])?;
        shift_of(profiles, search, scope, items, (steps, top), STRETCH)
    });
    made.max_by(|a, b| a.net.total_cmp(&b.net))
}

/// Checks of a stretch, or all of the scope where what is beside it is too few to be told from it.
fn or_all(profiles: &Profiles, scope: Scope, items: Vec<usize>) -> Vec<usize> {
    let all = of_scope(profiles, scope);
    match all.len() - items.len() < LEAST_STRETCH {
        true => all,
        false => items,
    }
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
            .map(|(sensor, items)| sensor_gain(profiles, search, *sensor, items, steps))
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
                    after += sensor_gain(profiles, search, *sensor, &items[cut..], steps);
                    before += sensor_gain(profiles, search, *sensor, &items[..cut], steps);
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

/// A stretch with its begin or its end moved to where the log has one, where that explains more.
fn from_the_log(
    profiles: &Profiles,
    search: &Search,
    scope: Scope,
    items: Vec<usize>,
    steps: i32,
) -> Vec<usize> {
    let score = |items: &[usize]| gain_with_log(profiles, search, scope, items, steps);
    let time = |item: Option<&usize>| item.map_or(0.0, |item| profiles.items[*item].time);
    let (first, last) = (time(items.iter().min()), time(items.iter().max()));
    let all = of_scope(profiles, scope);
    let edges = profiles.edges.iter().filter(|edge| scope.has(edge));
    let moved = edges.flat_map(|edge| [(edge.time, last), (first, edge.time)]);
    let mut best = (score(&items), items);
    for (from, to) in moved {
        let within = |item: &usize| (from..=to).contains(&profiles.items[*item].time);
        let items: Vec<usize> = all.iter().copied().filter(within).collect();
        let scored = score(&items);
        if !items.is_empty() && scored > best.0 {
            best = (scored, items);
        }
    }
    best.1
}

/// Moves the ends of a stretch check by check, where that explains more.
fn trimmed(
    profiles: &Profiles,
    search: &Search,
    scope: Scope,
    items: Vec<usize>,
    steps: i32,
) -> Vec<usize> {
    let own = of_scope(profiles, scope);
    let place = |item: Option<usize>| item.and_then(|item| own.binary_search(&item).ok());
    let (Some(first), Some(last)) = (
        place(items.iter().min().copied()),
        place(items.iter().max().copied()),
    ) else {
        return items;
    };
    let score = |range: std::ops::Range<usize>| {
        own.get(range).map_or(f64::NEG_INFINITY, |items| {
            gain_with_log(profiles, search, scope, items, steps)
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
