//! Coverage of the intervals of a site that the study's other sites have a say in.

use super::{Count, count, generator, mean};
use crate::calibrate::{Promise, Row};
use whereworn_simulate::accuracy::{Errors, Pairs, Spread, USUAL};
use whereworn_stats::rates::study::{StudyValues, mean_in_study, share_in_study};

const SITES: usize = 4;

/// Sensors of a site.
const SIZES: [usize; 3] = [5, 10, 20];

const OF_MEANS: &str = "mean absolute relative difference in the study";
const OF_SHARES: &str = "share within 20 % in the study";

pub fn rows(quick: bool) -> Vec<Row> {
    let studies = if quick { 150 } else { 2000 };
    let mut rows = Vec::new();
    for sensors in SIZES {
        for (name, spread) in [
            ("", Spread::Normal),
            (", one in ten 25 % off", Spread::OneInTenFarOff),
            (", one in ten 25 % high", Spread::OneInTenFarUp),
        ] {
            let condition = format!(
                "{sensors} sensors at each of {SITES} sites, SD 5 % between and 9 % within{name}"
            );
            rows.extend(of_sites(&condition, spread, sensors, studies));
        }
    }
    rows
}

fn of_sites(condition: &str, spread: Spread, sensors: usize, studies: usize) -> [Row; 2] {
    let mut random = generator(condition);
    let law = Errors { spread, ..USUAL };
    let mean_truth = law.truth(f64::abs, &mut random);
    let mut apart = generator(&format!("{condition}, shares"));
    let share_truth = law.truth(|error| f64::from(u8::from(error.abs() <= 20.0)), &mut apart);
    let mut tally = [Count::default(); 2];
    for _ in 0..studies {
        let mut pairs = Pairs::default();
        for site in 0..SITES {
            law.add(&mut pairs, site, sensors, &[0.0], &mut random);
        }
        let study = |values| StudyValues {
            values,
            sensors: &pairs.sensors,
            sites: &pairs.sites,
        };
        let absolute: Vec<f64> = pairs.errors.iter().map(|error| error.abs()).collect();
        let limits: Vec<f64> = pairs.errors.iter().map(|error| error / 20.0).collect();
        // The others know of each other: one site a study.
        let figures = [
            (mean_in_study(&study(&absolute), 0), mean_truth),
            (share_in_study(&study(&limits), 0), share_truth),
        ];
        for (count, (figure, truth)) in tally.iter_mut().zip(figures) {
            let interval = figure.and_then(|figure| figure.interval);
            count.add(interval.map(|i| i.lower <= truth && truth <= i.upper));
        }
    }
    let promise = |of: fn(usize) -> Promise| match spread {
        Spread::Normal => of(sensors),
        _ => Promise::Covers(0.90),
    };
    [
        tally[0].row(OF_MEANS, condition, promise(mean), studies),
        tally[1].row(OF_SHARES, condition, promise(count), studies),
    ]
}
