//! Cumulative incidence against R survival (delta-method standard error, matched by statsmodels), all rows, 1e-9; and
//! its intervals; incidence and counting-process variance of R cmprsk. Data: Scrucca et al. 2007 Bone Marrow Transplant 40:381; mgus2 of R survival.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Rows, close, codes, maybe, number, numbers, published};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_stats::survival::gray::{gray_test, stratified_gray_test};
use whereworn_stats::survival::incidence::{IncidencePoint, cumulative_incidence};
use whereworn_stats::survival::interval_scale::{IntervalScale, share_interval};

fn curves(data: &Rows, column: &str, group: &str) -> Vec<Vec<IncidencePoint>> {
    let rows: Rows = data
        .iter()
        .filter(|row| row[column] == group)
        .cloned()
        .collect();
    cumulative_incidence(&numbers(&rows, "time"), &causes(&rows), 2)
}

fn causes(rows: &Rows) -> Vec<Option<usize>> {
    rows.iter()
        .map(|row| row["status"].parse::<usize>().unwrap().checked_sub(1))
        .collect()
}

const SETS: [(&str, &str); 2] = [("cr_bmt", "disease"), ("cr_mgus2first200", "sex")];

#[test]
fn incidence_and_standard_error() {
    for (set, column) in SETS {
        let data = published(&format!("{set}_data"));
        for row in published(&format!("{set}_expected_cif_survival")) {
            let what = format!("{set} {row:?}");
            let cause = number(&row, "cause") as usize - 1;
            let curve = &curves(&data, column, &row["group"])[cause];
            let time = number(&row, "time");
            let point = curve.iter().find(|point| point.time == time).expect(&what);
            assert_eq!(point.at_risk as f64, number(&row, "n_risk"), "{what}");
            assert_eq!(point.events as f64, number(&row, "n_event_cause"), "{what}");
            close(point.incidence, number(&row, "cif"), 1e-9, &what);
            close(point.std_error, number(&row, "std_err"), 1e-9, &what);
            for (scale, suffix) in [
                (IntervalScale::Plain, "plain"),
                (IntervalScale::LogLog, "loglog"),
            ] {
                let interval = share_interval(point.incidence, point.std_error, scale);
                let expected = maybe(&row, &format!("lower_{suffix}"))
                    .zip(maybe(&row, &format!("upper_{suffix}")));
                match (interval, expected) {
                    (Some(interval), Some((lower, upper))) => {
                        close(interval.lower, lower, 1e-9, &what);
                        close(interval.upper, upper, 1e-9, &what);
                    }
                    // The other program shows an interval of no width before the first event, on the plain scale.
                    (None, Some((lower, upper))) => {
                        assert_eq!((lower, upper, point.incidence), (0.0, 0.0, 0.0), "{what}")
                    }
                    (interval, expected) => {
                        assert_eq!((interval, expected), (None, None), "{what}")
                    }
                }
            }
        }
    }
}

#[test]
fn incidence_of_a_second_program() {
    for (set, column) in SETS {
        let data = published(&format!("{set}_data"));
        for row in published(&format!("{set}_expected_cif_cmprsk")) {
            let curve = &curves(&data, column, &row["group"])[number(&row, "cause") as usize - 1];
            let time = number(&row, "time");
            let point = curve.iter().rfind(|point| point.time <= time).unwrap();
            close(
                point.incidence,
                number(&row, "cif"),
                1e-9,
                &format!("{set} {row:?}"),
            );
            let variance = point.counting_error.powi(2);
            close(
                variance,
                number(&row, "var_cmprsk"),
                1e-9,
                &format!("{set} {row:?}"),
            );
        }
    }
}

/// With one cause and no censoring the incidence is the share so far, its variance binomial: p (1 - p) / n.
#[test]
fn one_cause_is_a_share() {
    let curve = &cumulative_incidence(&[1.0, 2.0, 3.0, 4.0, 5.0], &[Some(0); 5], 1)[0];
    for (rank, point) in curve.iter().enumerate() {
        let share = (rank + 1) as f64 / 5.0;
        close(point.incidence, share, 1e-12, "share");
        close(
            point.std_error,
            (share * (1.0 - share) / 5.0).sqrt(),
            1e-8,
            "standard error",
        );
    }
}

/// Two causes and censoring by hand: at 1 one of four has cause 0 (1/4), at 2 one is censored, at 3 one of two has
/// cause 1 (3/4 · 1/2), at 4 the last has cause 0 (3/8 more). Together 1.
#[test]
fn two_causes_by_hand() {
    let causes = [Some(0), None, Some(1), Some(0)];
    let curves = cumulative_incidence(&[1.0, 2.0, 3.0, 4.0], &causes, 2);
    let incidence =
        |cause: usize| -> Vec<f64> { curves[cause].iter().map(|point| point.incidence).collect() };
    assert_eq!(incidence(0), [0.25, 0.25, 0.25, 0.625]);
    assert_eq!(incidence(1), [0.0, 0.0, 0.375, 0.375]);
    close(
        curves[0][0].std_error,
        (0.25_f64 * 0.75 / 4.0).sqrt(),
        1e-12,
        "standard error",
    );
}

#[test]
fn nobody_has_empty_curves() {
    assert_eq!(cumulative_incidence(&[], &[], 3), vec![Vec::new(); 3]);
}

/// Gray's test against R cmprsk, 1e-6.
#[test]
fn gray_tests() {
    for (set, column) in SETS {
        let data = published(&format!("{set}_data"));
        for row in published(&format!("{set}_expected_gray")) {
            let cause = number(&row, "cause") as usize - 1;
            let test = gray_test(
                &numbers(&data, "time"),
                &causes(&data),
                &codes(&data, column),
                cause,
            )
            .unwrap();
            let what = format!("{set} {row:?}");
            close(test.chi_square, number(&row, "gray_stat"), 1e-6, &what);
            assert_eq!(test.df as f64, number(&row, "df"), "{what}");
            close(test.p, number(&row, "p"), 1e-6, &what);
        }
    }
}

/// Within strata scores and variances add up: the same subjects in two strata have twice the chi-square of one, another
/// stratum that holds one group adds nothing, and one stratum is the plain test.
#[test]
fn gray_test_within_strata() {
    let data = published("cr_bmt_data");
    let (times, causes, groups) = (
        numbers(&data, "time"),
        causes(&data),
        codes(&data, "disease"),
    );
    let once = gray_test(&times, &causes, &groups, 1).unwrap();
    let n = times.len();
    let lone = vec![7.0, 9.0, 11.0];
    let strata: Vec<usize> = (0..2 * n + 3).map(|i| i / n).collect();
    let twice = stratified_gray_test(
        &[times.clone(), times, lone].concat(),
        &[causes.clone(), causes, vec![Some(1), Some(0), None]].concat(),
        &[groups.clone(), groups, vec![1; 3]].concat(),
        &strata,
        1,
    )
    .unwrap();
    close(twice.chi_square, 2.0 * once.chi_square, 1e-9, "twice");
    assert_eq!((once.df, twice.df), (1, 1));
}

/// Sexes of 200 patients within four strata (every fourth patient): the chi-square against that with the variance of 2,000 shuffles
/// of the sexes within strata, which the variance of Gray only nearly is.
#[test]
fn gray_test_within_strata_by_permutation() {
    let data = published("cr_mgus2first200_data");
    let (times, causes) = (numbers(&data, "time"), causes(&data));
    let sexes = codes(&data, "sex");
    let strata: Vec<usize> = (0..times.len()).map(|i| i % 4).collect();
    let score = |sexes: &[usize]| {
        let test = stratified_gray_test(&times, &causes, sexes, &strata, 1).unwrap();
        test.chi_square
    };
    let observed = score(&sexes);
    let mut generator = ChaCha8Rng::seed_from_u64(1);
    let draws = 2000;
    let (mut mean, mut as_extreme) = (0.0, 0);
    for _ in 0..draws {
        let mut shuffled = sexes.clone();
        for i in (4..shuffled.len()).rev() {
            let mates = (i - i % 4) / 4 + 1;
            shuffled.swap(i, i % 4 + 4 * generator.random_range(0..mates));
        }
        let chi_square = score(&shuffled);
        mean += chi_square / draws as f64;
        as_extreme += usize::from(chi_square >= observed);
    }
    // A chi-square with one degree of freedom has mean 1; the p values agree.
    close(mean, 1.0, 0.1, "mean over shuffles");
    let p = stratified_gray_test(&times, &causes, &sexes, &strata, 1)
        .unwrap()
        .p;
    close(as_extreme as f64 / draws as f64, p, 0.04, "p");
}

/// Three groups without a difference among 200 patients: over 1,000 shuffles the chi-square has the mean of one with two
/// degrees of freedom and exceeds its 95th percentile in about one of twenty.
#[test]
fn gray_test_of_three_groups_by_permutation() {
    let data = published("cr_mgus2first200_data");
    let (times, causes) = (numbers(&data, "time"), causes(&data));
    let mut groups: Vec<usize> = (0..times.len()).map(|i| i % 5 % 3).collect();
    let mut generator = ChaCha8Rng::seed_from_u64(2);
    let draws = 1000;
    let (mut mean, mut beyond) = (0.0, 0);
    for _ in 0..draws {
        for i in (1..groups.len()).rev() {
            groups.swap(i, generator.random_range(0..=i));
        }
        let test = gray_test(&times, &causes, &groups, 1).unwrap();
        assert_eq!(test.df, 2);
        mean += test.chi_square / draws as f64;
        beyond += usize::from(test.p <= 0.05);
    }
    close(mean, 2.0, 0.2, "mean over shuffles");
    close(
        beyond as f64 / draws as f64,
        0.05,
        0.02,
        "beyond the 95th percentile",
    );
}

/// The names of the groups do not matter.
#[test]
fn gray_test_of_three_groups() {
    let times: Vec<f64> = (1..=18).map(f64::from).collect();
    let causes: Vec<Option<usize>> = (0..18)
        .map(|index| [Some(0), Some(1), Some(0), None, Some(0)][index % 5])
        .collect();
    let groups: Vec<usize> = (0..18)
        .map(|index| index * index % 3 + usize::from(index > 8))
        .collect();
    let renamed: Vec<usize> = groups.iter().map(|group| 2 - group).collect();
    let one = gray_test(&times, &causes, &groups, 0).unwrap();
    let other = gray_test(&times, &causes, &renamed, 0).unwrap();
    assert_eq!((one.df, other.df), (2, 2));
    close(one.chi_square, other.chi_square, 1e-9, "renamed");
}

#[test]
fn gray_test_without_anything_to_compare() {
    assert_eq!(gray_test(&[], &[], &[], 0), None);
    assert_eq!(
        gray_test(&[1.0, 2.0], &[Some(0), Some(0)], &[0, 0], 0),
        None
    );
    assert_eq!(gray_test(&[1.0, 2.0], &[Some(1), None], &[0, 1], 0), None);
}
