//! Permutation tests within blocks.

use super::seed::generator;
use crate::comparison::at_least;
use rand::RngExt;
use std::collections::BTreeMap;

/// Draws of a permutation test, where there are not fewer arrangements.
pub const DRAWS: usize = 10_000;

/// The outcome of a permutation test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PermutationTest {
    /// (1 + `as_extreme`) / (1 + `draws`).
    pub p: f64,
    /// Random draws made, or the number of all arrangements where each was taken once.
    pub draws: usize,
    /// Draws whose statistic is at least the observed one, up to rounding.
    pub as_extreme: usize,
    /// The smallest p that any arrangement of these labels would have got: no less than 1 / (1 + `draws`).
    pub smallest_p: f64,
}

/// Shuffles `labels` within `blocks` and asks how often `statistic` gets at least as large as it is.
///
/// `labels` (the group of each unit) and `blocks` (units that may exchange labels) are equally long. The statistic is
/// computed anew for each draw. There are 10,000 random draws; where the distinct arrangements (the product over
/// blocks of multinomial coefficients) are fewer, each is taken once, the observed one among them. A statistic that
/// falls short of the observed one by a relative 1e-9 or less counts as extreme, one that is NaN does not.
/// Returns `None` where no block holds two different labels, or the observed statistic is not finite.
/// Source, from memory: Phipson and Smyth 2010 Stat Appl Genet Mol Biol 9:39 for the 1 + in p. Checked by `tests/permutation.rs`.
#[must_use]
pub fn permutation_test(
    labels: &[usize],
    blocks: &[usize],
    seed: u64,
    mut statistic: impl FnMut(&[usize]) -> f64,
) -> Option<PermutationTest> {
    let blocks = mixed_blocks(labels, blocks);
    let observed = statistic(labels);
    if blocks.is_empty() || !observed.is_finite() {
        return None;
    }
    let mut as_extreme = 0;
    let mut largest = Largest::default();
    let mut visit = |arrangement: &[usize]| {
        let value = statistic(arrangement);
        if at_least(value, observed) {
            as_extreme += 1;
        }
        largest.see(value);
    };
    // Of random draws none need be as extreme as the observed arrangement; of all arrangements it is one itself.
    let (draws, fewest) = match fewer_arrangements(labels, &blocks) {
        Some(count) => {
            enumerate(labels, &blocks, &mut visit);
            (count, largest.times)
        }
        None => {
            shuffle(labels, &blocks, seed, &mut visit);
            (DRAWS, 0)
        }
    };
    Some(PermutationTest {
        p: (1 + as_extreme) as f64 / (1 + draws) as f64,
        draws,
        as_extreme,
        smallest_p: (1 + fewest) as f64 / (1 + draws) as f64,
    })
}

/// How often the largest value came, up to rounding.
#[derive(Default)]
struct Largest {
    value: Option<f64>,
    times: usize,
}

impl Largest {
    fn see(&mut self, value: f64) {
        let tied = self.value.is_some_and(|largest| at_least(value, largest));
        let above = self.value.is_none_or(|largest| !at_least(largest, value));
        if value.is_nan() {
            return;
        }
        if above {
            (self.value, self.times) = (Some(value), 1);
        } else if tied {
            self.times += 1;
        }
    }
}

/// The members of every block that holds at least two different labels.
fn mixed_blocks(labels: &[usize], blocks: &[usize]) -> Vec<Vec<usize>> {
    let mut members = BTreeMap::<usize, Vec<usize>>::new();
    for (unit, &block) in blocks.iter().enumerate() {
        members.entry(block).or_default().push(unit);
    }
    members
        .into_values()
        .filter(|units| units.iter().any(|&unit| labels[unit] != labels[units[0]]))
        .collect()
}

/// The number of distinct arrangements, where that is below [`DRAWS`].
fn fewer_arrangements(labels: &[usize], blocks: &[Vec<usize>]) -> Option<usize> {
    let mut total = 1;
    for units in blocks {
        let mut placed_of_label = BTreeMap::<usize, usize>::new();
        for (placed, &unit) in units.iter().enumerate() {
            // A multinomial coefficient grows by (units so far) / (units so far of this label), always whole.
            let of_label = placed_of_label.entry(labels[unit]).or_default();
            *of_label += 1;
            total = total * (placed + 1) / *of_label;
            if total >= DRAWS {
                return None;
            }
        }
    }
    Some(total)
}

fn shuffle(labels: &[usize], blocks: &[Vec<usize>], seed: u64, visit: &mut impl FnMut(&[usize])) {
    let mut generator = generator(seed);
    let mut current = labels.to_vec();
    for _ in 0..DRAWS {
        for units in blocks {
            for last in (1..units.len()).rev() {
                current.swap(units[last], units[generator.random_range(0..=last)]);
            }
        }
        visit(&current);
    }
}

fn enumerate(labels: &[usize], blocks: &[Vec<usize>], visit: &mut impl FnMut(&[usize])) {
    let mut current = labels.to_vec();
    let mut orders: Vec<Vec<usize>> = blocks
        .iter()
        .map(|units| {
            let mut order: Vec<usize> = units.iter().map(|&unit| labels[unit]).collect();
            order.sort_unstable();
            order
        })
        .collect();
    loop {
        for (units, order) in blocks.iter().zip(&orders) {
            for (&unit, &label) in units.iter().zip(order) {
                current[unit] = label;
            }
        }
        visit(&current);
        // Like an odometer: the first block that has a next order moves on, those before it start again.
        if !orders.iter_mut().any(|order| next_order(order)) {
            return;
        }
    }
}

/// Moves to the next order in dictionary sequence; after the last, back to the first, returning false.
fn next_order(order: &mut [usize]) -> bool {
    let Some(pivot) = order.windows(2).rposition(|pair| pair[0] < pair[1]) else {
        order.reverse();
        return false;
    };
    let successor = order
        .iter()
        .rposition(|&label| label > order[pivot])
        .unwrap_or(pivot);
    order.swap(pivot, successor);
    order[pivot + 1..].reverse();
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dictionary_order_visits_each_multiset_order_once() {
        let mut order = vec![0, 0, 1, 2];
        let mut seen = vec![order.clone()];
        while next_order(&mut order) {
            seen.push(order.clone());
        }
        assert_eq!(seen.len(), 12); // 4! / 2!
        assert!(seen.windows(2).all(|pair| pair[0] < pair[1]));
        assert_eq!(order, [0, 0, 1, 2]);
    }
}
