//! Adjusting p values for several comparisons.

/// Bonferroni's adjustment: each p times their number, 1 at most. Checked by `tests/multiplicity.rs`.
#[must_use]
pub fn bonferroni(p_values: &[f64]) -> Vec<f64> {
    let count = p_values.len() as f64;
    p_values.iter().map(|p| (count * p).min(1.0)).collect()
}

/// Holm's step-down adjustment, in the order of the input.
///
/// The i-th smallest of m p values is multiplied by m - i + 1, made no smaller than those before it, and
/// capped at 1. Source: Holm 1979 Scand J Stat 6:65. Checked by `tests/multiplicity.rs`.
#[must_use]
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut adjusted = vec![0.0; p_values.len()];
    let mut largest = 0.0_f64;
    for (rank, index) in by_size(p_values).into_iter().enumerate() {
        let factor = (p_values.len() - rank) as f64;
        largest = largest.max((factor * p_values[index]).min(1.0));
        adjusted[index] = largest;
    }
    adjusted
}

/// Hochberg's step-up adjustment, in the order of the input: the factors of [`holm`], each made no larger than those after
/// it. For tests that are independent or positively dependent. Source, from memory: Hochberg 1988 Biometrika 75:800. Checked by
/// `tests/multiplicity.rs`.
#[must_use]
pub fn hochberg(p_values: &[f64]) -> Vec<f64> {
    step_up(p_values, |rank, count| count - rank)
}

/// Benjamini and Hochberg's adjustment, which bounds the share of false discoveries, in the order of the input: the i-th
/// smallest of m times m / i, made no larger than those after it. Source, from memory: Benjamini and Hochberg 1995 J R Stat Soc B
/// 57:289. Checked by `tests/multiplicity.rs`.
#[must_use]
pub fn benjamini_hochberg(p_values: &[f64]) -> Vec<f64> {
    step_up(p_values, |rank, count| count / (rank + 1.0))
}

/// The factor is asked for with the rank from 0 and the number of p values.
fn step_up(p_values: &[f64], factor: impl Fn(f64, f64) -> f64) -> Vec<f64> {
    let mut adjusted = vec![0.0; p_values.len()];
    let mut smallest = 1.0_f64;
    for (rank, index) in by_size(p_values).into_iter().enumerate().rev() {
        smallest = smallest.min(factor(rank as f64, p_values.len() as f64) * p_values[index]);
        adjusted[index] = smallest;
    }
    adjusted
}

/// Places of the p values, the smallest first.
fn by_size(p_values: &[f64]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|&a, &b| p_values[a].total_cmp(&p_values[b]));
    order
}

/// One e-value from several for "all of these hypotheses are true": their arithmetic mean, whatever their dependence;
/// `None` for none. Source, from memory: Vovk and Wang 2021 Ann Stat 49:1736, proposition 3.1. Checked by `tests/multiplicity.rs`.
#[must_use]
pub fn merged_e_value(e_values: &[f64]) -> Option<f64> {
    let count = e_values.len() as f64;
    (count > 0.0).then(|| e_values.iter().sum::<f64>() / count)
}

/// E-values that stand for themselves among several, in the order of the input: the least mean of any set that holds the
/// one in question (closed testing with the arithmetic mean). Source, from memory: Vovk and Wang 2021 Ann Stat 49:1736, algorithm 1.
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
