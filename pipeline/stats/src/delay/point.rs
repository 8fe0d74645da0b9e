//! A fingerstick and the readings around it, reduced to what an estimate of delay needs.

use super::local_trend::{LocalTrend, local_trend};

/// Least minutes between the readings of a window.
const LEAST_SPACING: f64 = 4.0;

/// The readings that the wide slope is taken from are this far from the fingerstick, minutes.
const FAR: (f64, f64) = (30.0, 45.0);

/// From it a share of the slope between readings this far away is taken off: noise that lasts half an hour moves it as
/// much as it moves the slope itself, so what is left has little of it.
const MIDDLE: (f64, f64) = (20.0, 30.0);
const MIDDLE_SHARE: f64 = 0.3;

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

/// One fingerstick against one sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DelayPoint {
    /// The sensor, any number.
    pub sensor: usize,
    /// The sensor's level at the fingerstick, above 0, in the unit of its readings.
    pub level: f64,
    /// Fingerstick over the sensor's level.
    pub ratio: f64,
    /// The sensor's slope at the fingerstick over its level, per minute.
    pub slope: f64,
    /// The sensor's slope between readings long before and long after, over its level, per minute: see [`delay_point`].
    pub wide_slope: f64,
}

/// Level and slope of the readings by [`local_trend`], and the wide slope, all over the level, so that neither the unit nor
/// the sensor's gain matters.
///
/// Wide slope: (far - 0.3 middle) / 0.7. `far` is the mean of the readings 30 to 45 min after the fingerstick less the
/// mean of those 30 to 45 min before, over the minutes between; `middle` the same of those 20 to 30 min away, `far`
/// where a side has none. With glucose that moves on in a straight line it is the slope.
///
/// Readings are thinned to 4 min apart first: closer ones cost much and tell little, their noise being nearly the same.
/// `None` where there is no trend, a level of 0 or less, or no reading 30 to 45 min away on a side. Checked by
/// `tests/delay.rs`.
#[must_use]
pub fn delay_point(pair: &DelayPair) -> Option<DelayPoint> {
    let (minutes, glucose) = thinned(&pair.minutes, &pair.glucose);
    let LocalTrend { level, slope } = local_trend(&minutes, &glucose)?;
    let far = slope_between(&minutes, &glucose, FAR)?;
    let middle = slope_between(&minutes, &glucose, MIDDLE).unwrap_or(far);
    (level > 0.0).then(|| DelayPoint {
        sensor: pair.sensor,
        level,
        ratio: pair.fingerstick / level,
        slope: slope / level,
        wide_slope: (far - MIDDLE_SHARE * middle) / (1.0 - MIDDLE_SHARE) / level,
    })
}

fn thinned(minutes: &[f64], glucose: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let mut next = f64::NEG_INFINITY;
    let mut thin = (Vec::new(), Vec::new());
    for (&minutes, &glucose) in minutes.iter().zip(glucose) {
        if minutes >= next {
            thin.0.push(minutes);
            thin.1.push(glucose);
            next = minutes + LEAST_SPACING;
        }
    }
    thin
}

/// Slope between the readings so far before and so far after.
fn slope_between(minutes: &[f64], glucose: &[f64], (least, most): (f64, f64)) -> Option<f64> {
    let (early, before) = mean_where(minutes, glucose, |t| -most <= t && t <= -least)?;
    let (late, after) = mean_where(minutes, glucose, |t| least <= t && t <= most)?;
    Some((after - before) / (late - early))
}

/// Mean time and mean glucose of the readings at some times.
fn mean_where(
    minutes: &[f64],
    glucose: &[f64],
    wanted: impl Fn(f64) -> bool,
) -> Option<(f64, f64)> {
    let (mut count, mut time, mut sum) = (0.0, 0.0, 0.0);
    for (&minutes, &glucose) in minutes.iter().zip(glucose).filter(|(t, _)| wanted(**t)) {
        count += 1.0;
        time += minutes;
        sum += glucose;
    }
    (count > 0.0).then(|| (time / count, sum / count))
}
