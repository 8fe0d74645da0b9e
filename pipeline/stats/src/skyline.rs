//! Symmetric matrices over groups few of which meet.

use crate::linear::dot;

/// A symmetric matrix, or its lower Cholesky factor: each row from the first cell that may be filled to the diagonal.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Skyline {
    /// Column of each row's first cell, at most the row's own number.
    first: Vec<usize>,
    rows: Vec<Vec<f64>>,
}

impl Skyline {
    /// 1 on the diagonal, with room from `first[row]` on.
    pub fn identity(first: Vec<usize>) -> Self {
        let row = |(number, &from): (usize, &usize)| {
            let mut row = vec![0.0; number - from];
            row.push(1.0);
            row
        };
        Self {
            rows: first.iter().enumerate().map(row).collect(),
            first,
        }
    }

    /// A cell on or below the diagonal, within the row's room.
    pub fn at_mut(&mut self, row: usize, column: usize) -> &mut f64 {
        &mut self.rows[row][column - self.first[row]]
    }

    /// The lower factor of a positive definite matrix, which has the same room.
    pub fn cholesky(mut self) -> Option<Self> {
        for i in 0..self.rows.len() {
            let (above, row) = self.rows.split_at_mut(i);
            let (row, from) = (&mut row[0], self.first[i]);
            for j in from..i {
                let (other, begins) = (&above[j], self.first[j]);
                let shared = from.max(begins);
                let along = dot(&row[shared - from..j - from], &other[shared - begins..]);
                row[j - from] = (row[j - from] - along) / other[j - begins];
            }
            let pivot = row[i - from] - dot(&row[..i - from], &row[..i - from]);
            if pivot <= 0.0 || !pivot.is_finite() {
                return None;
            }
            row[i - from] = pivot.sqrt();
        }
        Some(self)
    }

    /// Solves L x = b in place, L this lower factor.
    pub fn solve_lower(&self, b: &mut [f64]) {
        for (i, (row, &from)) in self.rows.iter().zip(&self.first).enumerate() {
            b[i] = (b[i] - dot(&row[..i - from], &b[from..i])) / row[i - from];
        }
    }

    /// ln of the determinant of L L'.
    pub fn log_determinant(&self) -> f64 {
        let diagonal = self.rows.iter().filter_map(|row| row.last());
        2.0 * diagonal.map(|cell| cell.ln()).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A factor whose rows begin at the diagonal, before it, and have zeros within.
    fn factor() -> Skyline {
        Skyline {
            first: vec![0, 1, 1, 3, 0],
            rows: vec![
                vec![2.0],
                vec![3.0],
                vec![-1.0, 1.5],
                vec![0.5],
                vec![4.0, 2.0, 2.0, 0.0, 1.0],
            ],
        }
    }

    /// Its product, by hand: every number is a sum of few halves, so that nothing is rounded.
    fn product() -> Skyline {
        Skyline {
            rows: vec![
                vec![4.0],
                vec![9.0],
                vec![-3.0, 3.25],
                vec![0.25],
                vec![8.0, 6.0, 1.0, 0.0, 25.0],
            ],
            ..factor()
        }
    }

    #[test]
    fn the_factor_of_a_product_is_found() {
        assert_eq!(product().cholesky(), Some(factor()));
        let mut indefinite = product();
        *indefinite.at_mut(4, 4) = 24.0;
        assert_eq!(indefinite.cholesky(), None);
    }

    /// L (1, 2, 3, 4, 5)' by hand, and the determinant (2 · 3 · 1.5 · 0.5 · 1)² = 20.25.
    #[test]
    fn what_was_multiplied_is_found_again() {
        let mut b = vec![2.0, 6.0, 2.5, 2.0, 19.0];
        factor().solve_lower(&mut b);
        assert_eq!(b, [1.0, 2.0, 3.0, 4.0, 5.0]);
        assert!((factor().log_determinant() - 20.25_f64.ln()).abs() < 1e-15);
    }

    #[test]
    fn it_begins_as_one() {
        let mut matrix = Skyline::identity(vec![0, 0, 2]);
        *matrix.at_mut(1, 0) = 0.5;
        assert_eq!(matrix.rows, [vec![1.0], vec![0.5, 1.0], vec![1.0]]);
    }
}
