//! How well each lag of the readings behind the fingersticks explains each fingerstick.
//!
//! With the readings read off `lag` minutes after a fingerstick, log(reading) - log(fingerstick) is the gain of sensor
//! and meter plus noise where the lag is the true one, and scatters as widely as glucose moves in between where it is
//! not. [`Profiles`] holds the log-likelihood of every check at every lag of the grid: Student's t with 5 degrees of
//! freedom around its sensor's likeliest location, what its meter reads high or low taken off, so that a night artefact or a
//! mistyped value decides nothing.

use std::collections::BTreeMap;

use crate::clocks::edges::Edge;
use crate::readings::trace::{ROBUST, Trace, median};

/// Minutes from one lag of the grid to the next.
pub(crate) const STEP: f64 = 2.5;

/// Lags go this many steps either way: 14 hours, the furthest that time zones lie from UTC (IANA time zone database).
pub(crate) const REACH: i32 = 336;

/// Lags of the grid.
pub(crate) const LAGS: usize = 2 * REACH as usize + 1;

/// Delays of a sensor behind the blood that are no sign of a wrong clock: 0 to 20 min, in steps.
pub(crate) const DELAYS: std::ops::RangeInclusive<i32> = 0..=8;

/// How many they are.
pub(crate) const DELAY_COUNT: usize = 9;

/// Degrees of freedom of the noise.
const FREEDOM: f64 = 5.0;

/// Steps from the median to the likeliest location; more change nothing that matters.
const STEPS_OF_LOCATION: usize = 4;

/// Least relative standard deviation of a reading against a fingerstick that is believed.
const LEAST_NOISE: f64 = 0.06;

/// The same where nothing is known of it.
const USUAL_NOISE: f64 = 0.1;

/// Errors of lags are so many times the standard deviation of the likelihood: the noise of trace and fingersticks moves
/// too, and looks like glucose. So 19 in 20 lie within two of them (1,891 invented sensors with 40 checks and more).
const WIDER: f64 = 1.2;

/// Checks of a sensor from which on its own scatter is believed.
const ENOUGH: usize = 12;

/// Checks closer together than this share the noise of the sensor, minutes: they count as less than one each.
const CLUSTER: f64 = 30.0;

/// Least share of checks of a sensor that must have a reading at a lag for the lag to be possible.
const LEAST_PRESENT: f64 = 0.5;

/// The usual delay of a sensor, 7.5 min, in steps.
const USUAL: i32 = 3;

/// Log-likelihood of a check at a lag that is not possible.
const IMPOSSIBLE: f32 = -3.0;

/// A fingerstick against one sensor.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Item {
    /// Minutes since 1970, by the meter's clock.
    pub time: f64,
    /// The sensor, a position among those of the wearer.
    pub sensor: usize,
    /// The meter, a position among those of the wearer.
    pub meter: usize,
    /// Natural logarithm of mg/dL.
    pub level: f64,
}

/// Steps by which items and edges are explained.
pub(crate) struct Explained {
    items: Vec<i32>,
    edges: Vec<i32>,
}

/// Log-likelihood of each item at each lag.
#[derive(Debug, Default)]
pub(crate) struct Profiles {
    /// By time.
    pub items: Vec<Item>,
    /// Row by row, [`LAGS`] a row.
    scores: Vec<f32>,
    /// Steps that each item's lag has been explained by so far.
    pub shift: Vec<i32>,
    /// Positions of each sensor's items.
    pub of_sensor: Vec<Vec<usize>>,
    /// What the log says of each sensor, by time.
    pub edges: Vec<Edge>,
}

impl Profiles {
    /// Profiles of the checks of a wearer against the traces of the sensors worn then. Items come by time.
    pub fn new(items: Vec<Item>, traces: &[&Trace], edges: Vec<Edge>) -> Self {
        let offsets: Vec<f64> = (-REACH..=REACH).map(|lag| f64::from(lag) * STEP).collect();
        let mut rows: Vec<f32> = Vec::with_capacity(items.len() * LAGS);
        let mut row = Vec::with_capacity(LAGS);
        let usual = offsets.get((REACH + USUAL) as usize..).unwrap_or_default();
        let high = meter_levels(&items, traces, usual.get(..1).unwrap_or_default());
        for item in &items {
            match traces.get(item.sensor) {
                Some(trace) => trace.around(item.time, &offsets, &mut row),
                None => row = vec![f32::NAN; LAGS],
            }
            let level = item.level - high.get(&item.meter).copied().unwrap_or(0.0);
            rows.extend(row.iter().map(|reading| reading - level as f32));
        }
        let mut of_sensor = vec![Vec::new(); traces.len()];
        for (position, item) in items.iter().enumerate() {
            if let Some(own) = of_sensor.get_mut(item.sensor) {
                own.push(position);
            }
        }
        let mut profiles = Self {
            shift: vec![0; items.len()],
            items,
            scores: rows,
            of_sensor,
            edges,
        };
        profiles.score();
        profiles
    }

    /// Turns differences into log-likelihoods, sensor by sensor.
    fn score(&mut self) {
        let sensors = std::mem::take(&mut self.of_sensor);
        let noises: Vec<f64> = sensors.iter().map(|own| self.centre(own)).collect();
        let mut weighted: Vec<f64> = sensors
            .iter()
            .zip(&noises)
            .filter(|(own, _)| own.len() >= ENOUGH)
            .flat_map(|(own, noise)| std::iter::repeat_n(*noise, own.len()))
            .collect();
        let pooled = median(&mut weighted)
            .unwrap_or(USUAL_NOISE)
            .max(LEAST_NOISE);
        for (own, noise) in sensors.iter().zip(noises) {
            // Few checks seem to scatter little at one lag or another.
            let noise = if own.len() < ENOUGH { pooled } else { noise };
            self.score_sensor(own, noise.clamp(pooled, 1.6 * pooled));
        }
        self.of_sensor = sensors;
    }

    /// Takes off each lag's median; gives the noise at the lag at which the differences scatter least.
    fn centre(&mut self, cell: &[usize]) -> f64 {
        let mut least = f64::INFINITY;
        let mut centres = vec![0.0; LAGS];
        let mut values = Vec::with_capacity(cell.len());
        for (lag, taken) in centres.iter_mut().enumerate() {
            values.clear();
            values.extend(
                cell.iter()
                    .map(|item| f64::from(self.scores[item * LAGS + lag]))
                    .filter(|value| !value.is_nan()),
            );
            let Some(centre) = median(&mut values) else {
                continue;
            };
            *taken = centre as f32;
            if values.len() as f64 >= LEAST_PRESENT * cell.len() as f64 {
                values
                    .iter_mut()
                    .for_each(|value| *value = (*value - centre).abs());
                least = least.min(ROBUST * median(&mut values).unwrap_or(f64::INFINITY));
            }
        }
        for item in cell {
            let row = self.row_mut(*item).iter_mut();
            row.zip(&centres)
                .for_each(|(score, centre)| *score -= centre);
        }
        least
    }

    fn score_sensor(&mut self, cell: &[usize], noise: f64) {
        // A centre is fitted to the same values.
        let fitted = (cell.len() as f64 - 1.0).max(0.0) / cell.len() as f64;
        let weights: Vec<f64> = cell
            .iter()
            .map(|item| {
                let time = self.items[*item].time;
                let near = cell
                    .iter()
                    .filter(|other| (self.items[**other].time - time).abs() <= CLUSTER);
                fitted / (near.count() as f64).sqrt()
            })
            .collect();
        let centres = self.locations(cell, &weights, noise);
        let mut present = vec![0; LAGS];
        for (item, weight) in cell.iter().zip(&weights) {
            let row = self.row_mut(*item);
            let known = !row[(REACH + USUAL) as usize].is_nan();
            for (score, (centre, present)) in row.iter_mut().zip(centres.iter().zip(&mut present)) {
                let ratio = (f64::from(*score) - centre) / noise;
                let value = -weight * (FREEDOM + 1.0) / 2.0 * (ratio * ratio / FREEDOM).ln_1p();
                *present += usize::from(known && !score.is_nan());
                *score = value as f32;
            }
        }
        self.fill(cell, &present);
    }

    /// What a check tells of a lag at which it has no reading: nothing, so that it counts there as at the usual one, unless the
    /// lag is hardly possible. One that has none at the usual lag tells of no lag.
    fn fill(&mut self, cell: &[usize], present: &[usize]) {
        let least = LEAST_PRESENT
            * present
                .get((REACH + USUAL) as usize)
                .map_or(0.0, |n| *n as f64);
        for item in cell {
            let usual = self.row(*item)[(REACH + USUAL) as usize];
            for (score, present) in self.row_mut(*item).iter_mut().zip(present) {
                if usual.is_nan() {
                    *score = 0.0;
                } else if score.is_nan() {
                    *score = if *present as f64 >= least {
                        usual
                    } else {
                        IMPOSSIBLE
                    };
                }
            }
        }
    }

    /// The locations that make the differences at each lag likeliest, from their medians on: iteratively reweighted, as the
    /// t likelihood asks (Lange, Little & Taylor 1989, J Am Stat Assoc 84:881, from memory).
    fn locations(&self, cell: &[usize], weights: &[f64], noise: f64) -> Vec<f64> {
        let mut centres = vec![0.0; LAGS];
        for _ in 0..STEPS_OF_LOCATION {
            let (mut all, mut sums) = (vec![0.0; LAGS], vec![0.0; LAGS]);
            for (item, weight) in cell.iter().zip(weights) {
                let at_lags = centres.iter().zip(&mut all).zip(&mut sums);
                for (score, ((centre, all), sum)) in self.row(*item).iter().zip(at_lags) {
                    let value = f64::from(*score);
                    let ratio = (value - centre) / noise;
                    let share = weight / (FREEDOM + ratio * ratio);
                    // No branch: so the rows are taken several lags at a time.
                    *all += if value.is_nan() { 0.0 } else { share };
                    *sum += if value.is_nan() { 0.0 } else { share * value };
                }
            }
            for ((centre, all), sum) in centres.iter_mut().zip(all).zip(sums) {
                if all > 0.0 {
                    *centre = sum / all;
                }
            }
        }
        centres
    }

    /// Forgets what was explained, and gives it.
    pub fn take_explained(&mut self) -> Explained {
        let explained = self.explained();
        self.shift.fill(0);
        self.edges.iter_mut().for_each(|edge| edge.shift = 0);
        explained
    }

    /// What is explained.
    pub fn explained(&self) -> Explained {
        Explained {
            items: self.shift.clone(),
            edges: self.edges.iter().map(|edge| edge.shift).collect(),
        }
    }

    /// Takes it as explained again.
    pub fn put_explained(&mut self, explained: Explained) {
        self.shift = explained.items;
        for (edge, shift) in self.edges.iter_mut().zip(explained.edges) {
            edge.shift = shift;
        }
    }

    /// The scores of an item at all lags.
    fn row(&self, item: usize) -> &[f32] {
        &self.scores[item * LAGS..(item + 1) * LAGS]
    }

    fn row_mut(&mut self, item: usize) -> &mut [f32] {
        &mut self.scores[item * LAGS..(item + 1) * LAGS]
    }

    /// Whether an item has a reading at the usual lag: one without tells of no lag.
    pub fn tells(&self, item: usize) -> bool {
        self.row(item)[(REACH + USUAL) as usize] != 0.0
    }

    /// Log-likelihood of an item at a lag, in steps, beyond what its shift explains.
    pub fn at(&self, item: usize, lag: i32) -> f64 {
        let lag = (lag + self.shift[item]).clamp(-REACH, REACH) + REACH;
        f64::from(self.scores[item * LAGS + lag as usize])
    }

    /// Gain of log-likelihood by the log where readings are shifted by some minutes from one moment to another.
    pub fn edges_gain(&self, sensor: Option<usize>, span: [Option<f64>; 2], minutes: f64) -> f64 {
        let own = self.edges.iter().filter(|edge| edge.is_in(sensor, span));
        own.map(|edge| edge.gain(minutes)).sum()
    }

    /// Sum over some items at every lag, by position in the grid.
    pub fn sum(&self, items: &[usize]) -> Vec<f64> {
        let mut sums = vec![0.0; LAGS];
        for item in items {
            if self.shift[*item] == 0 {
                let row = self.row(*item).iter();
                sums.iter_mut()
                    .zip(row)
                    .for_each(|(sum, score)| *sum += f64::from(*score));
            } else {
                for (lag, sum) in (-REACH..=REACH).zip(&mut sums) {
                    *sum += self.at(*item, lag);
                }
            }
        }
        sums
    }
}

/// How much each meter reads higher than the readings of its sensors beside the others do: the median over checks of the
/// difference less the median of the sensor.
fn meter_levels(items: &[Item], traces: &[&Trace], at: &[f64]) -> BTreeMap<usize, f64> {
    let mut differences: Vec<(usize, usize, f64)> = Vec::new();
    let mut row = Vec::with_capacity(1);
    for item in items {
        if let Some(trace) = traces.get(item.sensor) {
            trace.around(item.time, at, &mut row);
            let reading = row.first().filter(|reading| !reading.is_nan());
            differences.extend(
                reading.map(|reading| (item.sensor, item.meter, item.level - f64::from(*reading))),
            );
        }
    }
    let mut of_sensor: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (sensor, _, difference) in &differences {
        of_sensor.entry(*sensor).or_default().push(*difference);
    }
    let middles: BTreeMap<usize, f64> = of_sensor
        .into_iter()
        .filter_map(|(sensor, mut values)| Some((sensor, median(&mut values)?)))
        .collect();
    let mut of_meter: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (sensor, meter, difference) in &differences {
        let middle = middles.get(sensor).copied().unwrap_or(0.0);
        of_meter
            .entry(*meter)
            .or_default()
            .push(difference - middle);
    }
    of_meter
        .into_iter()
        .filter_map(|(meter, mut values)| Some((meter, median(&mut values)?)))
        .collect()
}

/// The lag, in steps, at which a profile is highest between two lags, and the profile there.
pub(crate) fn highest(profile: &[f64], lags: std::ops::RangeInclusive<i32>) -> (i32, f64) {
    lags.map(|lag| (lag, value(profile, lag)))
        .fold((0, f64::NEG_INFINITY), |best, next| {
            if next.1 > best.1 { next } else { best }
        })
}

/// A profile at a lag, in steps.
pub(crate) fn value(profile: &[f64], lag: i32) -> f64 {
    let position = lag.clamp(-REACH, REACH) + REACH;
    profile
        .get(position as usize)
        .copied()
        .unwrap_or(f64::NEG_INFINITY)
}

/// Minutes of the top of a profile near a lag, and their standard error: mean and standard deviation of the likelihood
/// within half an hour of it, the latter widened as trials on invented sensors ask.
pub(crate) fn around_top(profile: &[f64], lag: i32) -> (f64, f64) {
    let top = value(profile, lag);
    let near = (lag - 12..=lag + 12).filter(|near| (-REACH..=REACH).contains(near));
    let shares = near.map(|near| {
        let share = (value(profile, near) - top).exp();
        (share, f64::from(near - lag) * STEP)
    });
    let (mean, error) = moments(shares);
    (f64::from(lag) * STEP + mean, error)
}

/// Mean and widened standard deviation of values with weights.
pub(crate) fn moments(weighted: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    let (mut all, mut first, mut second) = (0.0, 0.0, 0.0);
    for (weight, value) in weighted {
        all += weight;
        first += weight * value;
        second += weight * value * value;
    }
    let mean = first / all;
    (mean, WIDER * (second / all - mean * mean).max(0.0).sqrt())
}
