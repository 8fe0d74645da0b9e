//! The delay of a first-order lag between capillary and sensor glucose.

use super::local_trend::{LocalTrend, local_trend};
use super::matrix::dot;
use super::noise::{Correlations, NoiseSums, PerCandidate, TrendError};
use crate::comparison::at_most;
use crate::distributions::t_quantile;
use crate::interval::Interval;
use crate::quantile::median;
use std::collections::BTreeMap;

/// Pairs with a usable trend that an estimate needs at least.
pub const FEWEST_PAIRS: usize = 10;

/// A delay longer than the windows that it is read from is no estimate, minutes.
const LONGEST_MINUTES: f64 = 45.0;

/// Least minutes between the readings of a window.
const LEAST_SPACING: f64 = 4.0;

/// Pairs that a sensor needs for its gain to be known apart from its slopes.
const FEWEST_OF_SENSOR: usize = 5;

/// Share of the slopes' spread that has to be glucose rather than noise.
const LEAST_RELIABILITY: f64 = 0.3;

/// Residuals beyond this many (robust) standard deviations are left out: artefacts and wrong meters.
const OUTLIER: f64 = 4.0;

/// Residuals of this size, relative to glucose, are rounding.
const RESIDUAL_ROUNDING: f64 = 1e-9;

/// A fingerstick with the readings of one sensor around it.
#[derive(Debug, Clone, PartialEq)]
pub struct DelayPair {
    /// The sensor, any number.
    pub sensor: usize,
    /// Fingerstick glucose, above 0, in the unit of the readings.
    pub fingerstick: f64,
    /// Offsets of the readings, minutes after the fingerstick (negative before), ascending, up to 45 either way.
    pub minutes: Vec<f64>,
    /// The readings, as long as `minutes`.
    pub glucose: Vec<f64>,
}

/// The delay of a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delay {
    /// Mean delay in minutes, positive where the sensor lags behind.
    pub minutes: f64,
    /// 95 % interval; `None` with one sensor, or where leaving one out leaves too little.
    pub interval: Option<Interval>,
    /// Sensors used.
    pub sensors: usize,
    /// Pairs used.
    pub pairs: usize,
}

/// Mean delay of a first-order lag, from fingersticks and the readings around them.
///
/// Model: capillary glucose G and interstitial glucose I follow delay · dI/dt = G - I, a reading is gain · I plus
/// noise, with a gain of each sensor's own, a fingerstick is G plus noise. So the fingerstick over the sensor's
/// level is y = (1 + delay · x) / gain plus noise, x the sensor's slope over its level, both from [`local_trend`].
/// Noise in x would pull a plain regression towards 0: its variance, and its covariance with the level, are
/// estimated from the residuals of the local fits and taken off the sums of squares and products. Pairs further
/// off than 4 robust standard deviations from a first, robust line are left out. The interval is a jackknife over
/// sensors, the noise estimated anew each time, t with one degree of freedom fewer than sensors.
///
/// A clock that is off shifts the delay by as much; the difference between two sites with one meter stays right.
/// Returns `None` with fewer than 10 usable pairs in sensors that have at least five, where less than 30 % of the
/// variance of the slopes is left after the noise (glucose too flat to tell), or where the estimate is beyond
/// 45 min, the reach of the windows. Sources: Rebrin et al. 1999 Am J
/// Physiol 277:E561 for the lag; Fuller 1987, Measurement Error Models, section 1.2 and 3.1 for the correction.
/// Proved on simulated truth by `tests/delay.rs`.
#[must_use]
pub fn first_order_delay(pairs: &[DelayPair]) -> Option<Delay> {
    let pairs: Vec<DelayPair> = pairs.iter().map(thinned).collect();
    let points = usable_points(&pairs);
    let start =
        common_delay(sensor_sums(&without_outliers(&points, robust_delay(&points)?)).values())?;
    let sums = sensor_sums(&without_outliers(&points, start));
    let used: usize = sums.values().map(|sums| sums.pairs).sum();
    if used < FEWEST_PAIRS {
        return None;
    }
    let minutes = common_delay(sums.values()).filter(|minutes| minutes.abs() <= LONGEST_MINUTES)?;
    Some(Delay {
        minutes,
        interval: jackknife(minutes, &sums),
        sensors: sums.len(),
        pairs: used,
    })
}

/// A pair with readings at least [`LEAST_SPACING`] apart: closer ones cost much and tell little, their noise being
/// nearly the same.
fn thinned(pair: &DelayPair) -> DelayPair {
    let mut thin = DelayPair {
        minutes: Vec::new(),
        glucose: Vec::new(),
        ..*pair
    };
    let mut next = f64::NEG_INFINITY;
    for (minutes, glucose) in pair.minutes.iter().zip(&pair.glucose) {
        if *minutes >= next {
            thin.minutes.push(*minutes);
            thin.glucose.push(*glucose);
            next = minutes + LEAST_SPACING;
        }
    }
    thin
}

/// One pair, reduced to what the regression needs.
#[derive(Clone, Copy)]
struct Point {
    sensor: usize,
    x: f64,
    y: f64,
    error: TrendError,
    /// Of the calmer half of the pairs only, where a cubic leaves nothing of the glucose itself.
    noise: Option<NoiseSums>,
}

fn usable_points(pairs: &[DelayPair]) -> Vec<Point> {
    let trends: Vec<(&DelayPair, LocalTrend)> = pairs
        .iter()
        .filter_map(|pair| Some((pair, local_trend(&pair.minutes, &pair.glucose)?)))
        .filter(|(_, trend)| trend.level > 0.0)
        .collect();
    let slopes: Vec<f64> = trends
        .iter()
        .map(|(_, trend)| trend.slope / trend.level)
        .collect();
    let steepness: Vec<f64> = slopes.iter().map(|x| x.abs()).collect();
    let typical = median(&steepness).unwrap_or_default();
    trends
        .iter()
        .zip(slopes)
        .map(|((pair, trend), x)| {
            let correlations = Correlations::new(trend);
            Point {
                sensor: pair.sensor,
                x,
                y: pair.fingerstick / trend.level,
                error: TrendError::new(trend, &correlations),
                noise: (x.abs() <= typical).then(|| NoiseSums::new(trend, &correlations)),
            }
        })
        .collect()
}

/// Centred sums of one sensor.
#[derive(Default)]
struct SensorSums {
    pairs: usize,
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    xy: f64,
    noise: NoiseSums,
    /// What noise of variance 1 adds to `xx`.
    xx_noise: PerCandidate,
    /// What it takes off `xy` times the gain: y holds the level below the line.
    xy_noise: PerCandidate,
}

impl SensorSums {
    fn new(points: &[Point]) -> Self {
        let n = points.len() as f64;
        let mean_x = points.iter().map(|point| point.x).sum::<f64>() / n;
        let mean_y = points.iter().map(|point| point.y).sum::<f64>() / n;
        let mut sums = Self {
            pairs: points.len(),
            mean_x,
            mean_y,
            ..Self::default()
        };
        for point in points {
            sums.xx += (point.x - mean_x).powi(2);
            sums.xy += (point.x - mean_x) * (point.y - mean_y);
            if let Some(noise) = &point.noise {
                sums.noise.add(noise);
            }
            // Centring leaves a share 1 - 1/n of each error.
            for (sum, variance) in sums.xx_noise.iter_mut().zip(point.error.slope_variance) {
                *sum += variance * (1.0 - 1.0 / n);
            }
            for (sum, covariance) in sums.xy_noise.iter_mut().zip(point.error.covariance) {
                *sum += covariance * (1.0 - 1.0 / n);
            }
        }
        sums
    }

    /// 1 / gain, from the means at a given delay.
    fn inverse_gain(&self, delay: f64) -> f64 {
        self.mean_y / (1.0 + delay * self.mean_x)
    }
}

fn sensor_sums(points: &[Point]) -> BTreeMap<usize, SensorSums> {
    by_sensor(points)
        .into_iter()
        .map(|(sensor, points)| (sensor, SensorSums::new(&points)))
        .collect()
}

/// The delay common to the sensors: the fixed point of Σ (xy / inverse gain + noise) / Σ (xx - noise).
fn common_delay<'a>(sums: impl Iterator<Item = &'a SensorSums> + Clone) -> Option<f64> {
    let mut noise = NoiseSums::default();
    sums.clone().for_each(|sums| noise.add(&sums.noise));
    let variances = noise.variances();
    let raw_xx: f64 = sums.clone().map(|sums| sums.xx).sum();
    let xx = raw_xx
        - sums
            .clone()
            .map(|sums| dot(&variances, &sums.xx_noise))
            .sum::<f64>();
    let xy_noise: f64 = sums
        .clone()
        .map(|sums| dot(&variances, &sums.xy_noise))
        .sum();
    if raw_xx <= 0.0 || xx < LEAST_RELIABILITY * raw_xx {
        return None;
    }
    let mut delay = 0.0;
    for _ in 0..50 {
        let xy: f64 = sums
            .clone()
            .map(|sums| sums.xy / sums.inverse_gain(delay))
            .sum();
        let next = (xy + xy_noise) / xx;
        let done = (next - delay).abs() < 1e-12 * (1.0 + next.abs());
        delay = next;
        if done {
            break;
        }
    }
    delay.is_finite().then_some(delay)
}

/// Points by sensor, of the sensors with at least [`FEWEST_OF_SENSOR`].
fn by_sensor(points: &[Point]) -> BTreeMap<usize, Vec<Point>> {
    let mut members = BTreeMap::<usize, Vec<Point>>::new();
    for point in points {
        members.entry(point.sensor).or_default().push(*point);
    }
    members.retain(|_, points| points.len() >= FEWEST_OF_SENSOR);
    members
}

/// A first delay that outliers cannot move far, though noise pulls it towards 0: the median slope between any two
/// points of a sensor (Theil and Sen), over the sensor's median y.
fn robust_delay(points: &[Point]) -> Option<f64> {
    let mut slopes = Vec::new();
    for points in by_sensor(points).values() {
        let gain = median(&points.iter().map(|point| point.y).collect::<Vec<_>>())?;
        for (index, one) in points.iter().enumerate() {
            let others = points[index + 1..].iter().filter(|other| other.x != one.x);
            slopes.extend(others.map(|other| (other.y - one.y) / (other.x - one.x) / gain));
        }
    }
    median(&slopes)
}

/// The points within [`OUTLIER`] robust standard deviations of the line at a given delay, gains taken as medians.
fn without_outliers(points: &[Point], delay: f64) -> Vec<Point> {
    let mut residuals = Vec::new();
    for points in by_sensor(points).into_values() {
        let ratio = |point: &Point| point.y / (1.0 + delay * point.x);
        let inverse_gain = median(&points.iter().map(ratio).collect::<Vec<_>>()).unwrap_or(1.0);
        residuals.extend(points.into_iter().map(|point| {
            (
                point,
                (point.y / inverse_gain - 1.0 - delay * point.x).abs(),
            )
        }));
    }
    let sizes: Vec<f64> = residuals.iter().map(|(_, residual)| *residual).collect();
    // 1.4826 turns the median absolute residual of a normal sample into its standard deviation.
    let bound = OUTLIER * 1.4826 * median(&sizes).unwrap_or(0.0);
    residuals.retain(|(_, residual)| at_most(*residual, bound + RESIDUAL_ROUNDING));
    residuals.into_iter().map(|(point, _)| point).collect()
}

fn jackknife(delay: f64, sums: &BTreeMap<usize, SensorSums>) -> Option<Interval> {
    let k = sums.len() as f64;
    if sums.len() < 2 {
        return None;
    }
    let without: Vec<f64> = sums
        .keys()
        .map(|left_out| {
            common_delay(
                sums.iter()
                    .filter(|(sensor, _)| *sensor != left_out)
                    .map(|(_, sums)| sums),
            )
        })
        .collect::<Option<_>>()?;
    let mean = without.iter().sum::<f64>() / k;
    let variance = without
        .iter()
        .map(|value| (value - mean).powi(2))
        .sum::<f64>()
        * (k - 1.0)
        / k;
    Some(Interval::around(
        delay,
        t_quantile(0.975, k - 1.0) * variance.sqrt(),
    ))
}
