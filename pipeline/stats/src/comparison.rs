//! Comparison with a limit, forgiving rounding.
//!
//! A value that reached its limit only up to rounding (113.99999999999999 for 114) counts as having
//! reached it: every comparison carries a relative slack of [`SLACK`].

/// Relative slack of every comparison with a limit.
pub const SLACK: f64 = 1e-9;

/// `value <= limit`, or above it by no more than rounding.
#[must_use]
pub fn at_most(value: f64, limit: f64) -> bool {
    value <= limit + SLACK * limit.abs()
}

/// `value >= limit`, or below it by no more than rounding.
#[must_use]
pub fn at_least(value: f64, limit: f64) -> bool {
    value >= limit - SLACK * limit.abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_does_not_cross_a_limit() {
        assert!(at_most(0.1 + 0.2, 0.3));
        assert!(at_least(0.3, 0.1 + 0.2));
        assert!(!at_most(0.300_001, 0.3));
        assert!(!at_least(0.299_999, 0.3));
        assert!(at_most(-5.0, -5.0 - 1e-12));
    }
}
