//! Exact intervals of counts (Garwood 1936; R poisson.test, epitools, statsmodels), tolerance 1e-9; of rate ratios 1e-7.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_or_missing, maybe, number, published};
use whereworn_stats::rates::poisson::{
    byar_interval, equal_rates_p, exact_poisson_interval, poisson_rate, rate_ratio, wald_rate_ratio,
};

#[test]
fn intervals_of_counts() {
    for row in published("rate_poisson_exact_expected") {
        let count = number(&row, "count") as u64;
        let interval = exact_poisson_interval(count, number(&row, "level"));
        close(
            interval.lower,
            number(&row, "lower_exact"),
            1e-9,
            &format!("lower of {count}"),
        );
        close(
            interval.upper,
            number(&row, "upper_exact"),
            1e-9,
            &format!("upper of {count}"),
        );
        let byar = byar_interval(count, number(&row, "level"));
        for (actual, column) in [
            (Some(interval.lower), "lower_chisq"),
            (Some(interval.upper), "upper_chisq"),
            (byar.map(|byar| byar.lower), "lower_byar"),
            (byar.map(|byar| byar.upper), "upper_byar"),
        ] {
            close_or_missing(
                actual,
                maybe(&row, column),
                1e-9,
                &format!("{column} of {count}"),
            );
        }
        let one_sided = exact_poisson_interval(count, 0.90).upper;
        close(
            one_sided,
            number(&row, "one_sided_upper_95"),
            1e-9,
            &format!("one-sided upper of {count}"),
        );
    }
}

#[test]
fn a_rate_is_a_count_over_its_exposure() {
    let rate = poisson_rate(3, 1.5).unwrap();
    let count = exact_poisson_interval(3, 0.95);
    assert_eq!(rate.rate, 2.0);
    assert_eq!(
        (rate.interval.lower, rate.interval.upper),
        (count.lower / 1.5, count.upper / 1.5)
    );
    assert_eq!(poisson_rate(3, 0.0), None);
}

#[test]
fn ratios_of_rates() {
    for row in published("rate_ratio_expected") {
        let count = |column: &str| number(&row, column) as u64;
        let ratio = rate_ratio(
            count("events1"),
            number(&row, "time1"),
            count("events2"),
            number(&row, "time2"),
        )
        .unwrap();
        close(
            ratio.ratio.unwrap(),
            number(&row, "rate_ratio"),
            1e-7,
            "ratio",
        );
        close(
            ratio.lower,
            number(&row, "exact_conditional_lower"),
            1e-7,
            "lower",
        );
        close(
            ratio.upper.unwrap(),
            number(&row, "exact_conditional_upper"),
            1e-7,
            "upper",
        );
        let counts = (count("events1"), count("events2"));
        let times = (number(&row, "time1"), number(&row, "time2"));
        let wald = wald_rate_ratio(counts.0, times.0, counts.1, times.1).unwrap();
        close(wald.lower, number(&row, "wald_log_lower"), 1e-7, "Wald");
        close(wald.upper, number(&row, "wald_log_upper"), 1e-7, "Wald");
        let p = equal_rates_p(counts.0, times.0, counts.1, times.1).unwrap();
        close(p, number(&row, "exact_p_two_sided"), 1e-7, "p");
    }
}

#[test]
fn ratios_with_an_empty_side() {
    assert_eq!(rate_ratio(0, 10.0, 0, 10.0), None);
    assert_eq!(wald_rate_ratio(0, 10.0, 3, 10.0), None);
    assert_eq!(equal_rates_p(0, 10.0, 0, 10.0), None);
    assert_eq!(equal_rates_p(2, 10.0, 2, 10.0), Some(1.0));
    let none_second = rate_ratio(4, 10.0, 0, 10.0).unwrap();
    assert_eq!((none_second.ratio, none_second.upper), (None, None));
    let none_first = rate_ratio(0, 10.0, 4, 10.0).unwrap();
    assert_eq!((none_first.ratio, none_first.lower), (Some(0.0), 0.0));
    // Swapping the two turns the limits into their inverses.
    close(
        none_first.upper.unwrap(),
        1.0 / none_second.lower,
        1e-9,
        "inverse",
    );
}

/// Printed tables: 0 and 10 events (Garwood 1936), 1 and 5 (Ulm 1990 Am J Epidemiol 131:373); and the rate ratio of the
/// fluoroscopy cohort (Rothman, Epidemiology: An Introduction).
#[test]
fn printed_limits() {
    for (count, lower, upper, tolerance) in [
        (0, 0.0, 3.689, 0.005),
        (10, 4.80, 18.39, 0.005),
        (1, 0.0253, 5.572, 0.0005),
        (5, 1.623, 11.668, 0.0005),
    ] {
        let interval = exact_poisson_interval(count, 0.95);
        close(interval.lower, lower, tolerance, "lower");
        close(interval.upper, upper, tolerance, "upper");
    }
    let ratio = rate_ratio(41, 28010.0, 15, 19017.0).unwrap();
    close(ratio.ratio.unwrap(), 1.86, 0.005, "ratio");
    let wald = wald_rate_ratio(41, 28010.0, 15, 19017.0).unwrap();
    close(wald.lower, 1.03, 0.005, "lower");
    close(wald.upper, 3.35, 0.005, "upper");
}
