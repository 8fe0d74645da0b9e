//! The mid-p beta product intervals: those of a share where nobody is censored, and by hand.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::distributions::beta_cdf;
use whereworn_stats::interval::Interval;
use whereworn_stats::survival::beta_product::BetaProduct;

fn of_one_cause(times: &[f64], events: &[bool]) -> BetaProduct {
    let causes: Vec<Option<usize>> = events.iter().map(|event| event.then_some(0)).collect();
    BetaProduct::new(times, &causes)
}

/// That below a limit lie 2.5 % of what the two paths give together, and above the other as much.
fn close_to_percentiles(interval: Interval, both: impl Fn(f64) -> f64, what: &str) {
    for (limit, chance) in [(interval.lower, 0.025), (interval.upper, 0.975)] {
        close(0.5 * both(limit), chance, 1e-9, what);
    }
}

/// Beta distribution with a mean m and a mean square q: shapes m (m - q) / (q - m²) and (1 - m) (m - q) / (q - m²).
fn fitted(mean: f64, square: f64) -> impl Fn(f64) -> f64 {
    let size = (mean - square) / (square - mean * mean);
    move |x| beta_cdf(x, mean * size, (1.0 - mean) * size)
}

/// The chance of fewer than `left` of `n` with a share, plus half of that of just as many.
fn mid_p(left: usize, n: usize, share: f64) -> f64 {
    let chance = |k: usize| {
        let ways: f64 = (0..k).map(|i| (n - i) as f64 / (i + 1) as f64).product();
        ways * share.powi(k as i32) * (1.0 - share).powi((n - k) as i32)
    };
    (0..left).map(chance).sum::<f64>() + 0.5 * chance(left)
}

/// The limits of a share at which the tails by [`mid_p`] are 2.5 %, but for none and all.
fn close_to_mid_p(interval: Interval, (left, n): (usize, usize), what: &str) {
    for (limit, chance, end) in [
        (interval.lower, 0.975, (left == 0).then_some(0.0)),
        (interval.upper, 0.025, (left == n).then_some(1.0)),
    ] {
        match end {
            Some(end) => assert_eq!(limit, end, "{what}"),
            None => close(mid_p(left, n, limit), chance, 1e-9, what),
        }
    }
}

/// Newcombe 1998 Stat Med 17:857, table I, mid-P (from memory; the same by binomial sums, below, and by SciPy's beta distribution).
#[test]
fn published_shares() {
    for (left, n, lower, upper) in [
        (81, 263, 0.2544, 0.3658),
        (15, 148, 0.0601, 0.1581),
        (0, 20, 0.0, 0.1391),
        (1, 29, 0.0017, 0.1585),
    ] {
        let times: Vec<f64> = (0..n).map(|k| if k < left { 2.0 } else { 1.0 }).collect();
        let events: Vec<bool> = (0..n).map(|k| k >= left).collect();
        let interval = of_one_cause(&times, &events).free_at(1.0).unwrap();
        close(
            interval.lower,
            lower,
            5e-5,
            &format!("{left} of {n}, lower"),
        );
        close(
            interval.upper,
            upper,
            5e-5,
            &format!("{left} of {n}, upper"),
        );
    }
}

/// Without censoring the interval is the mid-p one of a share (Fay and Brittain 2016, section 3, from memory).
#[test]
fn a_share_without_censoring() {
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
        let interval = product.free_at(time).unwrap();
        close_to_mid_p(interval, (left, 6), &format!("at {time}"));
    }
}

/// Other endings that are all seen to the end leave a share of all subjects, whenever they happen.
#[test]
fn a_share_with_other_causes() {
    let times = [1.0, 2.0, 3.0, 4.0, 14.0, 14.0, 14.0];
    let causes = [Some(1), Some(0), Some(2), Some(0), None, None, None];
    let product = BetaProduct::new(&times, &causes);
    for (time, free) in [(1.5, 7), (2.0, 6), (3.5, 6), (4.0, 5), (14.0, 5)] {
        let interval = product.free_at(time).unwrap();
        close_to_mid_p(interval, (free, 7), &format!("at {time}"));
    }
    // All ended by another cause: none of three will ever have this one.
    let none = BetaProduct::new(&[1.0, 2.0, 3.0], &[Some(1); 3]);
    close_to_mid_p(none.free_at(14.0).unwrap(), (3, 3), "none of three");
}

/// One of four has the event at 1, one is censored at 2, one has it at 3, one is left at 4.
///
/// Without a further event at 3: betas (4, 1) and (2, 1), mean 4/5 · 2/3 = 8/15, mean square 4/6 · 2/4 = 1/3; with one at once:
/// times a beta (1, 1), 4/15 and 1/9.
#[test]
fn censoring_by_hand() {
    let product = of_one_cause(&[1.0, 2.0, 3.0, 4.0], &[true, false, true, false]);
    let (never, at_once) = (fitted(8.0 / 15.0, 1.0 / 3.0), fitted(4.0 / 15.0, 1.0 / 9.0));
    let at_three = product.free_at(3.0).unwrap();
    close_to_percentiles(at_three, |x| never(x) + at_once(x), "at 3");
    // At 2 the censored one was still there; after it two are left.
    let never = fitted(0.8, 4.0 / 6.0);
    let at_once = fitted(0.8 * 0.75, 4.0 / 6.0 * 3.0 / 5.0);
    let at_two = product.free_at(2.0).unwrap();
    close_to_percentiles(at_two, |x| never(x) + at_once(x), "at the censoring");
    let at_once = fitted(0.8 * 2.0 / 3.0, 4.0 / 6.0 * 2.0 / 4.0);
    let after_two = product.free_at(2.5).unwrap();
    close_to_percentiles(after_two, |x| never(x) + at_once(x), "after it");
    // Past the last follow-up nothing is known below.
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
    assert!(last.upper > 0.25 && last.upper < 0.35, "{last:?}");
}

/// Times of 0 and of the horizon only: a share times the horizon.
#[test]
fn mean_of_all_or_nothing_is_a_share() {
    let product = of_one_cause(
        &[0.0, 0.0, 14.0, 14.0, 14.0],
        &[true, true, false, false, false],
    );
    let mean = product.restricted_mean(14.0).unwrap();
    let share = Interval {
        lower: mean.lower / 14.0,
        upper: mean.upper / 14.0,
    };
    close_to_mid_p(share, (3, 5), "mean");
}

/// One event at 1 of two subjects, horizon 2: half of the path without a further event is 1, the other half a beta (2, 1), so
/// mean 1/2 + 1/2 · 2/3 = 5/6 and mean square 1/4 + 1/2 · 2/3 + 1/4 · 1/2 = 17/24 of the horizon. The other path is V^(1/2), then
/// that times W: mean 1/3 + 1/6 = 1/2; mean square 1/4 · 1/2 + 1/2 · 1/2 · 1/2 + 1/4 · 1/2 · 1/3 = 7/24.
#[test]
fn mean_by_hand() {
    let interval = of_one_cause(&[1.0, 2.0], &[true, false])
        .restricted_mean(2.0)
        .unwrap();
    let (never, at_once) = (fitted(5.0 / 6.0, 17.0 / 24.0), fitted(0.5, 7.0 / 24.0));
    close_to_percentiles(interval, |x| never(x / 2.0) + at_once(x / 2.0), "mean");
}

/// Censoring between events: three subjects, one censored at 1, events at 2 and 3, horizon 3. The paths by drawing their
/// uniforms: with the next event at once V^(1/3) before 1, V^(1/2) after it, V^(1/2) W between 2 and 3; without, 1, 1 and V^(1/2).
#[test]
fn mean_with_censoring_by_drawing() {
    let product = of_one_cause(&[1.0, 2.0, 3.0], &[false, true, true]);
    let steps = 1000;
    let mut sums = [0.0; 4];
    for i in 0..steps {
        for j in 0..steps {
            let [v, w] = [i, j].map(|k| (f64::from(k) + 0.5) / f64::from(steps));
            let at_once = (v.powf(1.0 / 3.0) + v.sqrt() + v.sqrt() * w) / 3.0;
            let never = (2.0 + v.sqrt()) / 3.0;
            let drawn = [at_once, at_once * at_once, never, never * never];
            sums.iter_mut()
                .zip(drawn)
                .for_each(|(sum, drawn)| *sum += drawn);
        }
    }
    let [at_once, at_once_square, never, never_square] =
        sums.map(|sum| sum / f64::from(steps * steps));
    let (at_once, never) = (fitted(at_once, at_once_square), fitted(never, never_square));
    let interval = product.restricted_mean(3.0).unwrap();
    let both = |x: f64| 0.5 * (at_once(x / 3.0) + never(x / 3.0));
    close(both(interval.lower), 0.025, 1e-4, "lower");
    close(both(interval.upper), 0.975, 1e-4, "upper");
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
    // Half of a uniform share lies below 5 %.
    close(share.lower, 0.05, 1e-9, "one that lasted");
    assert_eq!(share.upper, 1.0);
    close(mean.lower, 0.7, 1e-9, "its mean");
    assert_eq!(mean.upper, 14.0);
}
