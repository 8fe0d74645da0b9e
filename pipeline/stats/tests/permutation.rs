//! Permutation tests: all arrangements by hand, random draws against an exact distribution.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use whereworn_stats::resampling::permutation::{DRAWS, permutation_test};

/// Sum of the values that carry label 1.
fn sum_of_ones<'a>(values: &'a [f64]) -> impl Fn(&[usize]) -> f64 + 'a {
    |labels| {
        values
            .iter()
            .zip(labels)
            .map(|(value, &label)| value * label as f64)
            .sum()
    }
}

/// Fisher's exact idea by hand: of the C(6, 3) = 20 ways to choose three of 1, 2, 4, 8, 16, 32, exactly one has a sum
/// of at least 56; two (56 and 52) reach 52.
#[test]
fn all_arrangements_of_three_against_three() {
    let values = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
    let of =
        |labels: [usize; 6]| permutation_test(&labels, &[0; 6], 3, sum_of_ones(&values)).unwrap();
    let best = of([0, 0, 0, 1, 1, 1]);
    assert_eq!((best.draws, best.as_extreme), (20, 1));
    assert_eq!(best.smallest_p, best.p);
    assert_eq!(best.p, 2.0 / 21.0);
    assert_eq!(of([0, 0, 1, 0, 1, 1]).as_extreme, 2);
    let worst = of([1, 1, 1, 0, 0, 0]);
    assert_eq!((worst.as_extreme, worst.smallest_p), (20, 2.0 / 21.0));
}

/// Two blocks of sizes 3 and 2: 3 · 2 arrangements, a third block of one label left alone.
#[test]
fn labels_stay_in_their_blocks() {
    let labels = [0, 1, 1, 0, 2, 5, 5];
    let blocks = [7, 7, 7, 9, 9, 1, 1];
    let mut seen = Vec::new();
    let test = permutation_test(&labels, &blocks, 3, |labels| {
        seen.push(labels.to_vec());
        0.0
    })
    .unwrap();
    assert_eq!((test.draws, test.as_extreme, test.p), (6, 6, 1.0));
    let mut arrangements = seen.split_off(1);
    for labels in &arrangements {
        let mut first = labels[..3].to_vec();
        first.sort_unstable();
        let mut second = labels[3..5].to_vec();
        second.sort_unstable();
        assert_eq!(
            (first, second, &labels[5..]),
            (vec![0, 1, 1], vec![0, 2], &[5, 5][..])
        );
    }
    arrangements.sort();
    arrangements.dedup();
    assert_eq!(arrangements.len(), 6);
}

#[test]
fn nothing_to_shuffle() {
    assert_eq!(permutation_test(&[0, 0, 1], &[0, 0, 1], 3, |_| 1.0), None);
    assert_eq!(permutation_test(&[], &[], 3, |_| 1.0), None);
    assert_eq!(permutation_test(&[0, 1], &[0, 0], 3, |_| f64::NAN), None);
}

/// 12 against 12 of the numbers 1 to 24: the rank sum test. The normal approximation with continuity correction of the
/// chance to reach 180 (mean 150, variance 300) is 0.0443, good to a few thousandths; 10,000 draws add 0.002.
#[test]
fn random_draws_against_the_rank_sum_test() {
    let values: Vec<f64> = (1..=24).map(f64::from).collect();
    let mut labels = [0; 24];
    labels[12..].fill(1);
    // Swaps that bring the sum of the upper half from 222 down to 180.
    for (low, high) in [(0, 12), (1, 13), (2, 14), (5, 11 + 6)] {
        labels.swap(low, high);
    }
    let statistic = sum_of_ones(&values);
    let target = statistic(&labels);
    assert_eq!(target, 174.0);
    let test = permutation_test(&labels, &[0; 24], 3, &statistic).unwrap();
    assert_eq!(test.draws, DRAWS);
    // Upper normal tail of (173.5 - 150) / √300 = 1.3568: 0.0874.
    assert!((test.p - 0.0874).abs() < 0.01, "{test:?}");
    assert_eq!(
        Some(test),
        permutation_test(&labels, &[0; 24], 3, &statistic)
    );
    assert_ne!(
        Some(test),
        permutation_test(&labels, &[0; 24], 4, &statistic)
    );
}

/// A statistic that differs from the observed one by rounding only is a tie.
#[test]
fn rounding_is_a_tie() {
    let mut calls = 0;
    let test = permutation_test(&[0, 1, 2], &[0; 3], 3, |_| {
        calls += 1;
        1.0 - f64::from(calls) * 1e-13
    })
    .unwrap();
    assert_eq!((test.draws, test.as_extreme), (6, 6));
}
