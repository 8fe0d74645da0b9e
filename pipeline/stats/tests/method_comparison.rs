//! Lines between two methods: NIST Norris (1e-9 relative), peak flow meters, arsenate (Ripley and Thompson 1987
//! Analyst 112:377), creatinine, a case of 50 pairs, Sen 1968 J Am Stat Assoc 63:1379. Tolerances as in
//! `tests/published/README.md`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, close_relative, number, numbers, published, quantity};
use whereworn_stats::agreement::method_comparison::{
    Line, UncertainPoint, clustered_deming, deming, errors_in_variables, least_squares,
};
use whereworn_stats::agreement::rank_regression::{RankLine, passing_bablok, theil_sen};
use whereworn_stats::distributions::t_quantile;
use whereworn_stats::quantile::median;

fn each_its_own(points: usize) -> Vec<usize> {
    (0..points).collect()
}

#[test]
fn certified_line() {
    let data = published("nist_Norris_data");
    let expected = published("nist_expected");
    let fit = least_squares(&numbers(&data, "x"), &numbers(&data, "y")).unwrap();
    for (actual, name) in [
        (fit.line.intercept, "b0"),
        (fit.line.slope, "b1"),
        (fit.std_errors.intercept, "se_b0"),
        (fit.std_errors.slope, "se_b1"),
        (fit.residual_sd, "resid_sd"),
        (fit.r_squared, "r_squared"),
        (fit.f, "f"),
    ] {
        let row = expected
            .iter()
            .find(|row| row["dataset"] == "Norris" && row["quantity"] == name);
        close_relative(actual, number(row.unwrap(), "certified_value"), 1e-9, name);
    }
}

fn check_line(line: Line, expected: &Rows, prefix: &str) {
    let of = |name: &str| quantity(expected, &format!("{prefix}_{name}"));
    close(line.intercept, of("intercept"), 1e-9, prefix);
    close(line.slope, of("slope"), 1e-9, prefix);
}

fn check_jackknife(x: &[f64], y: &[f64], ratio: f64, expected: &Rows, prefix: &str) {
    let fit = clustered_deming(x, y, &each_its_own(x.len()), ratio).unwrap();
    check_line(fit.line, expected, prefix);
    let of = |name: &str| quantity(expected, &format!("{prefix}_jackknife_se_{name}"));
    close(fit.std_errors.intercept, of("intercept"), 1e-9, prefix);
    close(fit.std_errors.slope, of("slope"), 1e-9, prefix);
}

#[test]
fn peak_flow_meters() {
    let data = published("ba_pefr_data");
    let expected = published("reg_pefr_expected");
    let (x, y) = (numbers(&data, "wright_1"), numbers(&data, "mini_1"));
    for ratio in [0.5, 1.0, 2.0] {
        check_jackknife(&x, &y, ratio, &expected, &format!("deming_delta{ratio}"));
    }
    let ranks = passing_bablok(&x, &y, 0.95).unwrap();
    check_line(ranks.line, &expected, "passing_bablok_pefr_first");
    check_line(ranks.line, &expected, "pbreg_package");
    check_ranks(ranks, &expected, "passing_bablok_pefr_first");
    let sen = theil_sen(&x, &y, 0.95).unwrap();
    close(
        sen.line.slope,
        quantity(&expected, "theil_sen_slope"),
        1e-9,
        "slope",
    );
    close(
        sen.line.intercept,
        quantity(&expected, "theil_sen_intercept_median_of_y_minus_bx"),
        1e-9,
        "intercept",
    );
    // Another rule for the intercept: through the medians.
    let middle = |values: &[f64]| median(values).unwrap();
    close(
        middle(&y) - sen.line.slope * middle(&x),
        quantity(&expected, "theil_sen_intercept_ymed_minus_b_xmed"),
        1e-9,
        "intercept",
    );
    // r² of the line is the squared correlation (1986 data).
    close(
        least_squares(&x, &y).unwrap().r_squared.sqrt(),
        quantity(&published("ba_pefr_expected"), "pearson_r_first"),
        1e-9,
        "correlation",
    );
}

fn check_ranks(line: RankLine, expected: &Rows, prefix: &str) {
    let (slope, intercept) = (line.slope.unwrap(), line.intercept.unwrap());
    for (actual, name) in [
        (slope.lower, "slope_lo"),
        (slope.upper, "slope_hi"),
        (intercept.lower, "int_lo"),
        (intercept.upper, "int_hi"),
    ] {
        close(
            actual,
            quantity(expected, &format!("{prefix}_{name}")),
            1e-9,
            name,
        );
    }
}

#[test]
fn creatinine_with_many_ties() {
    let data = published("reg_creatinine_data");
    let expected = published("reg_creatinine_expected");
    let (x, y) = (numbers(&data, "serum"), numbers(&data, "plasma"));
    let ranks = passing_bablok(&x, &y, 0.95).unwrap();
    check_line(ranks.line, &expected, "passing_bablok");
    check_line(ranks.line, &expected, "pbreg_package");
    check_ranks(ranks, &expected, "passing_bablok");
    check_jackknife(&x, &y, 1.0, &expected, "deming_delta1");
    check_line(least_squares(&x, &y).unwrap().line, &expected, "ols");
}

#[test]
fn arsenate_with_known_errors() {
    let data = published("reg_arsenate_data");
    let expected = published("reg_arsenate_expected");
    let point = |row| UncertainPoint {
        x: number(row, "aas"),
        sd_x: number(row, "se.aas"),
        y: number(row, "aes"),
        sd_y: number(row, "se.aes"),
    };
    let points: Vec<UncertainPoint> = data.iter().map(point).collect();
    let (line, std_errors) = errors_in_variables(&points).unwrap();
    for (actual, name) in [
        (line.intercept, "weighted_deming_intercept_aes_on_aas"),
        (line.slope, "weighted_deming_slope"),
        (std_errors.intercept, "weighted_deming_intercept_model_se"),
        (std_errors.slope, "weighted_deming_slope_model_se"),
    ] {
        close(actual, quantity(&expected, name), 1e-5, name);
    }
    // Jackknife of R deming: each point left out in turn, squares about the estimate itself.
    let without = |left_out: usize| {
        let mut rest = points.clone();
        rest.remove(left_out);
        errors_in_variables(&rest).unwrap().0
    };
    let lines: Vec<Line> = (0..points.len()).map(without).collect();
    let jackknife = |of: fn(&Line) -> f64| {
        let squares = lines.iter().map(|other| (of(other) - of(&line)).powi(2));
        squares.sum::<f64>().sqrt()
    };
    for (actual, name) in [
        (
            jackknife(|line| line.intercept),
            "weighted_deming_intercept_jackknife_se",
        ),
        (
            jackknife(|line| line.slope),
            "weighted_deming_slope_jackknife_se",
        ),
    ] {
        close(actual, quantity(&expected, name), 1e-5, name);
    }
    // Printed in 1987.
    close(line.intercept, 0.106448, 1e-5, "printed intercept");
    let (x, y) = (numbers(&data, "aas"), numbers(&data, "aes"));
    check_jackknife(&x, &y, 1.0, &expected, "unweighted_deming_lambda1");
    let forward = least_squares(&x, &y).unwrap().line;
    let back = least_squares(&y, &x).unwrap().line;
    for (actual, name) in [
        (forward.intercept, "ols_intercept_aes_on_aas"),
        (forward.slope, "ols_slope_aes_on_aas"),
        (back.intercept, "ols_intercept_aas_on_aes"),
        (back.slope, "ols_slope_aas_on_aes"),
    ] {
        close(actual, quantity(&expected, name), 1e-9, name);
    }
}

/// Reference results of an independent program; its ratio is var(x error) / var(y error), and it quotes its intervals
/// with t to about 1e-8, hence 1e-6. Its Passing-Bablok limits take a rank one further in than the paper's rule.
#[test]
fn fifty_pairs() {
    let data = published("reg_case15_data");
    let expected = published("reg_case15_expected");
    let (x, y) = (numbers(&data, "x"), numbers(&data, "y"));
    let value = |method: &str, quantity: &str, column: &str| {
        let row = expected
            .iter()
            .find(|row| row["method"] == method && row["quantity"] == quantity);
        number(row.unwrap(), column)
    };
    let fit = least_squares(&x, &y).unwrap();
    let t = t_quantile(0.975, 48.0);
    for (actual, name) in [
        (fit.line.intercept, "intercept"),
        (fit.line.slope, "slope"),
        (fit.line.slope - t * fit.std_errors.slope, "slope_lower"),
        (fit.line.slope + t * fit.std_errors.slope, "slope_upper"),
        (
            fit.line.intercept - t * fit.std_errors.intercept,
            "intercept_lower",
        ),
        (
            fit.line.intercept + t * fit.std_errors.intercept,
            "intercept_upper",
        ),
    ] {
        close(actual, value("ols", name, "value"), 1e-6, name);
        close(actual, value("ols", name, "recomputed"), 1e-9, name);
    }
    for (method, ratio) in [("deming_ratio1", 1.0), ("deming_ratio1.21", 1.0 / 1.21)] {
        let fit = clustered_deming(&x, &y, &each_its_own(50), ratio).unwrap();
        for (actual, name) in [
            (fit.line.intercept, "intercept"),
            (fit.intercept.lower, "intercept_lower"),
            (fit.intercept.upper, "intercept_upper"),
            (fit.line.slope, "slope"),
            (fit.slope.lower, "slope_lower"),
            (fit.slope.upper, "slope_upper"),
        ] {
            close(actual, value(method, name, "value"), 1e-6, name);
            close(actual, value(method, name, "recomputed"), 1e-9, name);
        }
    }
    let ranks = passing_bablok(&x, &y, 0.95).unwrap();
    close(
        ranks.line.slope,
        value("passing_bablok", "slope", "value"),
        1e-6,
        "slope",
    );
    close(
        ranks.line.intercept,
        value("passing_bablok", "intercept", "value"),
        1e-6,
        "intercept",
    );
    let recomputed = |name| value("passing_bablok", name, "recomputed");
    let slope = ranks.slope.unwrap();
    close(slope.lower, recomputed("slope_lower"), 1e-9, "lower");
    close(slope.upper, recomputed("slope_upper"), 1e-9, "upper");
    let intercept = ranks.intercept.unwrap();
    close(
        intercept.lower,
        recomputed("intercept_lower"),
        1e-9,
        "lower",
    );
    close(
        intercept.upper,
        recomputed("intercept_upper"),
        1e-9,
        "upper",
    );
}

#[test]
fn the_example_of_sen() {
    let data = published("reg_sen1968_data");
    let expected = published("reg_sen1968_expected");
    let fit = theil_sen(&numbers(&data, "t"), &numbers(&data, "y"), 0.93).unwrap();
    let slope = fit.slope.unwrap();
    assert_eq!(fit.line.slope, quantity(&expected, "theil_sen_slope"));
    let of = |end: &str| quantity(&expected, &format!("theil_sen_slope_ci_{end}_93pct"));
    close(slope.lower, of("lower"), 1e-12, "lower");
    close(slope.upper, of("upper"), 1e-12, "upper");
    close(slope.lower, 26.0 / 7.0, 1e-12, "lower");
    close(slope.upper, 35.0 / 8.0, 1e-12, "upper");
    let intercept = quantity(&expected, "intercept_median_of_y_minus_bx");
    assert_eq!(fit.line.intercept, intercept);
}

/// Methods may be swapped, and groups of one point are the plain jackknife.
#[test]
fn properties() {
    let data = published("ba_pefr_data");
    let (x, y) = (numbers(&data, "wright_1"), numbers(&data, "mini_1"));
    let (there, back) = (deming(&x, &y, 2.0).unwrap(), deming(&y, &x, 0.5).unwrap());
    close(there.slope, 1.0 / back.slope, 1e-12, "swapped");
    let (there, back) = (
        passing_bablok(&x, &y, 0.95).unwrap(),
        passing_bablok(&y, &x, 0.95).unwrap(),
    );
    close(there.line.slope, 1.0 / back.line.slope, 1e-12, "swapped");
    assert_eq!(deming(&[1.0], &[1.0], 1.0), None);
    assert_eq!(least_squares(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]), None);
    assert_eq!(clustered_deming(&x, &y, &[0; 17], 1.0), None);
    assert_eq!(theil_sen(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0], 0.95), None);
}
