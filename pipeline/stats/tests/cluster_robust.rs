//! Cluster-robust standard errors: the test data of Petersen 2009 Rev Financ Stud 22:435 (R sandwich, statsmodels; 1e-7,
//! two-way 1e-4; printed figures 5e-7), and the mean of reaction times clustered by subject (1e-9).

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, codes, numbers, published, quantity};
use whereworn_stats::agreement::bland_altman::{grouped_limits_of_agreement, limits_of_agreement};
use whereworn_stats::agreement::method_comparison::least_squares;
use whereworn_stats::mixed::cluster_robust::{Correction, cluster_robust};

#[test]
fn firms_and_years() {
    let data = published("cl_petersen_data");
    let expected = published("cl_petersen_expected");
    let rows: Vec<Vec<f64>> = numbers(&data, "x").iter().map(|x| vec![1.0, *x]).collect();
    let (firms, years) = (codes(&data, "firm"), codes(&data, "year"));
    let fit = cluster_robust(&rows, &numbers(&data, "y")).unwrap();
    let each: Vec<usize> = (0..rows.len()).collect();
    let check = |errors: &[f64], name: &str, tolerance: f64| {
        for (error, which) in errors.iter().zip(["const", "x"]) {
            let name = format!("{name}_{which}");
            close(*error, quantity(&expected, &name), tolerance, &name);
        }
    };
    check(&fit.coefficients, "coef", 1e-7);
    let plain = least_squares(&numbers(&data, "x"), &numbers(&data, "y")).unwrap();
    check(
        &[plain.std_errors.intercept, plain.std_errors.slope],
        "ols_se",
        1e-7,
    );
    let by_firm = fit.std_errors(&firms, Correction::Counts);
    check(
        &fit.std_errors(&each, Correction::Counts),
        "white_hc1_se",
        1e-7,
    );
    check(&by_firm, "cluster_firm_cr1_se", 1e-7);
    check(
        &fit.std_errors(&firms, Correction::None),
        "cluster_firm_cr0_se",
        1e-7,
    );
    check(
        &fit.std_errors(&years, Correction::Counts),
        "cluster_year_cr1_se",
        1e-7,
    );
    let both = fit.two_way_std_errors(&firms, &years, Correction::Counts);
    check(&both, "cluster_two_way_cr1_se", 1e-4);
    // Printed by Petersen.
    close(by_firm[0], 0.0670127, 5e-7, "firm, constant");
    close(by_firm[1], 0.0505957, 5e-7, "firm, slope");
    let by_year = fit.std_errors(&years, Correction::Counts);
    close(by_year[0], 0.0233867, 5e-7, "year, constant");
    close(by_year[1], 0.0333889, 5e-7, "year, slope");
    let white = fit.std_errors(&each, Correction::Counts);
    close(white[0], 0.0283606, 5e-7, "White, constant");
    close(white[1], 0.0283952, 5e-7, "White, slope");
}

#[test]
fn mean_of_reaction_times() {
    let data = published("mm_sleepstudy_data");
    let expected = published("cl_sleepstudy_mean_expected");
    let (values, subjects) = (numbers(&data, "reaction"), codes(&data, "subject"));
    let fit = cluster_robust(&vec![vec![1.0]; values.len()], &values).unwrap();
    let naive = limits_of_agreement(&values).unwrap();
    let cr1 = fit.std_errors(&subjects, Correction::Counts)[0];
    let analysis = grouped_limits_of_agreement(&values, &subjects).unwrap();
    let icc = analysis.between_variance / (analysis.between_variance + analysis.mean_square_within);
    let kish = 1.0 + 9.0 * icc;
    for (actual, name) in [
        (fit.coefficients[0], "mean"),
        (naive.std_error, "naive_se"),
        (
            fit.std_errors(&subjects, Correction::None)[0],
            "cluster_se_cr0",
        ),
        (cr1, "cluster_se_cr1"),
        (icc, "anova_icc"),
        (kish, "kish_deff_1_plus_m_minus_1_icc"),
        (
            (cr1 / naive.std_error).powi(2),
            "deff_observed_cr1_over_naive",
        ),
        (180.0 / kish, "effective_n"),
    ] {
        close(actual, quantity(&expected, name), 1e-9, name);
    }
}

#[test]
fn what_cannot_be_told() {
    assert!(cluster_robust(&[vec![1.0]], &[1.0]).is_none());
    assert!(cluster_robust(&vec![vec![1.0, 2.0]; 4], &[1.0, 2.0, 3.0, 4.0]).is_none());
}
