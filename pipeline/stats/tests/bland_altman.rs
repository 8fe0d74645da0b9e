//! Limits of agreement: peak flow meters (Bland and Altman 1986 Lancet i:307) and cardiac output (1999 Stat Methods Med
//! Res 8:135; 2007 J Biopharm Stat 17:571), tolerance 1e-9.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, numbers, published, quantity};
use whereworn_stats::agreement::bland_altman::{grouped_limits_of_agreement, limits_of_agreement};
use whereworn_stats::distributions::{normal_quantile, t_quantile};

fn differences(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

#[test]
fn peak_flow_one_difference_each() {
    let data = published("ba_pefr_data");
    let expected = published("ba_pefr_expected");
    let first = differences(&numbers(&data, "wright_1"), &numbers(&data, "mini_1"));
    let agreement = limits_of_agreement(&first).unwrap();
    for (actual, name) in [
        (
            agreement.bias,
            "mean_difference_first_wright_minus_first_mini",
        ),
        (agreement.sd, "sd_difference"),
        (agreement.std_error, "se_mean"),
        (agreement.interval.lower, "mean_ci_lower_t"),
        (agreement.interval.upper, "mean_ci_upper_t"),
        // The file's 1.96 is the normal quantile 1.959964; ours is 1.96 as printed in the papers.
        (
            agreement.bias - normal_quantile(0.975) * agreement.sd,
            "loa_lower_1.96",
        ),
        (
            agreement.bias + normal_quantile(0.975) * agreement.sd,
            "loa_upper_1.96",
        ),
        (agreement.bias - 2.0 * agreement.sd, "loa_lower_2sd"),
        (agreement.bias + 2.0 * agreement.sd, "loa_upper_2sd"),
    ] {
        close(actual, quantity(&expected, name), 1e-9, name);
    }
    close(
        agreement.limits.lower,
        agreement.bias - 1.96 * agreement.sd,
        1e-9,
        "limit",
    );
    // The file's 1.96 is again the quantile; the 1986 paper takes √(3 / n) and twice the standard deviation.
    let n = first.len() as f64;
    let z = normal_quantile(0.975);
    let of_limit = agreement.sd * (1.0 / n + z * z / (2.0 * (n - 1.0))).sqrt();
    close(
        of_limit,
        quantity(&expected, "se_loa_1999"),
        1e-9,
        "error of a limit",
    );
    close_relative(agreement.limit_error, of_limit, 1e-4, "error of a limit");
    let error = agreement.sd * (3.0 / n).sqrt();
    close(
        error,
        quantity(&expected, "se_loa_1986_sqrt_3s2_over_n"),
        1e-9,
        "1986",
    );
    let reach = t_quantile(0.975, n - 1.0) * error;
    for (sign, limit) in [(-1.0, "lower"), (1.0, "upper")] {
        let limit_at = agreement.bias + sign * 2.0 * agreement.sd;
        for (end, name) in [(-reach, "low"), (reach, "high")] {
            let name = format!("loa2sd_{limit}_ci_{name}");
            close(limit_at + end, quantity(&expected, &name), 1e-9, &name);
        }
    }
    assert_eq!(n, quantity(&expected, "n"));
    // Printed figures of 1986: -2.1 and 38.8.
    close(agreement.bias, -2.1, 0.1, "printed bias");
    close(agreement.sd, 38.8, 0.1, "printed standard deviation");
}

#[test]
fn peak_flow_means_of_two() {
    let data = published("ba_pefr_data");
    let expected = published("ba_pefr_expected");
    let mean = |meter: &str| -> Vec<f64> {
        let (first, second) = (
            numbers(&data, &format!("{meter}_1")),
            numbers(&data, &format!("{meter}_2")),
        );
        first
            .iter()
            .zip(second)
            .map(|(a, b)| 0.5 * (a + b))
            .collect()
    };
    let agreement = limits_of_agreement(&differences(&mean("wright"), &mean("mini"))).unwrap();
    close(
        agreement.bias,
        quantity(&expected, "mean_difference_of_averages"),
        1e-9,
        "bias",
    );
    close(
        agreement.sd,
        quantity(&expected, "sd_difference_of_averages"),
        1e-9,
        "sd",
    );
    // Single readings differ more than means of two: by a quarter of each meter's squared differences between its two.
    let repeats = |meter: &str| {
        differences(
            &numbers(&data, &format!("{meter}_1")),
            &numbers(&data, &format!("{meter}_2")),
        )
    };
    let about_zero = |d: &[f64]| d.iter().map(|d| d * d).sum::<f64>() / d.len() as f64;
    let (wright, mini) = (repeats("wright"), repeats("mini"));
    let corrected = |a: f64, b: f64| (agreement.sd.powi(2) + a / 4.0 + b / 4.0).sqrt();
    let single = corrected(about_zero(&wright), about_zero(&mini));
    let variance = |d: &[f64]| limits_of_agreement(d).unwrap().sd.powi(2);
    let mut checks = vec![
        (
            single,
            "sd_difference_single_corrected_about_zero".to_owned(),
        ),
        (
            corrected(variance(&wright), variance(&mini)),
            "sd_difference_single_corrected_sample_var".to_owned(),
        ),
        (
            agreement.bias - 2.0 * single,
            "loa_lower_2sd_averages_corrected".to_owned(),
        ),
        (
            agreement.bias + 2.0 * single,
            "loa_upper_2sd_averages_corrected".to_owned(),
        ),
    ];
    for (repeat, meter) in [(&wright, "wright"), (&mini, "mini")] {
        let rms = about_zero(repeat).sqrt();
        checks.push((rms, format!("rms_replicate_diff_{meter}")));
        checks.push((2.0 * rms, format!("coef_repeatability_2sd_{meter}")));
        let z = normal_quantile(0.975);
        checks.push((z * rms, format!("coef_repeatability_1.96_sqrt2_{meter}")));
    }
    for (actual, name) in checks {
        close(actual, quantity(&expected, &name), 1e-9, &name);
    }
}

#[test]
fn peak_flow_repeats_of_one_meter() {
    let data = published("ba_pefr_data");
    let expected = published("ba_pefr_expected");
    let subjects = codes(&data, "subject");
    let both: Vec<usize> = subjects.iter().chain(&subjects).copied().collect();
    for meter in ["wright", "mini"] {
        let mut values = numbers(&data, &format!("{meter}_1"));
        values.extend(numbers(&data, &format!("{meter}_2")));
        let analysis = grouped_limits_of_agreement(&values, &both).unwrap();
        let of = |name: &str| quantity(&expected, &format!("{name}_{meter}"));
        close(
            analysis.mean_square_between,
            of("anova_msb"),
            1e-9,
            "between",
        );
        close(analysis.mean_square_within, of("anova_msw"), 1e-9, "within");
        close(
            analysis.mean_square_within.sqrt(),
            of("within_subject_sd"),
            1e-9,
            "sd within",
        );
        if meter == "wright" {
            let icc = (analysis.mean_square_between - analysis.mean_square_within)
                / (analysis.mean_square_between + analysis.mean_square_within);
            close(
                icc,
                of("icc1"),
                1e-9,
                "intraclass correlation of two readings",
            );
        }
    }
}

#[test]
fn cardiac_output_true_value_varies() {
    let data = published("ba_cardiac_data");
    let expected = published("ba_cardiac_expected");
    let values = differences(&numbers(&data, "rv"), &numbers(&data, "ic"));
    let agreement = grouped_limits_of_agreement(&values, &codes(&data, "subject")).unwrap();
    for (actual, name) in [
        (agreement.bias, "B_mean_of_all_pair_differences"),
        (agreement.mean_square_between, "B_anova_msb_differences"),
        (agreement.mean_square_within, "B_anova_msw_differences"),
        (agreement.group_size, "B_divisor_m0"),
        (
            agreement.between_variance,
            "B_between_subject_var_differences",
        ),
        (agreement.total_sd, "B_total_sd"),
        (agreement.total_sd.powi(2), "B_total_var"),
        (values.len() as f64, "n_pairs"),
        (agreement.limits.lower, "B_loa_lower_1.96"),
        (agreement.limits.upper, "B_loa_upper_1.96"),
    ] {
        close(actual, quantity(&expected, name), 1e-9, name);
    }
    let naive = limits_of_agreement(&values).unwrap();
    close(
        naive.sd,
        quantity(&expected, "naive_sd_all_pairs"),
        1e-9,
        "naive sd",
    );
    for method in ["rv", "ic"] {
        let single =
            grouped_limits_of_agreement(&numbers(&data, method), &codes(&data, "subject")).unwrap();
        let name = format!("within_var_{method}");
        close(
            single.mean_square_within,
            quantity(&expected, &name),
            1e-9,
            &name,
        );
    }
}

/// Where the true value is constant (1999, section 5.2): the variance of a single difference is that of the subjects' mean
/// differences and, of each method, its own within-subject variance times 1 - mean (1 / m).
#[test]
fn cardiac_output_true_value_constant() {
    let data = published("ba_cardiac_data");
    let expected = published("ba_cardiac_expected");
    let subjects = codes(&data, "subject");
    let values = differences(&numbers(&data, "rv"), &numbers(&data, "ic"));
    let own = |subject: usize| -> Vec<f64> {
        let pairs = values
            .iter()
            .zip(&subjects)
            .filter(|(_, of)| **of == subject);
        pairs.map(|(value, _)| *value).collect()
    };
    let means: Vec<f64> = (0..12)
        .map(|s| own(s).iter().sum::<f64>() / own(s).len() as f64)
        .collect();
    let inverse = (0..12).map(|s| 1.0 / own(s).len() as f64).sum::<f64>() / 12.0;
    let of_means = limits_of_agreement(&means).unwrap();
    let within = |method: &str| {
        let grouped = grouped_limits_of_agreement(&numbers(&data, method), &subjects);
        grouped.unwrap().mean_square_within
    };
    let single = of_means.sd.powi(2) + (1.0 - inverse) * (within("rv") + within("ic"));
    let reach = 1.96 * single.sqrt();
    for (actual, name) in [
        (of_means.bias, "A_mean_of_subject_mean_differences"),
        (of_means.sd.powi(2), "A_var_of_subject_mean_differences"),
        (inverse, "A_mean_of_1_over_m"),
        (single, "A_var_single_difference"),
        (single.sqrt(), "A_sd_single_difference"),
        (of_means.bias - reach, "A_loa_lower_1.96"),
        (of_means.bias + reach, "A_loa_upper_1.96"),
    ] {
        close(actual, quantity(&expected, name), 1e-9, name);
    }
}

/// Certified analysis of variance: NIST Statistical Reference Datasets, 1e-9 relative.
#[test]
fn certified_mean_squares() {
    let expected = published("nist_expected");
    for set in ["SiRstv", "SmLs01", "SmLs04", "AtmWtAg"] {
        let data = published(&format!("nist_{set}_data"));
        let analysis =
            grouped_limits_of_agreement(&numbers(&data, "value"), &codes(&data, "group")).unwrap();
        let certified = |quantity: &str| {
            let row = expected
                .iter()
                .find(|row| row["dataset"] == set && row["quantity"] == quantity);
            common::number(row.unwrap(), "certified_value")
        };
        let what = |quantity: &str| format!("{quantity} of {set}");
        close_relative(
            analysis.mean_square_between,
            certified("ms_between"),
            tolerance(set),
            &what("between"),
        );
        close_relative(
            analysis.mean_square_within,
            certified("ms_within"),
            tolerance(set),
            &what("within"),
        );
        let f = analysis.mean_square_between / analysis.mean_square_within;
        let count = data.len() as f64;
        let groups = codes(&data, "group").iter().max().unwrap() + 1;
        let (df_between, df_within) = (groups as f64 - 1.0, count - groups as f64);
        let between = df_between * analysis.mean_square_between;
        let within = df_within * analysis.mean_square_within;
        for (actual, name) in [
            (f, "f"),
            (f, "f_recomputed_40_digits"),
            (df_between, "df_between"),
            (df_within, "df_within"),
            (between, "ss_between"),
            (within, "ss_within"),
            (between / (between + within), "r_squared"),
            (analysis.mean_square_within.sqrt(), "resid_sd"),
        ] {
            close_relative(actual, certified(name), tolerance(set), &what(name));
        }
    }
}

/// SmLs04 carries seven constant leading digits, which binary floating point cannot hold to 1e-9.
fn tolerance(set: &str) -> f64 {
    if set == "SmLs04" { 1e-6 } else { 1e-9 }
}

#[test]
fn too_little_to_tell() {
    assert_eq!(limits_of_agreement(&[1.0]), None);
    assert_eq!(grouped_limits_of_agreement(&[1.0, 2.0], &[0, 0]), None);
    assert_eq!(grouped_limits_of_agreement(&[1.0, 2.0], &[0, 1]), None);
}
