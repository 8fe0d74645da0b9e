//! Small symmetric matrices.

/// A pivot below this share of its own diagonal is rounding: the matrix is singular.
const SINGULAR: f64 = 1e-10;

/// The lower Cholesky factor; `None` where the matrix is not positive definite up to rounding.
fn cholesky(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let size = matrix.len();
    let mut factor = vec![vec![0.0; size]; size];
    for row in 0..size {
        for column in 0..=row {
            let dot: f64 = (0..column)
                .map(|k| factor[row][k] * factor[column][k])
                .sum();
            let left = matrix[row][column] - dot;
            if column < row {
                factor[row][column] = left / factor[column][column];
            } else if left > SINGULAR * matrix[row][row] && left.is_finite() {
                factor[row][row] = left.sqrt();
            } else {
                return None;
            }
        }
    }
    Some(factor)
}

/// The inverse; `None` where the matrix is not positive definite up to rounding.
pub(super) fn inverse(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let factor = cholesky(matrix)?;
    let size = matrix.len();
    let mut columns = vec![vec![0.0; size]; size];
    for (place, column) in columns.iter_mut().enumerate() {
        for row in 0..size {
            let dot: f64 = (0..row).map(|k| factor[row][k] * column[k]).sum();
            let unit = if row == place { 1.0 } else { 0.0 };
            column[row] = (unit - dot) / factor[row][row];
        }
        for row in (0..size).rev() {
            let dot: f64 = (row + 1..size).map(|k| factor[k][row] * column[k]).sum();
            column[row] = (column[row] - dot) / factor[row][row];
        }
    }
    Some(columns)
}

/// The logarithm of the determinant, under the same condition.
pub(super) fn log_determinant(matrix: &[Vec<f64>]) -> Option<f64> {
    let factor = cholesky(matrix)?;
    Some((0..matrix.len()).map(|k| 2.0 * factor[k][k].ln()).sum())
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
