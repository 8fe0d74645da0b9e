//! Evidence on rates by hand, and the mean of 1 over the two ways in which a matched pair can fall.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::rates::evidence::{NightlySensor, look, safe_pairs};

fn sensor(group: usize, ended: f64, nights: &[f64]) -> NightlySensor {
    NightlySensor {
        group,
        stratum: 0,
        ended,
        nights: nights.to_vec(),
    }
}

/// Of the second sensor's nights only the first two count: 2 against 1. Ratio 2: 2 / (1 + 2^-1) = 4/3; ratio 1/2: 2/3.
#[test]
fn one_pair_by_hand() {
    let pair = [
        sensor(0, 1.0, &[0.0, 1.0]),
        sensor(1, 2.0, &[2.0, 0.0, 5.0]),
    ];
    close(
        safe_pairs(&pair).unwrap(),
        (0.5_f64 * (4.0 / 3.0 + 2.0 / 3.0)).ln(),
        1e-14,
        "one pair",
    );
    // A second pair with 3 against 0: 2 / (1 + 1/8) = 16/9 and 2 / 9.
    let two = [
        pair[0].clone(),
        pair[1].clone(),
        sensor(1, 5.0, &[3.0]),
        sensor(0, 9.0, &[0.0]),
    ];
    let expected = 0.5 * (4.0 / 3.0 * 16.0 / 9.0 + 2.0 / 3.0 * 2.0 / 9.0);
    close(
        safe_pairs(&two).unwrap(),
        f64::ln(expected),
        1e-14,
        "two pairs",
    );
}

/// Without a difference either sensor may have had either number: the mean over both is 1, also along ratio 2 alone.
#[test]
fn mean_one_without_a_difference() {
    for (x, y) in [(0.0, 4.0), (3.0, 1.0), (2.0, 2.0)] {
        let of = |a: f64, b: f64| {
            let first = [sensor(0, 1.0, &[1.0]), sensor(1, 1.0, &[3.0])];
            let all = [
                first[0].clone(),
                first[1].clone(),
                sensor(0, 2.0, &[a]),
                sensor(1, 2.0, &[b]),
            ];
            safe_pairs(&all).unwrap().exp()
        };
        let before = safe_pairs(&[sensor(0, 1.0, &[1.0]), sensor(1, 1.0, &[3.0])])
            .unwrap()
            .exp();
        close(0.5 * (of(x, y) + of(y, x)), before, 1e-14, "mean");
    }
}

#[test]
fn nothing_to_match() {
    assert_eq!(safe_pairs(&[]), None);
    assert_eq!(
        safe_pairs(&[sensor(0, 1.0, &[1.0]), sensor(1, 1.0, &[])]),
        None
    );
    let apart = NightlySensor {
        stratum: 1,
        ..sensor(1, 1.0, &[1.0])
    };
    assert_eq!(safe_pairs(&[sensor(0, 1.0, &[1.0]), apart]), None);
    let empty = look(&[], 24, 1);
    assert_eq!(
        (empty.log_e_likelihood, empty.payoff, empty.p),
        (0.0, 0.0, None)
    );
}

/// Ten sensors with an artefact every night against ten with none.
#[test]
fn a_clear_difference_pays_when_due() {
    let sensors: Vec<NightlySensor> = (0..20)
        .map(|i| sensor(i % 2, i as f64, &[(i % 2) as f64; 10]))
        .collect();
    assert_eq!(look(&sensors, 24, 1).payoff, 20.0);
    assert_eq!(look(&sensors, 25, 1).payoff, 0.0);
}
