//! Small symmetric matrices.

use crate::linear::Square;

/// A pivot below this share of its own diagonal is rounding: the matrix is singular.
const SINGULAR: f64 = 1e-10;

/// The inverse; `None` where the matrix is not positive definite up to rounding.
pub(super) fn inverse(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let inverse = Square::from_rows(matrix)
        .cholesky(SINGULAR)?
        .inverse_of_product();
    Some((0..matrix.len()).map(|i| inverse.row(i).to_vec()).collect())
}

/// The logarithm of the determinant, under the same condition.
pub(super) fn log_determinant(matrix: &[Vec<f64>]) -> Option<f64> {
    let factor = Square::from_rows(matrix).cholesky(SINGULAR)?;
    Some(factor.log_determinant())
}

/// x' M x.
pub(super) fn quadratic(matrix: &[Vec<f64>], x: &[f64]) -> f64 {
    product(matrix, x).iter().zip(x).map(|(a, b)| a * b).sum()
}

/// M x.
pub(super) fn product(matrix: &[Vec<f64>], x: &[f64]) -> Vec<f64> {
    matrix
        .iter()
        .map(|row| row.iter().zip(x).map(|(a, b)| a * b).sum())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: the inverse of [4 2; 2 3] is [3 -2; -2 4] / 8.
    #[test]
    fn two_by_two() {
        let matrix = [vec![4.0, 2.0], vec![2.0, 3.0]];
        let inverse = inverse(&matrix).unwrap();
        for (row, by_hand) in inverse.iter().zip([[0.375, -0.25], [-0.25, 0.5]]) {
            assert!(row.iter().zip(by_hand).all(|(a, b)| (a - b).abs() < 1e-15));
        }
        assert!((log_determinant(&matrix).unwrap() - 8.0_f64.ln()).abs() < 1e-14);
        assert!(super::inverse(&[vec![1.0, 1.0], vec![1.0, 1.0]]).is_none());
    }
}
