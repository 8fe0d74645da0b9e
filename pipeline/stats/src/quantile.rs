//! Quantiles of a sample.

/// The `p` quantile of values already sorted upwards; `None` for an empty slice.
///
/// Rule: linear interpolation between order statistics at position `(n - 1) p`, which is type 7 of Hyndman and
/// Fan 1996 (Am Stat 50:361, from memory) and what R and NumPy do by default.
#[must_use]
pub fn quantile_of_sorted(sorted: &[f64], p: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let position = last as f64 * p.clamp(0.0, 1.0);
    let below = (position.floor() as usize).min(last);
    let above = (below + 1).min(last);
    let share = position - below as f64;
    Some(sorted[below] + share * (sorted[above] - sorted[below]))
}

/// The median of values in any order (type 7, so the mean of the middle two); `None` for an empty slice.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    quantile_of_sorted(&sorted, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: position (4 - 1) 0.25 = 0.75, so 1 + 0.75 (2 - 1).
    #[test]
    fn type_seven_by_hand() {
        let sorted = [1.0, 2.0, 4.0, 8.0];
        assert_eq!(quantile_of_sorted(&sorted, 0.25), Some(1.75));
        assert_eq!(quantile_of_sorted(&sorted, 1.0), Some(8.0));
        assert_eq!(median(&[8.0, 1.0, 4.0, 2.0]), Some(3.0));
        assert_eq!(median(&[]), None);
    }
}
