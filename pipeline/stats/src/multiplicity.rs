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

/// One e-value from several for "all of these hypotheses are true": their arithmetic mean, whatever their dependence;
/// `None` for none. Source: Vovk and Wang 2021 Ann Stat 49:1736, proposition 3.1. Checked by `tests/multiplicity.rs`.
#[must_use]
pub fn merged_e_value(e_values: &[f64]) -> Option<f64> {
    let count = e_values.len() as f64;
    (count > 0.0).then(|| e_values.iter().sum::<f64>() / count)
}

/// E-values that stand for themselves among several, in the order of the input: the least mean of any set that holds the
/// one in question (closed testing with the arithmetic mean). Source: Vovk and Wang 2021 Ann Stat 49:1736, algorithm 1.
/// Checked by `tests/multiplicity.rs`.
#[must_use]
pub fn adjusted_e_values(e_values: &[f64]) -> Vec<f64> {
    let mut sorted = e_values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let adjusted = |&own: &f64| {
        let (mut sum, mut least) = (own, own);
        let mut own_passed = false;
        let mut size = 1.0;
        for &other in &sorted {
            if other == own && !own_passed {
                own_passed = true;
                continue;
            }
            sum += other;
            size += 1.0;
            least = least.min(sum / size);
        }
        least
    };
    e_values.iter().map(adjusted).collect()
}
