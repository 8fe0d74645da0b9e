//! The points of a site, outliers left out, as sums of products by sensor.

use super::point::DelayPoint;
use crate::comparison::at_most;
use crate::quantile::median;
use std::collections::BTreeMap;

/// Points that an estimate needs at least.
pub(super) const FEWEST_PAIRS: usize = 10;

/// A delay longer than the windows that it is read from is no estimate, minutes.
const LONGEST_MINUTES: f64 = 45.0;

/// Points that a sensor needs for its gain to be known apart from its slopes.
const FEWEST_OF_SENSOR: usize = 5;

/// What is taken off the offset of a sensor whose few levels tell little of it: the squared ratio of the noise of a pair (7 %) to
/// what sensors commonly add (10 % of their mean level; common practice, no source).
const OFFSET_UNKNOWN: f64 = 0.5;

/// The least F of the regression of the slope on the wide slope.
const LEAST_F: f64 = 10.0;

/// The least share of the slope's variance that the wide slope explains. F grows with the pairs, but where the share is
/// small, what little the noise of both has in common biases any number of pairs (Bound, Jaeger and Baker 1995, J Am Stat
/// Assoc 90:443, from memory).
const LEAST_EXPLAINED: f64 = 0.1;

/// Residuals beyond this many (robust) standard deviations are left out: artefacts and wrong meters.
const OUTLIER: f64 = 4.0;

/// Residuals of this size, relative to glucose, are rounding.
const RESIDUAL_ROUNDING: f64 = 1e-9;

/// The points of one site that are used, and the delay common to them.
pub(super) struct SiteSums {
    pub delay: f64,
    pub sensors: BTreeMap<usize, SensorSums>,
}

impl SiteSums {
    /// `None` where there is too little to tell.
    pub fn new(points: &[DelayPoint]) -> Option<Self> {
        let first = sensor_sums(&without_outliers(points, robust_delay(points)?));
        let sensors = sensor_sums(&without_outliers(points, common_delay(&first)?));
        let delay = common_delay(&sensors).filter(|minutes| minutes.abs() <= LONGEST_MINUTES)?;
        Some(Self { delay, sensors })
    }

    pub fn pairs(&self) -> usize {
        self.sensors.values().map(|sums| sums.pairs).sum()
    }
}

/// Centred sums of one sensor: x the slope, z the wide slope over the sensor's mean level, y the ratio of fingerstick and level, w one over the level,
/// relative to its mean.
#[derive(Default)]
pub(super) struct SensorSums {
    pub pairs: usize,
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    pub zx: f64,
    zy: f64,
    pub zz: f64,
    wx: f64,
    wy: f64,
    wz: f64,
    ww: f64,
}

impl SensorSums {
    fn new(points: &[DelayPoint]) -> Self {
        let n = points.len() as f64;
        let mean = |of: fn(&DelayPoint) -> f64| points.iter().map(of).sum::<f64>() / n;
        let (mean_x, mean_y) = (mean(|p| p.slope), mean(|p| p.ratio));
        let (mean_z, mean_w) = (mean(|p| p.wide_slope * p.level), mean(|p| 1.0 / p.level));
        let mut sums = Self {
            pairs: points.len(),
            mean_x,
            mean_y,
            ..Self::default()
        };
        for point in points {
            let x = point.slope - mean_x;
            // Not over the level at the fingerstick: its noise is in the ratio too, and where glucose mostly rises at
            // fingersticks it would pass for delay. Over the sensor's own, for the gain.
            let z = (point.wide_slope * point.level - mean_z) * mean_w;
            let (y, w) = (point.ratio - mean_y, 1.0 / (point.level * mean_w) - 1.0);
            sums.xx += x * x;
            sums.zx += z * x;
            sums.zy += z * y;
            sums.zz += z * z;
            sums.wx += w * x;
            sums.wy += w * y;
            sums.wz += w * z;
            sums.ww += w * w;
        }
        sums
    }

    /// `zy` without what an offset adds, over 1 / gain, at a given delay: in the mean, the sensor's delay times `zx`.
    ///
    /// With an offset the ratio is (1 + delay x) / gain + c (1 + w): at w = 0, the middle of the levels, it is `middle` (1 + delay x),
    /// and 1 / gain = `middle` - c.
    pub fn scaled_zy(&self, delay: f64) -> f64 {
        let middle = self.mean_y / (1.0 + delay * self.mean_x);
        let offset = (self.wy - middle * delay * self.wx) / (self.ww + OFFSET_UNKNOWN);
        (self.zy - offset * self.wz) / (middle - offset)
    }
}

/// The delay common to the sensors: the fixed point of Σ gain · zy / Σ zx.
fn common_delay(sensors: &BTreeMap<usize, SensorSums>) -> Option<f64> {
    let zx: f64 = sensors.values().map(|sums| sums.zx).sum();
    if !told_apart_from_noise(sensors, zx) {
        return None;
    }
    let mut delay = 0.0;
    for _ in 0..50 {
        let zy: f64 = sensors.values().map(|sums| sums.scaled_zy(delay)).sum();
        let next = zy / zx;
        let done = (next - delay).abs() < 1e-12 * (1.0 + next.abs());
        delay = next;
        if done {
            break;
        }
    }
    delay.is_finite().then_some(delay)
}

/// Whether there are enough points, and the wide slope foretells the slope well enough: F of the regression within
/// sensors of at least [`LEAST_F`], upwards, and a share explained of at least [`LEAST_EXPLAINED`].
fn told_apart_from_noise(sensors: &BTreeMap<usize, SensorSums>, zx: f64) -> bool {
    let pairs: usize = sensors.values().map(|sums| sums.pairs).sum();
    let sum = |of: fn(&SensorSums) -> f64| sensors.values().map(of).sum::<f64>();
    let (xx, zz) = (sum(|s| s.xx), sum(|s| s.zz));
    let explained = zx * zx / zz;
    let df = pairs as f64 - sensors.len() as f64 - 1.0;
    pairs >= FEWEST_PAIRS
        && zx > 0.0
        && explained * df >= LEAST_F * (xx - explained)
        && explained >= LEAST_EXPLAINED * xx
}

fn sensor_sums(points: &[DelayPoint]) -> BTreeMap<usize, SensorSums> {
    by_sensor(points)
        .into_iter()
        .map(|(sensor, points)| (sensor, SensorSums::new(&points)))
        .filter(|(_, sums)| sums.zz > 0.0)
        .collect()
}

/// Points by sensor, of the sensors with at least [`FEWEST_OF_SENSOR`].
fn by_sensor(points: &[DelayPoint]) -> BTreeMap<usize, Vec<DelayPoint>> {
    let mut members = BTreeMap::<usize, Vec<DelayPoint>>::new();
    for point in points {
        members.entry(point.sensor).or_default().push(*point);
    }
    members.retain(|_, points| points.len() >= FEWEST_OF_SENSOR);
    members
}

/// A first delay that outliers cannot move far, though noise pulls it towards 0: the median slope between any two
/// points of a sensor (Theil and Sen), over the sensor's median ratio.
fn robust_delay(points: &[DelayPoint]) -> Option<f64> {
    let mut slopes = Vec::new();
    for points in by_sensor(points).values() {
        let gain = median(&points.iter().map(|point| point.ratio).collect::<Vec<_>>())?;
        for (index, one) in points.iter().enumerate() {
            let others = points[index + 1..]
                .iter()
                .filter(|other| other.slope != one.slope);
            slopes.extend(
                others.map(|other| (other.ratio - one.ratio) / (other.slope - one.slope) / gain),
            );
        }
    }
    median(&slopes)
}

/// The points within [`OUTLIER`] robust standard deviations of the line at a given delay, gains taken as medians.
fn without_outliers(points: &[DelayPoint], delay: f64) -> Vec<DelayPoint> {
    let mut residuals = Vec::new();
    for points in by_sensor(points).into_values() {
        let ratio = |point: &DelayPoint| point.ratio / (1.0 + delay * point.slope);
        let inverse_gain = median(&points.iter().map(ratio).collect::<Vec<_>>()).unwrap_or(1.0);
        residuals.extend(points.into_iter().map(|point| {
            (
                point,
                (point.ratio / inverse_gain - 1.0 - delay * point.slope).abs(),
            )
        }));
    }
    let sizes: Vec<f64> = residuals.iter().map(|(_, residual)| *residual).collect();
    // 1.4826 turns the median absolute residual of a normal sample into its standard deviation.
    let bound = OUTLIER * 1.4826 * median(&sizes).unwrap_or(0.0);
    residuals.retain(|(_, residual)| at_most(*residual, bound + RESIDUAL_ROUNDING));
    residuals.into_iter().map(|(point, _)| point).collect()
}
