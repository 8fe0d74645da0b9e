//! The delay of a first-order lag between capillary and sensor glucose.

use super::point::DelayPoint;
use super::sums::SiteSums;
use crate::distributions::t_quantile;
use crate::interval::Interval;

/// What the noise may still do to an estimate, relative to it: noise of 5 % or more ties the two slopes together a little,
/// most of it where it lasts half an hour, or where readings are 15 min apart and their noise is white.
pub(super) const NOISE_LEFT: f64 = 0.05;

/// The delay of a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delay {
    /// Mean delay in minutes, positive where the sensor lags behind.
    pub minutes: f64,
    /// 95 % interval; `None` with one sensor.
    pub interval: Option<Interval>,
    /// Sensors used.
    pub sensors: usize,
    /// Pairs used.
    pub pairs: usize,
}

/// Mean delay of a first-order lag, from fingersticks and the readings around them.
///
/// Model: capillary glucose G and interstitial glucose I follow delay · dI/dt = G - I, a reading is gain · I + offset plus
/// noise, with a gain and an offset of each sensor's own, a fingerstick is G plus noise. So the fingerstick over the sensor's
/// level is y = (1 + delay · x) / gain - offset / (gain · level) plus noise, x the sensor's slope over its level. Noise in x would pull a plain
/// regression towards 0, so x is not regressed on: the wide slope z is its instrument, and the delay is
/// Σ gain · Szy / Σ Szx, S the sums of products within a sensor, Szy less what the offset adds. z is as steep as x where glucose moves smoothly, and
/// its noise has next to nothing to do with that of x, whatever kind of noise it is. Neither the size
/// nor the correlation time of the noise needs to be known.
///
/// Interval: with U = gain · Szy (less the same) - delay · Szx of a sensor, s² = Σ U² / Szz / (k - 1) over k sensors, the standard error
/// is s √(Σ Szz) / Σ Szx, t with k - 1 degrees of freedom; 5 % of the delay are added on either side, since strong noise
/// still moves the estimate by about that much.
///
/// Points further off than 4 robust standard deviations from a first, robust line are left out. A clock that is off
/// shifts the delay by as much; the difference between two sites with one meter stays right. Returns `None` with fewer
/// than 10 points in sensors that have at least five, where z does not foretell x (F below 10, or less than a tenth of x explained: glucose too flat to
/// tell), or where the estimate is beyond 45 min, the reach of the windows. Sources: Rebrin et al. 1999 Am J Physiol
/// 277:E561 for the lag; from memory Durbin 1954 Rev Int Stat Inst 22:23 for an instrument where both variables are measured with
/// error; Staiger and Stock 1997 Econometrica 65:557 for F. Proved on simulated truth by `tests/delay.rs`.
#[must_use]
pub fn first_order_delay(points: &[DelayPoint]) -> Option<Delay> {
    let site = SiteSums::new(points)?;
    Some(Delay {
        minutes: site.delay,
        interval: interval(&site),
        sensors: site.sensors.len(),
        pairs: site.pairs(),
    })
}

fn interval(site: &SiteSums) -> Option<Interval> {
    let df = site.sensors.len() as f64 - 1.0;
    if df < 1.0 {
        return None;
    }
    let (mut squares, mut zz, mut zx) = (0.0, 0.0, 0.0);
    for sums in site.sensors.values() {
        let off = sums.scaled_zy(site.delay) - site.delay * sums.zx;
        squares += off * off / sums.zz;
        zz += sums.zz;
        zx += sums.zx;
    }
    let std_error = (squares / df * zz).sqrt() / zx;
    Some(Interval::around(
        site.delay,
        t_quantile(0.975, df) * std_error + NOISE_LEFT * site.delay.abs(),
    ))
}
