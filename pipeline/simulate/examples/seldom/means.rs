//! Mean absolute relative differences, percent.

use crate::ways::{bootstrap_t, concentration, hall, log_t, own_ratios, root_t, with_unseen};
use crate::{Line, SHARES, SIZES, generator, table};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::draws::normal;
use whereworn_stats::distributions::{normal_cdf, t_quantile};
use whereworn_stats::interval::Interval;
use whereworn_stats::rates::clustered::{
    Cluster, clustered_mean, clustered_ratio, clusters_of, spread_df,
};
use whereworn_stats::rates::study::{StudyValues, mean_in_study};

/// The first two are the ones that the program has.
const WAYS: [&str; 9] = [
    "site alone",
    "in the study",
    "pooled absolute spread",
    "pooled relative spread, both ends",
    "log t",
    "root t",
    "bootstrap-t",
    "Hall's t",
    "worst sensor of the study",
];

/// Levels of sensors and pairs about them, percent; a share of sensors is off by some more.
#[derive(Clone, Copy)]
pub struct Law {
    pub between: f64,
    pub within: f64,
    pub share: f64,
    pub off: f64,
}

/// Mean difference of sound sensors, percent.
pub const BIAS: f64 = 3.0;

pub const fn sound(between: f64, within: f64) -> Law {
    Law {
        between,
        within,
        share: 0.0,
        off: 0.0,
    }
}

impl Law {
    /// Errors of one sensor's pairs.
    pub fn errors(&self, random: &mut ChaCha8Rng) -> Vec<f64> {
        let bad = random.random::<f64>() < self.share;
        let level = BIAS + self.between * normal(random) + if bad { self.off } else { 0.0 };
        let pairs = random.random_range(5..=50);
        (0..pairs)
            .map(|_| level + self.within * normal(random))
            .collect()
    }

    /// Mean of the absolute value of a normal variate (folded normal).
    fn truth(&self) -> f64 {
        let sd = self.between.hypot(self.within);
        let folded = |mean: f64| {
            let z = mean / sd;
            let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            2.0 * sd * density + mean * (1.0 - 2.0 * normal_cdf(-z))
        };
        (1.0 - self.share) * folded(BIAS) + self.share * folded(BIAS + self.off)
    }
}

/// A site of so many sensors.
pub type Place = (Law, usize);

/// All sites, and each alone in short.
struct Study {
    values: Vec<f64>,
    sensors: Vec<usize>,
    sites: Vec<usize>,
    clusters: Vec<Vec<Cluster>>,
}

impl Study {
    fn new(places: &[Place], random: &mut ChaCha8Rng) -> Self {
        let (mut values, mut sensors, mut sites) = (Vec::new(), Vec::new(), Vec::new());
        let mut sensor = 0;
        for (site, (law, count)) in places.iter().enumerate() {
            for _ in 0..*count {
                let own = law.errors(random).into_iter().map(f64::abs);
                let own: Vec<f64> = own.collect();
                sensors.extend(std::iter::repeat_n(sensor, own.len()));
                sites.extend(std::iter::repeat_n(site, own.len()));
                values.extend(own);
                sensor += 1;
            }
        }
        let mut study = Self {
            values,
            sensors,
            sites,
            clusters: Vec::new(),
        };
        let of_site = |site| {
            let (values, sensors) = study.of(site);
            clusters_of(&values, &sensors)
        };
        study.clusters = (0..places.len()).map(of_site).collect();
        study
    }

    fn of(&self, site: usize) -> (Vec<f64>, Vec<usize>) {
        let rows = self.values.iter().zip(&self.sensors).zip(&self.sites);
        let own = rows.filter(|(_, place)| **place == site);
        own.map(|((value, sensor), _)| (*value, *sensor)).unzip()
    }
}

pub fn run(studies: usize) {
    println!("\n## Mean absolute relative difference, ordinary sensors at three sites");
    table(&WAYS, &ordinary(studies));
    for good in [sound(5.0, 9.0), sound(3.0, 6.0)] {
        let Law {
            between, within, ..
        } = good;
        let spreads = format!("SD {between} % between and {within} % within");
        println!(
            "\n## Mean absolute relative difference, few sensors that read low, at each of three sites; {spreads}"
        );
        table(&WAYS, &everywhere(good, studies));
        println!(
            "\n## Mean absolute relative difference, the same at the first site alone; {spreads}"
        );
        table(&WAYS, &at_one_site(good, studies));
    }
}

/// Conditions that were drawn up after the way was taken.
pub fn later(studies: usize) {
    let mut lines = Vec::new();
    for (share_name, share, off) in [
        ("1 in 8", 0.125, -25.0),
        ("1 in 12", 1.0 / 12.0, 30.0),
        ("1 in 7", 1.0 / 7.0, -20.0),
    ] {
        let law = Law {
            share,
            off,
            ..sound(4.0, 7.0)
        };
        for sensors in [6, 10, 15, 20] {
            for sites in [1, 2, 4] {
                let name = format!(
                    "{sensors} sensors at each of {sites} sites, SD 4 % and 7 %, {share_name} off by {off} %"
                );
                let judged: Vec<usize> = (0..sites).collect();
                lines.push(line(name, &vec![(law, sensors); sites], &judged, studies));
            }
            let name = format!(
                "{sensors} sensors, 6 and 20 at two more sites, SD 4 % and 7 %, {share_name} off by {off} %"
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
        let places = [3.0, 4.0, 5.0, 6.0].map(|between| (sound(between, 8.0), sensors));
        for site in [0, 3] {
            let name = format!(
                "{sensors} sensors at each of 4 sites, SD 3, 4, 5, 6 % between: site {}",
                site + 1
            );
            lines.push(line(name, &places, &[site], studies));
        }
    }
    println!("\n## Mean absolute relative difference, conditions drawn up later");
    table(&WAYS[..2], &lines);
}

fn ordinary(studies: usize) -> Vec<Line> {
    let mut lines = Vec::new();
    for (between, within) in [(5.0, 9.0), (8.0, 8.0), (2.0, 10.0), (3.0, 6.0)] {
        for sensors in SIZES {
            let name = format!("{sensors} sensors, SD {between} % between and {within} % within");
            let place = (sound(between, within), sensors);
            lines.push(line(name, &[place; 3], &[0, 1, 2], studies));
        }
    }
    for sensors in SIZES {
        let laws = [sound(2.0, 6.0), sound(5.0, 9.0), sound(10.0, 12.0)];
        for site in 0..3 {
            let name = format!(
                "{sensors} sensors, SD 2, 5, 10 % between: site {}",
                site + 1
            );
            lines.push(line(
                name,
                &laws.map(|law| (law, sensors)),
                &[site],
                studies,
            ));
        }
    }
    lines
}

pub fn contaminated(good: Law) -> Vec<(String, Law, usize)> {
    let Law {
        between, within, ..
    } = good;
    let mut found = Vec::new();
    for (share_name, share) in SHARES {
        for low in [15.0, 25.0, 50.0] {
            for sensors in SIZES {
                let name = format!(
                    "{sensors} sensors, SD {between} % and {within} %, {share_name} reading {low} % low"
                );
                found.push((
                    name,
                    Law {
                        share,
                        off: -low,
                        ..good
                    },
                    sensors,
                ));
            }
        }
    }
    found
}

fn everywhere(good: Law, studies: usize) -> Vec<Line> {
    let laws = contaminated(good).into_iter();
    laws.map(|(name, law, sensors)| line(name, &[(law, sensors); 3], &[0, 1, 2], studies))
        .collect()
}

fn at_one_site(good: Law, studies: usize) -> Vec<Line> {
    let laws = contaminated(good).into_iter();
    laws.flat_map(|(name, law, sensors)| {
        let places = [(law, sensors), (good, sensors), (good, sensors)];
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
        let study = Study::new(places, &mut random);
        for &site in judged {
            line.add(&intervals(&study, site, &mut random));
        }
    }
    line
}

fn intervals(study: &Study, site: usize, random: &mut ChaCha8Rng) -> Vec<Interval> {
    let own = &study.clusters[site];
    let none = Interval {
        lower: 0.0,
        upper: 0.0,
    };
    let (values, sensors) = study.of(site);
    let alone = clustered_mean(&values, &sensors)
        .and_then(|m| m.interval)
        .unwrap_or(none);
    let all = StudyValues {
        values: &study.values,
        sensors: &study.sensors,
        sites: &study.sites,
    };
    let in_study = mean_in_study(&all, site).and_then(|m| m.interval);
    let (mean, own_error, df) = (ratio(own), error(own), own.len() as f64 - 1.0);
    let means = study
        .clusters
        .iter()
        .flat_map(|sensors| own_ratios(sensors));
    let worst = means.fold(0.0, f64::max);
    vec![
        alone,
        in_study.unwrap_or(none),
        pooled(study, site, alone, |_| 1.0),
        pooled(study, site, alone, |sensors| ratio(sensors).powi(2)),
        log_t(mean, own_error, df),
        root_t(mean, own_error, df),
        bootstrap_t(own, error, random),
        hall(mean, own_error, &own_ratios(own)),
        with_unseen(alone, own.len(), worst),
    ]
}

fn ratio(sensors: &[Cluster]) -> f64 {
    clustered_ratio(sensors).map_or(0.0, |r| r.ratio)
}

fn error(sensors: &[Cluster]) -> f64 {
    clustered_ratio(sensors).map_or(0.0, |r| r.variance).sqrt()
}

/// The bent t of `clustered_mean`, with the larger of the site's own and the study's variance between sensors, each over a scale of
/// its site.
fn pooled(study: &Study, site: usize, alone: Interval, scale: fn(&[Cluster]) -> f64) -> Interval {
    let variance = |sensors: &[Cluster]| error(sensors).powi(2) / concentration(sensors);
    let sum = |of: &dyn Fn(&[Cluster]) -> f64| study.clusters.iter().map(|s| of(s)).sum::<f64>();
    let own = &study.clusters[site];
    let all = sum(&variance) / sum(&scale) * scale(own);
    if all <= variance(own) {
        return alone;
    }
    let size: f64 = own.iter().map(|c| c.size).sum();
    let weights: Vec<f64> = own.iter().map(|c| c.size / size).collect();
    let power = |n: i32| weights.iter().map(|w| w.powi(n)).sum::<f64>();
    let bend = 1.3 * 2.0 / 3.0 * power(3) / power(2).powf(1.5);
    let df = (study.clusters.len() as f64 * spread_df(&weights) / 1.3).max(2.0);
    let error = (all * concentration(own)).sqrt();
    let end = |t: f64| {
        let bent = (bend * (t + 0.25 * bend)).exp_m1() / bend;
        (ratio(own) + error * bent).max(0.0)
    };
    let t = t_quantile(0.975, df);
    Interval {
        lower: end(-t),
        upper: end(t),
    }
}
