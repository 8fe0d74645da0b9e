//! Small dense linear algebra on square matrices kept row by row.
//!
//! Written out: matrices here have a handful of rows, and a library of linear algebra would be the crate's largest dependency
//! for the sake of these lines.

/// A square matrix.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Square {
    pub size: usize,
    pub cells: Vec<f64>,
}

impl Square {
    pub fn zero(size: usize) -> Self {
        Self {
            size,
            cells: vec![0.0; size * size],
        }
    }

    /// From rows that are each as long as there are rows.
    pub fn from_rows(rows: &[Vec<f64>]) -> Self {
        Self {
            size: rows.len(),
            cells: rows.concat(),
        }
    }

    pub fn identity(size: usize) -> Self {
        let mut matrix = Self::zero(size);
        for i in 0..size {
            *matrix.at_mut(i, i) = 1.0;
        }
        matrix
    }

    pub fn at(&self, row: usize, column: usize) -> f64 {
        self.cells[row * self.size + column]
    }

    pub fn at_mut(&mut self, row: usize, column: usize) -> &mut f64 {
        &mut self.cells[row * self.size + column]
    }

    pub fn row(&self, row: usize) -> &[f64] {
        &self.cells[row * self.size..(row + 1) * self.size]
    }

    /// Adds `factor` v v'.
    pub fn add_outer(&mut self, factor: f64, v: &[f64]) {
        for (i, &a) in v.iter().enumerate() {
            if a != 0.0 {
                let row = &mut self.cells[i * self.size..(i + 1) * self.size];
                for (cell, &b) in row.iter_mut().zip(v) {
                    *cell += factor * a * b;
                }
            }
        }
    }

    /// Adds `factor` times another matrix of the size.
    pub fn add(&mut self, factor: f64, other: &Self) {
        for (cell, other) in self.cells.iter_mut().zip(&other.cells) {
            *cell += factor * other;
        }
    }

    /// The lower Cholesky factor of a positive definite matrix; `None` where a pivot falls below `tolerance` times its
    /// diagonal element.
    pub fn cholesky(&self, tolerance: f64) -> Option<Self> {
        let mut lower = Self::zero(self.size);
        for j in 0..self.size {
            let own = &lower.row(j)[..j];
            let pivot = self.at(j, j) - dot(own, own);
            if pivot <= tolerance * self.at(j, j) || pivot <= 0.0 || !pivot.is_finite() {
                return None;
            }
            let root = pivot.sqrt();
            *lower.at_mut(j, j) = root;
            for i in j + 1..self.size {
                let rest = self.at(i, j) - dot(&lower.row(i)[..j], &lower.row(j)[..j]);
                *lower.at_mut(i, j) = rest / root;
            }
        }
        Some(lower)
    }

    /// Solves L x = b in place, L this lower triangle.
    pub fn solve_lower(&self, b: &mut [f64]) {
        for i in 0..self.size {
            b[i] = (b[i] - dot(&self.row(i)[..i], &b[..i])) / self.at(i, i);
        }
    }

    /// Solves L' x = b in place.
    pub fn solve_upper(&self, b: &mut [f64]) {
        for i in (0..self.size).rev() {
            let mut rest = b[i];
            for (j, solved) in b.iter().enumerate().skip(i + 1) {
                rest -= self.at(j, i) * solved;
            }
            b[i] = rest / self.at(i, i);
        }
    }

    /// ln of the determinant of L L'.
    pub fn log_determinant(&self) -> f64 {
        2.0 * (0..self.size).map(|i| self.at(i, i).ln()).sum::<f64>()
    }

    /// (L L')⁻¹.
    pub fn inverse_of_product(&self) -> Self {
        let mut inverse = Self::zero(self.size);
        for column in 0..self.size {
            let mut unit = vec![0.0; self.size];
            unit[column] = 1.0;
            self.solve_lower(&mut unit);
            self.solve_upper(&mut unit);
            for (row, value) in unit.into_iter().enumerate() {
                *inverse.at_mut(row, column) = value;
            }
        }
        inverse
    }

    /// a' M b.
    pub fn form(&self, a: &[f64], b: &[f64]) -> f64 {
        (0..self.size).map(|i| a[i] * dot(self.row(i), b)).sum()
    }

    /// Eigenvalues and eigenvectors (as rows) of a symmetric matrix, by Jacobi rotations.
    pub fn eigen(&self) -> (Vec<f64>, Self) {
        let (mut matrix, mut vectors) = (self.clone(), Self::identity(self.size));
        for _sweep in 0..60 {
            let mut off = 0.0;
            for p in 0..self.size {
                for q in p + 1..self.size {
                    off += matrix.at(p, q).abs();
                    matrix.rotate(&mut vectors, p, q);
                }
            }
            if off == 0.0 {
                break;
            }
        }
        let values = (0..self.size).map(|i| matrix.at(i, i)).collect();
        (values, vectors)
    }

    /// Turns rows and columns p and q so that their common element becomes 0.
    fn rotate(&mut self, vectors: &mut Self, p: usize, q: usize) {
        let off = self.at(p, q);
        if off.abs() <= 1e-300 + 1e-18 * (self.at(p, p).abs() + self.at(q, q).abs()) {
            *self.at_mut(p, q) = 0.0;
            *self.at_mut(q, p) = 0.0;
            return;
        }
        let theta = (self.at(q, q) - self.at(p, p)) / (2.0 * off);
        let t = theta.signum() / (theta.abs() + (theta * theta + 1.0).sqrt());
        let t = if theta == 0.0 { 1.0 } else { t };
        let c = 1.0 / (t * t + 1.0).sqrt();
        let s = t * c;
        for k in 0..self.size {
            let (a, b) = (self.at(k, p), self.at(k, q));
            *self.at_mut(k, p) = c * a - s * b;
            *self.at_mut(k, q) = s * a + c * b;
        }
        for k in 0..self.size {
            let (a, b) = (self.at(p, k), self.at(q, k));
            *self.at_mut(p, k) = c * a - s * b;
            *self.at_mut(q, k) = s * a + c * b;
            let (a, b) = (vectors.at(p, k), vectors.at(q, k));
            *vectors.at_mut(p, k) = c * a - s * b;
            *vectors.at_mut(q, k) = s * a + c * b;
        }
    }
}

/// Adds `factor` times a vector to another.
pub(crate) fn add(to: &mut [f64], factor: f64, what: &[f64]) {
    for (to, what) in to.iter_mut().zip(what) {
        *to += factor * what;
    }
}

pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> Square {
        Square {
            size: 3,
            cells: vec![4.0, 2.0, 0.6, 2.0, 5.0, 1.0, 0.6, 1.0, 3.0],
        }
    }

    #[test]
    fn inverse_times_matrix_is_one() {
        let matrix = example();
        let inverse = matrix.cholesky(0.0).unwrap().inverse_of_product();
        for i in 0..3 {
            for j in 0..3 {
                let cell: f64 = (0..3).map(|k| matrix.at(i, k) * inverse.at(k, j)).sum();
                assert!((cell - f64::from(u8::from(i == j))).abs() < 1e-14);
            }
        }
    }

    /// Determinant by hand: 4 (15 - 1) - 2 (6 - 0.6) + 0.6 (2 - 3) = 44.6.
    #[test]
    fn eigenvalues_multiply_to_the_determinant() {
        let (values, vectors) = example().eigen();
        assert!((values.iter().product::<f64>() - 44.6).abs() < 1e-12);
        assert!((values.iter().sum::<f64>() - 12.0).abs() < 1e-13);
        for (i, value) in values.iter().enumerate() {
            let v = vectors.row(i);
            assert!((example().form(v, v) - value).abs() < 1e-13);
        }
        let log = example().cholesky(0.0).unwrap().log_determinant();
        assert!((log - 44.6_f64.ln()).abs() < 1e-14);
    }

    #[test]
    fn a_singular_matrix_has_no_factor() {
        let mut matrix = Square::zero(2);
        matrix.add_outer(1.0, &[1.0, 2.0]);
        assert_eq!(matrix.cholesky(1e-10), None);
    }
}
