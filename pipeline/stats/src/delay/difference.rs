//! The difference in delay between two sites.

use super::first_order::NOISE_LEFT;
use super::point::DelayPoint;
use super::sums::{SensorSums, SiteSums};
use crate::distributions::{t_quantile, t_two_sided};
use crate::interval::Interval;
use std::collections::BTreeMap;

/// Delay of one site less that of another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DelayDifference {
    /// Minutes; positive where the first site lags further behind.
    pub minutes: f64,
    /// 95 % interval; `None` without a sensor to spare.
    pub interval: Option<Interval>,
    /// Two-sided p of no difference; `None` as the interval.
    pub p: Option<f64>,
    /// Sensors used, of wearers who wore both sites.
    pub sensors: usize,
    /// Wearers who wore both sites.
    pub wearers: usize,
}

/// Difference in delay between two sites, within wearers.
///
/// `wearer_of` tells the wearer of a sensor. Within a wearer the delay of a site is Y / X with X = Σ Szx and
/// Y = Σ gain · Szy over the sensors there (see [`super::first_order`]); the differences are averaged over wearers with
/// the weights `X_1 X_2 / (X_1 + X_2)`, which are those of least squares with a delay of each wearer's own. So a meter
/// whose clock is off drops out, as long as a wearer uses one meter for both sites.
///
/// Interval: residuals of the sensors as for one site, pooled over both, with k - w - 1 degrees of freedom for k
/// sensors of w wearers, and 5 % of the difference on either side. It takes the delays of both sites to vary alike. Returns `None` where a site's delay cannot be told
/// or no wearer wore both. Checked by `tests/delay.rs`.
#[must_use]
pub fn delay_difference(
    first: &[DelayPoint],
    second: &[DelayPoint],
    wearer_of: impl Fn(usize) -> usize,
) -> Option<DelayDifference> {
    let sites = [SiteSums::new(first)?, SiteSums::new(second)?];
    let mut wearers = BTreeMap::<usize, [Vec<SensorSlope>; 2]>::new();
    for (index, site) in sites.iter().enumerate() {
        for (&sensor, sums) in &site.sensors {
            wearers.entry(wearer_of(sensor)).or_default()[index]
                .push(SensorSlope::new(sums, site.delay));
        }
    }
    let cells: Vec<[Cell; 2]> = wearers
        .into_values()
        .map(|sites| sites.map(Cell::new))
        .filter(|[first, second]| first.x > 0.0 && second.x > 0.0)
        .collect();
    difference_of_cells(&cells)
}

fn difference_of_cells(cells: &[[Cell; 2]]) -> Option<DelayDifference> {
    let weight = |[a, b]: &[Cell; 2]| a.x * b.x / (a.x + b.x);
    let total: f64 = cells.iter().map(weight).sum();
    if cells.is_empty() {
        return None;
    }
    let minutes = cells
        .iter()
        .map(|cell| weight(cell) * (cell[0].y / cell[0].x - cell[1].y / cell[1].x))
        .sum::<f64>()
        / total;
    let (mut squares, mut variance, mut sensors) = (0.0, 0.0, 0);
    for cell in cells {
        let [first, second] = cell;
        // The wearer's own level, given the common difference.
        let level = (first.y + second.y - minutes * first.x) / (first.x + second.x);
        for (site, delay) in [(first, level + minutes), (second, level)] {
            for sensor in &site.sensors {
                squares += (sensor.y - delay * sensor.x).powi(2) / sensor.zz;
                variance += (weight(cell) / total / site.x).powi(2) * sensor.zz;
            }
            sensors += site.sensors.len();
        }
    }
    let df = sensors as f64 - cells.len() as f64 - 1.0;
    let std_error = (df >= 1.0).then(|| (squares / df * variance).sqrt());
    let half_width = |error: f64| t_quantile(0.975, df) * error + NOISE_LEFT * minutes.abs();
    Some(DelayDifference {
        minutes,
        interval: std_error.map(|error| Interval::around(minutes, half_width(error))),
        p: std_error.map(|error| t_two_sided(minutes / error, df)),
        sensors,
        wearers: cells.len(),
    })
}

/// One sensor: y is its delay times x, up to noise with a variance in proportion to zz.
struct SensorSlope {
    x: f64,
    y: f64,
    zz: f64,
}

impl SensorSlope {
    fn new(sums: &SensorSums, delay: f64) -> Self {
        Self {
            x: sums.zx,
            y: sums.scaled_zy(delay),
            zz: sums.zz,
        }
    }
}

/// The sensors of one wearer on one site.
struct Cell {
    x: f64,
    y: f64,
    sensors: Vec<SensorSlope>,
}

impl Cell {
    fn new(sensors: Vec<SensorSlope>) -> Self {
        Self {
            x: sensors.iter().map(|sensor| sensor.x).sum(),
            y: sensors.iter().map(|sensor| sensor.y).sum(),
            sensors,
        }
    }
}
