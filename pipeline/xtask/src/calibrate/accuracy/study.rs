//! Coverage of the intervals of a site that the study's other sites have a say in.

use super::{Count, generator, mean};
use crate::calibrate::{Promise, Row};
use whereworn_simulate::accuracy::{Errors, Pairs, Spread, USUAL};
use whereworn_stats::rates::study::{StudyValues, mean_in_study};

const SITES: usize = 4;

/// Sensors of a site.
const SIZES: [usize; 3] = [5, 10, 20];

const OF_MEANS: &str = "mean absolute relative difference in the study";

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
