//! Cox's model against R survival, lifelines and statsmodels (Freireich et al. 1963; the same with sex and white count;
//! Miller 1981), 1e-6, and by hand.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, codes, numbers, published, quantity};
use whereworn_stats::survival::cox::exposed::exposed_hazard;
use whereworn_stats::survival::cox::firth::firth_cox;
use whereworn_stats::survival::cox::partial::partial_likelihood;
use whereworn_stats::survival::cox::{CoxData, CoxFit, CoxRefusal, Ties, cox};

const TIES: [(Ties, &str); 3] = [
    (Ties::Efron, "efron"),
    (Ties::Breslow, "breslow"),
    (Ties::Exact, "exact"),
];

/// 1 where a column has the value, else 0.
fn flag(rows: &Rows, column: &str, value: &str) -> Vec<f64> {
    rows.iter()
        .map(|row| f64::from(u8::from(row[column] == value)))
        .collect()
}

fn fit(data: &Rows, covariates: &[Vec<f64>], strata: &[usize], ties: Ties) -> CoxFit {
    let events: Vec<bool> = data.iter().map(|row| row["event"] == "1").collect();
    let data = CoxData {
        times: &numbers(data, "time"),
        events: &events,
        covariates,
        strata,
    };
    cox(data, ties).unwrap()
}

#[test]
fn leukaemia_remission_in_matched_pairs() {
    let data = published("km_freireich_data");
    let expected = published("km_freireich_expected_tests");
    let arm = [flag(&data, "arm", "6-MP")];
    let fit = fit(&data, &arm, &codes(&data, "pair"), Ties::Efron);
    for (actual, what) in [(fit.coefficients[0], "coef_6MP"), (fit.std_error(0), "se")] {
        let what = format!("cox_stratified_by_pair_{what}");
        close(actual, quantity(&expected, &what), 1e-6, &what);
    }
}

#[test]
fn leukaemia_remission() {
    let data = published("km_freireich_data");
    let expected = published("km_freireich_expected_tests");
    for (ties, name) in TIES {
        let fit = fit(
            &data,
            &[flag(&data, "arm", "6-MP")],
            &vec![0; data.len()],
            ties,
        );
        for (actual, what) in [
            (fit.coefficients[0], "coef_6MP_vs_placebo"),
            (fit.std_error(0), "se"),
            ((-fit.coefficients[0]).exp(), "hr_placebo_vs_6MP"),
            (fit.null_log_likelihood, "loglik_null"),
            (fit.log_likelihood, "loglik"),
            (fit.likelihood_ratio_test, "lrt_chisq"),
            (fit.score_test, "score_chisq"),
            (fit.wald_test, "wald_chisq"),
        ] {
            let what = format!("cox_{name}_{what}");
            close(actual, quantity(&expected, &what), 1e-6, &what);
        }
    }
    let paired = fit(
        &data,
        &[flag(&data, "arm", "6-MP")],
        &codes(&data, "pair"),
        Ties::Efron,
    );
    for (actual, what) in [
        (paired.coefficients[0], "cox_stratified_by_pair_coef_6MP"),
        (paired.std_error(0), "cox_stratified_by_pair_se"),
    ] {
        close(actual, quantity(&expected, what), 1e-6, what);
    }
}

#[test]
fn maintained_chemotherapy() {
    let data = published("km_aml_data");
    let expected = published("km_aml_expected_tests");
    for (ties, name) in TIES {
        let fit = fit(
            &data,
            &[flag(&data, "arm", "Nonmaintained")],
            &vec![0; data.len()],
            ties,
        );
        for (actual, what) in [
            (fit.coefficients[0], "coef_nonmaintained"),
            (fit.std_error(0), "se"),
            (fit.coefficients[0].exp(), "hr"),
            (fit.likelihood_ratio_test, "lrt_chisq"),
        ] {
            let what = format!("cox_{name}_{what}");
            close(actual, quantity(&expected, &what), 1e-6, &what);
        }
    }
}

#[test]
fn adjusted_and_stratified_by_sex() {
    let data = published("km_leukaemia_sex_data");
    let expected = published("km_leukaemia_sex_expected_tests");
    let (treated, cells) = (numbers(&data, "rx"), numbers(&data, "logwbc"));
    let (both, one) = (vec![0; data.len()], codes(&data, "sex"));
    for (ties, name) in &TIES[..2] {
        let alone = fit(&data, std::slice::from_ref(&treated), &one, *ties);
        let adjusted = fit(&data, &[treated.clone(), cells.clone()], &both, *ties);
        let stratified = fit(&data, &[treated.clone(), cells.clone()], &one, *ties);
        for (actual, what) in [
            (
                alone.coefficients[0],
                format!("cox_strat_sex_{name}_coef_rx"),
            ),
            (alone.std_error(0), format!("cox_strat_sex_{name}_se")),
            (
                adjusted.coefficients[0],
                format!("cox_adj_logwbc_{name}_coef_rx"),
            ),
            (
                adjusted.std_error(0),
                format!("cox_adj_logwbc_{name}_se_rx"),
            ),
            (
                adjusted.coefficients[1],
                format!("cox_adj_logwbc_{name}_coef_logwbc"),
            ),
            (
                adjusted.std_error(1),
                format!("cox_adj_logwbc_{name}_se_logwbc"),
            ),
            (
                stratified.coefficients[0],
                format!("cox_strat_sex_adj_logwbc_{name}_coef_rx"),
            ),
            (
                stratified.std_error(0),
                format!("cox_strat_sex_adj_logwbc_{name}_se_rx"),
            ),
            (
                stratified.coefficients[1],
                format!("cox_strat_sex_adj_logwbc_{name}_coef_logwbc"),
            ),
            (
                stratified.std_error(1),
                format!("cox_strat_sex_adj_logwbc_{name}_se_logwbc"),
            ),
        ] {
            close(actual, quantity(&expected, &what), 1e-6, &what);
        }
    }
}

/// Six subjects, the first, second and fourth of one kind, events at 1, 2, 3 and 5.
///
/// At 0 the share of that kind at risk is 3/6, 2/5, 1/4, 0: score 1/2 + 3/5 - 1/4 = 0.85, information 1/4 + 6/25 + 3/16 =
/// 0.6775, first step 0.85 / 0.6775. With h the hazard ratio the score is 1 / (h + 1) + 3 / (2h + 3) - h / (h + 3), which is
/// 0 where h³ = 9h + 9: h = 2√3 cos 10°.
#[test]
fn six_subjects_by_hand() {
    let covariates = [vec![1.0, 1.0, 0.0, 1.0, 0.0, 0.0]];
    let data = CoxData {
        times: &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
        events: &[true, true, true, false, true, false],
        covariates: &covariates,
        strata: &[0; 6],
    };
    let at = partial_likelihood(data, Ties::Efron, &[0.0]);
    close(
        at.log_likelihood,
        -(6.0_f64 * 5.0 * 4.0 * 2.0).ln(),
        1e-14,
        "null",
    );
    close(at.score[0], 0.85, 1e-14, "score");
    close(at.information[0][0], 0.6775, 1e-14, "information");
    let fit = cox(data, Ties::Efron).unwrap();
    close(fit.score_test, 0.85 * 0.85 / 0.6775, 1e-13, "score test");
    let ratio = 2.0 * 3.0_f64.sqrt() * 10.0_f64.to_radians().cos();
    close(fit.coefficients[0], ratio.ln(), 1e-10, "coefficient");
    let share = |others: f64, of: f64| others * of * ratio / (others + of * ratio).powi(2);
    let information = share(3.0, 3.0) + share(3.0, 2.0) + share(3.0, 1.0);
    close(fit.covariance[0][0], 1.0 / information, 1e-10, "variance");
    // Different ties rules agree where nothing is tied.
    for ties in [Ties::Breslow, Ties::Exact] {
        close(
            cox(data, ties).unwrap().coefficients[0],
            ratio.ln(),
            1e-10,
            "ties",
        );
    }
}

/// Derivatives against differences of the function itself, at a point of no significance.
#[test]
fn derivatives_are_derivatives() {
    let data = published("km_leukaemia_sex_data");
    let events: Vec<bool> = data.iter().map(|row| row["event"] == "1").collect();
    let (times, strata) = (numbers(&data, "time"), codes(&data, "sex"));
    let covariates = [numbers(&data, "rx"), numbers(&data, "logwbc")];
    let data = CoxData {
        times: &times,
        events: &events,
        covariates: &covariates,
        strata: &strata,
    };
    for (ties, name) in TIES {
        let at = partial_likelihood(data, ties, &[0.4, -0.3]);
        for c in 0..2 {
            let mut ends = [[0.4, -0.3]; 2];
            ends[0][c] -= 1e-5;
            ends[1][c] += 1e-5;
            let [low, high] = ends.map(|beta| partial_likelihood(data, ties, &beta));
            let slope = |high: f64, low: f64| (high - low) / 2e-5;
            close(
                at.score[c],
                slope(high.log_likelihood, low.log_likelihood),
                1e-6,
                name,
            );
            for a in 0..2 {
                close(
                    at.information[c][a],
                    -slope(high.score[a], low.score[a]),
                    1e-6,
                    name,
                );
                for b in 0..2 {
                    let third = slope(high.information[a][b], low.information[a][b]);
                    if ties != Ties::Exact {
                        close(at.slope[c][a][b], third, 1e-6, name);
                    }
                }
            }
        }
    }
}

/// Matched pairs of one subject of each kind: the penalised likelihood is that of a binomial with Jeffreys' prior, so the
/// hazard ratio is (a + 1/2) / (b + 1/2) where the one kind goes first in a pairs, the other in b (Firth 1993, section 3, from memory).
#[test]
fn firth_in_matched_pairs() {
    let pairs = |first: usize, second: usize| {
        let subjects = 2 * (first + second);
        let times: Vec<f64> = (0..subjects).map(|k| 1.0 + (k % 2) as f64).collect();
        let events: Vec<bool> = (0..subjects).map(|k| k % 2 == 0).collect();
        let strata: Vec<usize> = (0..subjects).map(|k| k / 2).collect();
        let kind = |k: usize| {
            if (k / 2 < first) == k.is_multiple_of(2) {
                1.0
            } else {
                0.0
            }
        };
        let covariates = [(0..subjects).map(kind).collect::<Vec<f64>>()];
        let data = CoxData {
            times: &times,
            events: &events,
            covariates: &covariates,
            strata: &strata,
        };
        let plain = cox(data, Ties::Efron).map(|fit| fit.coefficients[0]);
        let fit = firth_cox(data).unwrap();
        let interval = fit.interval(0).unwrap();
        (
            plain,
            fit.coefficients[0],
            [interval.lower, interval.upper],
            fit.p(0).unwrap(),
        )
    };
    let (plain, penalised, ends, p) = pairs(4, 0);
    assert_eq!(plain, Err(CoxRefusal::Separation));
    close(penalised, 9.0_f64.ln(), 1e-8, "four to none");
    // Twice the penalised log likelihood of the share s is 9 ln s + ln (1 - s).
    let deviance = |s: f64| -2.0 * (4.5 * s.ln() + 0.5 * (1.0 - s).ln());
    let share = |beta: f64| 1.0 / (1.0 + (-beta).exp());
    for end in ends {
        close(
            deviance(share(end)) - deviance(0.9),
            3.841_458_820_694_124,
            1e-7,
            "end",
        );
    }
    assert!(ends[0] < penalised && penalised < ends[1]);
    // Upper tail of a chi-square of 3.6806 with one degree of freedom, from tables between 0.05 (3.841) and 0.10 (2.706).
    close(
        deviance(0.5) - deviance(0.9),
        3.680_6,
        1e-3,
        "likelihood ratio",
    );
    assert!(p > 0.05 && p < 0.06, "{p}");
    let (plain, penalised, ..) = pairs(5, 2);
    close(plain.unwrap(), 2.5_f64.ln(), 1e-9, "plain five to two");
    close(penalised, (5.5_f64 / 2.5).ln(), 1e-8, "five to two");
}

#[test]
fn refusals() {
    let of = |events: [bool; 4], columns: &[Vec<f64>]| {
        let data = CoxData {
            times: &[1.0, 2.0, 3.0, 4.0],
            events: &events,
            covariates: columns,
            strata: &[0; 4],
        };
        cox(data, Ties::Efron).map(|_| ())
    };
    let kind = vec![1.0, 1.0, 0.0, 0.0];
    let all = [true; 4];
    assert_eq!(
        of([false; 4], std::slice::from_ref(&kind)),
        Err(CoxRefusal::NoEvents)
    );
    assert_eq!(
        of(all, std::slice::from_ref(&kind)),
        Err(CoxRefusal::Separation)
    );
    assert_eq!(of(all, &[vec![1.0; 4]]), Err(CoxRefusal::NoContrast));
    assert_eq!(
        of(all, &[kind.clone(), kind.clone()]),
        Err(CoxRefusal::NoContrast)
    );
    let one = [true, false, false, false];
    assert_eq!(
        of(one, &[kind.clone(), vec![0.0, 1.0, 0.0, 1.0]]),
        Err(CoxRefusal::TooFewEvents)
    );
    assert_eq!(of(all, &[vec![0.0, 1.0, 1.0, 0.0]]), Ok(()));
    let nobody = CoxData {
        times: &[],
        events: &[],
        covariates: &[vec![]],
        strata: &[],
    };
    assert_eq!(
        cox(nobody, Ties::Efron).map(|_| ()),
        Err(CoxRefusal::NoEvents)
    );
}

/// One column is Cox's fit itself; a column without contrast is left out; too many for the events are refused; where one
/// side has all events the penalised fit steps in: two early against two late, as `firth_cox` gives it.
#[test]
fn exposed_against_the_rest() {
    let data = published("km_freireich_data");
    let events: Vec<bool> = data.iter().map(|row| row["event"] == "1").collect();
    let (times, one) = (numbers(&data, "time"), vec![0; data.len()]);
    let treated = flag(&data, "arm", "6-MP");
    let constant = vec![2.0; data.len()];
    let plain = exposed_hazard(&times, &events, treated.clone(), vec![constant], &one).unwrap();
    let expected = published("km_freireich_expected_tests");
    close(
        plain.log_hazard_ratio,
        quantity(&expected, "cox_efron_coef_6MP_vs_placebo"),
        1e-6,
        "coefficient",
    );
    assert_eq!((plain.coefficients, plain.penalised), (1, false));
    let many: Vec<Vec<f64>> = (0..6)
        .map(|k| {
            (0..data.len())
                .map(|row| f64::from(u8::from(row % 7 == k)))
                .collect()
        })
        .collect();
    let refused = exposed_hazard(&times, &events, treated, many, &one);
    assert_eq!(refused, Err(CoxRefusal::TooFewEvents));

    let (times, events, exposed) = ([1.0, 2.0, 3.0, 4.0], [true; 4], vec![1.0, 1.0, 0.0, 0.0]);
    let separated = exposed_hazard(&times, &events, exposed.clone(), vec![], &[0; 4]).unwrap();
    let covariates = [exposed];
    let data = CoxData {
        times: &times,
        events: &events,
        covariates: &covariates,
        strata: &[0; 4],
    };
    let fit = firth_cox(data).unwrap();
    assert!(separated.penalised);
    assert_eq!(separated.log_hazard_ratio, fit.coefficients[0]);
    assert_eq!(Some(separated.interval), fit.interval(0));
}
