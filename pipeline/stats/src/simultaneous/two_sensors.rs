//! Two sensors against each other over the hours in which both were worn.

use crate::comparison::at_most;
use crate::quantile::median;
use std::collections::BTreeMap;

/// Minutes that readings are averaged over before a lag is looked for.
const QUARTER: f64 = 15.0;

/// Quarters of an hour, with three before and three after, that a lag needs: half a day.
const FEWEST_QUARTERS: usize = 48;

/// The least F of the regression of the slope on the wide slope.
const LEAST_F: f64 = 10.0;

/// Residuals beyond this many (robust) standard deviations are left out of the lag: artefacts.
const OUTLIER: f64 = 4.0;

/// Residuals of this size, relative to glucose, are rounding.
const RESIDUAL_ROUNDING: f64 = 1e-9;

/// The mean of the two sensors' delays behind blood as it is taken to be, minutes: being some minutes off matters little.
const USUAL_DELAY: f64 = 8.0;

/// A lag longer than this is no estimate, minutes.
const LONGEST_MINUTES: f64 = 30.0;

/// A reading of the first sensor beside one of the second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CommonReading {
    /// When the first sensor read, minutes.
    pub minutes: f64,
    /// The first sensor's reading, above 0.
    pub first: f64,
    /// How much later the second sensor read, minutes; negative where it read earlier.
    pub offset: f64,
    /// The second sensor's reading, above 0, in the same unit.
    pub second: f64,
}

/// How two sensors differ: first less second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoSensors {
    /// Readings in common.
    pub readings: usize,
    /// Mean difference, in the unit of the readings.
    pub difference: f64,
    /// Mean of the difference relative to the mean of the two, in percent.
    pub percent: f64,
    /// Standard deviation of the differences (n - 1); `None` with one reading.
    pub sd: Option<f64>,
    /// Mean of the absolute difference relative to the mean of the two, a fraction.
    pub absolute_relative: f64,
    /// Minutes by which the first sensor is behind the second; `None` where it cannot be told.
    pub lag: Option<f64>,
}

/// Compares two sensors over their common readings.
///
/// `readings` may hold several of the second sensor for one of the first: the nearest counts, the earlier of two as near.
///
/// Lag: logarithms of both, averaged over quarters of an hour, give the mean trace m and the difference y; x and d are
/// the slopes of m and y by the five-point rule (8 (m₁ - m₋₁) - (m₂ - m₋₂)) / (12 · 15 min), z the wide slope
/// (m₃ - m₋₃) / 90 min. With delays a and b behind the same blood, A + a · dA/dt = B + b · dB/dt, so
/// y + (a + b) / 2 · d = -(a - b) · x; (a + b) / 2 is taken as 8 min, which matters little. So lag = -S(z, y + 8 d) / S(z, x),
/// S the sums of products about the means: z is an instrument for x, whose noise would pull a plain regression towards
/// 0, see [`crate::delay::first_order`]. Gains drop out with the means. Where the second sensor reads some minutes
/// later each time, that is taken off. Quarters further off than 4 robust standard deviations are left out. `None` with
/// fewer than 48 quarters, F of x on z below 10, or a lag beyond 30 min.
///
/// Returns `None` without readings. All differences equal: `sd` is 0. Source of the instrument, from memory: Durbin 1954 Rev Int
/// Stat Inst 22:23; of the five-point rule: Abramowitz and Stegun 1964, table 25.2. Checked by `tests/simultaneous.rs`.
#[must_use]
pub fn two_sensors(readings: &[CommonReading]) -> Option<TwoSensors> {
    let readings = nearest(readings);
    let n = readings.len() as f64;
    if readings.is_empty() {
        return None;
    }
    let mean = |of: &dyn Fn(&CommonReading) -> f64| readings.iter().map(of).sum::<f64>() / n;
    let relative = |r: &CommonReading| 2.0 * (r.first - r.second) / (r.first + r.second);
    let difference = mean(&|r| r.first - r.second);
    let variance = mean(&|r| (r.first - r.second - difference).powi(2)) * n / (n - 1.0);
    Some(TwoSensors {
        readings: readings.len(),
        difference,
        percent: 100.0 * mean(&relative),
        sd: (readings.len() > 1).then(|| variance.sqrt()),
        absolute_relative: mean(&|r| relative(r).abs()),
        lag: lag(&quarters(&readings)),
    })
}

/// One common reading for each of the first sensor, in the order of time.
fn nearest(readings: &[CommonReading]) -> Vec<CommonReading> {
    let mut sorted = readings.to_vec();
    sorted.sort_by(|a, b| {
        let distance = a.offset.abs().total_cmp(&b.offset.abs());
        let time = a.minutes.total_cmp(&b.minutes);
        time.then(distance).then(a.offset.total_cmp(&b.offset))
    });
    sorted.dedup_by(|later, kept| later.minutes == kept.minutes);
    sorted
}

/// Means over a quarter of an hour.
#[derive(Clone, Copy, Default)]
struct Quarter {
    count: f64,
    /// Mean trace, logarithm.
    level: f64,
    /// Difference of the logarithms.
    difference: f64,
    /// How much later the second sensor read, minutes.
    offset: f64,
}

fn quarters(readings: &[CommonReading]) -> BTreeMap<i64, Quarter> {
    let mut quarters = BTreeMap::<i64, Quarter>::new();
    for reading in readings {
        let (first, second) = (reading.first.ln(), reading.second.ln());
        let quarter = quarters
            .entry((reading.minutes / QUARTER).floor() as i64)
            .or_default();
        quarter.count += 1.0;
        quarter.level += 0.5 * (first + second);
        quarter.difference += first - second;
        quarter.offset += reading.offset;
    }
    for quarter in quarters.values_mut() {
        quarter.level /= quarter.count;
        quarter.difference /= quarter.count;
        quarter.offset /= quarter.count;
    }
    quarters
}

/// What a quarter tells of the lag.
#[derive(Clone, Copy)]
struct Point {
    x: f64,
    y: f64,
    z: f64,
}

fn lag(quarters: &BTreeMap<i64, Quarter>) -> Option<f64> {
    let points: Vec<Point> = quarters
        .iter()
        .filter_map(|(&number, quarter)| point(quarters, number, quarter))
        .collect();
    let start = lag_of(&points)?;
    let residuals: Vec<f64> = points.iter().map(|p| p.y + start * p.x).collect();
    let middle = median(&residuals)?;
    let sizes: Vec<f64> = residuals.iter().map(|r| (r - middle).abs()).collect();
    // 1.4826 turns the median absolute residual of a normal sample into its standard deviation.
    let bound = OUTLIER * 1.4826 * median(&sizes)? + RESIDUAL_ROUNDING;
    let kept: Vec<Point> = points
        .iter()
        .zip(&sizes)
        .filter(|(_, size)| at_most(**size, bound))
        .map(|(point, _)| *point)
        .collect();
    lag_of(&kept).filter(|lag| lag.abs() <= LONGEST_MINUTES)
}

fn point(quarters: &BTreeMap<i64, Quarter>, number: i64, here: &Quarter) -> Option<Point> {
    let at = |step: i64| quarters.get(&(number + step));
    let slope = |of: fn(&Quarter) -> f64| -> Option<f64> {
        let near = of(at(1)?) - of(at(-1)?);
        let far = of(at(2)?) - of(at(-2)?);
        Some((8.0 * near - far) / (12.0 * QUARTER))
    };
    let x = slope(|quarter| quarter.level)?;
    let spreading = slope(|quarter| quarter.difference)?;
    Some(Point {
        x,
        y: here.difference + here.offset * x + USUAL_DELAY * spreading,
        z: (at(3)?.level - at(-3)?.level) / (6.0 * QUARTER),
    })
}

fn lag_of(points: &[Point]) -> Option<f64> {
    let n = points.len() as f64;
    if points.len() < FEWEST_QUARTERS {
        return None;
    }
    let mean = |of: fn(&Point) -> f64| points.iter().map(of).sum::<f64>() / n;
    let centre = Point {
        x: mean(|p| p.x),
        y: mean(|p| p.y),
        z: mean(|p| p.z),
    };
    let sum = |of: &dyn Fn(f64, f64, f64) -> f64| -> f64 {
        points
            .iter()
            .map(|p| of(p.x - centre.x, p.y - centre.y, p.z - centre.z))
            .sum()
    };
    let (xx, zx) = (sum(&|x, _, _| x * x), sum(&|x, _, z| z * x));
    let (zy, zz) = (sum(&|_, y, z| z * y), sum(&|_, _, z| z * z));
    let explained = zx * zx / zz;
    (zx > 0.0 && explained * (n - 2.0) >= LEAST_F * (xx - explained)).then(|| -zy / zx)
}
