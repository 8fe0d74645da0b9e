//! Mean absolute relative differences, percent.

use crate::ways::{
    bootstrap_t, concentration, hall, log_t, own_ratios, root_t, with_strangers, with_unseen,
};
use crate::{Line, SHARES, SITES, SIZES, generator, table};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::draws::normal;
use whereworn_stats::distributions::{normal_quantile, t_quantile};
use whereworn_stats::interval::Interval;
use whereworn_stats::quantile::median;
use whereworn_stats::rates::clustered::{
    Cluster, clustered_mean, clustered_ratio, clusters_of, spread_df,
};

const WAYS: [&str; 11] = [
    "today's",
    "pooled spread",
    "log t",
    "root t",
    "bootstrap-t",
    "Hall's t",
    "worst sensor of the study unseen",
    "worst outlying sensor of the study unseen",
    "pooled relative spread",
    "pooled relative spread above",
    "sensors beyond the site",
];

/// Levels of sensors and pairs about them, percent.
#[derive(Clone, Copy)]
struct Law {
    between: f64,
    within: f64,
    share: f64,
    off: f64,
}

/// One site's absolute differences.
struct Site {
    values: Vec<f64>,
    sensors: Vec<usize>,
    clusters: Vec<Cluster>,
}

const BIAS: f64 = 3.0;

impl Law {
    fn errors(&self, random: &mut ChaCha8Rng) -> Vec<f64> {
        let bad = random.random::<f64>() < self.share;
        let level = BIAS + self.between * normal(random) - if bad { self.off } else { 0.0 };
        let pairs = random.random_range(5..=50);
        (0..pairs)
            .map(|_| (level + self.within * normal(random)).abs())
            .collect()
    }

    fn site(&self, size: usize, random: &mut ChaCha8Rng) -> Site {
        let (mut values, mut sensors) = (Vec::new(), Vec::new());
        for sensor in 0..size {
            let errors = self.errors(random);
            sensors.extend(std::iter::repeat_n(sensor, errors.len()));
            values.extend(errors);
        }
        let clusters = clusters_of(&values, &sensors);
        Site {
            values,
            sensors,
            clusters,
        }
    }

    /// Mean of the absolute value of a normal variate (folded normal).
    fn truth(&self) -> f64 {
        let sd = self.between.hypot(self.within);
        let folded = |mean: f64| {
            let z = mean / sd;
            let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            let below = whereworn_stats::distributions::normal_cdf(-z);
            2.0 * sd * density + mean * (1.0 - 2.0 * below)
        };
        (1.0 - self.share) * folded(BIAS) + self.share * folded(BIAS - self.off)
    }
}

const ORDINARY: [(f64, f64); 4] = [(5.0, 9.0), (8.0, 8.0), (2.0, 10.0), (3.0, 6.0)];

pub fn run(studies: usize) {
    println!("\n## Mean absolute relative difference, ordinary sensors");
    let mut lines = Vec::new();
    let law = |(between, within): (f64, f64)| Law {
        between,
        within,
        share: 0.0,
        off: 0.0,
    };
    for spreads in ORDINARY {
        for size in SIZES {
            let (between, within) = spreads;
            let name = format!("{size} sensors, SD {between} % between and {within} % within");
            lines.push(line(name, &[law(spreads); 3], &[0, 1, 2], size, studies));
        }
    }
    for size in SIZES {
        let laws = [law((2.0, 6.0)), law((5.0, 9.0)), law((10.0, 12.0))];
        for site in 0..SITES {
            let name = format!("{size} sensors, SD 2, 5, 10 % between: site {}", site + 1);
            lines.push(line(name, &laws, &[site], size, studies));
        }
    }
    table(&WAYS, &lines);
    for everywhere in [true, false] {
        for spreads in [(5.0, 9.0), (3.0, 6.0)] {
            let place = if everywhere {
                "every site"
            } else {
                "the first site"
            };
            let (between, within) = spreads;
            println!(
                "\n## Mean absolute relative difference, few sensors that read low, at {place}; SD {between} % between and {within} % within"
            );
            table(&WAYS, &contaminated(everywhere, law(spreads), studies));
        }
    }
}

fn contaminated(everywhere: bool, good: Law, studies: usize) -> Vec<Line> {
    let mut lines = Vec::new();
    for (share_name, share) in SHARES {
        for off in [15.0, 25.0, 50.0] {
            for size in SIZES {
                let bad = Law { share, off, ..good };
                let name = format!("{size} sensors, {share_name} reading {off} % low");
                if everywhere {
                    lines.push(line(name, &[bad; 3], &[0, 1, 2], size, studies));
                } else {
                    let laws = [bad, good, good];
                    lines.push(line(
                        format!("{name}: that site"),
                        &laws,
                        &[0],
                        size,
                        studies,
                    ));
                    lines.push(line(
                        format!("{name}: the others"),
                        &laws,
                        &[1, 2],
                        size,
                        studies,
                    ));
                }
            }
        }
    }
    lines
}

fn line(name: String, laws: &[Law; SITES], judged: &[usize], size: usize, studies: usize) -> Line {
    let mut random = generator(&name);
    let law = laws[judged[0]];
    let unseen = (1.0 - law.share).powi(size as i32);
    let mut line = Line::new(name, unseen, law.truth());
    for _ in 0..studies {
        let study = laws.map(|law| law.site(size, &mut random));
        for &site in judged {
            line.add(&intervals(&study, site, &mut random));
        }
    }
    line
}

fn intervals(study: &[Site; SITES], site: usize, random: &mut ChaCha8Rng) -> Vec<Interval> {
    let own = &study[site];
    let k = own.clusters.len();
    let none = Interval {
        lower: 0.0,
        upper: 0.0,
    };
    let today = clustered_mean(&own.values, &own.sensors)
        .and_then(|m| m.interval)
        .unwrap_or(none);
    let (mean, error) = (ratio(&own.clusters), error(&own.clusters));
    let df = k as f64 - 1.0;
    let all: Vec<f64> = study.iter().flat_map(|s| own_ratios(&s.clusters)).collect();
    let worst = all.iter().copied().fold(0.0, f64::max);
    let outlying = if is_outlier(worst, &all) { worst } else { 0.0 };
    let relative = pooled(study, site, today, |site| ratio(&site.clusters).powi(2));
    vec![
        today,
        pooled(study, site, today, |_| 1.0),
        log_t(mean, error, df),
        root_t(mean, error, df),
        bootstrap_t(&own.clusters, crate::means::error, random),
        hall(mean, error, &own_ratios(&own.clusters)),
        with_unseen(today, k, worst),
        with_unseen(today, k, outlying),
        relative,
        Interval {
            lower: today.lower,
            upper: today.upper.max(relative.upper),
        },
        with_strangers(today, k, &strangers(study, site), all.len()),
    ]
}

fn ratio(sensors: &[Cluster]) -> f64 {
    clustered_ratio(sensors).map_or(0.0, |r| r.ratio)
}

fn error(sensors: &[Cluster]) -> f64 {
    clustered_ratio(sensors).map_or(0.0, |r| r.variance).sqrt()
}

/// Further above the median than the largest of so many normal values is in 1 of 20 studies, spread by the median distance.
fn is_outlier(value: f64, all: &[f64]) -> bool {
    let middle = median(all).unwrap_or(0.0);
    let far: Vec<f64> = all.iter().map(|v| (v - middle).abs()).collect();
    let spread = 1.4826 * median(&far).unwrap_or(0.0);
    value > middle + spread * normal_quantile(1.0 - 0.05 / all.len() as f64)
}

/// Means of the sensors of other sites beyond what the site's own sensors foretell of so many, in 19 of 20 studies.
fn strangers(study: &[Site; SITES], site: usize) -> Vec<f64> {
    let own = own_ratios(&study[site].clusters);
    let k = own.len() as f64;
    let mean = own.iter().sum::<f64>() / k;
    let squares: f64 = own.iter().map(|m| (m - mean).powi(2)).sum();
    let spread = (squares / (k - 1.0) * (1.0 + 1.0 / k)).sqrt();
    let all = study.iter().map(|s| s.clusters.len()).sum::<usize>() as f64;
    let limit = mean + spread * t_quantile(1.0 - 0.05 / all, k - 1.0);
    let others = study.iter().enumerate().filter(|(other, _)| *other != site);
    let means = others.flat_map(|(_, other)| own_ratios(&other.clusters));
    means.filter(|mean| *mean > limit).collect()
}

/// Today's bent t, with the larger of the site's own and the study's variance between sensors, each over a scale of its site.
fn pooled(
    study: &[Site; SITES],
    site: usize,
    today: Interval,
    scale: impl Fn(&Site) -> f64,
) -> Interval {
    let variance = |s: &Site| error(&s.clusters).powi(2) / concentration(&s.clusters);
    let own = &study[site];
    let all = study.iter().map(&variance).sum::<f64>() / study.iter().map(&scale).sum::<f64>()
        * scale(own);
    if all <= variance(own) {
        return today;
    }
    let size: f64 = own.clusters.iter().map(|c| c.size).sum();
    let weights: Vec<f64> = own.clusters.iter().map(|c| c.size / size).collect();
    let power = |n: i32| weights.iter().map(|w| w.powi(n)).sum::<f64>();
    let bend = 1.3 * 2.0 / 3.0 * power(3) / power(2).powf(1.5);
    let df = (SITES as f64 * spread_df(&weights) / 1.3).max(2.0);
    let error = (all * concentration(&own.clusters)).sqrt();
    let end = |t: f64| {
        let bent = (bend * (t + 0.25 * bend)).exp_m1() / bend;
        (ratio(&own.clusters) + error * bent).max(0.0)
    };
    let t = t_quantile(0.975, df);
    Interval {
        lower: end(-t),
        upper: end(t),
    }
}
