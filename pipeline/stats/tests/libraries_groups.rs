//! Invented values in groups (uneven, hardly any, one far larger) against general libraries (`lib_groups_*`): variance components by the
//! likelihood written out in numpy, 1e-5 relative as the search there allows; clustered errors of statsmodels
//! 0.15.0, 1e-9; F and slopes of scipy 1.17.1, 1e-9; its orthogonal distance regression, which stops early, 1e-4.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, close_relative, numbers, published, quantity};
use whereworn_stats::agreement::bland_altman::grouped_limits_of_agreement;
use whereworn_stats::agreement::method_comparison::{deming, least_squares};
use whereworn_stats::agreement::rank_regression::theil_sen;
use whereworn_stats::mixed::cluster_robust::{Correction, cluster_robust};
use whereworn_stats::mixed::model::{RandomTerms, Row, mixed_model};
use whereworn_stats::mixed::random_intercept::{Likelihood, components, random_intercept};

const SETS: [&str; 4] = ["uneven", "no_between", "few", "lopsided"];

struct Set {
    groups: Vec<usize>,
    x: Vec<f64>,
    y: Vec<f64>,
    expected: Rows,
}

fn set(name: &str) -> Set {
    let own = |file: &str| -> Rows {
        let rows = published(file).into_iter();
        rows.filter(|row| row["set"] == name).collect()
    };
    let data = own("lib_groups_data");
    Set {
        groups: data
            .iter()
            .map(|row| row["group"].parse().unwrap())
            .collect(),
        x: numbers(&data, "x"),
        y: numbers(&data, "y"),
        expected: own("lib_groups_expected"),
    }
}

#[test]
fn variance_components() {
    for name in SETS {
        let set = set(name);
        for (likelihood, kind) in [(Likelihood::Full, "ml"), (Likelihood::Restricted, "reml")] {
            let fit = components(&set.y, &set.groups, likelihood).unwrap();
            for (actual, what) in [
                (fit.mean, "mean"),
                (fit.std_error, "mean_se"),
                (fit.between, "between_var"),
                (fit.within, "within_var"),
                (fit.deviance, "deviance"),
            ] {
                let what = format!("{kind}_{what}");
                close_relative(
                    actual,
                    quantity(&set.expected, &what),
                    1e-5,
                    &format!("{name} {what}"),
                );
            }
        }
        // The two other routes to the same model.
        let of = |what: &str| quantity(&set.expected, &format!("reml_{what}"));
        let fit = random_intercept(&set.y, &set.groups).unwrap();
        close_relative(fit.mean, of("mean"), 1e-5, name);
        close_relative(fit.std_error.unwrap(), of("mean_se"), 1e-5, name);
        let row = |i: usize| Row::new(vec![1.0], set.y[i], set.groups[i], 0);
        let rows: Vec<Row> = (0..set.y.len()).map(row).collect();
        let model = mixed_model(&rows, RandomTerms::default()).unwrap();
        close_relative(model.criterion, of("deviance"), 1e-5, name);
        close(model.sd_inner().powi(2), of("between_var"), 1e-4, name);
    }
}

#[test]
fn clustered_errors() {
    for name in SETS {
        let set = set(name);
        let rows: Vec<Vec<f64>> = set.x.iter().map(|x| vec![1.0, *x]).collect();
        let fit = cluster_robust(&rows, &set.y).unwrap();
        let plain = least_squares(&set.x, &set.y).unwrap().std_errors;
        let cr0 = fit.std_errors(&set.groups, Correction::None);
        let cr1 = fit.std_errors(&set.groups, Correction::Counts);
        for (coefficient, plain) in [plain.intercept, plain.slope].into_iter().enumerate() {
            for (actual, what) in [
                (fit.coefficients[coefficient], "ols_coef"),
                (plain, "ols_se"),
                (cr0[coefficient], "cr0_se"),
                (cr1[coefficient], "cr1_se"),
            ] {
                let what = format!("{what}_{coefficient}");
                close(
                    actual,
                    quantity(&set.expected, &what),
                    1e-9,
                    &format!("{name} {what}"),
                );
            }
        }
    }
}

#[test]
fn analysis_of_variance_and_lines() {
    for name in SETS {
        let set = set(name);
        let of = |what: &str| quantity(&set.expected, what);
        let analysis = grouped_limits_of_agreement(&set.y, &set.groups).unwrap();
        let f = analysis.mean_square_between / analysis.mean_square_within;
        close(f, of("anova_f"), 1e-9, name);
        let sen = theil_sen(&set.x, &set.y, 0.95).unwrap();
        close(sen.line.slope, of("theil_sen_slope"), 1e-9, name);
        let slope = sen.slope.unwrap();
        close(slope.lower, of("theil_sen_low"), 1e-9, name);
        close(slope.upper, of("theil_sen_high"), 1e-9, name);
        let line = deming(&set.x, &set.y, 4.0).unwrap();
        close_relative(line.slope, of("deming_ratio4_slope"), 1e-4, name);
        close_relative(line.intercept, of("deming_ratio4_intercept"), 1e-4, name);
    }
}
