//! Evidence on means: the closed form of Kummer's function for three sensors (DLMF 13.6.7 and 7.6.1: 1F1(1; 1/2; z) = 1 +
//! √(πz) e^z erf √z), the mean of 1 that makes it an e-value, and that scale and level do not matter.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use statrs::function::erf::erf;
use whereworn_stats::distributions::t_quantile;
use whereworn_stats::mixed::evidence::{look, safe_t};

#[test]
fn three_sensors_by_hand() {
    // Means 1 and 4, squares within 2, explained 2/3 · 9 = 6, share 3/4; λ² = 2/3, z = 1/4.
    let log_e = safe_t(&[0.0, 2.0, 4.0], &[0, 0, 1], &[0; 3]).unwrap();
    let z: f64 = 0.25;
    let kummer = 1.0 + (std::f64::consts::PI * z).sqrt() * z.exp() * erf(z.sqrt());
    // The error function at hand is good to eleven digits.
    close(log_e, kummer.ln() - 1.0 / 3.0, 1e-10, "log e");
}

/// Over the null distribution of t the e-value has mean 1: quantiles of t at 40,000 equal steps, n1 = 4, n2 = 3.
#[test]
fn mean_one_without_a_difference() {
    let steps = 40_000;
    let mean = (0..steps)
        .map(|step| {
            let t = t_quantile((f64::from(step) + 0.5) / f64::from(steps), 5.0);
            // Two groups with variance 1 within and this t: means apart by t √(1/4 + 1/3).
            let gap = t * (1.0_f64 / 4.0 + 1.0 / 3.0).sqrt();
            let spread = (5.0_f64 / 4.0).sqrt();
            let values = [-spread, spread, 0.0, 0.0, gap - spread, gap, gap + spread];
            let squares = 2.0 * spread * spread * 2.0 / 5.0;
            assert!((squares - 1.0).abs() < 1e-12);
            safe_t(&values, &[0, 0, 0, 0, 1, 1, 1], &[0; 7])
                .unwrap()
                .exp()
        })
        .sum::<f64>()
        / f64::from(steps);
    close(mean, 1.0, 2e-3, "mean");
}

#[test]
fn scale_level_and_side_do_not_matter() {
    let values = [3.0, 5.0, 1.0, 9.0, 8.0];
    let groups = [0, 0, 0, 1, 1];
    let base = safe_t(&values, &groups, &[0; 5]).unwrap();
    let moved: Vec<f64> = values.iter().map(|value| 40.0 - 7.0 * value).collect();
    close(
        safe_t(&moved, &groups, &[0; 5]).unwrap(),
        base,
        1e-12,
        "moved",
    );
    let swapped = groups.map(|group| 1 - group);
    close(
        safe_t(&values, &swapped, &[0; 5]).unwrap(),
        base,
        1e-12,
        "swapped",
    );
    // Two wearers alike: the product.
    let twice: Vec<f64> = values.iter().chain(&values).copied().collect();
    let both = [groups, groups].concat();
    let wearers = [vec![0; 5], vec![1; 5]].concat();
    close(
        safe_t(&twice, &both, &wearers).unwrap(),
        2.0 * base,
        1e-12,
        "product",
    );
}

#[test]
fn nothing_to_compare() {
    assert_eq!(safe_t(&[1.0, 2.0], &[0, 1], &[0; 2]), None);
    assert_eq!(safe_t(&[1.0, 2.0, 3.0], &[0; 3], &[0; 3]), None);
    assert_eq!(safe_t(&[1.0; 3], &[0, 0, 1], &[0; 3]), Some(0.0));
    // Large studies do not overflow.
    let values: Vec<f64> = (0..4000)
        .map(|i| f64::from(i % 2) + 0.01 * f64::from(i % 7))
        .collect();
    let groups: Vec<usize> = (0..4000).map(|i| i % 2).collect();
    assert!(safe_t(&values, &groups, &[0; 4000]).unwrap() > 100.0);
}

/// Ten sensors a site that do not overlap: 2 of 184,756 arrangements, so p of 10,000 draws is at its least and pays.
#[test]
fn a_clear_difference_pays_at_month_24() {
    let values: Vec<f64> = (0..20).map(f64::from).collect();
    let groups: Vec<usize> = (0..20).map(|i| i / 10).collect();
    let due = look(&values, &groups, &[0; 20], &[0; 20], 24, 1);
    assert_eq!(due.payoff, 20.0);
    assert!(due.p.unwrap() <= 0.001);
    let not_due = look(&values, &groups, &[0; 20], &[0; 20], 23, 1);
    assert_eq!((not_due.payoff, not_due.p), (0.0, None));
    assert_eq!(not_due.log_e_likelihood, due.log_e_likelihood);
}
