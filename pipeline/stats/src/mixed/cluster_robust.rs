//! Least squares with standard errors that allow for clusters.

use crate::linear::{Square, dot};
use std::collections::BTreeMap;

/// Which factor the covariance carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Correction {
    /// CR0: none.
    None,
    /// CR1: k / (k - 1) · (N - 1) / (N - p) for k clusters, N values and p coefficients.
    Counts,
}

/// Least squares, and what its residuals say about clusters.
#[derive(Debug, Clone)]
pub struct ClusterRobust {
    /// Coefficients.
    pub coefficients: Vec<f64>,
    bread: Square,
    /// A row times its residual.
    scores: Vec<Vec<f64>>,
}

/// Fits y on the rows of X by ordinary least squares; `None` where columns cannot be told apart or nothing is left over.
///
/// Sources: Liang and Zeger 1986 Biometrika 73:13 for clusters (from memory); Petersen 2009 Rev Financ Stud 22:435 for two at once.
/// Checked by `tests/cluster_robust.rs`.
#[must_use]
pub fn cluster_robust(rows: &[Vec<f64>], y: &[f64]) -> Option<ClusterRobust> {
    let p = rows.first()?.len();
    if rows.len() <= p {
        return None;
    }
    let mut cross = Square::zero(p);
    let mut coefficients = vec![0.0; p];
    for (row, y) in rows.iter().zip(y) {
        cross.add_outer(1.0, row);
        for (sum, x) in coefficients.iter_mut().zip(row) {
            *sum += x * y;
        }
    }
    let factor = cross.cholesky(1e-10)?;
    factor.solve_lower(&mut coefficients);
    factor.solve_upper(&mut coefficients);
    let score = |(row, y): (&Vec<f64>, &f64)| {
        let residual = y - dot(row, &coefficients);
        row.iter().map(|x| x * residual).collect()
    };
    Some(ClusterRobust {
        scores: rows.iter().zip(y).map(score).collect(),
        bread: factor.inverse_of_product(),
        coefficients,
    })
}

impl ClusterRobust {
    /// Standard errors where values of one cluster may hang together. Each value a cluster of its own gives White's
    /// heteroscedasticity-robust errors (HC1 with [`Correction::Counts`]).
    #[must_use]
    pub fn std_errors(&self, clusters: &[usize], correction: Correction) -> Vec<f64> {
        let variances = self.variances(clusters.iter().map(|&c| (c, 0)), correction);
        variances.into_iter().map(f64::sqrt).collect()
    }

    /// Standard errors where values of one cluster of either kind may hang together: the two covariances less that of
    /// their crossing. NaN where that difference is negative.
    #[must_use]
    pub fn two_way_std_errors(
        &self,
        first: &[usize],
        second: &[usize],
        correction: Correction,
    ) -> Vec<f64> {
        let one = self.variances(first.iter().map(|&c| (c, 0)), correction);
        let other = self.variances(second.iter().map(|&c| (c, 0)), correction);
        let both = self.variances(
            first.iter().copied().zip(second.iter().copied()),
            correction,
        );
        let joined = one.iter().zip(&other).zip(&both);
        joined.map(|((a, b), c)| (a + b - c).sqrt()).collect()
    }

    fn variances(
        &self,
        clusters: impl Iterator<Item = (usize, usize)>,
        correction: Correction,
    ) -> Vec<f64> {
        let p = self.coefficients.len();
        let mut sums = BTreeMap::<(usize, usize), Vec<f64>>::new();
        for (score, cluster) in self.scores.iter().zip(clusters) {
            let sum = sums.entry(cluster).or_insert_with(|| vec![0.0; p]);
            for (sum, value) in sum.iter_mut().zip(score) {
                *sum += value;
            }
        }
        let mut meat = Square::zero(p);
        for sum in sums.values() {
            meat.add_outer(1.0, sum);
        }
        let (k, n) = (sums.len() as f64, self.scores.len() as f64);
        let factor = match correction {
            Correction::None => 1.0,
            Correction::Counts => k / (k - 1.0) * (n - 1.0) / (n - p as f64),
        };
        (0..p)
            .map(|i| factor * meat.form(self.bread.row(i), self.bread.row(i)))
            .collect()
    }
}
