//! Intraclass correlations of Shrout and Fleiss 1979 Psychol Bull 86:420 (R psych; 1e-9, printed figures 0.005), and
//! the one-way moment estimates of the dyestuff data (1e-5 relative).

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, number, numbers, published, quantity};
use whereworn_stats::agreement::bland_altman::grouped_limits_of_agreement;
use whereworn_stats::distributions::f_upper_tail;
use whereworn_stats::mixed::intraclass::{IntraclassModel, MeanSquares};

fn mean_squares() -> MeanSquares {
    let data = published("icc_shrout_fleiss_data");
    let row = |row| {
        (1..=4)
            .map(|judge| number(row, &format!("judge{judge}")))
            .collect()
    };
    let table: Vec<Vec<f64>> = data.iter().map(row).collect();
    MeanSquares::new(&table).unwrap()
}

#[test]
fn mean_squares_of_six_targets() {
    let squares = mean_squares();
    for row in published("icc_shrout_fleiss_ms_expected") {
        let actual = match row["quantity"].as_str() {
            "BMS" => squares.between,
            "WMS" => squares.within,
            "JMS" => squares.judge,
            "EMS" => squares.error,
            other => panic!("{other}"),
        };
        close(actual, number(&row, "value"), 1e-9, &row["quantity"]);
        close(actual, number(&row, "published_1979"), 0.005, "printed");
    }
}

#[test]
fn six_forms() {
    let squares = mean_squares();
    for row in published("icc_shrout_fleiss_expected") {
        let form = &row["form"];
        let model = match form.as_bytes()[4] {
            b'1' => IntraclassModel::OneWay,
            b'2' => IntraclassModel::RandomJudges,
            _ => IntraclassModel::FixedJudges,
        };
        let icc = squares.intraclass(model, form.as_bytes()[6] == b'4');
        for (actual, column) in [
            (icc.correlation, "icc"),
            (icc.f, "F"),
            (icc.df.0, "df1"),
            (icc.df.1, "df2"),
            (icc.p, "p"),
            (icc.interval.lower, "lower95"),
            (icc.interval.upper, "upper95"),
        ] {
            close(
                actual,
                number(&row, column),
                1e-9,
                &format!("{column} of {form}"),
            );
        }
        close(icc.correlation, number(&row, "published_1979"), 0.005, form);
    }
}

#[test]
fn moments_of_one_way_layouts() {
    for (file, prefix) in [
        ("vc_dyestuff", ""),
        ("vc_dyestuff", "unbalanced_"),
        ("vc_dyestuff2", ""),
    ] {
        let data = published(&format!("{file}_data"));
        let expected = published(&format!("{file}_expected"));
        let dropped = [2, 3, 5, 9, 16, 17, 18, 30];
        let keep = |row: usize| prefix.is_empty() || !dropped.contains(&(row + 1));
        let kept: Vec<usize> = (0..data.len()).filter(|&row| keep(row)).collect();
        let (all, batches) = (numbers(&data, "yield"), codes(&data, "batch"));
        let values: Vec<f64> = kept.iter().map(|&row| all[row]).collect();
        let groups: Vec<usize> = kept.iter().map(|&row| batches[row]).collect();
        let fit = grouped_limits_of_agreement(&values, &groups).unwrap();
        let f = fit.mean_square_between / fit.mean_square_within;
        let icc = fit.between_variance / (fit.between_variance + fit.mean_square_within);
        for (actual, name) in [
            (fit.mean_square_between, "anova_msb"),
            (fit.mean_square_within, "anova_msw"),
            (f, "anova_F"),
            (f_upper_tail(f, 5.0, values.len() as f64 - 6.0), "anova_p"),
            (fit.group_size, "anova_n0"),
            (fit.between_variance, "anova_between_var"),
            (icc, "anova_icc"),
        ] {
            let name = format!("{prefix}{name}");
            close_relative(actual, quantity(&expected, &name), 1e-5, &name);
        }
    }
}

#[test]
fn tables_that_are_none() {
    assert_eq!(MeanSquares::new(&[]), None);
    assert_eq!(MeanSquares::new(&[vec![1.0], vec![2.0]]), None);
    assert_eq!(MeanSquares::new(&[vec![1.0, 2.0], vec![2.0]]), None);
}
