//! Error rates of the comparisons of sites, and coverage of their differences.

use super::{Count, SIZES, generator, headline};
use crate::calibrate::{Promise, Row};
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::accuracy::{Errors, Nights, Pairs, USUAL, wearers};
use whereworn_stats::mixed::sites::{SensorMean, compare_sites, permute_sites};
use whereworn_stats::multiplicity::holm;
use whereworn_stats::rates::heterogeneity::{ExposedUnit, rate_test};
use whereworn_stats::rates::quasi_ratio::quasi_ratio;

const SITES: usize = 3;

pub fn rows(studies: usize) -> Vec<Row> {
    let mut rows = Vec::new();
    for sensors in SIZES {
        for people in [1, 3] {
            rows.extend(means(sensors, people, studies));
        }
        rows.extend(rates(sensors, studies));
    }
    for sensors in [[4, 12], [12, 4], [8, 24], [24, 8]] {
        rows.extend(unlike(sensors, studies));
    }
    rows
}

const OF_UNLIKE: [&str; 3] = [
    "difference of sites that scatter unlike",
    "difference of sites that scatter unlike, test",
    "difference of sites that scatter unlike, permutation",
];

/// Two sites without a difference, the sensors of the first with three times the standard deviation of the other's. Permutation
/// promises nothing here: it asks whether sites are alike, and these are not.
fn unlike(sensors: [usize; 2], studies: usize) -> Vec<Row> {
    let [wide, narrow] = sensors;
    let condition = format!("{wide} sensors with SD 9 % and {narrow} with SD 3 %, no difference");
    let mut random = generator(&condition);
    let mut counts = [Count::default(); OF_UNLIKE.len()];
    for number in 0..studies {
        let mut pairs = Pairs::default();
        for (site, sd_between) in [9.0, 3.0].into_iter().enumerate() {
            let law = Errors {
                sd_between,
                ..USUAL
            };
            law.add(&mut pairs, site, sensors[site], &[0.0], &mut random);
        }
        let means = pairs.sensor_means(|error| error);
        let apart = compare_sites(&means)
            .ok()
            .and_then(|fit| fit.difference(0, 1));
        counts[0].add(apart.map(|c| c.interval.lower <= 0.0 && 0.0 <= c.interval.upper));
        counts[1].add(apart.map(|c| c.p <= 0.05));
        counts[2].add(permute_sites(&means, number as u64).map(|test| test.p <= 0.05));
    }
    let promises = [
        headline(wide.min(narrow)),
        Promise::RejectsAtMost(0.05),
        Promise::None,
    ];
    let lines = OF_UNLIKE.iter().zip(counts).zip(promises);
    lines
        .map(|((figure, count), promise)| count.row(figure, &condition, promise, studies))
        .collect()
}

const OF_MEANS: [&str; 6] = [
    "difference between two sites, mixed model",
    "bias alike at three sites, mixed model",
    "absolute difference alike at three sites, mixed model",
    "bias alike at three sites, permutation (headline)",
    "any pair of three sites, mixed model, Holm",
    "bias alike at three sites, adjusted for two covariates",
];

fn study(sensors: usize, people: usize, random: &mut ChaCha8Rng) -> Pairs {
    let law = Errors {
        sd_wearers: 3.0,
        ..USUAL
    };
    let people = wearers(people, random);
    let mut pairs = Pairs::default();
    for site in 0..SITES {
        law.add(&mut pairs, site, sensors, &people, random);
    }
    pairs
}

fn means(sensors: usize, people: usize, studies: usize) -> Vec<Row> {
    let condition = format!("{sensors} sensors a site, {people} wearers, no difference");
    let mut random = generator(&condition);
    let mut counts = [Count::default(); OF_MEANS.len()];
    for number in 0..studies {
        let pairs = study(sensors, people, &mut random);
        let errors = pairs.sensor_means(|error| error);
        for (count, held) in counts
            .iter_mut()
            .zip(judged(&pairs, &errors, number as u64))
        {
            count.add(held);
        }
    }
    let promise = |place: usize| match place {
        0 => headline(sensors),
        _ => Promise::RejectsAtMost(0.05),
    };
    let lines = OF_MEANS.iter().zip(counts).enumerate();
    lines
        .map(|(place, (figure, count))| count.row(figure, &condition, promise(place), studies))
        .collect()
}

fn judged(pairs: &Pairs, errors: &[SensorMean], seed: u64) -> [Option<bool>; 6] {
    let reject = |p: f64| p <= 0.05;
    let plain = compare_sites(errors).ok();
    let absolute = compare_sites(&pairs.sensor_means(f64::abs)).ok();
    let overall = |fit: &Option<whereworn_stats::mixed::sites::SiteComparison>| {
        Some(reject(fit.as_ref()?.test()?.p))
    };
    let pair = |a, b| plain.as_ref()?.difference(a, b);
    let all_pairs: Option<Vec<f64>> = [(0, 1), (0, 2), (1, 2)]
        .iter()
        .map(|&(a, b)| Some(pair(a, b)?.p))
        .collect();
    let few = permute_sites(errors, seed);
    [
        pair(0, 1).map(|c| c.interval.lower <= 0.0 && 0.0 <= c.interval.upper),
        overall(&plain),
        overall(&absolute),
        few.map(|test| reject(test.p)),
        all_pairs.map(|p| holm(&p).iter().any(|&p| reject(p))),
        overall(&compare_sites(&with_covariates(errors)).ok()),
    ]
}

/// Order of wear, and a tape on every other sensor.
fn with_covariates(errors: &[SensorMean]) -> Vec<SensorMean> {
    let with = |(number, sensor): (usize, &SensorMean)| SensorMean {
        covariates: vec![(number * 7 % errors.len()) as f64, (number % 2) as f64],
        ..sensor.clone()
    };
    errors.iter().enumerate().map(with).collect()
}

const OF_RATES: [&str; 3] = [
    "rate ratio of two sites, over-dispersed",
    "rates alike, over-dispersed ratio of two of three sites",
    "rates alike at three sites, permutation (headline)",
];

fn rates(sensors: usize, studies: usize) -> Vec<Row> {
    let condition = format!("{sensors} sensors a site, 2 wearers, 8 per 100 nights, no difference");
    let mut random = generator(&condition);
    let mut counts = [Count::default(); OF_RATES.len()];
    let laws = [0.06, 0.10].map(|rate| Nights { rate, shape: 1.5 });
    for number in 0..studies {
        let units: Vec<ExposedUnit> = (0..SITES * sensors)
            .map(|unit| {
                let wearer = unit % sensors % 2;
                let cluster = laws[wearer].cluster(&mut random);
                ExposedUnit {
                    group: unit / sensors,
                    stratum: wearer,
                    events: cluster.sum,
                    exposure: cluster.size,
                }
            })
            .collect();
        let ratio = quasi_ratio(&units, 0, 1);
        counts[0].add(ratio.map(|r| r.interval.lower <= 1.0 && 1.0 <= r.interval.upper));
        counts[1].add(ratio.map(|r| r.p <= 0.05));
        let test = rate_test(&units, number as u64).and_then(|test| test.permutation);
        counts[2].add(test.map(|test| test.p <= 0.05));
    }
    let promise = |place: usize| match place {
        0 => headline(sensors),
        _ => Promise::RejectsAtMost(0.05),
    };
    let lines = OF_RATES.iter().zip(counts).enumerate();
    lines
        .map(|(place, (figure, count))| count.row(figure, &condition, promise(place), studies))
        .collect()
}
