//! Figures on delay, and on sensors worn at once.

use super::{Promise, Row};
use rayon::prelude::*;
use whereworn_simulate::delay::{Checks, Noise, World, study, worn_at_once};
use whereworn_stats::delay::difference::delay_difference;
use whereworn_stats::delay::first_order::first_order_delay;
use whereworn_stats::delay::point::{DelayPoint, delay_point};
use whereworn_stats::interval::Interval;
use whereworn_stats::simultaneous::pair_mean::{PairMean, SensorPair, pair_mean};
use whereworn_stats::simultaneous::two_sensors::{CommonReading, TwoSensors, two_sensors};

/// Sensors a site.
const SENSORS: [usize; 5] = [2, 3, 5, 10, 20];

/// The bias that a delay may have, minutes.
const MOST_BIAS: f64 = 1.5;

/// Kinds of noise: name, correlated part, its minutes, white part.
const NOISE: [(&str, f64, f64, f64); 6] = [
    ("white 3 %", 0.0, 15.0, 0.03),
    ("white 5 %", 0.0, 15.0, 0.05),
    ("2 % over 5 min", 0.02, 5.0, 0.0),
    ("3 % over 15 min", 0.03, 15.0, 0.0),
    ("4.5 % over 30 min, white 1 %", 0.045, 30.0, 0.01),
    ("5 % over 60 min", 0.05, 60.0, 0.0),
];

/// The lines of the page.
pub fn rows(quick: bool) -> Vec<Row> {
    // A test that is a little too eager shows only in many studies.
    let (studies, many) = if quick { (20, 20) } else { (300, 1500) };
    let mut rows = over_kinds_of_noise(studies);
    rows.extend(with_offsets(studies));
    rows.extend(around_meals(studies));
    for sensors in SENSORS {
        rows.extend(over_sensors(sensors, studies));
        rows.extend(differences(sensors, studies, many));
        rows.extend(at_once(sensors, many));
    }
    rows
}

fn points(world: &World, sensors: usize, seed: u64) -> Vec<DelayPoint> {
    let pairs = study(world, sensors, seed);
    pairs.iter().filter_map(delay_point).collect()
}

/// How often shown intervals hold the truth.
fn coverage(
    figure: &'static str,
    condition: String,
    promise: f64,
    truth: f64,
    intervals: &[Option<Interval>],
) -> Row {
    let shown = intervals.iter().flatten();
    Row {
        figure,
        condition,
        promise: Promise::Covers(promise),
        held: shown
            .clone()
            .filter(|i| i.lower <= truth && truth <= i.upper)
            .count(),
        shown: shown.count(),
        studies: intervals.len(),
    }
}

fn rejections(figure: &'static str, condition: String, p_values: &[Option<f64>]) -> Row {
    let shown = p_values.iter().flatten();
    Row {
        figure,
        condition,
        promise: Promise::RejectsAtMost(0.05),
        held: shown.clone().filter(|p| **p <= 0.05).count(),
        shown: shown.count(),
        studies: p_values.len(),
    }
}

fn over_kinds_of_noise(studies: u64) -> Vec<Row> {
    let mut rows = Vec::new();
    for (kind, (name, coloured, minutes, white)) in NOISE.into_iter().enumerate() {
        for (spacing, delay) in [(5, 2.0), (5, 15.0), (15, 2.0), (15, 15.0)] {
            let world = World {
                spacing,
                noise: Noise {
                    coloured,
                    minutes,
                    white,
                },
                ..World::with_delay(delay)
            };
            let first = 11_000_000 + 100_000 * kind as u64 + 1000 * (spacing as u64 + delay as u64);
            let condition =
                format!("10 sensors, delay {delay} min, noise {name}, every {spacing} min");
            rows.extend(bias_and_coverage(&world, 10, first, studies, condition));
        }
    }
    rows
}

/// Sensors that read higher or lower by so many mg/dL whatever glucose is, on average and each by itself.
fn with_offsets(studies: u64) -> Vec<Row> {
    let mut rows = Vec::new();
    for (number, (offset, offset_sd)) in [(15.0, 0.0), (-15.0, 0.0), (25.0, 10.0), (0.0, 15.0)]
        .into_iter()
        .enumerate()
    {
        for (sensors, delay) in [(5, 12.0), (20, 12.0), (20, 8.0)] {
            let world = World {
                offset,
                offset_sd,
                ..World::with_delay(delay)
            };
            let first = 31_000_000
                + 10_000 * number as u64
                + 1000 * sensors as u64
                + delay as u64 * 100_000;
            let condition = format!(
                "{sensors} sensors, delay {delay} min, {offset} mg/dL added (standard deviation {offset_sd})"
            );
            rows.extend(bias_and_coverage(
                &world, sensors, first, studies, condition,
            ));
        }
    }
    rows
}

/// Meals that glucose turns sharply upwards at; gains that differ by 5 %, 5 mg/dL added, noise of 4 % over 40 min and 1 % from
/// one reading to the next.
fn around_meals(studies: u64) -> Vec<Row> {
    let checks = [
        ("at random", Checks::Random),
        ("before meals", Checks::BeforeMeals),
        ("15 to 40 min after meals", Checks::AfterMeals),
    ];
    let mut rows = Vec::new();
    for (kind, (name, checks)) in checks.into_iter().enumerate() {
        for spacing in [5, 10, 15] {
            for delay in [0.0, 5.0, 10.0, 15.0] {
                let world = World {
                    gain_sd: 0.05,
                    offset: 5.0,
                    spacing,
                    noise: Noise {
                        coloured: 0.04,
                        minutes: 40.0,
                        white: 0.01,
                    },
                    meals: Some(checks),
                    ..World::with_delay(delay)
                };
                let first = 41_000_000
                    + 1_000_000 * kind as u64
                    + 50_000 * spacing as u64
                    + 1000 * delay as u64;
                let condition =
                    format!("10 sensors, delay {delay} min, checks {name}, every {spacing} min");
                rows.extend(bias_and_coverage(&world, 10, first, studies, condition));
            }
        }
    }
    rows
}

/// What the estimates of studies of a world are off by on average, and how often their intervals hold its delay.
fn bias_and_coverage(
    world: &World,
    sensors: usize,
    first: u64,
    studies: u64,
    condition: String,
) -> [Row; 2] {
    let found: Vec<_> = (first..first + studies)
        .into_par_iter()
        .map(|seed| first_order_delay(&points(world, sensors, seed)))
        .collect();
    let shown: Vec<f64> = found.iter().flatten().map(|d| d.minutes).collect();
    let intervals: Vec<_> = found.iter().map(|d| d.and_then(|d| d.interval)).collect();
    [
        bias_row(&condition, &shown, world.delay, studies as usize),
        coverage("delay", condition, 0.9, world.delay, &intervals),
    ]
}

/// One verdict a condition: whether the mean of all estimates is near enough, or may be by three standard errors.
fn bias_row(condition: &str, shown: &[f64], truth: f64, studies: usize) -> Row {
    let count = shown.len().max(1) as f64;
    let bias = shown.iter().map(|delay| delay - truth).sum::<f64>() / count;
    let squares: f64 = shown.iter().map(|d| (d - truth - bias).powi(2)).sum();
    let std_error = squares.sqrt() / count;
    Row {
        figure: "mean delay within 1.5 min of the truth",
        condition: format!("{condition}: bias {bias:+.2} min"),
        promise: Promise::AtLeast(1.0),
        held: usize::from(bias.abs() <= MOST_BIAS + 3.0 * std_error),
        shown: 1,
        studies,
    }
}

fn over_sensors(sensors: usize, studies: u64) -> Vec<Row> {
    let mut rows = Vec::new();
    for delay_sd in [0.0, 2.0] {
        let world = World {
            delay_sd,
            ..World::with_delay(8.0)
        };
        let first = 21_000_000 + 10_000 * sensors as u64 + delay_sd as u64 * 1000;
        let intervals: Vec<_> = (first..first + studies)
            .into_par_iter()
            .map(|seed| first_order_delay(&points(&world, sensors, seed))?.interval)
            .collect();
        let condition =
            format!("{sensors} sensors, delay 8 min, spread between sensors {delay_sd} min");
        rows.push(coverage("delay", condition, 0.9, 8.0, &intervals));
    }
    rows
}

fn differences(sensors: usize, studies: u64, many: u64) -> Vec<Row> {
    let mut rows = Vec::new();
    for (one, other) in [(8.0, 8.0), (12.0, 5.0)] {
        let worlds = [one, other].map(World::with_delay);
        let studies = if one == other { many } else { studies };
        let first = 71_000_000 + 100_000 * sensors as u64 + one as u64 * 10_000;
        let found: Vec<_> = (first..first + studies)
            .into_par_iter()
            .map(|seed| {
                let second = points(&worlds[1], sensors, seed + 500_000_000)
                    .into_iter()
                    .map(|point| DelayPoint {
                        sensor: point.sensor + sensors,
                        ..point
                    })
                    .collect::<Vec<_>>();
                delay_difference(&points(&worlds[0], sensors, seed), &second, |_| 0)
            })
            .collect();
        let condition = format!("{sensors} sensors a site, delays {one} and {other} min");
        let intervals: Vec<_> = found.iter().map(|d| d.and_then(|d| d.interval)).collect();
        rows.push(coverage(
            "difference in delay",
            condition.clone(),
            0.9,
            one - other,
            &intervals,
        ));
        if one == other {
            let p_values: Vec<_> = found.iter().map(|d| d.and_then(|d| d.p)).collect();
            rows.push(rejections(
                "difference in delay, test",
                condition,
                &p_values,
            ));
        }
    }
    rows
}

/// So many pairs of sensors worn at once by one wearer, two sites whose delays differ by 4 min and gains not at all; each
/// first sensor after the first is also worn with the second sensor before it.
fn at_once(pairs: usize, studies: u64) -> Vec<Row> {
    let worlds = [World::with_delay(9.0), World::with_delay(5.0)];
    let trio = [worlds[0], worlds[1], worlds[0]];
    let first = 61_000_000 + 100_000 * pairs as u64;
    let means: Vec<_> = (first..first + studies)
        .into_par_iter()
        .map(|study| site_means(&trio, pairs, study))
        .collect();
    let condition = format!("{pairs} pairs of sensors, each two sharing one, lag 4 min");
    let (percent, lag): (Vec<_>, Vec<_>) = means.into_iter().unzip();
    let ends = |means: &[Option<PairMean>]| -> Vec<_> {
        means.iter().map(|m| m.and_then(|m| m.interval())).collect()
    };
    let p_values: Vec<_> = percent.iter().map(|m| m.and_then(|m| m.p())).collect();
    vec![
        coverage(
            "difference of sensors worn at once",
            condition.clone(),
            0.9,
            0.0,
            &ends(&percent),
        ),
        rejections(
            "difference of sensors worn at once, test",
            condition.clone(),
            &p_values,
        ),
        coverage(
            "lag of sensors worn at once",
            condition,
            0.9,
            4.0,
            &ends(&lag),
        ),
    ]
}

/// Mean difference in percent and mean lag over pairs, two to each sensor of the second site.
fn site_means(trio: &[World; 3], pairs: usize, seed: u64) -> (Option<PairMean>, Option<PairMean>) {
    let compared: Vec<(SensorPair, TwoSensors)> = (0..pairs.div_ceil(2))
        .flat_map(|number| {
            let traces = worn_at_once(trio, 1000 * seed + number as u64);
            [(0, 0), (2, 1)].map(|(trace, offset)| {
                let pair = SensorPair {
                    value: 0.0,
                    first: 3 * number + 2 * offset,
                    second: 3 * number + 1,
                    wearer: 0,
                };
                two_sensors(&common(&traces[trace], &traces[1])).map(|two| (pair, two))
            })
        })
        .flatten()
        .take(pairs)
        .collect();
    let mean = |value: fn(&TwoSensors) -> Option<f64>| {
        let values: Vec<SensorPair> = compared
            .iter()
            .filter_map(|(pair, two)| {
                Some(SensorPair {
                    value: value(two)?,
                    ..*pair
                })
            })
            .collect();
        pair_mean(&values)
    };
    (mean(|two| Some(two.percent)), mean(|two| two.lag))
}

fn common(first: &[f64], second: &[f64]) -> Vec<CommonReading> {
    first
        .iter()
        .zip(second)
        .enumerate()
        .map(|(index, (&first, &second))| CommonReading {
            minutes: 5.0 * index as f64,
            first,
            offset: 0.0,
            second,
        })
        .collect()
}
