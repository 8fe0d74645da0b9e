//! The one type for a range of plausible values.

/// A confidence interval, or the limits of agreement, in the unit of the estimate it belongs to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

impl Interval {
    /// The interval `centre` ± `half_width`.
    #[must_use]
    pub fn around(centre: f64, half_width: f64) -> Self {
        Self {
            lower: centre - half_width,
            upper: centre + half_width,
        }
    }
}
