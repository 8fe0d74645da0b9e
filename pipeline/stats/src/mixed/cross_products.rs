//! What the likelihood of a mixed model needs of the data, and its profile.

use super::model::{Profile, RandomTerms, Row};
use crate::linear::{Square, add, dot};
use crate::skyline::Skyline;
use std::collections::BTreeMap;

/// Sums of products of an inner group: at most an intercept and a slope.
#[derive(Debug, Clone)]
struct Inner {
    /// Z' Z: count, Σ slope, Σ slope².
    moments: [f64; 3],
    /// Z' (X y), a row for the intercept and one for the slope.
    with_columns: [Vec<f64>; 2],
    /// Z' Z of this group with each outer group it meets.
    with_outer: BTreeMap<usize, [f64; 2]>,
}

/// Sums of products of an outer group.
#[derive(Debug, Clone)]
struct Outer {
    /// The first outer group that one of its inner groups meets.
    first: usize,
    count: f64,
    with_columns: Vec<f64>,
}

/// Sums of products of the fixed effects (X), the values (y) and the groups (Z).
#[derive(Debug, Clone)]
pub(super) struct CrossProducts {
    /// Number of values.
    pub count: f64,
    /// Number of fixed effects.
    pub effects: usize,
    /// (X y)' (X y).
    columns: Square,
    inner: Vec<Inner>,
    outer: Vec<Outer>,
}

fn numbered(groups: impl Iterator<Item = usize>) -> BTreeMap<usize, usize> {
    let mut sorted: Vec<usize> = groups.collect();
    sorted.sort_unstable();
    sorted.dedup();
    sorted.into_iter().zip(0..).collect()
}

impl CrossProducts {
    pub fn new(rows: &[Row], terms: RandomTerms) -> Self {
        let effects = rows.first().map_or(0, |row| row.fixed.len());
        let width = effects + 1;
        let inner_of = numbered(rows.iter().map(|row| row.inner));
        let outer_of = numbered(rows.iter().filter(|_| terms.outer).map(|row| row.outer));
        let empty = Inner {
            moments: [0.0; 3],
            with_columns: [vec![0.0; width], vec![0.0; width]],
            with_outer: BTreeMap::new(),
        };
        let none = |first| Outer {
            first,
            count: 0.0,
            with_columns: vec![0.0; width],
        };
        let mut data = Self {
            count: 0.0,
            effects,
            columns: Square::zero(width),
            inner: vec![empty; inner_of.len()],
            outer: (0..outer_of.len()).map(none).collect(),
        };
        for row in rows {
            let mut columns = row.fixed.clone();
            columns.push(row.value);
            data.count += row.count;
            data.columns.add_outer(row.count, &columns);
            *data.columns.at_mut(effects, effects) += row.squares;
            let inner = &mut data.inner[inner_of[&row.inner]];
            let slope = row.count * row.slope;
            add(
                &mut inner.moments,
                1.0,
                &[row.count, slope, slope * row.slope],
            );
            add(&mut inner.with_columns[0], row.count, &columns);
            add(&mut inner.with_columns[1], slope, &columns);
            if let Some(&outer) = outer_of.get(&row.outer) {
                let meets = inner.with_outer.entry(outer).or_default();
                add(meets, 1.0, &[row.count, slope]);
                data.outer[outer].count += row.count;
                add(&mut data.outer[outer].with_columns, row.count, &columns);
            }
        }
        for inner in &data.inner {
            let mut met = inner.with_outer.keys();
            if let Some(&first) = met.next() {
                met.for_each(|&o| data.outer[o].first = data.outer[o].first.min(first));
            }
        }
        data
    }

    /// Something where the fixed effects can be told apart.
    pub fn check_rank(&self) -> Option<()> {
        self.fixed_block(&self.columns).cholesky(1e-9).map(|_| ())
    }

    /// A typical size of 1 / slope, to start the search from.
    pub fn slope_scale(&self) -> f64 {
        let (count, squares) = self.inner.iter().fold((0.0, 0.0), |(n, s), inner| {
            (n + inner.moments[0], s + inner.moments[2])
        });
        (count / squares).sqrt()
    }

    fn fixed_block(&self, columns: &Square) -> Square {
        let mut block = Square::zero(self.effects);
        for i in 0..self.effects {
            for j in 0..self.effects {
                *block.at_mut(i, j) = columns.at(i, j);
            }
        }
        block
    }

    /// The profiled likelihood at relative standard deviations; `None` where the fixed effects cannot be told apart.
    pub fn profile(&self, theta: &[f64], terms: RandomTerms) -> Option<Profile> {
        let outer_scale = match terms.outer {
            true => *theta.last()?,
            false => 0.0,
        };
        let mut columns = self.columns.clone();
        let mut outer = Skyline::identity(self.outer.iter().map(|group| group.first).collect());
        let mut outer_columns: Vec<Vec<f64>> = Vec::with_capacity(self.outer.len());
        for (o, group) in self.outer.iter().enumerate() {
            *outer.at_mut(o, o) += outer_scale * outer_scale * group.count;
            outer_columns.push(group.with_columns.iter().map(|c| outer_scale * c).collect());
        }
        let mut log_determinants = 0.0;
        let mut along = vec![0.0; self.effects + 1];
        for group in &self.inner {
            let whitened = group.whiten(theta, terms.slope);
            log_determinants += whitened.log_determinant;
            for basis in whitened.basis.iter().flatten() {
                let [intercept, slope] = &group.with_columns;
                for (cell, (a, b)) in along.iter_mut().zip(intercept.iter().zip(slope)) {
                    *cell = basis[0] * a + basis[1] * b;
                }
                columns.add_outer(-1.0, &along);
                let met = |(&o, meets): (&usize, &[f64; 2])| (o, outer_scale * dot(basis, meets));
                for (o, a) in group.with_outer.iter().map(met) {
                    add(&mut outer_columns[o], -a, &along);
                    for (p, b) in group.with_outer.range(..=o).map(met) {
                        *outer.at_mut(o, p) -= a * b;
                    }
                }
            }
        }
        if terms.outer {
            let factor = outer.cholesky()?;
            log_determinants += factor.log_determinant();
            for c in 0..=self.effects {
                let mut column: Vec<f64> = outer_columns.iter().map(|row| row[c]).collect();
                factor.solve_lower(&mut column);
                for (row, value) in outer_columns.iter_mut().zip(column) {
                    row[c] = value;
                }
            }
            for row in &outer_columns {
                columns.add_outer(-1.0, row);
            }
        }
        self.solve(&columns, log_determinants)
    }

    fn solve(&self, columns: &Square, log_determinants: f64) -> Option<Profile> {
        let p = self.effects;
        let factor = self.fixed_block(columns).cholesky(1e-12)?;
        let mut effects: Vec<f64> = (0..p).map(|i| columns.at(i, p)).collect();
        factor.solve_lower(&mut effects);
        let squares = columns.at(p, p) - dot(&effects, &effects);
        factor.solve_upper(&mut effects);
        let least = f64::EPSILON * self.columns.at(p, p) + f64::MIN_POSITIVE;
        Some(Profile {
            effects,
            unscaled: factor.inverse_of_product(),
            squares: squares.max(least),
            log_determinants: log_determinants + factor.log_determinant(),
        })
    }
}

/// An inner group with its random effects taken out.
struct Whitened {
    log_determinant: f64,
    /// Rows of L⁻¹ Λ', with L L' = Λ' Z'Z Λ + 1.
    basis: [Option<[f64; 2]>; 2],
}

impl Inner {
    fn whiten(&self, theta: &[f64], slope: bool) -> Whitened {
        let [n, s, ss] = self.moments;
        if !slope {
            let size = theta[0] * theta[0] * n + 1.0;
            return Whitened {
                log_determinant: size.ln(),
                basis: [Some([theta[0] / size.sqrt(), 0.0]), None],
            };
        }
        // Λ = [[a, 0], [b, c]]; columns of Λ are (a, b) and (0, c).
        let (a, b, c) = (theta[0], theta[1], theta[2]);
        let first = 1.0 + a * a * n + 2.0 * a * b * s + b * b * ss;
        let cross = c * (a * s + b * ss);
        let second = 1.0 + c * c * ss;
        let l11 = first.sqrt();
        let l21 = cross / l11;
        let l22 = (second - l21 * l21).sqrt();
        let top = [a / l11, b / l11];
        let bottom = [-l21 * top[0] / l22, (c - l21 * top[1]) / l22];
        Whitened {
            log_determinant: 2.0 * (l11.ln() + l22.ln()),
            basis: [Some(top), Some(bottom)],
        }
    }
}
