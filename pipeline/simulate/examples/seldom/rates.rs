//! Rates of night artefacts.

use crate::ways::{
    bootstrap_t, concentration, hall, log_t, own_ratios, root_t, with_strangers, with_unseen,
};
use crate::{Line, SHARES, SITES, SIZES, generator, table};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::accuracy::Nights;
use whereworn_simulate::draws::{gamma, poisson};
use whereworn_stats::distributions::{chi_square_quantile, normal_quantile, t_quantile};
use whereworn_stats::interval::Interval;
use whereworn_stats::rates::clustered::{Cluster, clustered_rate, clustered_ratio};

const WAYS: [&str; 12] = [
    "today's",
    "pooled relative spread",
    "pooled absolute spread",
    "log t",
    "root t",
    "bootstrap-t",
    "Hall's t",
    "worst sensor of the study unseen",
    "worst proven sensor of the study unseen",
    "worst proven sensor of the site unseen",
    "sensors proven above the site",
    "what is proven of sensors above the site",
];

/// One law of sensors at a site.
#[derive(Clone, Copy)]
struct Law {
    ordinary: Nights,
    share: f64,
    factor: f64,
}

impl Law {
    fn truth(&self) -> f64 {
        self.ordinary.rate * (1.0 + self.share * (self.factor - 1.0))
    }

    fn sensor(&self, random: &mut ChaCha8Rng) -> Cluster {
        let bad = random.random::<f64>() < self.share;
        let factor = if bad { self.factor } else { 1.0 };
        let rate = factor * self.ordinary.rate * gamma(random, self.ordinary.shape);
        let nights = random.random_range(crate::NIGHTS);
        Cluster {
            sum: (0..nights).map(|_| poisson(random, rate)).sum(),
            size: f64::from(nights),
        }
    }
}

const ALIKE: f64 = 1000.0;

pub fn run(studies: usize) {
    println!("\n## Night artefacts, ordinary sensors");
    let mut lines = Vec::new();
    for (name, rates, shape) in [
        ("6 per 100 nights, alike", [0.06; 3], ALIKE),
        ("6 per 100 nights, differ", [0.06; 3], 1.5),
        ("6 per 100 nights, differ strongly", [0.06; 3], 0.5),
        ("20 per 100 nights, differ", [0.2; 3], 1.5),
        ("1.5 per 100 nights, differ", [0.015; 3], 1.5),
        ("2, 6 and 20 per 100 nights, differ", [0.02, 0.06, 0.2], 1.5),
    ] {
        for size in SIZES {
            let laws = rates.map(|rate| Law {
                ordinary: Nights { rate, shape },
                share: 0.0,
                factor: 1.0,
            });
            let unlike = rates[0] < rates[2];
            if unlike {
                for site in 0..SITES {
                    let told = format!("{size} sensors, {name}: site {}", site + 1);
                    lines.push(line(told, &laws, &[site], size, studies));
                }
            } else {
                lines.push(line(
                    format!("{size} sensors, {name}"),
                    &laws,
                    &[0, 1, 2],
                    size,
                    studies,
                ));
            }
        }
    }
    table(&WAYS, &lines);
    for everywhere in [true, false] {
        let place = if everywhere {
            "every site"
        } else {
            "the first site"
        };
        println!(
            "\n## Night artefacts, few sensors with many times the ordinary 6 per 100 nights, at {place}"
        );
        let mut lines = Vec::new();
        for (share_name, share) in SHARES {
            for factor in [3.0, 10.0, 30.0, 50.0] {
                for size in SIZES {
                    lines.extend(contaminated(
                        everywhere, share_name, share, factor, size, studies,
                    ));
                }
            }
        }
        table(&WAYS, &lines);
    }
}

fn contaminated(
    everywhere: bool,
    share_name: &str,
    share: f64,
    factor: f64,
    size: usize,
    studies: usize,
) -> Vec<Line> {
    let ordinary = Nights {
        rate: 0.06,
        shape: 1.5,
    };
    let bad = Law {
        ordinary,
        share,
        factor,
    };
    let good = Law {
        ordinary,
        share: 0.0,
        factor,
    };
    let name = format!("{size} sensors, {share_name} at {factor} times");
    if everywhere {
        return vec![line(name, &[bad; 3], &[0, 1, 2], size, studies)];
    }
    let laws = [bad, good, good];
    vec![
        line(format!("{name}: that site"), &laws, &[0], size, studies),
        line(format!("{name}: the others"), &laws, &[1, 2], size, studies),
    ]
}

fn line(name: String, laws: &[Law; SITES], judged: &[usize], size: usize, studies: usize) -> Line {
    let mut random = generator(&name);
    let law = laws[judged[0]];
    let unseen = (1.0 - law.share).powi(size as i32);
    let mut line = Line::new(name, unseen, law.truth());
    for _ in 0..studies {
        let study = laws.map(|law| {
            (0..size)
                .map(|_| law.sensor(&mut random))
                .collect::<Vec<_>>()
        });
        for &site in judged {
            line.add(&intervals(&study, site, &mut random));
        }
    }
    line
}

fn intervals(study: &[Vec<Cluster>; SITES], site: usize, random: &mut ChaCha8Rng) -> Vec<Interval> {
    let own = &study[site];
    let k = own.len();
    let none = Interval {
        lower: 0.0,
        upper: 0.0,
    };
    let today = clustered_rate(own).and_then(|r| r.interval).unwrap_or(none);
    let (rate, error) = (ratio(own), error(own));
    let some = |interval: Interval| if rate > 0.0 { interval } else { today };
    let df = k as f64 - 1.0;
    let raw = worst(study.iter().flatten());
    let count = study.iter().flatten().count() as f64;
    let proven = study
        .iter()
        .flatten()
        .map(|s| proven(*s, count))
        .fold(0.0, f64::max);
    let own_proven = own
        .iter()
        .map(|s| crate::rates::proven(*s, k as f64))
        .fold(0.0, f64::max);
    vec![
        today,
        pooled_relative(study, site),
        pooled_absolute(study, site),
        some(log_t(rate, error, df)),
        some(root_t(rate, error, df)),
        some(bootstrap_t(own, crate::rates::error, random)),
        some(hall(rate, error, &own_ratios(own))),
        with_unseen(today, k, raw),
        with_unseen(today, k, proven),
        with_unseen(today, k, own_proven),
        with_strangers(
            today,
            k,
            &strangers(study, site, today.upper, &|s| s.sum / s.size),
            count as usize,
        ),
        with_strangers(
            today,
            k,
            &strangers(study, site, today.upper, &|s| {
                crate::rates::proven(*s, count)
            }),
            count as usize,
        ),
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

fn worst<'a>(sensors: impl Iterator<Item = &'a Cluster>) -> f64 {
    sensors.map(|s| s.sum / s.size).fold(0.0, f64::max)
}

/// The rate that a sensor has at least, with 95 % confidence for all `count` together.
fn proven(sensor: Cluster, count: f64) -> f64 {
    if sensor.sum <= 0.0 {
        return 0.0;
    }
    0.5 * chi_square_quantile(0.05 / count, 2.0 * sensor.sum) / sensor.size
}

/// Rates of the sensors of other sites that are proven above some level.
fn strangers(
    study: &[Vec<Cluster>; SITES],
    site: usize,
    level: f64,
    of: &dyn Fn(&Cluster) -> f64,
) -> Vec<f64> {
    let count = study.iter().flatten().count() as f64;
    let others = study.iter().enumerate().filter(|(other, _)| *other != site);
    let sensors = others.flat_map(|(_, sensors)| sensors);
    let above = sensors.filter(|s| proven(**s, count) > level);
    above.map(|s| of(s)).collect()
}

/// Variance beyond Poisson's of a site's rate.
fn excess(sensors: &[Cluster]) -> f64 {
    let variance = clustered_ratio(sensors).map_or(0.0, |r| r.variance);
    variance - ratio(sensors) / size(sensors)
}

fn df_of_all(study: &[Vec<Cluster>; SITES]) -> f64 {
    study.iter().map(|site| site.len() as f64 - 1.0).sum()
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
fn pooled_relative(study: &[Vec<Cluster>; SITES], site: usize) -> Interval {
    let own = &study[site];
    let scale = |s: &[Cluster]| ratio(s).powi(2) * concentration(s);
    let all: f64 = study.iter().map(|s| excess(s)).sum::<f64>()
        / study.iter().map(|s| scale(s)).sum::<f64>().max(1e-12);
    let of_own = excess(own) / scale(own).max(1e-12);
    let events: f64 = own.iter().map(|s| s.sum).sum();
    let differ = all.max(of_own).max(0.0);
    let df = if all > of_own {
        df_of_all(study)
    } else {
        own.len() as f64 - 1.0
    };
    let inflation = 1.0 + differ * ratio(own) * concentration(own) * size(own);
    limits(events, size(own), inflation, df / (1.0 + differ))
}

/// The larger of the site's own and the study's variance between sensors.
fn pooled_absolute(study: &[Vec<Cluster>; SITES], site: usize) -> Interval {
    let own = &study[site];
    let all: f64 = study.iter().map(|s| excess(s)).sum::<f64>()
        / study.iter().map(|s| concentration(s)).sum::<f64>();
    let of_own = excess(own) / concentration(own);
    let events: f64 = own.iter().map(|s| s.sum).sum();
    let between = all.max(of_own).max(0.0);
    let floor = ratio(own).max(0.5 / size(own));
    let level = if all > of_own {
        study.iter().map(|s| ratio(s)).sum::<f64>() / SITES as f64
    } else {
        floor
    };
    let df = if all > of_own {
        df_of_all(study)
    } else {
        own.len() as f64 - 1.0
    };
    let inflation = 1.0 + between * concentration(own) * size(own) / floor;
    limits(
        events,
        size(own),
        inflation,
        df / (1.0 + between / level.powi(2).max(1e-12)),
    )
}
