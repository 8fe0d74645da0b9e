//! Coverage of the intervals of a site that the study's other sites have a say in.

use super::{Count, count, generator, mean};
use crate::calibrate::{Promise, Row};
use rand::RngExt;
use whereworn_simulate::accuracy::{Errors, Nights, Pairs, Spread, USUAL};
use whereworn_stats::rates::clustered::Cluster;
use whereworn_stats::rates::study::{StudyValues, mean_in_study, rate_in_study, share_in_study};

const SITES: usize = 4;

/// Sensors of a site.
const SIZES: [usize; 3] = [5, 10, 20];

const OF_MEANS: &str = "mean absolute relative difference in the study";
const OF_SHARES: &str = "share within 20 % in the study";
const OF_RATES: &str = "rate of night artefacts in the study";

/// Sensors that are pressed at all, a share of them, and how often.
const RATES: [(&str, Nights, f64); 5] = [
    ("6 per 100 nights, sensors alike", nights(0.06, 1000.0), 1.0),
    ("6 per 100 nights, sensors differ", nights(0.06, 1.5), 1.0),
    (
        "20 per 100 nights, sensors differ strongly",
        nights(0.2, 0.5),
        1.0,
    ),
    (
        "20 per 100 nights, most from few sensors",
        nights(0.2, 0.25),
        1.0,
    ),
    (
        "3 a night of one sensor in ten, none of the others",
        nights(3.0, 1000.0),
        0.1,
    ),
];

const fn nights(rate: f64, shape: f64) -> Nights {
    Nights { rate, shape }
}

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
        for (name, law, pressed) in RATES {
            let condition = format!("{sensors} sensors at each of {SITES} sites, {name}");
            rows.push(of_nights(&condition, law, pressed, sensors, studies));
        }
    }
    rows
}

fn of_nights(condition: &str, law: Nights, pressed: f64, sensors: usize, studies: usize) -> Row {
    let mut random = generator(condition);
    let truth = pressed * law.rate;
    let sites: Vec<usize> = (0..SITES * sensors)
        .map(|sensor| sensor / sensors)
        .collect();
    let mut tally = Count::default();
    for _ in 0..studies {
        let sensor = |_: &usize| {
            let rate = if random.random::<f64>() < pressed {
                law.rate
            } else {
                0.0
            };
            Nights { rate, ..law }.cluster(&mut random)
        };
        let clusters: Vec<Cluster> = sites.iter().map(sensor).collect();
        let interval = rate_in_study(&clusters, &sites, 0).and_then(|rate| rate.interval);
        tally.add(interval.map(|i| i.lower <= truth && truth <= i.upper));
    }
    // A site in which no sensor is pressed shows no rate to hold that of others to.
    let promise = if pressed < 1.0 {
        Promise::None
    } else {
        count(sensors)
    };
    tally.row(OF_RATES, condition, promise, studies)
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
