//! Studies of 1 to 11 subjects with many ties: every figure that is given is a number.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_stats::mixed::random_intercept::random_intercept;
use whereworn_stats::survival::gray::gray_test;
use whereworn_stats::survival::incidence::cumulative_incidence;
use whereworn_stats::survival::kaplan_meier::{IntervalScale, KaplanMeier};
use whereworn_stats::survival::logrank::{Subjects, log_rank};

struct Study {
    times: Vec<f64>,
    causes: Vec<Option<usize>>,
    groups: Vec<usize>,
    strata: Vec<usize>,
}

fn study(generator: &mut ChaCha8Rng) -> Study {
    let size = generator.random_range(1..12);
    let mut below = |limit: usize| -> Vec<usize> {
        (0..size)
            .map(|_| generator.random_range(0..limit))
            .collect()
    };
    Study {
        times: below(5).iter().map(|&time| time as f64).collect(),
        causes: below(3).iter().map(|cause| cause.checked_sub(1)).collect(),
        groups: below(3),
        strata: below(2),
    }
}

fn for_each_study(check: impl Fn(&Study)) {
    let mut generator = ChaCha8Rng::seed_from_u64(1);
    (0..5_000).for_each(|_| check(&study(&mut generator)));
}

#[test]
fn tests_between_groups() {
    for_each_study(|study| {
        let events: Vec<bool> = study.causes.iter().map(|cause| *cause == Some(0)).collect();
        let subjects = Subjects {
            times: &study.times,
            events: &events,
            groups: &study.groups,
            strata: &study.strata,
        };
        if let Some(test) = log_rank(subjects) {
            assert!(test.chi_square.is_finite() && (0.0..=1.0).contains(&test.p) && test.df < 3);
            let (observed, expected): (f64, f64) =
                (test.observed.iter().sum(), test.expected.iter().sum());
            assert!(
                (observed - expected).abs() < 1e-9,
                "as many expected as observed"
            );
        }
        if let Some(test) = gray_test(&study.times, &study.causes, &study.groups, 0) {
            assert!(test.chi_square.is_finite() && (0.0..=1.0).contains(&test.p) && test.df < 3);
        }
    });
}

#[test]
fn curves() {
    for_each_study(|study| {
        let anything: Vec<bool> = study.causes.iter().map(Option::is_some).collect();
        let curve = KaplanMeier::fit(&study.times, &anything, IntervalScale::LogLog);
        let mean = curve.restricted_mean(3.5).unwrap();
        assert!((0.0..=3.5).contains(&mean.mean) && mean.std_error.is_finite());
        let incidences = cumulative_incidence(&study.times, &study.causes, 2);
        for ((point, one), other) in curve.points.iter().zip(&incidences[0]).zip(&incidences[1]) {
            assert!(one.std_error.is_finite() && other.std_error.is_finite());
            let all = one.incidence + other.incidence + point.estimate.survival;
            assert!((all - 1.0).abs() < 1e-9, "causes and survival add up to 1");
            if let Some(interval) = point.estimate.interval {
                assert!(interval.lower <= point.estimate.survival);
                assert!(interval.upper >= point.estimate.survival);
            }
        }
    });
}

#[test]
fn means_of_groups() {
    for_each_study(|study| {
        let values: Vec<f64> = study.times.iter().map(|time| 1e3 + 0.1 * time).collect();
        let fit = random_intercept(&values, &study.groups).unwrap();
        let smallest = values
            .iter()
            .fold(f64::INFINITY, |least, value| least.min(*value));
        assert!(fit.mean >= smallest - 1e-9 && fit.mean <= smallest + 0.4 + 1e-9);
        let figures = [fit.std_error, fit.df, fit.sd_between, fit.sd_within];
        assert!(
            figures
                .iter()
                .flatten()
                .all(|figure| figure.is_finite() && *figure >= 0.0)
        );
        assert_eq!(fit.interval.is_some(), fit.groups > 1);
        if let Some(df) = fit.df {
            assert!(df >= 1.0 && df <= fit.groups as f64 - 1.0);
        }
    });
}
