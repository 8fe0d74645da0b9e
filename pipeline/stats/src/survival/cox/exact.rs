//! The exact treatment of ties: sums over all sets of a size.

use super::partial::Likelihood;

/// A sum of products of weights, with its derivatives.
#[derive(Clone)]
struct Term {
    value: f64,
    first: Vec<f64>,
    second: Vec<Vec<f64>>,
}

/// The logarithm of Σ exp(Σ x β) over all sets of `count` of the rows, with its derivatives.
///
/// Row by row: sets of k among the first i rows are those without row i and those of k - 1 with it (Gail, Lubin and
/// Rubinstein 1981 Biometrika 68:703).
pub(super) fn tied_sets(rows: &[Vec<f64>], beta: &[f64], count: usize) -> Likelihood {
    let size = beta.len();
    let nothing = |value: f64| Term {
        value,
        first: vec![0.0; size],
        second: vec![vec![0.0; size]; size],
    };
    let mut of_size = vec![nothing(0.0); count + 1];
    of_size[0] = nothing(1.0);
    for x in rows {
        let weight = x.iter().zip(beta).map(|(x, b)| x * b).sum::<f64>().exp();
        for k in (1..=count).rev() {
            let (smaller, rest) = of_size.split_at_mut(k);
            rest[0].add_with(&smaller[k - 1], x, weight);
        }
    }
    let sets = &of_size[count];
    let mut out = Likelihood::zero(size);
    out.log_likelihood = sets.value.ln();
    out.score = sets.first.iter().map(|first| first / sets.value).collect();
    for a in 0..size {
        for b in 0..size {
            out.information[a][b] = sets.second[a][b] / sets.value - out.score[a] * out.score[b];
        }
    }
    out
}

impl Term {
    /// Adds `other` times the weight of a row.
    fn add_with(&mut self, other: &Term, x: &[f64], weight: f64) {
        self.value += weight * other.value;
        for a in 0..x.len() {
            self.first[a] += weight * (other.first[a] + x[a] * other.value);
            for b in 0..x.len() {
                let mixed = x[a] * other.first[b] + x[b] * other.first[a];
                self.second[a][b] +=
                    weight * (other.second[a][b] + mixed + x[a] * x[b] * other.value);
            }
        }
    }
}
