//! Intervals of a share from its standard error.

use crate::distributions::normal_quantile;
use crate::interval::Interval;
use std::f64::consts::FRAC_PI_2;

/// The scale on which the interval of a share (survival, incidence) is symmetric.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntervalScale {
    /// log(-log p), which never leaves 0 to 1.
    LogLog,
    /// log p, clipped at 1.
    Log,
    /// p itself, clipped to 0 and 1.
    Plain,
    /// log(p / (1 - p)).
    Logit,
    /// arcsin √p, clipped to 0 and π/2.
    Arcsine,
}

/// 95 % interval of a share with the given standard error; `None` where the share is 0 or 1.
///
/// The standard error on each scale is by the delta method. Sources, from memory: Kalbfleisch and Prentice 2002, The Statistical
/// Analysis of Failure Time Data, section 1.4; Borgan and Liestøl 1990 Scand J Stat 17:35. Checked by
/// `tests/kaplan_meier.rs` and `tests/incidence.rs`.
#[must_use]
pub fn share_interval(share: f64, std_error: f64, scale: IntervalScale) -> Option<Interval> {
    if share <= 0.0 || share >= 1.0 {
        return None;
    }
    let half_width = normal_quantile(0.975) * std_error;
    let (lower, upper) = match scale {
        IntervalScale::LogLog => {
            let factor = (half_width / (share * share.ln().abs())).exp();
            (share.powf(factor), share.powf(1.0 / factor))
        }
        IntervalScale::Log => {
            let factor = (half_width / share).exp();
            (share / factor, (share * factor).min(1.0))
        }
        IntervalScale::Plain => ((share - half_width).max(0.0), (share + half_width).min(1.0)),
        IntervalScale::Logit => {
            let factor = (half_width / (share * (1.0 - share))).exp();
            let odds = share / (1.0 - share);
            let of_odds = |odds: f64| odds / (1.0 + odds);
            (of_odds(odds / factor), of_odds(odds * factor))
        }
        IntervalScale::Arcsine => {
            let (angle, half) = (
                share.sqrt().asin(),
                0.5 * half_width / (share * (1.0 - share)).sqrt(),
            );
            let of_angle = |angle: f64| angle.clamp(0.0, FRAC_PI_2).sin().powi(2);
            (of_angle(angle - half), of_angle(angle + half))
        }
    };
    Some(Interval { lower, upper })
}
