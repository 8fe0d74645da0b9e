//! Kaplan-Meier against R survival and lifelines, all rows of the `km_*` curves, quantiles and restricted means
//! (Freireich et al. 1963 Blood 21:699; Miller 1981; edge cases that can be checked by hand), tolerance 1e-9.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, close_or_missing, maybe, number, numbers, published};
use whereworn_stats::survival::kaplan_meier::{IntervalScale, KaplanMeier};

/// A data set, the column that splits it, and its column in the expected files.
const SETS: [(&str, &str, &str); 3] = [
    ("km_freireich", "arm", "group"),
    ("km_aml", "arm", "group"),
    ("km_edge", "case", "case"),
];

fn fit(data: &Rows, column: &str, name: &str, scale: IntervalScale) -> KaplanMeier {
    let rows: Rows = data
        .iter()
        .filter(|row| row[column] == name)
        .cloned()
        .collect();
    assert!(!rows.is_empty(), "no {name}");
    let events: Vec<bool> = rows.iter().map(|row| row["event"] == "1").collect();
    KaplanMeier::fit(&numbers(&rows, "time"), &events, scale)
}

#[test]
fn curves() {
    for (set, data_column, column) in SETS {
        let data = published(&format!("{set}_data"));
        for row in published(&format!("{set}_expected_curve")) {
            let what = format!("{set} {row:?}");
            for (scale, suffix) in [
                (IntervalScale::LogLog, "loglog"),
                (IntervalScale::Log, "log"),
                (IntervalScale::Plain, "plain"),
                (IntervalScale::Logit, "logit"),
                (IntervalScale::Arcsine, "arcsin"),
            ] {
                if !row.contains_key(&format!("lower_{suffix}")) {
                    assert!(set == "km_edge" && scale != IntervalScale::LogLog, "{what}");
                    continue;
                }
                let curve = fit(&data, data_column, &row[column], scale);
                let time = number(&row, "time");
                let point = curve
                    .points
                    .iter()
                    .find(|point| point.time == time)
                    .expect(&what);
                assert_eq!(point.at_risk as f64, number(&row, "n_risk"), "{what}");
                assert_eq!(point.events as f64, number(&row, "n_event"), "{what}");
                assert_eq!(point.censored as f64, number(&row, "n_censor"), "{what}");
                let estimate = curve.at(time).unwrap();
                assert_eq!(estimate, point.estimate);
                close(estimate.survival, number(&row, "surv"), 1e-9, &what);
                close_or_missing(
                    estimate.std_error,
                    maybe(&row, "std_err_greenwood"),
                    1e-9,
                    &what,
                );
                if set != "km_edge" {
                    close(point.hazard, number(&row, "cumhaz_na"), 1e-9, &what);
                    close(point.hazard_error, number(&row, "std_cumhaz"), 1e-9, &what);
                }
                let (lower, upper) = (
                    maybe(&row, &format!("lower_{suffix}")),
                    maybe(&row, &format!("upper_{suffix}")),
                );
                close_or_missing(
                    estimate.interval.map(|interval| interval.lower),
                    lower,
                    1e-9,
                    &what,
                );
                close_or_missing(
                    estimate.interval.map(|interval| interval.upper),
                    upper,
                    1e-9,
                    &what,
                );
            }
        }
    }
}

/// Every point of a fitted curve has its row in the published file.
#[test]
fn no_point_more_than_published() {
    for (set, data_column, column) in SETS {
        let data = published(&format!("{set}_data"));
        let expected = published(&format!("{set}_expected_curve"));
        let mut names: Vec<&str> = expected.iter().map(|row| row[column].as_str()).collect();
        names.dedup();
        for name in names {
            let rows = expected.iter().filter(|row| row[column] == name).count();
            assert_eq!(
                fit(&data, data_column, name, IntervalScale::LogLog)
                    .points
                    .len(),
                rows,
                "{set} {name}"
            );
        }
    }
}

#[test]
fn quantiles() {
    for (set, data_column, column) in SETS {
        let data = published(&format!("{set}_data"));
        for row in published(&format!("{set}_expected_quantiles")) {
            let (scale, lower, upper) = match row.get("conf_type").map(String::as_str) {
                Some("plain") => (IntervalScale::Plain, "lower", "upper"),
                Some("log") => (IntervalScale::Log, "lower", "upper"),
                Some("log-log") => (IntervalScale::LogLog, "lower", "upper"),
                None => (IntervalScale::LogLog, "lower_loglog", "upper_loglog"),
                Some(other) => panic!("unknown interval {other}"),
            };
            let quantile =
                fit(&data, data_column, &row[column], scale).quantile(number(&row, "prob"));
            let what = format!("{set} {row:?}");
            close_or_missing(quantile.value, maybe(&row, "quantile"), 1e-12, &what);
            close_or_missing(quantile.lower, maybe(&row, lower), 1e-12, &what);
            close_or_missing(quantile.upper, maybe(&row, upper), 1e-12, &what);
        }
    }
}

#[test]
fn restricted_means() {
    for (set, data_column, column) in SETS {
        let data = published(&format!("{set}_data"));
        for row in published(&format!("{set}_expected_rmst")) {
            let curve = fit(&data, data_column, &row[column], IntervalScale::LogLog);
            let restricted = curve.restricted_mean(number(&row, "tau")).unwrap();
            let what = format!("{set} {row:?}");
            close(restricted.mean, number(&row, "rmst"), 1e-9, &what);
            close(restricted.std_error, number(&row, "se_rmst"), 1e-9, &what);
        }
    }
}

/// Hours instead of days stretch the curve and nothing else.
#[test]
fn the_unit_of_time_does_not_matter() {
    let times = [1.5, 3.0, 3.0, 7.25, 9.0, 14.0];
    let events = [true, false, true, true, false, true];
    let days = KaplanMeier::fit(&times, &events, IntervalScale::LogLog);
    let hours = KaplanMeier::fit(
        &times.map(|time| 24.0 * time),
        &events,
        IntervalScale::LogLog,
    );
    for (day, hour) in days.points.iter().zip(&hours.points) {
        assert_eq!(day.estimate, hour.estimate);
    }
    let (day, hour) = (
        days.restricted_mean(10.0).unwrap(),
        hours.restricted_mean(240.0).unwrap(),
    );
    close(24.0 * day.mean, hour.mean, 1e-9, "mean");
    close(24.0 * day.std_error, hour.std_error, 1e-9, "standard error");
    close(
        24.0 * days.median().value.unwrap(),
        hours.median().value.unwrap(),
        1e-9,
        "median",
    );
}

#[test]
fn the_order_of_subjects_does_not_matter() {
    let one = KaplanMeier::fit(
        &[4.0, 2.0, 2.0],
        &[false, true, false],
        IntervalScale::Plain,
    );
    let other = KaplanMeier::fit(
        &[2.0, 4.0, 2.0],
        &[false, false, true],
        IntervalScale::Plain,
    );
    assert_eq!(one, other);
}
