//! Bootstrap of whole clusters.

use super::seed::generator;
use crate::interval::Interval;
use crate::quantile::quantile_of_sorted;
use rand::RngExt;

/// Draws of a bootstrap, where there are not fewer arrangements.
pub const DRAWS: usize = 10_000;

/// 95 % interval of the mean of all values, by resampling whole groups (sensors).
///
/// Each draw takes k groups out of k with replacement, with all their values, and averages the values drawn: the
/// ratio of their sum to their number. The interval runs from the 2.5 to the 97.5 percentile of the draws (type 7).
/// There are 10,000 draws, or all k^k arrangements where those are fewer (k <= 5). `values` and `groups` are
/// equally long; group numbers are any integers. Returns `None` with fewer than two groups.
/// Source: Davison and Hinkley 1997, Bootstrap Methods and their Application, section 3.8 (resampling the
/// highest level whole). Checked by `tests/bootstrap.rs`.
#[must_use]
pub fn cluster_bootstrap_mean(values: &[f64], groups: &[usize], seed: u64) -> Option<Interval> {
    let clusters = cluster_sums(values, groups);
    if clusters.len() < 2 {
        return None;
    }
    let mut means = match all_arrangements(clusters.len()) {
        Some(count) => enumerate(&clusters, count),
        None => draw(&clusters, seed),
    };
    means.sort_by(f64::total_cmp);
    Some(Interval {
        lower: quantile_of_sorted(&means, 0.025)?,
        upper: quantile_of_sorted(&means, 0.975)?,
    })
}

#[derive(Clone, Copy, Default)]
struct Cluster {
    sum: f64,
    count: f64,
}

impl Cluster {
    fn add(&mut self, other: Cluster) {
        self.sum += other.sum;
        self.count += other.count;
    }
}

fn cluster_sums(values: &[f64], groups: &[usize]) -> Vec<Cluster> {
    let mut clusters = std::collections::BTreeMap::<usize, Cluster>::new();
    for (&sum, &group) in values.iter().zip(groups) {
        clusters
            .entry(group)
            .or_default()
            .add(Cluster { sum, count: 1.0 });
    }
    clusters.into_values().collect()
}

/// k^k where that is below [`DRAWS`].
fn all_arrangements(k: usize) -> Option<usize> {
    k.checked_pow(u32::try_from(k).ok()?)
        .filter(|&count| count < DRAWS)
}

fn enumerate(clusters: &[Cluster], count: usize) -> Vec<f64> {
    (0..count)
        .map(|arrangement| {
            let mut total = Cluster::default();
            let mut digits = arrangement;
            for _ in clusters {
                total.add(clusters[digits % clusters.len()]);
                digits /= clusters.len();
            }
            total.sum / total.count
        })
        .collect()
}

fn draw(clusters: &[Cluster], seed: u64) -> Vec<f64> {
    let mut generator = generator(seed);
    (0..DRAWS)
        .map(|_| {
            let mut total = Cluster::default();
            for _ in clusters {
                total.add(clusters[generator.random_range(0..clusters.len())]);
            }
            total.sum / total.count
        })
        .collect()
}
