//! Figures as books and papers print them, to half of the last digit unless said otherwise; recalled from memory, except where
//! `tests/published/README.md` says that the page was seen. The digits behind them are checked in the tests of each
//! method.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, codes, numbers, published};
use whereworn_stats::agreement::bland_altman::{grouped_limits_of_agreement, limits_of_agreement};
use whereworn_stats::mixed::model::{RandomTerms, Row, mixed_model};
use whereworn_stats::mixed::random_intercept::{Likelihood, components};
use whereworn_stats::multiplicity::holm;
use whereworn_stats::survival::cox::{CoxData, CoxFit, Ties, cox};
use whereworn_stats::survival::interval_scale::IntervalScale;
use whereworn_stats::survival::kaplan_meier::KaplanMeier;
use whereworn_stats::survival::logrank::{EventWeight, Subjects, weighted_log_rank};

fn events(rows: &Rows) -> Vec<bool> {
    rows.iter().map(|row| row["event"] == "1").collect()
}

/// Freireich et al. 1963: Kalbfleisch and Prentice; Collett; Klein and Moeschberger, chapter 4.
#[test]
fn leukaemia_remission_curve() {
    let data = published("km_freireich_data");
    let curve = |arm: &str| {
        let own: Rows = data
            .iter()
            .filter(|row| row["arm"] == arm)
            .cloned()
            .collect();
        KaplanMeier::fit(&numbers(&own, "time"), &events(&own), IntervalScale::LogLog)
    };
    let treated = curve("6-MP");
    let printed = [
        (6.0, 0.857, 0.076),
        (7.0, 0.807, 0.087),
        (10.0, 0.753, 0.096),
        (13.0, 0.690, 0.107),
        (16.0, 0.627, 0.114),
        (22.0, 0.538, 0.128),
        (23.0, 0.448, 0.135),
    ];
    for (week, survival, error) in printed {
        let at = treated.at(week).unwrap();
        close(at.survival, survival, 6e-4, "survival");
        close(at.std_error.unwrap(), error, 6e-4, "standard error");
    }
    assert_eq!(treated.median().value, Some(23.0));
    assert_eq!(curve("placebo").median().value, Some(8.0));
}

fn chi_square(set: &str, weight: EventWeight) -> f64 {
    let data = published(&format!("{set}_data"));
    let subjects = Subjects {
        times: &numbers(&data, "time"),
        events: &events(&data),
        groups: &codes(&data, "arm"),
        strata: &vec![0; data.len()],
    };
    weighted_log_rank(subjects, weight).unwrap().chi_square
}

/// Kleinbaum and Klein, chapter 2; Miller 1981.
#[test]
fn log_rank_tests() {
    close(
        chi_square("km_freireich", EventWeight::Equal),
        16.79,
        0.005,
        "log-rank",
    );
    close(
        chi_square("km_freireich", EventWeight::AtRisk),
        13.46,
        0.005,
        "Gehan",
    );
    close(
        chi_square("km_aml", EventWeight::Equal),
        3.40,
        0.005,
        "log-rank",
    );
}

fn hazard(data: &Rows, columns: &[Vec<f64>], strata: &[usize], ties: Ties) -> CoxFit {
    let data = CoxData {
        times: &numbers(data, "time"),
        events: &events(data),
        covariates: columns,
        strata,
    };
    cox(data, ties).unwrap()
}

/// Kleinbaum and Klein, chapters 3 (models 1 and 2) and 5; the documentation of R survival and MASS for Efron's.
#[test]
fn hazard_ratios() {
    let check = |fit: &CoxFit, printed: &[(f64, f64)]| {
        for (place, (coefficient, error)) in printed.iter().enumerate() {
            close(fit.coefficients[place], *coefficient, 6e-4, "coefficient");
            close(fit.std_error(place), *error, 6e-4, "standard error");
        }
    };
    let data = published("km_freireich_data");
    let treated = |row: &std::collections::BTreeMap<String, String>| {
        f64::from(u8::from(row["arm"] == "6-MP"))
    };
    let arm = [data.iter().map(treated).collect::<Vec<f64>>()];
    let none = vec![0; data.len()];
    check(
        &hazard(&data, &arm, &none, Ties::Breslow),
        &[(-1.509, 0.410)],
    );
    check(&hazard(&data, &arm, &none, Ties::Efron), &[(-1.572, 0.412)]);
    let data = published("km_leukaemia_sex_data");
    let both = [numbers(&data, "rx"), numbers(&data, "logwbc")];
    check(
        &hazard(&data, &both, &none, Ties::Breslow),
        &[(1.294, 0.422), (1.604, 0.329)],
    );
    let by_sex = hazard(&data, &both, &codes(&data, "sex"), Ties::Breslow);
    check(&by_sex, &[(0.931, 0.472), (1.390, 0.338)]);
}

/// Bland and Altman 1986 Lancet i:307 and 1999 Stat Methods Med Res 8:135.
#[test]
fn limits_of_agreement_as_printed() {
    let data = published("ba_pefr_data");
    let minus = |a: &str, b: &str| -> Vec<f64> {
        let pairs = numbers(&data, a).into_iter().zip(numbers(&data, b));
        pairs.map(|(a, b)| a - b).collect()
    };
    let meters = limits_of_agreement(&minus("wright_1", "mini_1")).unwrap();
    close(meters.bias, -2.1, 0.05, "bias");
    close(meters.sd, 38.8, 0.05, "sd");
    close(meters.bias - 2.0 * meters.sd, -79.7, 0.1, "lower limit");
    close(meters.bias + 2.0 * meters.sd, 75.5, 0.1, "upper limit");
    close(meters.std_error, 9.4, 0.06, "standard error");
    close(meters.interval.lower, -22.0, 0.06, "lower end");
    close(meters.interval.upper, 17.8, 0.06, "upper end");
    close(
        (3.0_f64 / 17.0).sqrt() * meters.sd,
        16.3,
        0.06,
        "error of a limit",
    );
    let root_mean_square = |d: Vec<f64>| (d.iter().map(|d| d * d).sum::<f64>() / 17.0).sqrt();
    close(
        root_mean_square(minus("wright_1", "wright_2")),
        21.6,
        0.06,
        "repeats",
    );
    close(
        root_mean_square(minus("mini_1", "mini_2")),
        28.2,
        0.06,
        "repeats",
    );

    let cardiac = published("ba_cardiac_data");
    let subjects = codes(&cardiac, "subject");
    let of = |values: &[f64]| grouped_limits_of_agreement(values, &subjects).unwrap();
    close(
        of(&numbers(&cardiac, "rv")).mean_square_within,
        0.1072,
        5e-5,
        "RV",
    );
    close(
        of(&numbers(&cardiac, "ic")).mean_square_within,
        0.1379,
        5e-5,
        "IC",
    );
    let pairs = numbers(&cardiac, "rv")
        .into_iter()
        .zip(numbers(&cardiac, "ic"));
    let varying = of(&pairs.map(|(rv, ic)| rv - ic).collect::<Vec<f64>>());
    close(varying.total_sd, 0.99, 0.005, "sd");
    close(varying.limits.lower, -1.34, 0.005, "lower limit");
    close(varying.limits.upper, 2.54, 0.005, "upper limit");
}

/// Documentation of lme4; Bates et al. 2015 J Stat Softw 67(1).
#[test]
fn variance_components_as_printed() {
    let of = |set: &str, likelihood| {
        let data = published(&format!("{set}_data"));
        components(&numbers(&data, "yield"), &codes(&data, "batch"), likelihood).unwrap()
    };
    let reml = of("vc_dyestuff", Likelihood::Restricted);
    close(reml.between, 1764.05, 0.005, "between");
    close(reml.within, 2451.25, 0.005, "within");
    close(reml.deviance, 319.654, 0.005, "criterion");
    let full = of("vc_dyestuff", Likelihood::Full);
    close(full.between, 1388.33, 0.005, "between");
    close(full.deviance, 327.327, 0.005, "deviance");
    let none = of("vc_dyestuff2", Likelihood::Restricted);
    assert_eq!(none.between, 0.0);
    close(none.within, 13.806, 0.001, "within");
    close(none.deviance, 161.828, 0.001, "criterion");

    let data = published("mm_sleepstudy_data");
    let (days, values) = (numbers(&data, "days"), numbers(&data, "reaction"));
    let subjects = codes(&data, "subject");
    let row = |i: usize| Row {
        slope: days[i],
        ..Row::new(vec![1.0, days[i]], values[i], subjects[i], 0)
    };
    let rows: Vec<Row> = (0..values.len()).map(row).collect();
    let slopes = RandomTerms {
        slope: true,
        outer: false,
    };
    let fit = mixed_model(&rows, slopes).unwrap();
    let (sd_slope, correlation) = fit.slopes().unwrap();
    for (actual, printed) in [
        (fit.effects[0], 251.405),
        (fit.effects[1], 10.467),
        (fit.sd_inner(), 24.741),
        (sd_slope, 5.922),
        (fit.sd_residual(), 25.592),
        (correlation, 0.066),
        (fit.criterion, 1743.628),
    ] {
        close(actual, printed, 0.001, "reaction times");
    }
}

/// The usual worked example of Holm 1979 Scand J Stat 6:65: at 5 % the first and the fourth are rejected.
#[test]
fn holms_example() {
    let adjusted = holm(&[0.01, 0.04, 0.03, 0.005]);
    let rejected: Vec<bool> = adjusted.iter().map(|p| *p <= 0.05).collect();
    assert_eq!(rejected, [true, false, false, true]);
}
