//! The delay that one sensor shows by itself.

use super::point::DelayPoint;
use super::sums::SiteSums;

/// The delay of one sensor, for comparing sites by their sensors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorDelay {
    /// Minutes.
    pub minutes: f64,
    /// Szx² / Szz, per squared minute: the squared noise of a pair, relative to glucose, over this is the variance of `minutes`.
    pub weight: f64,
}

/// The delay of one sensor from its points, as `first_order_delay` finds that of a site; `None` where it cannot be
/// told from them alone. Checked by `tests/conclusions/main.rs`.
#[must_use]
pub fn sensor_delay(points: &[DelayPoint]) -> Option<SensorDelay> {
    let sums = SiteSums::new(points)?;
    let only = sums.sensors.into_values().next()?;
    Some(SensorDelay {
        minutes: sums.delay,
        weight: only.zx * only.zx / only.zz,
    })
}
