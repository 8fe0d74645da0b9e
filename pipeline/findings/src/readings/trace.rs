//! The readings of a sensor as a trace that can be read off at any time.

use std::collections::{BTreeMap, BTreeSet};

use crate::look::Contradicted;
use whereworn_model::rows::{Reading, SensorReadings, Status};
use whereworn_model::time::{MICROS_PER_MINUTE, Micros};

/// Most minutes between two readings that a straight line may bridge, where readings are close together.
const BRIDGE: f64 = 12.0;

/// The same in spacings, where they are further apart.
const BRIDGE_SPACINGS: f64 = 2.1;

/// Minutes to the furthest readings that smooth one.
const SMOOTH: f64 = 28.0;

/// Minutes since 1970.
pub(crate) fn minutes(at: Micros) -> f64 {
    at as f64 / MICROS_PER_MINUTE as f64
}

/// The instant of some minutes since 1970.
pub(crate) fn micros(minutes: f64) -> Micros {
    (minutes * MICROS_PER_MINUTE as f64).round() as Micros
}

/// The usable readings of a sensor.
#[derive(Clone, Debug, Default)]
pub(crate) struct Trace {
    /// Minutes since 1970, ascending.
    pub times: Vec<f64>,
    /// Natural logarithm of mg/dL, smoothed.
    pub levels: Vec<f32>,
    /// Median minutes between readings; 0 with fewer than two.
    pub spacing: f64,
    /// Where the times of readings show that the clock may have been set, or was.
    pub breaks: Vec<Break>,
}

/// A moment at which the readings are as if their clock had been set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Break {
    /// When, minutes since 1970.
    pub at: f64,
    /// By how many minutes it was put forward.
    pub minutes: f64,
    /// What shows it.
    pub sign: Sign,
    /// Log-likelihood that it costs to suppose readings missing beside it.
    pub price: f64,
}

impl Break {
    /// The break, and as it would be were readings missing beside it: a gap is longer then than the clock was put forward.
    fn with_missing(self, spacing: f64) -> impl Iterator<Item = Self> {
        let missing = (0..=MOST_MISSING).map(move |missing| Self {
            minutes: self.minutes - f64::from(missing) * spacing,
            price: f64::from(missing) * MISSING,
            ..self
        });
        missing.filter(|found| (LEAST_BREAK..=MOST_BREAK).contains(&found.minutes.abs()))
    }
}

/// What shows that a clock may have been set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sign {
    /// Two runs of readings overlap: nothing else explains it.
    Overlap,
    /// A gap after which readings come at other minutes than before, in a sensor that otherwise keeps its minutes.
    OtherMinutes,
    /// A gap, which may as well be one.
    Gap,
}

impl Sign {
    /// The one of two that tells less.
    pub fn vaguer(self, other: Self) -> Self {
        match (self, other) {
            (Self::Gap, _) | (_, Self::Gap) => Self::Gap,
            (Self::OtherMinutes, _) | (_, Self::OtherMinutes) => Self::OtherMinutes,
            _ => Self::Overlap,
        }
    }
}

impl Trace {
    /// The `ok` readings from `from` to `to`; what contradicts some of them may be a clock that was put back.
    pub fn new(
        sensor: &SensorReadings,
        from: Micros,
        to: Micros,
        contradicted: &Contradicted,
    ) -> Self {
        let mut trace = Self::default();
        for reading in &sensor.readings {
            let usable = reading.status == Status::Ok && reading.glucose > 0.0;
            if usable && (from..=to).contains(&reading.time) {
                trace.times.push(minutes(reading.time));
                trace.levels.push(reading.glucose.ln() as f32);
            }
        }
        // A clock that was set shows in readings before the insertion or after the end too.
        let all = sensor.readings.iter();
        let all: Vec<f64> = all.map(|reading| minutes(reading.time)).collect();
        trace.spacing = median_step(&all);
        trace.smooth();
        let again = again(sensor.readings.iter(), contradicted, trace.spacing);
        let breaks = breaks(&all, trace.spacing).into_iter().chain(again);
        trace.breaks = breaks
            .flat_map(|found| found.with_missing(trace.spacing))
            .collect();
        trace
    }

    /// Draws each level towards those beside it: the noise of a sensor lasts some minutes, glucose moves more slowly, and
    /// movement that is noise tells of no clock. Weights fall to 0 at [`SMOOTH`] minutes on either side: no delay.
    fn smooth(&mut self) {
        let mut levels = Vec::with_capacity(self.levels.len());
        let mut first = 0;
        for at in &self.times {
            while self
                .times
                .get(first)
                .is_some_and(|time| at - time >= SMOOTH)
            {
                first += 1;
            }
            let near = self.times.iter().zip(&self.levels).skip(first);
            let (mut all, mut sum) = (0.0, 0.0);
            for (time, level) in near.take_while(|(time, _)| *time - at < SMOOTH) {
                let weight = 1.0 - (time - at).abs() / SMOOTH;
                all += weight;
                sum += weight * f64::from(*level);
            }
            levels.push((sum / all) as f32);
        }
        self.levels = levels;
    }

    fn bridge(&self) -> f64 {
        BRIDGE.max(BRIDGE_SPACINGS * self.spacing)
    }

    /// The trace at `at` plus each of the ascending offsets, minutes; NaN where no two readings are close enough.
    pub fn around(&self, at: f64, offsets: &[f64], into: &mut Vec<f32>) {
        into.clear();
        let bridge = self.bridge();
        let first = offsets.first().map_or(at, |offset| at + offset);
        let mut next = self.times.partition_point(|time| *time < first);
        for offset in offsets {
            let wanted = at + offset;
            while self.times.get(next).is_some_and(|time| *time < wanted) {
                next += 1;
            }
            into.push(self.between(next, wanted, bridge));
        }
    }

    /// The level that a fingerstick taken `at` is set beside, after the usual delay of 7.5 minutes.
    pub fn beside(&self, at: f64) -> Option<f64> {
        const DELAY: f64 = 7.5;
        self.at(at + DELAY)
    }

    /// The level at a time.
    pub fn at(&self, at: f64) -> Option<f64> {
        // Most times asked for lie outside a sensor's wear.
        let worn = *self.times.first()?..=*self.times.last()?;
        if !worn.contains(&at) {
            return None;
        }
        let next = self.times.partition_point(|time| *time < at);
        let level = self.between(next, at, self.bridge());
        (!level.is_nan()).then_some(f64::from(level))
    }

    /// The level at `wanted`, which lies after the reading before `next`.
    fn between(&self, next: usize, wanted: f64, bridge: f64) -> f32 {
        let (Some(&after), Some(&right)) = (self.times.get(next), self.levels.get(next)) else {
            return f32::NAN;
        };
        if after == wanted {
            return right;
        }
        let before = next.checked_sub(1);
        let before = before.and_then(|i| self.times.get(i).zip(self.levels.get(i)));
        match before {
            Some((&before, &left)) if after - before <= bridge => {
                let share = ((wanted - before) / (after - before)) as f32;
                left + share * (right - left)
            }
            _ => f32::NAN,
        }
    }
}

/// Least minutes of a break that matters.
const LEAST_BREAK: f64 = 11.5;

/// Most minutes of one: the furthest that time zones lie from UTC.
const MOST_BREAK: f64 = 840.0;

/// Gaps of as many missing readings that a sensor may have for one of them to be a break. More are how it loses readings: that
/// one of many such was a clock costs as much as a jump that nothing shows, and each is compared with every sensor.
const MOST_ALIKE: usize = 8;

/// How many readings may be missing beside a break, and what each costs: about one in twenty is.
const MOST_MISSING: i32 = 2;
const MISSING: f64 = 3.0;

/// A step so near to whole spacings keeps the minutes, and most steps that may not where a sensor keeps them.
const SAME_MINUTES: f64 = 0.6;
const MOST_UNEVEN: usize = 3;

/// The mean of the steps about as long as the median: a device's clock is uneven, and over a long gap the median's error
/// adds up.
fn mean_step(steps: &[f64], median: f64) -> f64 {
    let near = steps.iter().map(|step| step - median);
    let near: Vec<f64> = near.filter(|off| off.abs() <= SAME_MINUTES).collect();
    median + near.iter().sum::<f64>() / near.len() as f64
}

/// The spacings that a step is nearest to.
fn whole_spacings(step: f64, spacing: f64) -> u64 {
    (step / spacing).round() as u64
}

/// Lengths in spacings, of two and more, of the gaps that a sensor has so often that they are how it loses readings.
fn usual_gaps(steps: &[f64], spacing: f64) -> BTreeSet<u64> {
    let mut counts: BTreeMap<u64, usize> = BTreeMap::new();
    for step in steps {
        *counts.entry(whole_spacings(*step, spacing)).or_default() += 1;
    }
    let often = counts.into_iter();
    often
        .filter(|(spacings, count)| *spacings >= 2 && *count > MOST_ALIKE)
        .map(|(spacings, _)| spacings)
        .collect()
}

/// Gaps, and runs of readings twice as dense as usual: put back by J, the clock reads the last J minutes again.
fn breaks(times: &[f64], spacing: f64) -> Vec<Break> {
    let mut found = Vec::new();
    if spacing <= 0.0 {
        return found;
    }
    let steps: Vec<f64> = times
        .iter()
        .zip(times.iter().skip(1))
        .map(|(a, b)| b - a)
        .collect();
    let spacing = mean_step(&steps, spacing);
    // How far a step is from whole spacings.
    let off = |step: f64| (step - spacing * (step / spacing).round()).abs();
    let uneven = steps
        .iter()
        .filter(|step| off(**step) > SAME_MINUTES)
        .count();
    let regular = uneven <= MOST_UNEVEN;
    let usual = usual_gaps(&steps, spacing);
    for (before, step) in times.iter().zip(&steps) {
        let other = regular && off(*step) > SAME_MINUTES;
        let is_usual = !other && usual.contains(&whole_spacings(*step, spacing));
        if *step >= spacing + LEAST_BREAK && !is_usual {
            found.push(Break {
                at: *before,
                minutes: step - spacing,
                sign: if other { Sign::OtherMinutes } else { Sign::Gap },
                price: 0.0,
            });
        }
    }
    // Every other reading is a spacing away where two runs interleave, give or take a minute of the device's.
    let apart = spacing + (0.2 * spacing).min(1.0);
    let dense: Vec<bool> = times
        .windows(3)
        .map(|three| matches!(three, [a, _, c] if c - a <= apart))
        .collect();
    let mut start = None;
    for (place, dense) in dense.iter().copied().chain([false]).enumerate() {
        match (dense, start) {
            (true, None) => start = Some(place),
            (false, Some(from)) => {
                start = None;
                // The second run begins one after `from`; the first ends one before the last of the three.
                let (Some(again), Some(last)) = (times.get(from + 1), times.get(place)) else {
                    continue;
                };
                let back = last + spacing - again;
                if place - from >= 2 && back >= LEAST_BREAK {
                    found.push(Break {
                        at: *last,
                        minutes: -back,
                        sign: Sign::Overlap,
                        price: 0.0,
                    });
                }
            }
            _ => {}
        }
    }
    found
}

/// Runs of readings that came again at the same times: put back by whole spacings, the clock gives times twice, and loading
/// keeps the first of two readings. The second run then follows the first, so that each of its lines lies as many lines
/// after the one that it contradicts (before it, in a file with the newest first) as there are readings in the run.
fn again<'a>(
    readings: impl Iterator<Item = &'a Reading>,
    contradicted: &Contradicted,
    spacing: f64,
) -> Vec<Break> {
    let mut runs: Vec<(i64, f64, Break)> = Vec::new();
    for reading in readings {
        let Some(line) = contradicted.get(&(reading.file, reading.line)) else {
            continue;
        };
        let lines = *line as i64 - reading.line as i64;
        let at = minutes(reading.time);
        let back = lines.abs() as f64 * spacing;
        match runs.last_mut() {
            Some((apart, count, run)) if *apart == lines && at - run.at < back => {
                *count += 1.0;
                run.at = at;
            }
            _ => runs.push((
                lines,
                1.0,
                Break {
                    at,
                    minutes: -back,
                    sign: Sign::Overlap,
                    price: 0.0,
                },
            )),
        }
    }
    // Some of the run may be the same by chance.
    let whole = |(lines, count, run): &(i64, f64, Break)| {
        *count >= 2.0 && 2.0 * count >= lines.abs() as f64 && -run.minutes >= LEAST_BREAK
    };
    let whole = runs.into_iter().filter(whole);
    whole.map(|(_, _, run)| run).collect()
}

/// Median difference of ascending times; 0 with fewer than two.
pub(crate) fn median_step(times: &[f64]) -> f64 {
    let mut steps: Vec<f64> = times
        .iter()
        .zip(times.iter().skip(1))
        .map(|(a, b)| b - a)
        .collect();
    median(&mut steps).unwrap_or(0.0)
}

/// The middle value, of an even number the upper of the two; `None` of nothing.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let (_, value, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*value)
}

/// From the median absolute deviation of a normal variate to its standard deviation.
pub(crate) const ROBUST: f64 = 1.4826;

/// Median and robust standard deviation; `None` of no values.
pub(crate) fn middle_and_scatter(values: &mut [f64]) -> Option<(f64, f64)> {
    let middle = median(values)?;
    let mut off: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    Some((middle, ROBUST * median(&mut off)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A clock that runs for a day, is put back by some minutes, and runs for another.
    fn put_back(spacing: i32, back: i32) -> Vec<f64> {
        let run = (0..1440).step_by(spacing as usize);
        let last = run.clone().next_back().unwrap_or(0);
        let again = run.clone().map(|minute| last + spacing - back + minute);
        let mut times: Vec<f64> = run.chain(again).map(f64::from).collect();
        times.sort_by(f64::total_cmp);
        times
    }

    /// Steps of 4.8 and 5.1 min in turn, and a gap of 89.1 min: eighteen steps of their mean, 4.95 min, and 17.5 of their
    /// median, 5.1 min.
    #[test]
    fn an_uneven_clock_keeps_its_minutes_over_a_gap() {
        let uneven = || [4.8, 5.1].into_iter().cycle().take(200);
        let steps = uneven().chain([89.1]).chain(uneven());
        let times = steps.scan(0.0, |at, step| {
            *at += step;
            Some(*at)
        });
        let times: Vec<f64> = std::iter::once(0.0).chain(times).collect();
        assert!((median_step(&times) - 5.1).abs() < 1e-9);
        let [gap] = breaks(&times, median_step(&times))[..] else {
            panic!("no gap");
        };
        assert_eq!(gap.sign, Sign::Gap);
    }

    /// A reading every 15 min over ten days, every fourth of which is lost: 239 gaps of 30 min, none of which is a break. One of
    /// 75 min is, and so is one of 37 min, after which readings come at other minutes.
    #[test]
    fn readings_lost_one_by_one_are_no_breaks() {
        let kept = (0..960).filter(|place| place % 4 != 2);
        let times: Vec<f64> = kept.map(|place| f64::from(place) * 15.0).collect();
        let gaps = |times: &[f64]| -> Vec<(f64, Sign)> {
            let found = breaks(times, median_step(times)).into_iter();
            found.map(|gap| (gap.minutes, gap.sign)).collect()
        };
        assert_eq!(gaps(&times), []);
        let long = |later: f64| -> Vec<f64> {
            let late = |time: &f64| if *time > 6000.0 { time + later } else { *time };
            times.iter().map(late).collect()
        };
        assert_eq!(gaps(&long(60.0)), [(60.0, Sign::Gap)]);
        assert_eq!(gaps(&long(22.0)), [(22.0, Sign::OtherMinutes)]);
    }

    /// By hand: 27 min at 15 min between readings leave the second run 3 min after readings of the first, which is no
    /// closer than they are without it.
    #[test]
    fn runs_that_interleave() {
        for (spacing, back) in [(15, 27), (15, 40), (10, 15), (5, 32), (3, 20)] {
            let times = put_back(spacing, back);
            let found = breaks(&times, f64::from(spacing));
            let [only] = found[..] else {
                panic!("{spacing} {back}: {found:?}");
            };
            assert_eq!((only.minutes, only.sign), (-f64::from(back), Sign::Overlap));
        }
        for spacing in [1, 3, 5, 10, 15] {
            assert_eq!(breaks(&put_back(spacing, 0), f64::from(spacing)), []);
        }
    }
}
