//! Mixed models against R lme4 (and statsmodels): reaction times with a random slope, pastes with casks in batches,
//! dyestuff (Bates et al. 2015 J Stat Softw 67(1); Davies and Goldsmith 1972), tolerance 1e-5 relative.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, numbers, published, quantity};
use whereworn_stats::distributions::t_two_sided;
use whereworn_stats::mixed::model::{MixedModel, RandomTerms, Refusal, Row, mixed_model};
use whereworn_stats::mixed::random_intercept::random_intercept;

const SLOPE: RandomTerms = RandomTerms {
    slope: true,
    outer: false,
};
const OUTER: RandomTerms = RandomTerms {
    slope: false,
    outer: true,
};

fn reaction_times() -> Vec<Row> {
    let data = published("mm_sleepstudy_data");
    let (days, values) = (numbers(&data, "days"), numbers(&data, "reaction"));
    let subjects = codes(&data, "subject");
    (0..values.len())
        .map(|i| Row {
            slope: days[i],
            ..Row::new(vec![1.0, days[i]], values[i], subjects[i], 0)
        })
        .collect()
}

fn check(model: &MixedModel, expected: &[(&str, f64)], file: &str) {
    let expectations = published(file);
    assert!(model.criterion.is_finite());
    for (name, actual) in expected {
        close_relative(*actual, quantity(&expectations, name), 1e-5, name);
    }
}

fn error_of(model: &MixedModel, weights: &[f64]) -> f64 {
    model.variance_of(weights).sqrt()
}

#[test]
fn random_slope() {
    let model = mixed_model(&reaction_times(), SLOPE).unwrap();
    let (sd_slope, correlation) = model.slopes().unwrap();
    check(
        &model,
        &[
            ("reml_intercept", model.effects[0]),
            ("reml_days", model.effects[1]),
            ("reml_intercept_se", error_of(&model, &[1.0, 0.0])),
            ("reml_days_se", error_of(&model, &[0.0, 1.0])),
            ("sd_intercept", model.sd_inner()),
            ("sd_days", sd_slope),
            ("corr", correlation),
            ("sd_residual", model.sd_residual()),
            ("reml_criterion", model.criterion),
        ],
        "mm_sleepstudy_expected",
    );
}

/// lmerTest prints 17 degrees of freedom for both effects (recalled from its documentation): the design is balanced, so
/// that each is a mean over 18 subjects.
#[test]
fn degrees_of_freedom_of_a_random_slope() {
    let model = mixed_model(&reaction_times(), SLOPE).unwrap();
    let days = model.contrast(&[0.0, 1.0], f64::INFINITY);
    close(days.df, 17.0, 1e-2, "days");
    close(model.contrast(&[1.0, 0.0], 1e9).df, 17.0, 1e-2, "intercept");
    // 10.467286 / 1.545790 = 6.771.
    close(days.p, t_two_sided(6.771_481, days.df), 1e-9, "p");
    let f = model.wald(&[vec![0.0, 1.0]], f64::INFINITY).unwrap();
    close_relative(f.f, (days.estimate / days.std_error).powi(2), 1e-10, "F");
    close_relative(f.p, days.p, 1e-8, "p of F");
}

#[test]
fn random_intercept_only() {
    let model = mixed_model(&reaction_times(), RandomTerms::default()).unwrap();
    check(
        &model,
        &[
            ("ri_intercept", model.effects[0]),
            ("ri_days", model.effects[1]),
            ("ri_intercept_se", error_of(&model, &[1.0, 0.0])),
            ("ri_days_se", error_of(&model, &[0.0, 1.0])),
            ("ri_sd_subject", model.sd_inner()),
            ("ri_sd_residual", model.sd_residual()),
            ("ri_reml_criterion", model.criterion),
        ],
        "mm_sleepstudy_expected",
    );
    // Within subjects: 180 - 18 - 1.
    close(model.contrast(&[0.0, 1.0], 1e9).df, 161.0, 1e-2, "days");
}

fn pastes() -> Vec<Row> {
    let data = published("mm_pastes_data");
    let (batches, casks) = (codes(&data, "batch"), codes(&data, "cask"));
    let values = numbers(&data, "strength");
    let row = |i: usize| Row::new(vec![1.0], values[i], 3 * batches[i] + casks[i], batches[i]);
    (0..values.len()).map(row).collect()
}

#[test]
fn nested() {
    let model = mixed_model(&pastes(), OUTER).unwrap();
    check(
        &model,
        &[
            ("reml_mean", model.effects[0]),
            ("reml_mean_se", error_of(&model, &[1.0])),
            ("reml_sd_cask_in_batch", model.sd_inner()),
            ("reml_sd_batch", model.sd_outer().unwrap()),
            ("reml_sd_Residual", model.sd_residual()),
            ("reml_criterion", model.criterion),
        ],
        "mm_pastes_expected",
    );
    // Balanced: a mean over ten batches.
    close(model.contrast(&[1.0], 1e9).df, 9.0, 1e-2, "mean");
}

/// Which of the two terms is called inner does not matter: casks first or batches first.
#[test]
fn crossed_terms_can_be_swapped() {
    let swapped: Vec<Row> = pastes()
        .into_iter()
        .map(|row| Row {
            inner: row.outer,
            outer: row.inner,
            ..row
        })
        .collect();
    let (model, mirror) = (
        mixed_model(&pastes(), OUTER).unwrap(),
        mixed_model(&swapped, OUTER).unwrap(),
    );
    close(model.criterion, mirror.criterion, 1e-9, "criterion");
    close(model.sd_inner(), mirror.sd_outer().unwrap(), 1e-5, "inner");
    close(model.sd_outer().unwrap(), mirror.sd_inner(), 1e-5, "outer");
}

#[test]
fn one_way_layouts() {
    for (file, unbalanced) in [
        ("vc_dyestuff", false),
        ("vc_dyestuff", true),
        ("vc_dyestuff2", false),
    ] {
        let data = published(&format!("{file}_data"));
        let expected = published(&format!("{file}_expected"));
        let dropped = [2, 3, 5, 9, 16, 17, 18, 30];
        let (values, batches) = (numbers(&data, "yield"), codes(&data, "batch"));
        let rows: Vec<Row> = (0..values.len())
            .filter(|i| !unbalanced || !dropped.contains(&(i + 1)))
            .map(|i| Row::new(vec![1.0], values[i], batches[i], 0))
            .collect();
        let model = mixed_model(&rows, RandomTerms::default()).unwrap();
        let prefix = if unbalanced { "unbalanced_" } else { "" };
        for (actual, name) in [
            (model.effects[0], "reml_mean"),
            (error_of(&model, &[1.0]), "reml_mean_se"),
            (model.sd_inner().powi(2), "reml_between_var"),
            (model.residual_variance, "reml_within_var"),
            (model.criterion, "reml_minus2loglik"),
        ] {
            let name = format!("{prefix}{name}");
            close_relative(actual, quantity(&expected, &name), 1e-5, &name);
        }
    }
}

/// The same model by two routes: the general one, and the one-way layout written out.
#[test]
fn agrees_with_the_one_way_layout() {
    let rows = pastes();
    let uneven: Vec<Row> = rows
        .iter()
        .enumerate()
        .filter(|(i, _)| i % 7 != 3)
        .map(|(_, row)| row.clone())
        .collect();
    let values: Vec<f64> = uneven.iter().map(|row| row.value).collect();
    let groups: Vec<usize> = uneven.iter().map(|row| row.inner).collect();
    let model = mixed_model(&uneven, RandomTerms::default()).unwrap();
    let fit = random_intercept(&values, &groups).unwrap();
    let mean = model.contrast(&[1.0], fit.groups as f64 - 1.0);
    close(mean.estimate, fit.mean, 1e-7, "mean");
    close(mean.std_error, fit.std_error.unwrap(), 1e-6, "error");
    close(mean.df, fit.df.unwrap(), 1e-3, "df");
    close_relative(model.sd_inner(), fit.sd_between.unwrap(), 1e-5, "between");
}

/// A sensor's pairs may come as their number, mean and squares.
#[test]
fn summaries_stand_for_their_values() {
    let mut rows = pastes();
    rows.truncate(58);
    let single = mixed_model(&rows, OUTER).unwrap();
    let pairs: Vec<Row> = rows
        .chunks(2)
        .map(|two| Row {
            value: 0.5 * (two[0].value + two[1].value),
            count: 2.0,
            squares: 0.5 * (two[0].value - two[1].value).powi(2),
            ..two[0].clone()
        })
        .collect();
    let summed = mixed_model(&pairs, OUTER).unwrap();
    close(single.criterion, summed.criterion, 1e-9, "criterion");
    close_relative(single.sd_inner(), summed.sd_inner(), 1e-5, "inner");
}

#[test]
fn what_cannot_be_told_is_refused() {
    let twice = |row: Row| Row {
        fixed: vec![1.0, 1.0],
        ..row
    };
    let rows: Vec<Row> = pastes().into_iter().map(twice).collect();
    assert_eq!(mixed_model(&rows, OUTER).unwrap_err(), Refusal::NotTellable);
    assert_eq!(
        mixed_model(&pastes()[..1], OUTER).unwrap_err(),
        Refusal::TooFewValues
    );
    assert_eq!(mixed_model(&[], OUTER).unwrap_err(), Refusal::TooFewValues);
}
