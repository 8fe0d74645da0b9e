//! The little linear algebra that the noise of a sensor takes. Matrices are square, as rows.

pub(super) type Matrix = Vec<Vec<f64>>;

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Takes `factor` times `what` off `from`.
pub(super) fn subtract(from: &mut [f64], factor: f64, what: &[f64]) {
    for (from, what) in from.iter_mut().zip(what) {
        *from -= factor * what;
    }
}

/// a' R b.
pub(super) fn form(a: &[f64], matrix: &Matrix, b: &[f64]) -> f64 {
    a.iter().zip(matrix).map(|(a, row)| a * dot(row, b)).sum()
}

pub(super) fn trace_of_product(a: &Matrix, b: &Matrix) -> f64 {
    (0..a.len())
        .map(|i| (0..a.len()).map(|j| a[i][j] * b[j][i]).sum::<f64>())
        .sum()
}

/// A B for a symmetric B.
pub(super) fn product(a: &Matrix, b: &Matrix) -> Matrix {
    a.iter()
        .map(|row| b.iter().map(|column| dot(row, column)).collect())
        .collect()
}

/// M R M for a symmetric R, M = I - Σ p p' over an orthonormal basis.
pub(super) fn project(matrix: &Matrix, basis: &[Vec<f64>]) -> Matrix {
    let mut projected = matrix.clone();
    for vector in basis {
        let image: Vec<f64> = projected.iter().map(|row| dot(row, vector)).collect();
        for (row, &share) in projected.iter_mut().zip(&image) {
            subtract(row, share, vector);
        }
        let image: Vec<f64> = (0..vector.len())
            .map(|j| {
                projected
                    .iter()
                    .zip(vector)
                    .map(|(row, v)| row[j] * v)
                    .sum()
            })
            .collect();
        for (row, &share) in projected.iter_mut().zip(vector) {
            subtract(row, share, &image);
        }
    }
    projected
}

/// Solves L z = x for the Cholesky factor L of a covariance matrix: components of unit variance that do not depend on
/// each other. A component that the ones before it determine comes out as 0.
pub(super) fn whiten<const N: usize>(covariance: &[[f64; N]; N], vectors: &mut [[f64; N]]) {
    const DEPENDENT: f64 = 1e-6;
    let mut factor = [[0.0; N]; N];
    for i in 0..N {
        for j in 0..i {
            let rest = covariance[i][j] - dot(&factor[i][..j], &factor[j][..j]);
            factor[i][j] = if factor[j][j] > 0.0 {
                rest / factor[j][j]
            } else {
                0.0
            };
        }
        let rest = covariance[i][i] - dot(&factor[i][..i], &factor[i][..i]);
        factor[i][i] = if rest > DEPENDENT * covariance[i][i] {
            rest.sqrt()
        } else {
            0.0
        };
        for vector in vectors.iter_mut() {
            let rest = vector[i] - dot(&factor[i][..i], &vector[..i]);
            vector[i] = if factor[i][i] > 0.0 {
                rest / factor[i][i]
            } else {
                0.0
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Covariance [[4, 2], [2, 5]] has the factor [[2, 0], [1, 2]]; (2, 5) becomes (1, 2).
    #[test]
    fn whitening_by_hand() {
        let mut vectors = [[2.0, 5.0], [4.0, 2.0]];
        whiten(&[[4.0, 2.0], [2.0, 5.0]], &mut vectors);
        assert_eq!(vectors, [[1.0, 2.0], [2.0, 0.0]]);
        let mut dependent = [[2.0, 2.0]];
        whiten(&[[4.0, 4.0], [4.0, 4.0]], &mut dependent);
        assert_eq!(dependent, [[1.0, 0.0]]);
    }

    /// Taking the mean off both sides of the identity leaves the centring matrix.
    #[test]
    fn projection_by_hand() {
        let identity = vec![vec![1.0, 0.0], vec![0.0, 1.0]];
        let mean = vec![0.5_f64.sqrt(); 2];
        for (row, expected) in project(&identity, &[mean])
            .iter()
            .zip([[0.5, -0.5], [-0.5, 0.5]])
        {
            assert!(row.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12));
        }
    }
}
