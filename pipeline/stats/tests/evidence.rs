//! Evidence at repeated looks, by hand. How often it misleads is simulated by `cargo xtask calibrate`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::survival::evidence::{
    Look, PAYOFF, SAFE_SHARE, SCHEDULE, log_e, look, safe_log_rank,
};
use whereworn_stats::survival::logrank::Subjects;

fn subjects<'a>(
    times: &'a [f64],
    events: &'a [bool],
    groups: &'a [usize],
    strata: &'a [usize],
) -> Subjects<'a> {
    Subjects {
        times,
        events,
        groups,
        strata,
    }
}

/// Two of group 1, then one of group 0 of two: at risk (2, 2), (2, 1), (2, 0). A hazard ratio of 2 gives the first event to
/// group 1 with 4/6 instead of 1/2, the second with 2/4 instead of 1/3; of 1/2 with 1/3 and 1/5. Nothing is shared after.
#[test]
fn likelihood_ratio_by_hand() {
    let all = subjects(
        &[1.0, 2.0, 3.0, 4.0],
        &[true, true, true, false],
        &[1, 1, 0, 0],
        &[0; 4],
    );
    let two: f64 = (4.0 / 6.0) / 0.5 * (2.0 / 4.0) / (1.0 / 3.0);
    let half: f64 = (1.0 / 3.0) / 0.5 * (1.0 / 5.0) / (1.0 / 3.0);
    close(
        safe_log_rank(all).unwrap(),
        (0.5 * (two + half)).ln(),
        1e-12,
        "log e",
    );
    // Swapping the groups swaps the two directions.
    let swapped = subjects(all.times, all.events, &[0, 0, 1, 1], &[0; 4]);
    close(
        safe_log_rank(swapped).unwrap(),
        (0.5 * (two + half)).ln(),
        1e-12,
        "swapped",
    );
}

/// Three of (2, 3) tied, two of them in group 1: C(3, 2) C(2, 1) h² over C(3, 1) C(2, 2) h + C(3, 2) C(2, 1) h² + C(3, 3) h³.
#[test]
fn ties_by_hand() {
    let tied = subjects(
        &[5.0, 9.0, 5.0, 5.0, 9.0],
        &[true, false, true, true, false],
        &[0, 0, 1, 1, 1],
        &[0; 5],
    );
    let of = |h: f64| 6.0 * h * h / (3.0 * h + 6.0 * h * h + h.powi(3)) / 0.6;
    close(
        safe_log_rank(tied).unwrap(),
        (0.5 * (of(2.0) + of(0.5))).ln(),
        1e-12,
        "log e",
    );
}

/// Under no difference the mean of the e-value over all arrangements of the groups is 1: it is a bet at fair odds.
#[test]
fn fair_over_all_arrangements() {
    let times = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
    let events = [true, true, false, true, true, true];
    let (mut total, mut count) = (0.0, 0.0);
    for choice in 0..64_usize {
        let groups: Vec<usize> = (0..6).map(|k| choice >> k & 1).collect();
        if groups.iter().sum::<usize>() == 3 {
            total += safe_log_rank(subjects(&times, &events, &groups, &[0; 6]))
                .unwrap()
                .exp();
            count += 1.0;
        }
    }
    close(total / count, 1.0, 1e-12, "mean");
}

/// Strata multiply, one that holds one group only says nothing.
#[test]
fn strata_multiply() {
    let times = [1.0, 2.0, 3.0, 1.0, 2.0, 3.0, 7.0];
    let groups = [1, 0, 0, 1, 0, 1, 1];
    let both = safe_log_rank(subjects(
        &times,
        &[true; 7],
        &groups,
        &[0, 0, 0, 1, 1, 1, 2],
    ))
    .unwrap();
    let of = |h: f64| {
        (h / (h + 2.0) / (1.0 / 3.0))
            * (2.0 * h / (2.0 * h + 1.0) / (2.0 / 3.0))
            * (1.0 / (h + 1.0) / 0.5)
    };
    close(both, (0.5 * (of(2.0) + of(0.5))).ln(), 1e-12, "two strata");
    assert_eq!(
        safe_log_rank(subjects(&times, &[true; 7], &[0; 7], &[0; 7])),
        None
    );
    assert_eq!(safe_log_rank(subjects(&[], &[], &[], &[])), None);
}

/// The capital is 1: what the tests can cost and the safe part together.
#[test]
fn capital_is_one() {
    let shares: f64 = SCHEDULE.iter().map(|(_, share)| share).sum();
    close(SAFE_SHARE + PAYOFF * shares, 1.0, 1e-12, "capital");
    assert!(SCHEDULE.windows(2).all(|pair| pair[0].0 < pair[1].0));
}

/// Six early against six late: the smallest p of 924 arrangements is 3 / 925, which pays at month 12 (0.005) and not at 6 (0.002).
#[test]
fn a_test_pays_at_its_month_only() {
    let times: Vec<f64> = (1..=12).map(f64::from).collect();
    let groups: Vec<usize> = (0..12).map(|k| k / 6).collect();
    let clear = subjects(&times, &[true; 12], &groups, &[0; 12]);
    let at = |month: u32| look(clear, &[0; 12], month, 1);
    assert_eq!((at(6).payoff, at(6).p), (0.0, Some(3.0 / 925.0)));
    assert_eq!((at(7).payoff, at(7).p), (0.0, None));
    assert_eq!(at(12).payoff, 20.0);
    let looks: Vec<Look> = (1..=13).map(at).collect();
    let safe = safe_log_rank(clear).unwrap();
    close(
        log_e(&looks),
        (0.2 * safe.exp() + 20.0).ln(),
        1e-12,
        "after month 13",
    );
    close(
        log_e(&looks[..11]),
        0.2_f64.ln() + safe,
        1e-12,
        "before month 12",
    );
    close(log_e(&[]), 0.2_f64.ln(), 1e-12, "before any look");
}
