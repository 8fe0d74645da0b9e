//! The chi-square of scores whose covariance matrix may be singular.

/// x' V⁻ x and the rank of V, for a covariance matrix V and x in its range, by Cholesky with diagonal pivots.
///
/// `scale` is the size of the numbers that V was summed from: pivots below 1e-10 of it are rounding.
pub(super) fn quadratic_form(variance: &[Vec<f64>], mut x: Vec<f64>, scale: f64) -> (f64, usize) {
    const RANK_TOLERANCE: f64 = 1e-10;
    let mut left: Vec<Vec<f64>> = variance.to_vec();
    let mut open: Vec<usize> = (0..x.len()).collect();
    let (mut form, mut rank) = (0.0, 0);
    while let Some(place) =
        (0..open.len()).max_by(|&a, &b| left[open[a]][open[a]].total_cmp(&left[open[b]][open[b]]))
    {
        let pivot = open.swap_remove(place);
        let size = left[pivot][pivot];
        if size <= RANK_TOLERANCE * scale {
            break;
        }
        form += x[pivot] * x[pivot] / size;
        rank += 1;
        for &row in &open {
            let factor = left[row][pivot] / size;
            x[row] -= factor * x[pivot];
            for &column in &open {
                left[row][column] -= factor * left[pivot][column];
            }
        }
    }
    (form, rank)
}
