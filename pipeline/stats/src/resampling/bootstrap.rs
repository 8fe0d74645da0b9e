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
/// Source, from memory: Davison and Hinkley 1997, Bootstrap Methods and their Application, section 3.8 (resampling the
/// highest level whole). Checked by `tests/bootstrap.rs`.
#[must_use]
pub fn cluster_bootstrap_mean(values: &[f64], groups: &[usize], seed: u64) -> Option<Interval> {
    let clusters = cluster_sums(values, groups);
    let mut means = Vec::new();
    each_draw(clusters.len(), seed, |drawn| {
        let mut total = Cluster::default();
        for &cluster in drawn {
            total.add(clusters[cluster]);
        }
        means.push(total.sum / total.count);
    });
    middle_95(means)
}

/// 95 % interval of the median of all values, resampled as in [`cluster_bootstrap_mean`].
///
/// Returns `None` with fewer than two groups. Checked by `tests/bootstrap.rs`.
#[must_use]
pub fn cluster_bootstrap_median(values: &[f64], groups: &[usize], seed: u64) -> Option<Interval> {
    let sorted = Sorted::new(values, groups);
    let mut medians = Vec::new();
    let mut times = vec![0; sorted.clusters];
    each_draw(sorted.clusters, seed, |drawn| {
        times.fill(0);
        for &cluster in drawn {
            times[cluster] += 1;
        }
        medians.push(sorted.median(&times));
    });
    middle_95(medians)
}

fn middle_95(mut drawn: Vec<f64>) -> Option<Interval> {
    drawn.sort_by(f64::total_cmp);
    Some(Interval {
        lower: quantile_of_sorted(&drawn, 0.025)?,
        upper: quantile_of_sorted(&drawn, 0.975)?,
    })
}

/// Values in order, in blocks, with how many of each cluster a block holds, so that a median need not look at them all.
struct Sorted {
    clusters: usize,
    /// Values upwards, and the cluster of each.
    values: Vec<(f64, usize)>,
    /// Values of each cluster in each block.
    counts: Vec<Vec<u32>>,
}

impl Sorted {
    /// About as many values in a block as there are blocks, where there are 50,000.
    const BLOCK: usize = 256;

    fn new(values: &[f64], groups: &[usize]) -> Self {
        let mut distinct = groups.to_vec();
        distinct.sort_unstable();
        distinct.dedup();
        let number = |group: &usize| distinct.partition_point(|known| known < group);
        let mut values: Vec<(f64, usize)> = values
            .iter()
            .copied()
            .zip(groups.iter().map(number))
            .collect();
        values.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut counts = vec![vec![0; values.len().div_ceil(Self::BLOCK)]; distinct.len()];
        for (place, (_, cluster)) in values.iter().enumerate() {
            counts[*cluster][place / Self::BLOCK] += 1;
        }
        Self {
            clusters: distinct.len(),
            values,
            counts,
        }
    }

    /// The median where each cluster counts so many times.
    fn median(&self, times: &[u32]) -> f64 {
        let mut blocks = vec![0_u32; self.values.len().div_ceil(Self::BLOCK)];
        for (counts, &times) in self
            .counts
            .iter()
            .zip(times)
            .filter(|(_, times)| **times > 0)
        {
            for (block, count) in blocks.iter_mut().zip(counts) {
                *block += times * count;
            }
        }
        let total: u32 = blocks.iter().sum();
        let at = |rank: u32| self.of_rank(rank, &blocks, times);
        0.5 * (at((total - 1) / 2) + at(total / 2))
    }

    /// The value with so many before it.
    fn of_rank(&self, rank: u32, blocks: &[u32], times: &[u32]) -> f64 {
        let (mut before, mut block) = (0, 0);
        while before + blocks[block] <= rank {
            before += blocks[block];
            block += 1;
        }
        for &(value, cluster) in &self.values[block * Self::BLOCK..] {
            before += times[cluster];
            if before > rank {
                return value;
            }
        }
        f64::NAN
    }
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

/// Visits every draw of k out of k clusters, or all arrangements where those are fewer; none with fewer than two.
fn each_draw(clusters: usize, seed: u64, mut visit: impl FnMut(&[usize])) {
    if clusters < 2 {
        return;
    }
    let mut drawn = vec![0; clusters];
    if let Some(count) = all_arrangements(clusters) {
        for arrangement in 0..count {
            let mut digits = arrangement;
            for place in &mut drawn {
                *place = digits % clusters;
                digits /= clusters;
            }
            visit(&drawn);
        }
        return;
    }
    let mut generator = generator(seed);
    for _ in 0..DRAWS {
        for place in &mut drawn {
            *place = generator.random_range(0..clusters);
        }
        visit(&drawn);
    }
}
