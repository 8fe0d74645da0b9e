//! Rates of night artefacts.

use crate::ways::{bootstrap_t, concentration, hall, log_t, own_ratios, root_t, with_unseen};
use crate::{Line, SHARES, SIZES, generator, table};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::accuracy::Nights;
use whereworn_simulate::draws::{gamma, poisson};
use whereworn_stats::distributions::{chi_square_quantile, normal_quantile, t_quantile};
use whereworn_stats::interval::Interval;
use whereworn_stats::rates::clustered::{Cluster, clustered_rate, clustered_ratio};
use whereworn_stats::rates::study::rate_in_study;

/// The first two are the ones that the program has.
const WAYS: [&str; 9] = [
    "site alone",
    "in the study",
    "pooled relative spread",
    "pooled absolute spread",
    "log t",
    "root t",
    "bootstrap-t",
    "Hall's t",
    "worst sensor of the study",
];

/// Sensors of a site: ordinary ones, a share with a multiple of their rate, so many nights each.
#[derive(Clone, Copy)]
struct Law {
    ordinary: Nights,
    share: f64,
    factor: f64,
    nights: (i32, i32),
}

const USUAL: Law = Law {
    ordinary: Nights {
        rate: 0.06,
        shape: 1.5,
    },
    share: 0.0,
    factor: 1.0,
    nights: (3, 14),
};

impl Law {
    fn truth(&self) -> f64 {
        self.ordinary.rate * (1.0 + self.share * (self.factor - 1.0))
    }

    fn sensor(&self, random: &mut ChaCha8Rng) -> Cluster {
        let bad = random.random::<f64>() < self.share;
        let factor = if bad { self.factor } else { 1.0 };
        let rate = factor * self.ordinary.rate * gamma(random, self.ordinary.shape);
        let nights = random.random_range(self.nights.0..=self.nights.1);
        Cluster {
            sum: (0..nights).map(|_| poisson(random, rate)).sum(),
            size: f64::from(nights),
        }
    }
}

/// A site of so many sensors.
type Place = (Law, usize);

pub fn run(studies: usize) {
    println!("\n## Night artefacts, ordinary sensors at three sites");
    table(&WAYS, &ordinary(studies));
    println!(
        "\n## Night artefacts, few sensors with many times the ordinary 6 per 100 nights, at each of three sites"
    );
    table(&WAYS, &everywhere(studies));
    println!("\n## Night artefacts, the same at the first site alone");
    table(&WAYS, &at_one_site(studies));
}

/// Conditions that were drawn up after the way was taken.
pub fn later(studies: usize) {
    let mut lines = Vec::new();
    for (share_name, share, factor) in [
        ("1 in 10", 0.1, 50.0),
        ("1 in 10", 0.1, 20.0),
        ("1 in 15", 1.0 / 15.0, 15.0),
    ] {
        let law = Law {
            share,
            factor,
            nights: (10, 14),
            ordinary: Nights {
                rate: 0.06,
                shape: 1000.0,
            },
        };
        for sensors in [6, 10, 15, 20] {
            for sites in [1, 2, 4] {
                let name = format!(
                    "{sensors} sensors at each of {sites} sites, ordinary ones alike, {share_name} at {factor} times"
                );
                let judged: Vec<usize> = (0..sites).collect();
                lines.push(line(name, &vec![(law, sensors); sites], &judged, studies));
            }
            let name = format!(
                "{sensors} sensors, 6 and 20 at two more sites, {share_name} at {factor} times"
            );
            lines.push(line(
                name,
                &[(law, sensors), (law, 6), (law, 20)],
                &[0],
                studies,
            ));
        }
    }
    for sensors in [6, 10, 15, 20] {
        let alike = |rate| Law {
            ordinary: Nights { rate, shape: 4.0 },
            ..USUAL
        };
        let places = [0.03, 0.06, 0.09, 0.12].map(|rate| (alike(rate), sensors));
        for site in [0, 3] {
            let name = format!(
                "{sensors} sensors at each of 4 sites of 3, 6, 9, 12 per 100 nights: site {}",
                site + 1
            );
            lines.push(line(name, &places, &[site], studies));
        }
    }
    println!("\n## Night artefacts, conditions drawn up later");
    table(&WAYS[..2], &lines);
}

fn ordinary(studies: usize) -> Vec<Line> {
    let mut lines = Vec::new();
    for (name, rates, shape) in [
        ("6 per 100 nights, alike", [0.06; 3], 1000.0),
        ("6 per 100 nights, differ", [0.06; 3], 1.5),
        ("6 per 100 nights, differ strongly", [0.06; 3], 0.5),
        ("20 per 100 nights, differ", [0.2; 3], 1.5),
        ("1.5 per 100 nights, differ", [0.015; 3], 1.5),
        ("2, 6 and 20 per 100 nights, differ", [0.02, 0.06, 0.2], 1.5),
    ] {
        for sensors in SIZES {
            let places = rates.map(|rate| {
                let ordinary = Nights { rate, shape };
                (Law { ordinary, ..USUAL }, sensors)
            });
            let name = format!("{sensors} sensors, {name}");
            if rates[0] < rates[2] {
                lines.extend((0..3).map(|site| {
                    line(
                        format!("{name}: site {}", site + 1),
                        &places,
                        &[site],
                        studies,
                    )
                }));
            } else {
                lines.push(line(name, &places, &[0, 1, 2], studies));
            }
        }
    }
    lines
}

fn contaminated() -> Vec<(String, Law, usize)> {
    let mut found = Vec::new();
    for (share_name, share) in SHARES {
        for factor in [3.0, 10.0, 30.0, 50.0] {
            for sensors in SIZES {
                let name = format!("{sensors} sensors, {share_name} at {factor} times");
                let law = Law {
                    share,
                    factor,
                    ..USUAL
                };
                found.push((name, law, sensors));
            }
        }
    }
    found
}

fn everywhere(studies: usize) -> Vec<Line> {
    let laws = contaminated().into_iter();
    laws.map(|(name, law, sensors)| line(name, &[(law, sensors); 3], &[0, 1, 2], studies))
        .collect()
}

fn at_one_site(studies: usize) -> Vec<Line> {
    let laws = contaminated().into_iter();
    laws.flat_map(|(name, law, sensors)| {
        let places = [(law, sensors), (USUAL, sensors), (USUAL, sensors)];
        [
            line(format!("{name}: that site"), &places, &[0], studies),
            line(format!("{name}: the others"), &places, &[1, 2], studies),
        ]
    })
    .collect()
}

fn line(name: String, places: &[Place], judged: &[usize], studies: usize) -> Line {
    let mut random = generator(&name);
    let (law, sensors) = places[judged[0]];
    let unseen = (1.0 - law.share).powi(sensors as i32);
    let mut line = Line::new(name, unseen, law.truth());
    for _ in 0..studies {
        let sites = places.iter().map(|(law, sensors)| {
            let drawn = (0..*sensors).map(|_| law.sensor(&mut random));
            drawn.collect::<Vec<_>>()
        });
        let study: Vec<Vec<Cluster>> = sites.collect();
        for &site in judged {
            line.add(&intervals(&study, site, &mut random));
        }
    }
    line
}

fn intervals(study: &[Vec<Cluster>], site: usize, random: &mut ChaCha8Rng) -> Vec<Interval> {
    let own = &study[site];
    let others = study.iter().enumerate().filter(|(other, _)| *other != site);
    let elsewhere: Vec<Cluster> = others.flat_map(|(_, sensors)| sensors.clone()).collect();
    let none = Interval {
        lower: 0.0,
        upper: 0.0,
    };
    let alone = clustered_rate(own).and_then(|r| r.interval).unwrap_or(none);
    let in_study = rate_in_study(own, &elsewhere).and_then(|r| r.interval);
    let (rate, own_error, df) = (ratio(own), error(own), own.len() as f64 - 1.0);
    // These have no interval without events.
    let some = |interval: Interval| if rate > 0.0 { interval } else { alone };
    let all = study.iter().flatten();
    let worst = all.map(|s| s.sum / s.size).fold(0.0, f64::max);
    vec![
        alone,
        in_study.unwrap_or(none),
        pooled_relative(study, site),
        pooled_absolute(study, site),
        some(log_t(rate, own_error, df)),
        some(root_t(rate, own_error, df)),
        some(bootstrap_t(own, error, random)),
        some(hall(rate, own_error, &own_ratios(own))),
        with_unseen(alone, own.len(), worst),
    ]
}

fn ratio(sensors: &[Cluster]) -> f64 {
    clustered_ratio(sensors).map_or(0.0, |r| r.ratio)
}

fn size(sensors: &[Cluster]) -> f64 {
    sensors.iter().map(|s| s.size).sum()
}

/// Standard error, not below Poisson's of half an event at least.
fn error(sensors: &[Cluster]) -> f64 {
    let variance = clustered_ratio(sensors).map_or(0.0, |r| r.variance);
    let poisson = ratio(sensors).max(0.5 / size(sensors)) / size(sensors);
    variance.max(poisson).sqrt()
}

/// Variance beyond Poisson's of a site's rate.
fn excess(sensors: &[Cluster]) -> f64 {
    let variance = clustered_ratio(sensors).map_or(0.0, |r| r.variance);
    variance - ratio(sensors) / size(sensors)
}

fn sum(study: &[Vec<Cluster>], of: impl Fn(&[Cluster]) -> f64) -> f64 {
    study.iter().map(|site| of(site)).sum()
}

/// The limits of `clustered_rate`, given by how much the variance is above Poisson's.
fn limits(events: f64, size: f64, inflation: f64, df: f64) -> Interval {
    let end = |tail: f64, upper: bool| {
        let t = t_quantile(1.0 - tail, df.max(2.0));
        let shrink = (normal_quantile(1.0 - tail) / t).powi(2) / inflation;
        let effective = events * shrink;
        let limit = match upper {
            true => 0.5 * chi_square_quantile(1.0 - tail, 2.0 * (effective + 0.75)),
            false if effective <= 0.0 => 0.0,
            false => 0.5 * chi_square_quantile(tail, 2.0 * (effective + 0.25)),
        };
        limit / shrink / size
    };
    Interval {
        lower: end(0.025, false),
        upper: end(0.025, true),
    }
}

/// The larger of the site's own and the study's squared coefficient of variation between sensors.
fn pooled_relative(study: &[Vec<Cluster>], site: usize) -> Interval {
    let own = &study[site];
    let scale = |s: &[Cluster]| ratio(s).powi(2) * concentration(s);
    let all = sum(study, excess) / sum(study, scale).max(1e-12);
    let of_own = excess(own) / scale(own).max(1e-12);
    let differ = all.max(of_own).max(0.0);
    let df = df(study, own, all > of_own);
    let inflation = 1.0 + differ * ratio(own) * concentration(own) * size(own);
    let events = own.iter().map(|s| s.sum).sum();
    limits(events, size(own), inflation, df / (1.0 + differ))
}

/// The larger of the site's own and the study's variance between sensors.
fn pooled_absolute(study: &[Vec<Cluster>], site: usize) -> Interval {
    let own = &study[site];
    let all = sum(study, excess) / sum(study, concentration);
    let of_own = excess(own) / concentration(own);
    let between = all.max(of_own).max(0.0);
    let floor = ratio(own).max(0.5 / size(own));
    let level = if all > of_own {
        (sum(study, ratio) / study.len() as f64).max(floor)
    } else {
        floor
    };
    let df = df(study, own, all > of_own);
    let inflation = 1.0 + between * concentration(own) * size(own) / floor;
    let events = own.iter().map(|s| s.sum).sum();
    limits(
        events,
        size(own),
        inflation,
        df / (1.0 + between / level.powi(2)),
    )
}

fn df(study: &[Vec<Cluster>], own: &[Cluster], pooled: bool) -> f64 {
    if pooled {
        sum(study, |site| site.len() as f64 - 1.0)
    } else {
        own.len() as f64 - 1.0
    }
}
