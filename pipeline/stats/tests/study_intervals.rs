//! Intervals of one site that the study's other sites have a say in, by hand. Quantiles by bisection of
//! Simpson's rule on the densities of t and beta, in a script of their own.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::rates::clustered::{Cluster, clustered_mean, clustered_rate, share_within};
use whereworn_stats::rates::study::{StudyValues, mean_in_study, rate_in_study, share_in_study};

/// Sensors of two values each that do not differ, by site.
fn twice(sites: &[&[f64]]) -> (Vec<f64>, Vec<usize>, Vec<usize>) {
    let (mut values, mut sensors, mut places) = (Vec::new(), Vec::new(), Vec::new());
    for (site, means) in sites.iter().enumerate() {
        for mean in *means {
            let sensor = sensors.last().map_or(0, |last| last + 1);
            values.extend([*mean; 2]);
            sensors.extend([sensor; 2]);
            places.extend([site; 2]);
        }
    }
    (values, sensors, places)
}

/// Sensors 8, 10, 12: v is 4, m is 10. Sensors 4, 10, 16: 36 and 10. Two sensors 9, 11: 2 and 10; one sensor alone has no spread.
/// (2 · 4 + 2 · 36) / (2 · 100 + 2 · 100) is 0.2, so the variance at the first site 20 with 4 / 1.3 degrees of freedom: t =
/// 3.137907. Upper end 10 + √(20 / 3) (exp(h (t + h / 4)) - 1) / h with h = 2 / 3 · 1.3 / √3.
#[test]
fn spread_of_another_site_raises_the_upper_end() {
    let (values, sensors, sites) = twice(&[&[8.0, 10.0, 12.0], &[4.0, 10.0, 16.0], &[40.0]]);
    let study = StudyValues {
        values: &values,
        sensors: &sensors,
        sites: &sites,
    };
    let own = clustered_mean(&values[..6], &sensors[..6]).unwrap();
    let first = mean_in_study(&study, 0).unwrap();
    assert_eq!(first.estimate, 10.0);
    let interval = first.interval.unwrap();
    assert_eq!(interval.lower, own.interval.unwrap().lower);
    close(interval.upper, 31.248_048_9, 1e-6, "upper");
    // The site that spreads more is no surer for the others.
    let wide = clustered_mean(&values[6..12], &sensors[6..12]);
    assert_eq!(mean_in_study(&study, 1), wide);
    assert_eq!(mean_in_study(&study, 2).unwrap().interval, None);
    assert_eq!(mean_in_study(&study, 3), None);
}

/// Sites are weighed by their sensors less one, and their spread is relative to their means: with 2 · 4 / 2 · 100 and
/// 1 · 2 / 1 · 10 000 of two sensors 99 and 101 there is less than 0.04 in all, so nothing changes; nor does it with one site.
#[test]
fn another_site_that_spreads_less_changes_nothing() {
    let (values, sensors, sites) = twice(&[&[8.0, 10.0, 12.0], &[99.0, 101.0]]);
    let study = StudyValues {
        values: &values,
        sensors: &sensors,
        sites: &sites,
    };
    let own = clustered_mean(&values[..6], &sensors[..6]);
    assert_eq!(mean_in_study(&study, 0), own);
    let alone = StudyValues {
        values: &values[..6],
        sensors: &sensors[..6],
        sites: &sites[..6],
    };
    assert_eq!(mean_in_study(&alone, 0), own);
}

/// Ten sensors 7.5 and 12.5 spread by 6.9 about their 10, more than the 4 of the three here, and are so many that the upper end from
/// both would be the lower: the interval of a site's own sensors stays.
#[test]
fn other_sites_make_no_site_surer() {
    let many = [7.5, 12.5].repeat(5);
    let (values, sensors, sites) = twice(&[&[8.0, 10.0, 12.0], &many]);
    let study = StudyValues {
        values: &values,
        sensors: &sensors,
        sites: &sites,
    };
    let own = clustered_mean(&values[..6], &sensors[..6]);
    assert_eq!(mean_in_study(&study, 0), own);
}

/// Sensors of twenty errors each, of which so many are beyond their limit.
fn beyond(sites: &[&[usize]]) -> (Vec<f64>, Vec<usize>, Vec<usize>) {
    let (mut errors, mut sensors, mut places) = (Vec::new(), Vec::new(), Vec::new());
    for (site, counts) in sites.iter().enumerate() {
        for count in *counts {
            let sensor = sensors.last().map_or(0, |last| last + 1);
            let size = |error: usize| if error < *count { -1.5 } else { 0.5 };
            errors.extend((0..20).map(size));
            sensors.extend([sensor; 20]);
            places.extend([site; 20]);
        }
    }
    (errors, sensors, places)
}

/// One error in sixty is beyond: p = 59 / 60, v = 0.05² / 3. At the other site none, none and fifteen of twenty: p (1 - p) and v both 0.1875.
/// ρ = (0.05² / 3 + 0.1875) / (59 / 3600 + 0.1875) = 0.923706; with 4 degrees of freedom t is 2.776445, and the effective number
/// (1.959964 / t)² · 3 / (0.6 ρ) = 2.697456. Lower end: p.025 of beta(59 / 60 n + 1/4, n / 60 + 3/4).
#[test]
fn a_bad_sensor_elsewhere_lowers_the_lower_end_of_a_share() {
    let (errors, sensors, sites) = beyond(&[&[1, 0, 0], &[0, 0, 15]]);
    let study = StudyValues {
        values: &errors,
        sensors: &sensors,
        sites: &sites,
    };
    let own = share_within(&errors[..60], &sensors[..60]).unwrap();
    let first = share_in_study(&study, 0).unwrap();
    assert_eq!(first.estimate, own.estimate);
    let interval = first.interval.unwrap();
    assert_eq!(interval.upper, own.interval.unwrap().upper);
    close(interval.lower, 0.316_171_987_7, 1e-6, "lower");
    assert_eq!(share_in_study(&study, 2), None);
    // The site that has it is no surer for the other.
    let bad = share_within(&errors[60..], &sensors[60..]).unwrap();
    let second = share_in_study(&study, 1).unwrap().interval.unwrap();
    assert!(second.lower <= bad.interval.unwrap().lower);
    assert_eq!(second.upper, bad.interval.unwrap().upper);
}

/// One site, and sites none of whose sensors differ, leave a share its own interval.
#[test]
fn shares_that_nothing_spoils_stay_as_they_are() {
    for sites in [&[&[1, 0, 0][..]][..], &[&[0, 0, 0], &[0, 0, 0]]] {
        let (errors, sensors, places) = beyond(sites);
        let study = StudyValues {
            values: &errors,
            sensors: &sensors,
            sites: &places,
        };
        let own = share_within(&errors[..60], &sensors[..60]);
        assert_eq!(share_in_study(&study, 0), own);
    }
}

/// Sensors by site, with events in so many nights.
fn pressed(sites: &[&[(f64, f64)]]) -> (Vec<Cluster>, Vec<usize>) {
    let sensors = sites.iter().enumerate().flat_map(|(site, sensors)| {
        let sensor = move |&(sum, size): &(f64, f64)| (Cluster { sum, size }, site);
        sensors.iter().map(sensor)
    });
    sensors.unzip()
}

const FEW: [(f64, f64); 4] = [(0.0, 10.0), (1.0, 10.0), (0.0, 5.0), (0.0, 15.0)];

/// Twelve sensors of ten nights.
fn twelve(events: [f64; 12]) -> [(f64, f64); 12] {
    events.map(|events| (events, 10.0))
}

/// φ = 1.758 319 059 of both sites, 14 / (1 + φ) = 5.075 555 degrees of freedom, a tail of 0.005 246 953. Twelve sensors of ten nights
/// have shape 12 / φ and 15 events: p = 0.100 605 138 of beta(6.824 700, 15.75), so 0.508 431 624 a night: scipy 1.17, stats.beta.ppf and
/// stats.t.ppf. The other site's 0.986 is above the 6 in 10 nights of the worst sensor.
#[test]
fn sensors_pressed_elsewhere_raise_the_upper_end_of_a_rate() {
    let many = twelve([0., 4., 0., 1., 6., 0., 1., 0., 3., 0., 0., 0.]);
    let (sensors, sites) = pressed(&[&FEW, &many]);
    let own = clustered_rate(&sensors[4..]).unwrap();
    let rate = rate_in_study(&sensors, &sites, 1).unwrap();
    assert_eq!(rate.estimate, own.estimate);
    assert_eq!(rate.interval.unwrap().lower, own.interval.unwrap().lower);
    close(rate.interval.unwrap().upper, 0.508_431_623_7, 1e-7, "upper");
    let few = rate_in_study(&sensors, &sites, 0).unwrap();
    close(few.interval.unwrap().upper, 0.6, 1e-12, "worst sensor");
    assert_eq!(rate_in_study(&sensors, &sites, 2), None);
}

/// One site, sensors that scatter as chance does, and two sites none of whose sensors was pressed leave a rate its own interval, as
/// does a study whose bound is the lower.
#[test]
fn rates_that_nothing_spoils_stay_as_they_are() {
    let even = twelve([1.0; 12]);
    let quiet = twelve([0.0; 12]);
    let little = twelve([0., 2., 0., 1., 3., 0., 1., 0., 2., 0., 1., 1.]);
    for sites in [
        &[&FEW[..]][..],
        &[&FEW, &even],
        &[&FEW, &little],
        &[&quiet, &quiet],
    ] {
        let (sensors, places) = pressed(sites);
        let own = clustered_rate(&sensors[..sites[0].len()]);
        assert_eq!(rate_in_study(&sensors, &places, 0), own);
    }
}
