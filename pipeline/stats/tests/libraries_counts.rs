//! Shares, counts, ratios of rates, adjusted p values and Welch's test of small samples against statsmodels 0.15.0 and scipy
//! 1.17.1 (`lib_counts_expected`): 1e-9, ratios 1e-7 relative, adjusted p 1e-12.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, number, published};
use whereworn_stats::distributions::t_two_sided;
use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::sites::{SensorMean, compare_sites};
use whereworn_stats::multiplicity::{benjamini_hochberg, bonferroni, hochberg, holm};
use whereworn_stats::rates::poisson::{equal_rates_p, exact_poisson_interval, rate_ratio};
use whereworn_stats::rates::proportion::{clopper_pearson, wilson, wilson_corrected};

/// The quantity, the numbers of its key, its value.
fn lines(set: &str) -> Vec<(String, Vec<f64>, f64)> {
    let rows = published("lib_counts_expected").into_iter();
    rows.filter(|row| row["set"] == set)
        .map(|row| {
            let key = row["key"].split('/').map(|n| n.parse().unwrap()).collect();
            (row["quantity"].clone(), key, number(&row, "value"))
        })
        .collect()
}

fn end(interval: Interval, quantity: &str) -> f64 {
    if quantity.ends_with("lower") {
        interval.lower
    } else {
        interval.upper
    }
}

#[test]
fn shares() {
    for (quantity, key, expected) in lines("share") {
        let (hits, total) = (key[0] as u64, key[1] as u64);
        let method = match quantity.rsplit_once('_').unwrap().0 {
            "clopper" => clopper_pearson,
            "wilson" => wilson,
            "wilson_cc" => wilson_corrected,
            other => panic!("{other}"),
        };
        let interval = method(hits, total, key[2]).unwrap();
        close(
            end(interval, &quantity),
            expected,
            1e-9,
            &format!("{quantity} {key:?}"),
        );
    }
}

#[test]
fn counts() {
    for (quantity, key, expected) in lines("count") {
        let interval = exact_poisson_interval(key[0] as u64, key[2]);
        close(
            end(interval, &quantity),
            expected,
            1e-9,
            &format!("{quantity} {key:?}"),
        );
    }
}

#[test]
fn ratios() {
    for (quantity, key, expected) in lines("ratio") {
        let (a, b) = (key[0] as u64, key[2] as u64);
        let ratio = rate_ratio(a, key[1], b, key[3]).unwrap();
        let actual = match quantity.as_str() {
            "exact_p" => equal_rates_p(a, key[1], b, key[3]).unwrap(),
            "exact_lower" => ratio.lower,
            "exact_upper" => ratio.upper.unwrap(),
            other => panic!("{other}"),
        };
        close_relative(actual, expected, 1e-7, &format!("{quantity} {key:?}"));
    }
}

#[test]
fn adjusted_p() {
    let lines = lines("p");
    let p: Vec<f64> = lines[..10].iter().map(|(_, key, _)| key[1]).collect();
    for (quantity, key, expected) in &lines {
        let adjusted = match quantity.as_str() {
            "holm" => holm(&p),
            "hochberg" => hochberg(&p),
            "benjamini_hochberg" => benjamini_hochberg(&p),
            "bonferroni" => bonferroni(&p),
            other => panic!("{other}"),
        };
        close(adjusted[key[0] as usize], *expected, 1e-12, quantity);
    }
}

/// Sensors of twenty pairs each, 4 of one site and 7 of another, by one wearer: the difference of sites has the t of Welch's
/// test and, since either variance may be twice its estimate, no more degrees of freedom.
#[test]
fn sites_of_unlike_scatter() {
    let rows = published("lib_counts_expected");
    let rows: Vec<_> = rows.iter().filter(|row| row["set"] == "welch").collect();
    let samples: Vec<Vec<f64>> = rows[0]["key"]
        .split('|')
        .map(|sample| sample.split(' ').map(|n| n.parse().unwrap()).collect())
        .collect();
    let sensors: Vec<SensorMean> = samples
        .iter()
        .enumerate()
        .flat_map(|(site, sample)| {
            sample.iter().map(move |&mean| SensorMean {
                count: 20.0,
                mean,
                squares: 0.0,
                site,
                wearer: 0,
                covariates: Vec::new(),
            })
        })
        .collect();
    let fit = compare_sites(&sensors).unwrap();
    let difference = fit.difference(0, 1).unwrap();
    let welch = |quantity: &str| {
        let row = rows.iter().find(|row| row["quantity"] == quantity);
        number(row.unwrap(), "value")
    };
    let t = difference.estimate / difference.std_error;
    close(t, welch("t"), 1e-9, "t");
    let variance = |sample: &[f64]| {
        let n = sample.len() as f64;
        let mean = sample.iter().sum::<f64>() / n;
        let squares: f64 = sample.iter().map(|value| (value - mean).powi(2)).sum();
        (squares / (n - 1.0) / n, n - 1.0)
    };
    let [first, second] = [variance(&samples[0]), variance(&samples[1])];
    let df = |a: f64, b: f64| (a + b).powi(2) / (a * a / first.1 + b * b / second.1);
    close(
        df(first.0, second.0),
        welch("df"),
        1e-9,
        "Welch's degrees of freedom",
    );
    let doubled = df(2.0 * first.0, second.0).min(df(first.0, 2.0 * second.0));
    close(
        difference.df,
        doubled.min(welch("df")),
        1e-9,
        "degrees of freedom",
    );
    assert!(difference.p >= welch("p") && difference.interval.lower <= welch("lower"));
    assert!(difference.interval.upper >= welch("upper"));
    close(t_two_sided(t, welch("df")), welch("p"), 1e-9, "p");
}
