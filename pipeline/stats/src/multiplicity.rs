//! Adjusting p values for several comparisons.

/// Holm's step-down adjustment, in the order of the input.
///
/// The i-th smallest of m p values is multiplied by m - i + 1, made no smaller than those before it, and
/// capped at 1. Source: Holm 1979 Scand J Stat 6:65. Checked by `tests/multiplicity.rs`.
#[must_use]
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|&a, &b| p_values[a].total_cmp(&p_values[b]));
    let mut adjusted = vec![0.0; p_values.len()];
    let mut largest = 0.0_f64;
    for (rank, &index) in order.iter().enumerate() {
        let factor = (p_values.len() - rank) as f64;
        largest = largest.max((factor * p_values[index]).min(1.0));
        adjusted[index] = largest;
    }
    adjusted
}
