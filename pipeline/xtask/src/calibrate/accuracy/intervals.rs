//! Coverage of the intervals of one site.

use super::{Count, SIZES, count, generator, headline, mean};
use crate::calibrate::{Promise, Row};
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::accuracy::{Counts, Errors, Nights, Pairs, Spread, USUAL, wearers};
use whereworn_stats::agreement::method_comparison::clustered_deming;
use whereworn_stats::agreement::steadiness::steadiness;
use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::over_wearers::mean_over_wearers;
use whereworn_stats::mixed::random_intercept::random_intercept;
use whereworn_stats::rates::clustered::{clustered_mean, clustered_rate, share_within};
use whereworn_stats::rates::poisson::poisson_rate;
use whereworn_stats::resampling::bootstrap::cluster_bootstrap_mean;

/// Standard deviations between and within sensors, percent, and what else is true of them.
const CONDITIONS: [(f64, f64, Spread, Counts); 7] = [
    (5.0, 9.0, Spread::Normal, Counts::FiveToFifty),
    (8.0, 8.0, Spread::Normal, Counts::FiveToFifty),
    (10.0, 5.0, Spread::Normal, Counts::FiveToFifty),
    (2.0, 10.0, Spread::Normal, Counts::FewOrSixty),
    (5.0, 9.0, Spread::OneInTenFarOff, Counts::FiveToFifty),
    (5.0, 9.0, Spread::OneInTenFarUp, Counts::FiveToFifty),
    (5.0, 9.0, Spread::HeavyTails, Counts::FiveToFifty),
];

const RATES: [(&str, f64, f64); 8] = [
    ("6 per 100 nights, sensors differ", 0.06, 1.5),
    ("6 per 100 nights, sensors alike", 0.06, 1000.0),
    ("1.5 per 100 nights, sensors differ", 0.015, 1.5),
    ("20 per 100 nights, sensors differ", 0.2, 1.5),
    ("6 per 100 nights, sensors differ strongly", 0.06, 0.5),
    ("20 per 100 nights, sensors differ strongly", 0.2, 0.5),
    ("40 per 100 nights, sensors differ strongly", 0.4, 0.5),
    ("20 per 100 nights, most from few sensors", 0.2, 0.25),
];

pub fn rows(quick: bool) -> Vec<Row> {
    let studies = if quick { 150 } else { 2000 };
    let mut rows = Vec::new();
    for sensors in SIZES {
        for condition in CONDITIONS {
            rows.extend(pairs(sensors, condition, studies, quick));
        }
        rows.extend(over_wearers(sensors, studies));
        for (name, rate, shape) in RATES {
            rows.extend(rates(name, Nights { rate, shape }, sensors, studies));
        }
    }
    rows
}

const OF_PAIRS: [&str; 10] = [
    "bias (headline)",
    "bias, random intercept",
    "share within 20 % (headline)",
    "share within 20 %, bootstrap of sensors",
    "mean absolute relative difference (headline)",
    "mean absolute relative difference, bootstrap of sensors",
    "SD between sensors",
    "SD within a sensor",
    "drift per day of wear",
    "slope of Deming's line, error ratio 4",
];

/// Those that promise nothing take most of the time: a quick run goes without.
fn of_pairs(pairs: &Pairs, quick: bool) -> [Option<Interval>; 10] {
    let limits: Vec<f64> = pairs.errors.iter().map(|error| error / 20.0).collect();
    let within: Vec<f64> = pairs.errors.iter().map(within_20).collect();
    let absolute: Vec<f64> = pairs.errors.iter().map(|error| error.abs()).collect();
    let steady = steadiness(&pairs.errors, &pairs.sensors, &pairs.days);
    let full = |of: &dyn Fn() -> Option<Interval>| if quick { None } else { of() };
    [
        steady.and_then(|s| s.bias.interval),
        full(&|| random_intercept(&pairs.errors, &pairs.sensors)?.interval),
        share_within(&limits, &pairs.sensors).and_then(|share| share.interval),
        full(&|| cluster_bootstrap_mean(&within, &pairs.sensors, 1)),
        clustered_mean(&absolute, &pairs.sensors).and_then(|mean| mean.interval),
        full(&|| cluster_bootstrap_mean(&absolute, &pairs.sensors, 1)),
        steady.and_then(|s| s.sd_between?.interval),
        steady.and_then(|s| s.sd_within?.interval),
        steady.and_then(|s| s.drift?.interval),
        full(&|| {
            let line = clustered_deming(&pairs.fingersticks, &pairs.readings, &pairs.sensors, 4.0);
            line.map(|line| line.slope)
        }),
    ]
}

fn within_20(error: &f64) -> f64 {
    f64::from(u8::from(error.abs() <= 20.0))
}

fn pairs(
    sensors: usize,
    (sd_between, sd_within, spread, counts): (f64, f64, Spread, Counts),
    studies: usize,
    quick: bool,
) -> Vec<Row> {
    let spread_name = match spread {
        Spread::Normal => "",
        Spread::OneInTenFarOff => ", one in ten 25 % off",
        Spread::OneInTenFarUp => ", one in ten 25 % high",
        Spread::HeavyTails => ", heavy tails",
    };
    let counts_name = match counts {
        Counts::FiveToFifty => "",
        Counts::FewOrSixty => ", 1 to 4 pairs or 60",
    };
    let condition = format!(
        "{sensors} sensors, SD {sd_between} % between and {sd_within} % within{spread_name}{counts_name}"
    );
    let mut random = generator(&condition);
    let law = Errors {
        sd_between,
        sd_within,
        spread,
        counts,
        ..USUAL
    };
    let truths = truths(law, &mut random);
    let mut tally = [Count::default(); OF_PAIRS.len()];
    for _ in 0..studies {
        let pairs = law.site(sensors, &[0.0], &mut random);
        for ((count, interval), truth) in tally.iter_mut().zip(of_pairs(&pairs, quick)).zip(truths)
        {
            count.add(interval.map(|i| holds(i, truth)));
        }
    }
    let promise = |place: usize| match (place, spread) {
        (1 | 3 | 5 | 9, _) => Promise::None,
        // Where no sensor that is far off is in the data, nothing tells that there are any.
        (0, Spread::OneInTenFarUp) => Promise::Covers(0.88),
        (0, _) => mean(sensors),
        (2, Spread::OneInTenFarOff | Spread::OneInTenFarUp) => Promise::None,
        (2, _) => count(sensors),
        (4, Spread::Normal | Spread::HeavyTails) => mean(sensors),
        (6, Spread::OneInTenFarOff | Spread::OneInTenFarUp) => Promise::None,
        (4, _) => Promise::Covers(0.88),
        _ => headline(sensors),
    };
    let lines = OF_PAIRS.iter().zip(tally).enumerate();
    lines
        .map(|(place, (figure, count))| count.row(figure, &condition, promise(place), studies))
        .collect()
}

/// The within-sensor standard deviation that pairs see holds a sensor's own drift.
fn truths(law: Errors, random: &mut ChaCha8Rng) -> [f64; 10] {
    let share = law.truth(|error| within_20(&error), random);
    let absolute = law.truth(f64::abs, random);
    let slope_variance = (0.05 * law.sd_between).powi(2) * 14.0 * 14.0 / 12.0;
    let within = (law.sd_within.powi(2) + slope_variance).sqrt();
    [
        law.mean(),
        law.mean(),
        share,
        share,
        absolute,
        absolute,
        law.sd_of_levels(),
        within,
        law.drift,
        1.0 + law.mean() / 100.0,
    ]
}

fn holds(interval: Interval, truth: f64) -> bool {
    interval.lower <= truth && truth <= interval.upper
}

fn over_wearers(sensors: usize, studies: usize) -> Vec<Row> {
    let mut rows = Vec::new();
    let law = Errors {
        sd_wearers: 3.0,
        ..USUAL
    };
    for people in [2, 4].into_iter().filter(|&people| people <= sensors) {
        let condition = format!("{sensors} sensors of {people} wearers, SD 3 % between wearers");
        let mut random = generator(&condition);
        let mut counts = [Count::default(); 2];
        for _ in 0..studies {
            let people = wearers(people, &mut random);
            let pairs = law.site(sensors, &people, &mut random);
            let mean = mean_over_wearers(&pairs.errors, &pairs.sensors, &pairs.wearers);
            counts[0].add(mean.map(|fit| holds(fit.mean.interval, law.bias)));
            let plain =
                random_intercept(&pairs.errors, &pairs.sensors).and_then(|fit| fit.interval);
            counts[1].add(plain.map(|interval| holds(interval, law.bias)));
        }
        rows.push(counts[0].row(
            "bias over wearers (headline)",
            &condition,
            count(sensors),
            studies,
        ));
        rows.push(counts[1].row("bias, random intercept", &condition, Promise::None, studies));
    }
    rows
}

fn rates(name: &str, law: Nights, sensors: usize, studies: usize) -> Vec<Row> {
    let condition = format!("{sensors} sensors, {name}");
    let mut random = generator(&condition);
    let mut counts = [Count::default(); 2];
    for _ in 0..studies {
        let clusters: Vec<_> = (0..sensors).map(|_| law.cluster(&mut random)).collect();
        let interval = clustered_rate(&clusters).and_then(|rate| rate.interval);
        counts[0].add(interval.map(|i| holds(i, law.rate)));
        let (events, nights) = clusters.iter().fold((0.0, 0.0), |(e, n), sensor| {
            (e + sensor.sum, n + sensor.size)
        });
        counts[1]
            .add(poisson_rate(events as u64, nights).map(|rate| holds(rate.interval, law.rate)));
    }
    // What the few sensors bring that make most of it is known only once they are in the data.
    let promise = if law.shape < 0.5 {
        Promise::None
    } else {
        count(sensors)
    };
    vec![
        counts[0].row(
            "rate of night artefacts (headline)",
            &condition,
            promise,
            studies,
        ),
        counts[1].row(
            "rate of night artefacts, exact Poisson",
            &condition,
            Promise::None,
            studies,
        ),
    ]
}
