//! The log-rank test of two groups as a permutation test of fixed scores, with its exact p.

use super::logrank::{EventWeight, Subjects, subject_scores};
use crate::comparison::SLACK;

/// The sum of one group's scores against its distribution under all ways to choose that group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScoreTest {
    /// Sum of the scores of group 0 over its permutation standard deviation; positive where group 0 has its events early.
    pub z: f64,
    /// Exact two-sided p: the share of all choices whose sum is at least as far from its mean, up to rounding. `None`
    /// where the count would need more than some four million partial sums.
    pub exact_p: Option<f64>,
}

/// Scores are weighted events less weighted cumulative hazard, risk sets taken from all subjects, and stay as they are
/// while groups change: so this is not the permutation of the chi-square. Groups 0 and 1, strata ignored; `None` where
/// one group is empty or all scores are equal. Sources, from memory: Peto and Peto 1972 J R Stat Soc A 135:185; the exact
/// distribution by the split-up algorithm of van de Wiel 2001 (Computational Statistics 16:519). Checked by
/// `tests/logrank.rs`.
#[must_use]
pub fn score_test(subjects: Subjects<'_>, weight: EventWeight) -> Option<ScoreTest> {
    let one_stratum = vec![0; subjects.times.len()];
    let scores = subject_scores(
        Subjects {
            strata: &one_stratum,
            ..subjects
        },
        weight,
    );
    let chosen = subjects.groups.iter().filter(|&&group| group == 0).count();
    let (n, m) = (scores.len() as f64, chosen as f64);
    let mean = scores.iter().sum::<f64>() / n;
    let square: f64 = scores.iter().map(|score| (score - mean).powi(2)).sum();
    let deviation: f64 = scores
        .iter()
        .zip(subjects.groups)
        .filter(|(_, group)| **group == 0)
        .map(|(score, _)| score - mean)
        .sum();
    let variance = m * (n - m) * square / (n * (n - 1.0));
    (variance > 0.0).then(|| {
        let centred: Vec<f64> = scores.iter().map(|score| score - mean).collect();
        ScoreTest {
            z: deviation / variance.sqrt(),
            exact_p: exact_p(centred, chosen, deviation.abs()),
        }
    })
}

/// A number of ways to choose some scores, by how many and their sum.
#[derive(Clone, Copy)]
struct Choice {
    chosen: usize,
    sum: f64,
    ways: f64,
}

/// All choices from half of the scores meet those from the other half that complete them.
fn exact_p(mut scores: Vec<f64>, chosen: usize, distance: f64) -> Option<f64> {
    scores.sort_by(f64::total_cmp);
    let runs: Vec<&[f64]> = scores
        .chunk_by(|a, b| (a - b).abs() <= SLACK * (a.abs() + b.abs()))
        .collect();
    let (left, mut right) = (
        choices(runs.iter().step_by(2))?,
        choices(runs.iter().skip(1).step_by(2))?,
    );
    right.sort_by(|a, b| a.chosen.cmp(&b.chosen).then(a.sum.total_cmp(&b.sum)));
    let mut ways_before = vec![0.0];
    let mut total = 0.0;
    ways_before.extend(right.iter().map(|choice| {
        total += choice.ways;
        total
    }));
    let (mut all, mut extreme) = (0.0, 0.0);
    let limit = distance * (1.0 - SLACK);
    for choice in left.iter().filter(|choice| choice.chosen <= chosen) {
        let rest = chosen - choice.chosen;
        let start = right.partition_point(|other| other.chosen < rest);
        let end = right.partition_point(|other| other.chosen <= rest);
        let sums = &right[start..end];
        let low = start + sums.partition_point(|other| choice.sum + other.sum <= -limit);
        let high = start + sums.partition_point(|other| choice.sum + other.sum < limit);
        let inside = ways_before[high.max(low)] - ways_before[low];
        let here = ways_before[end] - ways_before[start];
        all += choice.ways * here;
        extreme += choice.ways * (here - inside);
    }
    Some(extreme / all)
}

fn choices<'a>(runs: impl Iterator<Item = &'a &'a [f64]>) -> Option<Vec<Choice>> {
    const MOST: usize = 1 << 22;
    let mut all = vec![Choice {
        chosen: 0,
        sum: 0.0,
        ways: 1.0,
    }];
    for run in runs {
        if all.len() * (run.len() + 1) > MOST {
            return None;
        }
        let before = all.clone();
        let mut ways = 1.0;
        for taken in 1..=run.len() {
            ways *= (run.len() + 1 - taken) as f64 / taken as f64;
            all.extend(before.iter().map(|choice| Choice {
                chosen: choice.chosen + taken,
                sum: choice.sum + taken as f64 * run[0],
                ways: choice.ways * ways,
            }));
        }
    }
    Some(all)
}
