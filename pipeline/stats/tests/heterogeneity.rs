//! The test of equal rates between groups, by hand and by simulation under no difference.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_stats::rates::heterogeneity::{ExposedUnit, rate_test};

fn unit(group: usize, stratum: usize, events: f64, exposure: f64) -> ExposedUnit {
    ExposedUnit {
        group,
        stratum,
        events,
        exposure,
    }
}

/// One wearer, rate 6 / 30 per night. Site 0: 5 in 20 nights against 4 expected, site 1: 1 in 10 against 2:
/// 1/4 + 1/2. Of the three places for the sensor of site 1, it is that of 1 event (observed), of 2 in 10 (0 + 0) or
/// of 3 in 10 (1/4 + 1/2, as extreme).
#[test]
fn one_wearer_by_hand() {
    let units = [
        unit(0, 0, 2.0, 10.0),
        unit(0, 0, 3.0, 10.0),
        unit(1, 0, 1.0, 10.0),
    ];
    let test = rate_test(&units, 1).unwrap();
    assert!((test.statistic - 0.75).abs() < 1e-12);
    let permutation = test.permutation.unwrap();
    assert_eq!((permutation.draws, permutation.as_extreme), (3, 2));
}

/// Two wearers with rates 1 and 0.1: expectations are each wearer's own, so sites worn by both alike do not differ.
#[test]
fn wearers_may_differ() {
    let units = [
        unit(0, 0, 10.0, 10.0),
        unit(1, 0, 20.0, 20.0),
        unit(0, 1, 3.0, 30.0),
        unit(1, 1, 1.0, 10.0),
    ];
    let test = rate_test(&units, 1).unwrap();
    assert!(test.statistic.abs() < 1e-12, "{test:?}");
    assert_eq!(test.permutation.unwrap().p, 1.0);
}

#[test]
fn nothing_to_compare() {
    assert_eq!(rate_test(&[], 1), None);
    assert_eq!(
        rate_test(&[unit(0, 0, 1.0, 5.0), unit(0, 1, 0.0, 5.0)], 1),
        None
    );
    let apart = rate_test(&[unit(0, 0, 1.0, 5.0), unit(1, 1, 0.0, 5.0)], 1).unwrap();
    assert_eq!(apart.permutation, None);
    let quiet = rate_test(&[unit(0, 0, 0.0, 5.0), unit(1, 0, 0.0, 5.0)], 1).unwrap();
    assert_eq!((quiet.statistic, quiet.permutation.unwrap().p), (0.0, 1.0));
    let unexposed = [unit(0, 0, 1.0, 5.0), unit(1, 0, 0.0, 0.0)];
    assert_eq!(rate_test(&unexposed, 1), None);
}

/// Where sites do not differ, p is below 0.05 in about one study in twenty, although events cluster in sensors.
#[test]
fn honest_under_no_difference() {
    let mut generator = ChaCha8Rng::seed_from_u64(11);
    let studies = 400;
    let mut small = 0;
    for study in 0..studies {
        let units: Vec<ExposedUnit> = (0..18)
            .map(|index| {
                let clustered = if generator.random::<f64>() < 0.3 {
                    5.0
                } else {
                    0.5
                };
                let events = (clustered * generator.random::<f64>() * 2.0).round();
                unit(index % 3, index / 9, events, 14.0)
            })
            .collect();
        small += usize::from(rate_test(&units, study).unwrap().permutation.unwrap().p < 0.05);
    }
    // Expected 20, standard deviation 4.4.
    assert!((7..=34).contains(&small), "{small} of {studies}");
}
