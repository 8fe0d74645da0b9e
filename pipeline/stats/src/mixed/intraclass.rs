//! Intraclass correlations of a complete table of targets and judges.

use crate::distributions::{f_quantile, f_upper_tail};
use crate::interval::Interval;

/// Mean squares of a two-way table without replication.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanSquares {
    /// Number of targets.
    pub targets: f64,
    /// Number of judges.
    pub judges: f64,
    /// Between targets.
    pub between: f64,
    /// Within targets.
    pub within: f64,
    /// Between judges.
    pub judge: f64,
    /// What is left.
    pub error: f64,
}

/// An intraclass correlation and the F test of none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Intraclass {
    /// The correlation.
    pub correlation: f64,
    /// F.
    pub f: f64,
    /// Its degrees of freedom.
    pub df: (f64, f64),
    /// p of no correlation.
    pub p: f64,
    /// 95 % interval.
    pub interval: Interval,
}

/// The three models of Shrout and Fleiss.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntraclassModel {
    /// Each target is judged by judges of its own: ICC(1, .).
    OneWay,
    /// Judges are drawn from many: ICC(2, .).
    RandomJudges,
    /// These judges only: ICC(3, .).
    FixedJudges,
}

impl MeanSquares {
    /// Mean squares of rows of equal length, one a target; `None` with fewer than two targets or judges.
    #[must_use]
    pub fn new(table: &[Vec<f64>]) -> Option<Self> {
        let judges = table.first()?.len();
        if table.len() < 2 || judges < 2 || table.iter().any(|row| row.len() != judges) {
            return None;
        }
        let (n, k) = (table.len() as f64, judges as f64);
        let mean = |values: &mut dyn Iterator<Item = f64>, count: f64| values.sum::<f64>() / count;
        let grand = mean(&mut table.iter().flatten().copied(), n * k);
        let (mut between, mut within) = (0.0, 0.0);
        for row in table {
            let centre = mean(&mut row.iter().copied(), k);
            between += k * (centre - grand).powi(2);
            within += row
                .iter()
                .map(|value| (value - centre).powi(2))
                .sum::<f64>();
        }
        let judge: f64 = (0..judges)
            .map(|j| n * (mean(&mut table.iter().map(|row| row[j]), n) - grand).powi(2))
            .sum();
        Some(Self {
            targets: n,
            judges: k,
            between: between / (n - 1.0),
            within: within / (n * (k - 1.0)),
            judge: judge / (k - 1.0),
            error: (within - judge) / ((n - 1.0) * (k - 1.0)),
        })
    }

    /// The correlation of single judgements (`averaged` false) or of the mean over all judges.
    ///
    /// Source: Shrout and Fleiss 1979 Psychol Bull 86:420, formulas and intervals of all six forms. Checked by
    /// `tests/intraclass.rs`.
    #[must_use]
    pub fn intraclass(&self, model: IntraclassModel, averaged: bool) -> Intraclass {
        let (n, k) = (self.targets, self.judges);
        let (noise, df_noise) = match model {
            IntraclassModel::OneWay => (self.within, n * (k - 1.0)),
            _ => (self.error, (n - 1.0) * (k - 1.0)),
        };
        let f = self.between / noise;
        let df = (n - 1.0, df_noise);
        let single = match model {
            IntraclassModel::RandomJudges => self.random_judges(),
            _ => {
                let of = |f: f64| (f - 1.0) / (f + k - 1.0);
                let lower = of(f / f_quantile(0.975, df.0, df.1));
                let upper = of(f * f_quantile(0.975, df.1, df.0));
                (of(f), Interval { lower, upper })
            }
        };
        // Spearman and Brown: what averaging over k judges makes of a correlation.
        let scale = |r: f64| {
            if averaged {
                k * r / (1.0 + (k - 1.0) * r)
            } else {
                r
            }
        };
        Intraclass {
            correlation: scale(single.0),
            f,
            df,
            p: f_upper_tail(f, df.0, df.1),
            interval: Interval {
                lower: scale(single.1.lower),
                upper: scale(single.1.upper),
            },
        }
    }

    fn random_judges(&self) -> (f64, Interval) {
        let (n, k) = (self.targets, self.judges);
        let (b, j, e) = (self.between, self.judge, self.error);
        let r = (b - e) / (b + (k - 1.0) * e + k * (j - e) / n);
        let spread = n * (1.0 + (k - 1.0) * r) - k * r;
        let ratio = k * r * j / e;
        let df = (k - 1.0) * (n - 1.0) * (ratio + spread).powi(2)
            / ((n - 1.0) * ratio.powi(2) + spread.powi(2));
        let (upper_f, lower_f) = (
            f_quantile(0.975, n - 1.0, df),
            f_quantile(0.975, df, n - 1.0),
        );
        let rest = k * j + (k * n - k - n) * e;
        let interval = Interval {
            lower: n * (b - upper_f * e) / (upper_f * rest + n * b),
            upper: n * (lower_f * b - e) / (rest + n * lower_f * b),
        };
        (r, interval)
    }
}
