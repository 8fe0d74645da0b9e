//! Coverage of the intervals of a site that the study's other sites have a say in.

use super::{Count, count, generator, mean};
use crate::calibrate::{Promise, Row};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::accuracy::{Errors, Nights, Pairs, Spread, USUAL};
use whereworn_stats::rates::clustered::Cluster;
use whereworn_stats::rates::study::{StudyValues, mean_in_study, rate_in_study};

const SITES: usize = 4;

/// Sensors of a site.
const SIZES: [usize; 3] = [5, 10, 20];

const OF_MEANS: &str = "mean absolute relative difference in the study";
const OF_RATES: &str = "rate of night artefacts in the study";

/// A share of sensors has that many artefacts a night, the others 6 in 100 nights.
#[derive(Clone, Copy)]
struct Pressed {
    share: f64,
    rate: f64,
}

const OTHERS: Nights = Nights {
    rate: 0.06,
    shape: 1.5,
};

impl Pressed {
    fn truth(self) -> f64 {
        (1.0 - self.share) * OTHERS.rate + self.share * self.rate
    }

    fn sensor(self, random: &mut ChaCha8Rng) -> Cluster {
        let pressed = Nights {
            rate: self.rate,
            shape: 4.0,
        };
        let bad = random.random::<f64>() < self.share;
        let law = if bad { pressed } else { OTHERS };
        law.cluster(random)
    }
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
            rows.push(means(condition, spread, sensors, studies));
        }
        for (name, share, rate) in [
            ("6 per 100 nights", 0.0, 0.0),
            ("6 per 100 nights, one in ten 3 a night", 0.1, 3.0),
            ("6 per 100 nights, one in eight 1 a night", 0.125, 1.0),
        ] {
            let condition = format!("{sensors} sensors at each of {SITES} sites, {name}");
            rows.push(rates(condition, Pressed { share, rate }, sensors, studies));
        }
    }
    rows
}

fn means(condition: String, spread: Spread, sensors: usize, studies: usize) -> Row {
    let mut random = generator(&condition);
    let law = Errors { spread, ..USUAL };
    let truth = law.truth(f64::abs, &mut random);
    let mut tally = Count::default();
    for _ in 0..studies {
        let mut pairs = Pairs::default();
        for site in 0..SITES {
            law.add(&mut pairs, site, sensors, &[0.0], &mut random);
        }
        let values: Vec<f64> = pairs.errors.iter().map(|error| error.abs()).collect();
        let study = StudyValues {
            values: &values,
            sensors: &pairs.sensors,
            sites: &pairs.sites,
        };
        // The others know of each other: one a study.
        let interval = mean_in_study(&study, 0).and_then(|mean| mean.interval);
        tally.add(interval.map(|i| i.lower <= truth && truth <= i.upper));
    }
    let promise = match spread {
        Spread::Normal => mean(sensors),
        _ => Promise::Covers(0.90),
    };
    tally.row(OF_MEANS, &condition, promise, studies)
}

fn rates(condition: String, law: Pressed, size: usize, studies: usize) -> Row {
    let mut random = generator(&condition);
    let mut tally = Count::default();
    for _ in 0..studies {
        let mut sensors = |count: usize| -> Vec<Cluster> {
            (0..count).map(|_| law.sensor(&mut random)).collect()
        };
        let (own, elsewhere) = (sensors(size), sensors((SITES - 1) * size));
        let interval = rate_in_study(&own, &elsewhere).and_then(|rate| rate.interval);
        tally.add(interval.map(|i| i.lower <= law.truth() && law.truth() <= i.upper));
    }
    // With few sensors in all none of them may have shown the trouble.
    let promise = if size < 10 && law.share > 0.0 {
        Promise::Covers(0.85)
    } else {
        count(size)
    };
    tally.row(OF_RATES, &condition, promise, studies)
}
