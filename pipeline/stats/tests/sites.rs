//! Sites compared: balanced designs are the analyses of variance of textbooks (F of the means of sensors), worked from the
//! dyestuff data; permutations counted by hand. Tolerance 1e-6 where a search for the variances is behind a number.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, codes, numbers, published};
use whereworn_stats::distributions::{f_upper_tail, t_two_sided};
use whereworn_stats::mixed::sites::{SensorMean, SiteRefusal, compare_sites, permute_sites};

/// Batches of dyestuff as sensors, A to C at site 0 and D to F at site 1.
fn dyestuff() -> Vec<SensorMean> {
    let data = published("vc_dyestuff_data");
    let (values, batches) = (numbers(&data, "yield"), codes(&data, "batch"));
    (0..6)
        .map(|batch| {
            let own: Vec<f64> = (0..30)
                .filter(|&i| batches[i] == batch)
                .map(|i| values[i])
                .collect();
            let mean = own.iter().sum::<f64>() / 5.0;
            sensor(
                5.0,
                mean,
                own.iter().map(|value| (value - mean).powi(2)).sum(),
                batch / 3,
                0,
            )
        })
        .collect()
}

fn sensor(count: f64, mean: f64, squares: f64, site: usize, wearer: usize) -> SensorMean {
    SensorMean {
        count,
        mean,
        squares,
        site,
        wearer,
        covariates: Vec::new(),
    }
}

/// Means 1505, 1528, 1564 and 1498, 1600, 1470: site means 1532.33 and 1522.67; within sites the squares are 1768.67 and
/// 9362.67 (by hand), so the variances of the site means 294.78 and 1560.44. Welch: t = -9.667 / √1855.22 with
/// 1855.22² / (294.78² / 2 + 1560.44² / 2) = 2.73 degrees of freedom; with the second variance doubled they are 2.37.
#[test]
fn balanced_sites_are_welchs_t_test_of_sensor_means() {
    let fit = compare_sites(&dyestuff()).unwrap();
    let difference = fit.difference(0, 1).unwrap();
    close(difference.estimate, -29.0 / 3.0, 1e-6, "difference");
    let [first, second] = [1_768.0 + 2.0 / 3.0, 9_362.0 + 2.0 / 3.0].map(|s: f64| s / 6.0);
    let error = (first + second).sqrt();
    close_relative(difference.std_error, error, 1e-6, "error");
    let df = 2.0 * (first + 2.0 * second).powi(2) / (first * first + 4.0 * second * second);
    close(df, 2.37, 0.01, "df by hand");
    close(difference.df, df, 1e-6, "df");
    let t = difference.estimate / error;
    close(difference.p, t_two_sided(t, df), 1e-6, "p");
    let test = fit.test().unwrap();
    close_relative(test.f, t * t, 1e-5, "F");
    close(test.p, f_upper_tail(t * t, 1.0, df), 1e-6, "p of F");
    let back = fit.difference(1, 0).unwrap();
    close(back.estimate, -difference.estimate, 1e-12, "swapped");
    assert_eq!(fit.difference(0, 7), None);
}

/// Twenty ways to choose three of six; the two with all large ones on one side are the most extreme.
#[test]
fn permutations_counted_by_hand() {
    let means = [1.0, 2.0, 3.0, 11.0, 12.0, 13.0];
    let sensors: Vec<SensorMean> = means
        .iter()
        .enumerate()
        .map(|(i, &mean)| sensor(4.0, mean, 1.0, i / 3, 0))
        .collect();
    let test = permute_sites(&sensors, 1).unwrap();
    assert_eq!((test.draws, test.as_extreme), (20, 2));
    close(test.p, 3.0 / 21.0, 1e-15, "p");
    close(test.smallest_p, test.p, 1e-15, "smallest");
    // Sites that differ between wearers only: nothing to shuffle.
    let apart: Vec<SensorMean> = sensors
        .iter()
        .map(|sensor| SensorMean {
            wearer: sensor.site,
            ..sensor.clone()
        })
        .collect();
    assert_eq!(permute_sites(&apart, 1), None);
}

/// Three sensors a site of each of two wearers, who differ by 100: what they differ by does not blur the sites.
#[test]
fn wearers_do_not_blur_sites() {
    let own = [-1.0, 0.0, 1.0];
    let sensors: Vec<SensorMean> = (0..12)
        .map(|i| {
            let (site, wearer) = (i / 3 % 2, i / 6);
            sensor(
                5.0,
                100.0 * wearer as f64 + 8.0 * site as f64 + own[i % 3],
                4.0,
                site,
                wearer,
            )
        })
        .collect();
    let fit = compare_sites(&sensors).unwrap();
    assert_eq!(fit.most_df, 9.0);
    let difference = fit.difference(0, 1).unwrap();
    close(difference.estimate, 8.0, 1e-6, "difference");
    // Variance between sensors of one site and wearer is 1: pooled with the wearer-by-site squares, which are 0.
    close_relative(
        difference.std_error,
        (8.0_f64 / 9.0 / 3.0).sqrt(),
        1e-3,
        "error",
    );
}

#[test]
fn what_the_data_cannot_carry_is_refused() {
    let one_site: Vec<SensorMean> = dyestuff()[..3].to_vec();
    assert_eq!(compare_sites(&one_site).unwrap_err(), SiteRefusal::OneSite);
    let two = [sensor(5.0, 1.0, 3.0, 0, 0), sensor(5.0, 2.0, 3.0, 1, 0)];
    assert_eq!(compare_sites(&two).unwrap_err(), SiteRefusal::TooFewSensors);
    assert_eq!(compare_sites(&[]).unwrap_err(), SiteRefusal::OneSite);
    // A tape that every sensor of one site has and no other.
    let mut taped = dyestuff();
    for sensor in &mut taped {
        sensor.covariates = vec![sensor.site as f64];
    }
    assert_eq!(compare_sites(&taped).unwrap_err(), SiteRefusal::NotTellable);
}

#[test]
fn covariates_without_information_are_left_out() {
    let mut sensors = dyestuff();
    for (order, sensor) in sensors.iter_mut().enumerate() {
        sensor.covariates = vec![1.0, (order % 2) as f64, 2.0 * (order % 2) as f64, 0.0];
    }
    let fit = compare_sites(&sensors).unwrap();
    assert_eq!((fit.covariates, fit.most_df), (1, 3.0));
}
