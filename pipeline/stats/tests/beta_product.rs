//! The beta product intervals: Clopper and Pearson's where nobody is censored, and by hand.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::distributions::beta_quantile;
use whereworn_stats::rates::proportion::clopper_pearson;
use whereworn_stats::survival::beta_product::BetaProduct;

fn of_one_cause(times: &[f64], events: &[bool]) -> BetaProduct {
    let causes: Vec<Option<usize>> = events.iter().map(|event| event.then_some(0)).collect();
    BetaProduct::new(times, &causes)
}

/// Without censoring the interval is Clopper and Pearson's for those left (Fay, Brittain and Proschan 2013, section 2).
#[test]
fn clopper_and_pearson_without_censoring() {
    let times = [1.0, 2.0, 2.0, 3.0, 5.0, 8.0];
    let product = of_one_cause(&times, &[true; 6]);
    for (time, left) in [
        (0.5, 6),
        (1.0, 5),
        (2.0, 3),
        (2.5, 3),
        (4.0, 2),
        (6.0, 1),
        (8.0, 0),
        (9.0, 0),
    ] {
        let (interval, exact) = (
            product.free_at(time).unwrap(),
            clopper_pearson(left, 6, 0.95).unwrap(),
        );
        close(
            interval.lower,
            exact.lower,
            1e-9,
            &format!("lower at {time}"),
        );
        close(
            interval.upper,
            exact.upper,
            1e-9,
            &format!("upper at {time}"),
        );
    }
}

/// Other endings that are all seen to the end leave a share of all subjects, whenever they happen.
#[test]
fn clopper_and_pearson_with_other_causes() {
    let times = [1.0, 2.0, 3.0, 4.0, 14.0, 14.0, 14.0];
    let causes = [Some(1), Some(0), Some(2), Some(0), None, None, None];
    let product = BetaProduct::new(&times, &causes);
    for (time, free) in [(1.5, 7), (2.0, 6), (3.5, 6), (4.0, 5), (14.0, 5)] {
        let (interval, exact) = (
            product.free_at(time).unwrap(),
            clopper_pearson(free, 7, 0.95).unwrap(),
        );
        close(
            interval.lower,
            exact.lower,
            1e-9,
            &format!("lower at {time}"),
        );
        close(
            interval.upper,
            exact.upper,
            1e-9,
            &format!("upper at {time}"),
        );
    }
    // All ended by another cause: none of three will ever have this one.
    let none = BetaProduct::new(&[1.0, 2.0, 3.0], &[Some(1); 3])
        .free_at(14.0)
        .unwrap();
    let exact = clopper_pearson(3, 3, 0.95).unwrap();
    close(none.lower, exact.lower, 1e-9, "none of three");
    assert_eq!(none.upper, 1.0);
}

/// One of four has the event at 1, one is censored at 2, one has it at 3, one is left at 4.
///
/// Upper at 3: betas (4, 1) and (2, 1), mean 4/5 · 2/3 = 8/15, mean square 4/6 · 2/4 = 1/3; lower: times a beta (1, 1), 4/15
/// and 1/9. A beta with mean m and mean square q has shapes m (m - q) / (q - m²) and (1 - m) (m - q) / (q - m²).
#[test]
fn censoring_by_hand() {
    let product = of_one_cause(&[1.0, 2.0, 3.0, 4.0], &[true, false, true, false]);
    let quantile = |p: f64, mean: f64, square: f64| {
        let size = (mean - square) / (square - mean * mean);
        beta_quantile(p, mean * size, (1.0 - mean) * size)
    };
    let at_three = product.free_at(3.0).unwrap();
    close(
        at_three.upper,
        quantile(0.975, 8.0 / 15.0, 1.0 / 3.0),
        1e-9,
        "upper",
    );
    close(
        at_three.lower,
        quantile(0.025, 4.0 / 15.0, 1.0 / 9.0),
        1e-9,
        "lower",
    );
    // At 2 the censored one was still there; after it two are left. Past the last follow-up nothing is known below.
    let at_two = product.free_at(2.0).unwrap();
    close(
        at_two.lower,
        quantile(0.025, 0.8 * 0.75, 4.0 / 6.0 * 3.0 / 5.0),
        1e-9,
        "at the censoring",
    );
    let after_two = product.free_at(2.5).unwrap();
    close(
        after_two.lower,
        quantile(0.025, 0.8 * 2.0 / 3.0, 4.0 / 6.0 * 2.0 / 4.0),
        1e-9,
        "after it",
    );
    assert_eq!(product.free_at(4.5).unwrap().lower, 0.0);
}

/// Ten at risk, thinned by one censoring, of which all others come off: nobody is left, whatever rounding says.
#[test]
fn nobody_left_is_nobody() {
    let times: Vec<f64> = (1..=10).map(f64::from).collect();
    let events: Vec<bool> = (1..=10).map(|k| k != 4).collect();
    let product = of_one_cause(&times, &events);
    let last = product.free_at(10.0).unwrap();
    assert_eq!(last.lower, 0.0);
    assert!(last.upper > 0.3 && last.upper < 0.4, "{last:?}");
}

/// Times of 0 and of the horizon only: a share times the horizon.
#[test]
fn mean_of_all_or_nothing_is_a_share() {
    let product = of_one_cause(
        &[0.0, 0.0, 14.0, 14.0, 14.0],
        &[true, true, false, false, false],
    );
    let (interval, exact) = (
        product.restricted_mean(14.0).unwrap(),
        clopper_pearson(3, 5, 0.95).unwrap(),
    );
    close(interval.lower, 14.0 * exact.lower, 1e-9, "lower");
    close(interval.upper, 14.0 * exact.upper, 1e-9, "upper");
}

/// One event at 1 of two subjects, horizon 2: half of the upper path is 1, the other half a beta (2, 1), so mean
/// 1/2 + 1/2 · 2/3 = 5/6 and mean square 1/4 + 1/2 · 2/3 + 1/4 · 1/2 = 17/24 of the horizon. The lower path is V^(1/2), then
/// that times W: mean 1/3 + 1/6 = 1/2; mean square 1/4 · 1/2 + 1/2 · 1/2 · 1/2 + 1/4 · 1/2 · 1/3 = 7/24.
#[test]
fn mean_by_hand() {
    let interval = of_one_cause(&[1.0, 2.0], &[true, false])
        .restricted_mean(2.0)
        .unwrap();
    let quantile = |p: f64, mean: f64, square: f64| {
        let size = (mean - square) / (square - mean * mean);
        2.0 * beta_quantile(p, mean * size, (1.0 - mean) * size)
    };
    close(
        interval.upper,
        quantile(0.975, 5.0 / 6.0, 17.0 / 24.0),
        1e-9,
        "upper",
    );
    close(
        interval.lower,
        quantile(0.025, 0.5, 7.0 / 24.0),
        1e-9,
        "lower",
    );
}

/// Censoring between events: three subjects, one censored at 1, events at 2 and 3, horizon 3. The lower path by drawing
/// its uniforms: V^(1/3) before 1, V^(1/2) after it, V^(1/2) W between 2 and 3.
#[test]
fn mean_with_censoring_by_drawing() {
    let product = of_one_cause(&[1.0, 2.0, 3.0], &[false, true, true]);
    let steps = 1000;
    let (mut mean, mut square) = (0.0, 0.0);
    for i in 0..steps {
        for j in 0..steps {
            let [v, w] = [i, j].map(|k| (f64::from(k) + 0.5) / f64::from(steps));
            let area = (v.powf(1.0 / 3.0) + v.sqrt() + v.sqrt() * w) / 3.0;
            mean += area;
            square += area * area;
        }
    }
    let draws = f64::from(steps * steps);
    (mean, square) = (mean / draws, square / draws);
    let size = (mean - square) / (square - mean * mean);
    let lower = 3.0 * beta_quantile(0.025, mean * size, (1.0 - mean) * size);
    close(
        product.restricted_mean(3.0).unwrap().lower,
        lower,
        1e-4,
        "lower",
    );
}

#[test]
fn tiny_and_empty() {
    assert_eq!(BetaProduct::new(&[], &[]).free_at(1.0), None);
    assert_eq!(BetaProduct::new(&[], &[]).restricted_mean(1.0), None);
    let one = of_one_cause(&[14.0], &[false]);
    let (share, mean) = (
        one.free_at(14.0).unwrap(),
        one.restricted_mean(14.0).unwrap(),
    );
    close(share.lower, 0.025, 1e-9, "one that lasted");
    assert_eq!(share.upper, 1.0);
    close(mean.lower, 0.35, 1e-9, "its mean");
    assert_eq!(mean.upper, 14.0);
}
