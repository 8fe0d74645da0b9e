//! How many sensors a comparison of two sites takes, in closed forms: a check on what is simulated.
//!
//! Two-sided level α and the wanted power enter by their normal quantiles; looking every month by a bet that may be looked
//! at costs more, so that these are least numbers.

use whereworn_stats::distributions::{chi_square_upper_tail, normal_quantile};

/// Level and power of a test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Promise {
    /// Two-sided level, 0 to 1.
    pub level: f64,
    /// Power, 0 to 1.
    pub power: f64,
}

impl Promise {
    /// The usual one: 5 % and four of five.
    pub const USUAL: Self = Self {
        level: 0.05,
        power: 0.8,
    };

    fn squared_quantiles(self) -> f64 {
        (normal_quantile(1.0 - 0.5 * self.level) + normal_quantile(self.power)).powi(2)
    }
}

/// Detachments that both sites together have to show for a log-rank test to find a hazard ratio: (z + z')² / (p (1 - p) ln²
/// h), p being the first site's share of the sensors.
///
/// Source, from memory: Schoenfeld 1981 Biometrika 68:316. Checked by hand below.
#[must_use]
pub fn events_for_hazard_ratio(promise: Promise, ratio: f64, share: f64) -> f64 {
    promise.squared_quantiles() / (share * (1.0 - share) * ratio.ln().powi(2))
}

/// Sensors a site for a difference of means δ, a sensor's mean over m pairs having variance between² + within² / m: 2 (z +
/// z')² (between² + within² / m) / δ². Unit of the difference. Source, from memory: Snedecor and Cochran 1989, Statistical Methods,
/// section 6.14, with the variance of a mean in two stages (section 13.3 there).
#[must_use]
pub fn sensors_for_difference(
    promise: Promise,
    difference: f64,
    between: f64,
    within: f64,
    pairs: f64,
) -> f64 {
    let variance = between * between + within * within / pairs;
    2.0 * promise.squared_quantiles() * variance / (difference * difference)
}

/// Sensor-nights a site for a difference of two rates per night whose counts scatter `dispersion` times as much as Poisson's
/// (1 where they do not): (z + z')² φ (λ₁ + λ₂) / (λ₁ - λ₂)². Sources, from memory: Snedecor and Cochran 1989, section 6.14, with
/// Poisson variances; Lehr 1992 Stat Med 11:1099 rounds it.
#[must_use]
pub fn nights_for_rates(promise: Promise, rates: [f64; 2], dispersion: f64) -> f64 {
    let [one, other] = rates;
    promise.squared_quantiles() * dispersion * (one + other) / (one - other).powi(2)
}

/// The power of a two-sided test of a difference with this standard error.
#[must_use]
pub fn power(level: f64, difference: f64, std_error: f64) -> f64 {
    let limit = normal_quantile(1.0 - 0.5 * level);
    let shift = (difference / std_error).abs();
    upper_tail(limit - shift) + upper_tail(limit + shift)
}

/// The upper tail of the standard normal distribution: half of what its square, chi-square with 1 degree of freedom, has.
fn upper_tail(z: f64) -> f64 {
    let half = 0.5 * chi_square_upper_tail(z * z, 1.0);
    if z < 0.0 { 1.0 - half } else { half }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// (1.959964 + 0.841621)² = 7.848880; for a hazard ratio of 2, equal sites: 4 × 7.848880 / 0.480453 = 65.3, the 66
    /// events that textbooks print for it.
    #[test]
    fn schoenfeld_by_hand() {
        let events = events_for_hazard_ratio(Promise::USUAL, 2.0, 0.5);
        assert!((events - 65.3457).abs() < 1e-3, "{events}");
        let unequal = events_for_hazard_ratio(Promise::USUAL, 0.5, 0.2);
        assert!((unequal / events - 0.25 / 0.16).abs() < 1e-12);
    }

    /// 2 × 7.848880 × (3² + 8² / 16) / 4² = 12.75 sensors a site.
    #[test]
    fn a_difference_of_means_by_hand() {
        let sensors = sensors_for_difference(Promise::USUAL, 4.0, 3.0, 8.0, 16.0);
        assert!((sensors - 12.7544).abs() < 1e-3, "{sensors}");
    }

    /// Lehr's rule for counts: 4 / (√λ₁ - √λ₂)² events' worth of exposure; within a tenth of the exact form for 1 and 4
    /// events: 7.848880 × 5 / 9 = 4.36 against 4.
    #[test]
    fn rates_by_hand_and_by_the_rule_of_thumb() {
        let nights = nights_for_rates(Promise::USUAL, [4.0, 1.0], 1.0);
        assert!((nights - 4.3605).abs() < 1e-3, "{nights}");
        assert!((nights / 4.0 - 1.0).abs() < 0.1);
    }

    /// At the number that the closed form gives, the power is the promised one (but for the far tail, below 1e-5).
    #[test]
    fn the_power_at_the_number_is_the_promised_one() {
        let sensors = sensors_for_difference(Promise::USUAL, 4.0, 3.0, 0.0, 1.0);
        let reached = power(0.05, 4.0, (2.0 * 9.0 / sensors).sqrt());
        assert!((reached - 0.8).abs() < 1e-5, "{reached}");
    }
}
