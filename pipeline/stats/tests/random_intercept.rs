//! The random-intercept mean by REML against lme4 and nlme: dyestuff yields, balanced and not, and with a between-batch
//! variance of 0 (Davies and Goldsmith 1972; Box and Tiao 1973), 1e-5 relative; cardiac output differences (Bland
//! and Altman 1999), 1e-6; reaction times of 18 subjects.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, close_relative, codes, numbers, published, quantity};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_stats::distributions::t_quantile;
use whereworn_stats::mixed::random_intercept::{
    Likelihood, RandomIntercept, components, random_intercept,
};

fn fit(rows: &Rows, value: &str, group: &str) -> RandomIntercept {
    random_intercept(&numbers(rows, value), &codes(rows, group)).unwrap()
}

fn check_variances(fit: &RandomIntercept, expected: &Rows, prefix: &str) {
    for (actual, name) in [
        (fit.mean, "reml_mean"),
        (fit.std_error.unwrap(), "reml_mean_se"),
        (fit.sd_between.unwrap().powi(2), "reml_between_var"),
        (fit.sd_within.unwrap().powi(2), "reml_within_var"),
    ] {
        let name = format!("{prefix}{name}");
        close_relative(actual, quantity(expected, &name), 1e-5, &name);
    }
}

#[test]
fn dyestuff_balanced() {
    let fit = fit(&published("vc_dyestuff_data"), "yield", "batch");
    let expected = published("vc_dyestuff_expected");
    check_variances(&fit, &expected, "");
    // Balanced: REML is the analysis of variance, so its closed form holds to the last digits.
    close_relative(
        fit.sd_between.unwrap().powi(2),
        quantity(&expected, "anova_between_var"),
        1e-10,
        "between",
    );
    close_relative(
        fit.sd_within.unwrap().powi(2),
        quantity(&expected, "anova_msw"),
        1e-10,
        "within",
    );
    assert_eq!((fit.groups, fit.count, fit.df), (6, 30, Some(5.0)));
    let half = t_quantile(0.975, 5.0) * fit.std_error.unwrap();
    close(fit.interval.unwrap().upper, fit.mean + half, 1e-9, "upper");
    let total = (fit.sd_between.unwrap().powi(2) + fit.sd_within.unwrap().powi(2)).sqrt();
    close(
        fit.limits.unwrap().lower,
        fit.mean - 1.96 * total,
        1e-9,
        "limit",
    );
}

#[test]
fn dyestuff_unbalanced() {
    let expected = published("vc_dyestuff_expected");
    let dropped = &expected
        .iter()
        .find(|row| row["quantity"] == "unbalanced_rows_dropped")
        .unwrap()["value"];
    let dropped: Vec<&str> = dropped.split(' ').collect();
    let rows: Rows = published("vc_dyestuff_data")
        .into_iter()
        .filter(|row| !dropped.contains(&row["row"].as_str()))
        .collect();
    assert_eq!(rows.len() as f64, quantity(&expected, "unbalanced_n_obs"));
    let fit = fit(&rows, "yield", "batch");
    check_variances(&fit, &expected, "unbalanced_");
}

/// Both likelihoods on all three sets, with deviance and intraclass correlation, against lme4 and nlme.
#[test]
fn both_likelihoods() {
    let first = published("vc_dyestuff_expected");
    let dropped = &first
        .iter()
        .find(|row| row["quantity"] == "unbalanced_rows_dropped")
        .unwrap()["value"];
    let dropped: Vec<&str> = dropped.split(' ').collect();
    let all = published("vc_dyestuff_data");
    let (uneven, second): (Rows, Rows) = (
        all.iter()
            .filter(|row| !dropped.contains(&row["row"].as_str()))
            .cloned()
            .collect(),
        published("vc_dyestuff2_data"),
    );
    let other = published("vc_dyestuff2_expected");
    for (rows, expected, set) in [
        (&all, &first, ""),
        (&uneven, &first, "unbalanced_"),
        (&second, &other, ""),
    ] {
        let (values, groups) = (numbers(rows, "yield"), codes(rows, "batch"));
        let count = |name: &str| quantity(expected, &format!("{set}{name}"));
        assert_eq!(
            (values.len() as f64, 6.0),
            (count("n_obs"), count("n_groups"))
        );
        for (likelihood, kind) in [(Likelihood::Full, "ml"), (Likelihood::Restricted, "reml")] {
            let fit = components(&values, &groups, likelihood).unwrap();
            for (actual, name) in [
                (fit.mean, "mean"),
                (fit.std_error, "mean_se"),
                (fit.between, "between_var"),
                (fit.within, "within_var"),
                (fit.deviance, "minus2loglik"),
                (fit.correlation, "icc"),
            ] {
                let name = format!("{set}{kind}_{name}");
                close_relative(actual, quantity(expected, &name), 1e-5, &name);
            }
            for (actual, name) in [(fit.between, "between"), (fit.within, "within")] {
                let name = format!("{set}{kind}_{name}_var_nlme");
                if expected.iter().any(|row| row["quantity"] == name) {
                    close_relative(actual, quantity(expected, &name), 1e-5, &name);
                }
            }
        }
    }
    assert_eq!(components(&[1.0, 2.0], &[0, 1], Likelihood::Full), None);
}

#[test]
fn dyestuff_without_variance_between() {
    let fit = fit(&published("vc_dyestuff2_data"), "yield", "batch");
    let expected = published("vc_dyestuff2_expected");
    assert_eq!(fit.sd_between, Some(0.0));
    assert_eq!(quantity(&expected, "reml_between_var"), 0.0);
    close_relative(fit.mean, quantity(&expected, "reml_mean"), 1e-5, "mean");
    close_relative(
        fit.std_error.unwrap(),
        quantity(&expected, "reml_mean_se"),
        1e-5,
        "standard error",
    );
    close_relative(
        fit.sd_within.unwrap().powi(2),
        quantity(&expected, "reml_within_var"),
        1e-5,
        "within",
    );
    assert_eq!(fit.df, Some(5.0));
}

#[test]
fn cardiac_output() {
    let data = published("ba_cardiac_data");
    let expected = published("ba_cardiac_expected");
    let differences: Vec<f64> = numbers(&data, "rv")
        .iter()
        .zip(numbers(&data, "ic"))
        .map(|(rv, ic)| rv - ic)
        .collect();
    let fit = random_intercept(&differences, &codes(&data, "subject")).unwrap();
    let (between, within) = (
        fit.sd_between.unwrap().powi(2),
        fit.sd_within.unwrap().powi(2),
    );
    for (actual, name) in [
        (fit.mean, "reml_mean"),
        (fit.std_error.unwrap(), "reml_mean_se"),
        (between, "reml_between_var"),
        (within, "reml_within_var"),
        ((between + within).sqrt(), "reml_total_sd"),
    ] {
        close(actual, quantity(&expected, name), 1e-6, name);
    }
    close(
        (fit.limits.unwrap().upper - fit.mean) / 1.96,
        quantity(&expected, "reml_total_sd"),
        1e-6,
        "limits",
    );
}

/// Balanced, so the standard error is the standard deviation of the subjects' means over √18 (R sandwich, CR1).
#[test]
fn reaction_times_overall_mean() {
    let fit = fit(&published("mm_sleepstudy_data"), "reaction", "subject");
    let expected = published("cl_sleepstudy_mean_expected");
    close(fit.mean, quantity(&expected, "mean"), 1e-9, "mean");
    close(
        fit.std_error.unwrap(),
        quantity(&expected, "sd_of_subject_means_over_sqrt_k"),
        1e-9,
        "standard error",
    );
    close(
        fit.std_error.unwrap(),
        quantity(&expected, "cluster_se_cr1"),
        1e-9,
        "CR1",
    );
}

/// With the published slope over days taken off, the intercept is lme4's. Its variances are fitted beside the slope, with
/// one degree of freedom less within; between² + within² / 10 is the same either way.
#[test]
fn reaction_times_random_intercept() {
    let data = published("mm_sleepstudy_data");
    let expected = published("mm_sleepstudy_expected");
    let slope = quantity(&expected, "ri_days");
    let level: Vec<f64> = numbers(&data, "reaction")
        .iter()
        .zip(numbers(&data, "days"))
        .map(|(reaction, days)| reaction - slope * days)
        .collect();
    let fit = random_intercept(&level, &codes(&data, "subject")).unwrap();
    let (between, within) = (
        fit.sd_between.unwrap().powi(2),
        fit.sd_within.unwrap().powi(2),
    );
    close_relative(
        fit.mean,
        quantity(&expected, "ri_intercept"),
        1e-5,
        "intercept",
    );
    let residual = quantity(&expected, "ri_sd_residual");
    close_relative((within * 162.0 / 161.0).sqrt(), residual, 1e-5, "residual");
    let expected_sum = quantity(&expected, "ri_sd_subject").powi(2) + residual * residual / 10.0;
    close_relative(between + within / 10.0, expected_sum, 1e-5, "sum");
}

#[test]
fn one_sensor() {
    let fit = random_intercept(&[1.0, 2.0, 6.0], &[4, 4, 4]).unwrap();
    assert_eq!((fit.mean, fit.groups, fit.count), (3.0, 1, 3));
    close(fit.sd_within.unwrap(), 7.0_f64.sqrt(), 1e-12, "sd");
    assert_eq!((fit.std_error, fit.df, fit.interval), (None, None, None));
    assert_eq!((fit.sd_between, fit.limits), (None, None));
    assert_eq!(random_intercept(&[5.0], &[0]).unwrap().sd_within, None);
    assert_eq!(random_intercept(&[], &[]), None);
}

/// By hand: mean 3, standard deviation √7, standard error √(7/3).
#[test]
fn one_pair_per_sensor() {
    let fit = random_intercept(&[1.0, 2.0, 6.0], &[0, 1, 2]).unwrap();
    close(fit.mean, 3.0, 1e-12, "mean");
    close(
        fit.std_error.unwrap(),
        (7.0_f64 / 3.0).sqrt(),
        1e-12,
        "standard error",
    );
    close(
        fit.limits.unwrap().upper,
        3.0 + 1.96 * 7.0_f64.sqrt(),
        1e-12,
        "limits",
    );
    assert_eq!(
        (fit.df, fit.sd_between, fit.sd_within),
        (Some(2.0), None, None)
    );
}

#[test]
fn no_spread_gives_no_nan() {
    let equal = random_intercept(&[0.1; 7], &[0, 0, 0, 1, 1, 2, 2]).unwrap();
    assert_eq!(
        (equal.mean, equal.std_error, equal.df),
        (0.1, Some(0.0), Some(2.0))
    );
    assert_eq!((equal.sd_between, equal.sd_within), (Some(0.0), Some(0.0)));
    let within = random_intercept(&[0.1, 0.1, 0.1, 0.3, 0.3], &[0, 0, 0, 1, 1]).unwrap();
    close(within.mean, 0.2, 1e-12, "mean");
    close(within.std_error.unwrap(), 0.1, 1e-12, "standard error");
    assert_eq!((within.sd_within, within.df), (Some(0.0), Some(1.0)));
    let single = random_intercept(&[2.0, 2.0], &[0, 1]).unwrap();
    assert_eq!((single.mean, single.std_error), (2.0, Some(0.0)));
}

fn uneven() -> (Vec<f64>, Vec<usize>) {
    let sizes = [9, 2, 5, 14, 3, 7];
    let groups: Vec<usize> = sizes
        .iter()
        .enumerate()
        .flat_map(|(group, &size)| vec![group; size])
        .collect();
    let values = groups
        .iter()
        .enumerate()
        .map(|(index, &group)| {
            (group * group % 5) as f64 * 3.0 + ((index * 7919) % 23) as f64 / 5.0
        })
        .collect();
    (values, groups)
}

#[test]
fn shifting_and_scaling() {
    let (values, groups) = uneven();
    let plain = random_intercept(&values, &groups).unwrap();
    let moved: Vec<f64> = values.iter().map(|value| 100.0 - 18.0 * value).collect();
    let moved = random_intercept(&moved, &groups).unwrap();
    close(moved.mean, 100.0 - 18.0 * plain.mean, 1e-8, "mean");
    close_relative(
        moved.std_error.unwrap(),
        18.0 * plain.std_error.unwrap(),
        1e-8,
        "standard error",
    );
    close_relative(moved.df.unwrap(), plain.df.unwrap(), 1e-8, "df");
    close_relative(
        moved.sd_between.unwrap(),
        18.0 * plain.sd_between.unwrap(),
        1e-8,
        "between",
    );
}

/// The estimates lie where the REML likelihood, written out for the whole covariance matrix, is largest, and the degrees
/// of freedom are those of a numerical Hessian of it, held to 1 to k - 1.
#[test]
fn against_the_likelihood_written_out() {
    let mut generator = ChaCha8Rng::seed_from_u64(5);
    let mut unheld = 0;
    for case in 0..60 {
        let (values, groups) = random_groups(&mut generator);
        let fit = random_intercept(&values, &groups).unwrap();
        let (between, within) = (
            fit.sd_between.unwrap().powi(2),
            fit.sd_within.unwrap().powi(2),
        );
        let most = fit.groups as f64 - 1.0;
        if between < 0.01 * within {
            // Too close to the boundary for central differences.
            continue;
        }
        let here = reml(&values, &groups, between, within).0;
        for (b, w) in [(1.001, 1.0), (0.999, 1.0), (1.0, 1.001), (1.0, 0.999)] {
            assert!(
                reml(&values, &groups, b * between, w * within).0 > here,
                "case {case}: {b} {w}"
            );
        }
        let numerical = numerical_df(&values, &groups, between, within);
        close_relative(
            fit.df.unwrap(),
            numerical.clamp(1.0, most),
            1e-3,
            &format!("df of case {case}"),
        );
        unheld += usize::from(numerical > 1.0 && numerical < most);
    }
    assert!(unheld > 5, "only {unheld} cases inside the limits");
}

/// 4 to 8 groups of 1 to 20 values, between-group spread 0.2 to 2 times that within.
fn random_groups(generator: &mut ChaCha8Rng) -> (Vec<f64>, Vec<usize>) {
    let spread = 10_f64.powf(generator.random::<f64>() - 0.7);
    let (mut values, mut groups) = (Vec::new(), Vec::new());
    for group in 0..generator.random_range(4..=8) {
        let level = spread * (generator.random::<f64>() - 0.5);
        for _ in 0..generator.random_range(1..=20) {
            values.push(level + generator.random::<f64>());
            groups.push(group);
        }
    }
    (values, groups)
}

/// 2 V² / (g' A g) with the gradient g and A = 2 H⁻¹ from central differences of a thousandth.
fn numerical_df(values: &[f64], groups: &[usize], between: f64, within: f64) -> f64 {
    let deviance = |b: f64, w: f64| reml(values, groups, between * (1.0 + b), within * (1.0 + w)).0;
    let variance = |b: f64, w: f64| reml(values, groups, between * (1.0 + b), within * (1.0 + w)).1;
    let h = 1e-3;
    let second =
        |b: f64, w: f64| (deviance(b, w) + deviance(-b, -w) - 2.0 * deviance(0.0, 0.0)) / (h * h);
    let (bb, ww) = (second(h, 0.0), second(0.0, h));
    let bw = (second(h, h) - second(h, -h)) / 4.0;
    let gb = (variance(h, 0.0) - variance(-h, 0.0)) / (2.0 * h);
    let gw = (variance(0.0, h) - variance(0.0, -h)) / (2.0 * h);
    let spread = 2.0 * (gb * gb * ww - 2.0 * gb * gw * bw + gw * gw * bb) / (bb * ww - bw * bw);
    2.0 * variance(0.0, 0.0).powi(2) / spread
}

/// REML deviance less a constant and the variance of the mean, group by group from the inverse of w I + b J.
fn reml(values: &[f64], groups: &[usize], b: f64, w: f64) -> (f64, f64) {
    let count = groups.iter().max().unwrap() + 1;
    let members = |group: usize| {
        values
            .iter()
            .zip(groups)
            .filter(move |(_, g)| **g == group)
            .map(|(v, _)| *v)
    };
    let (mut log_det, mut information, mut score) = (0.0, 0.0, 0.0);
    for group in 0..count {
        let n = members(group).count() as f64;
        log_det += (n - 1.0) * w.ln() + (w + n * b).ln();
        information += n / (w + n * b);
        score += members(group).sum::<f64>() / (w + n * b);
    }
    let mean = score / information;
    let form: f64 = (0..count)
        .map(|group| {
            let n = members(group).count() as f64;
            let sum: f64 = members(group).map(|v| v - mean).sum();
            let squares: f64 = members(group).map(|v| (v - mean).powi(2)).sum();
            squares / w - b / (w * (w + n * b)) * sum * sum
        })
        .sum();
    (log_det + information.ln() + form, 1.0 / information)
}
