//! Do sites differ? Site fixed, wearer and sensor random.

use super::contrast::{Contrast, WaldTest};
use super::model::{MixedModel, RandomTerms, Refusal, Row, mixed_model};
use super::site_variances::{OwnVariances, Point};
use crate::linear::dot;
use crate::resampling::permutation::{PermutationTest, permutation_test};
use std::collections::{BTreeMap, BTreeSet};

/// The pairs of one sensor in short.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorMean {
    /// Number of pairs, at least 1.
    pub count: f64,
    /// Mean of their differences.
    pub mean: f64,
    /// Sum of their squares about the mean.
    pub squares: f64,
    /// Site, any number.
    pub site: usize,
    /// Wearer, any number.
    pub wearer: usize,
    /// What to adjust for; as many numbers for every sensor.
    pub covariates: Vec<f64>,
}

/// Why sites cannot be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SiteRefusal {
    /// Sensors of one site only.
    OneSite,
    /// Not a single degree of freedom between sensors is left.
    TooFewSensors,
    /// Sites cannot be told apart from what is adjusted for.
    NotTellable,
}

/// Sites side by side.
#[derive(Debug, Clone)]
pub struct SiteComparison {
    model: MixedModel,
    /// Where sites are compared within wearers.
    own: Option<OwnVariances>,
    sites: Vec<usize>,
    /// Number of sensors.
    pub sensors: usize,
    /// Number of covariates in the model, those without information left out.
    pub covariates: usize,
    /// The most degrees of freedom that a difference between sites may have.
    pub most_df: f64,
}

/// Fits value = site + covariates + wearer + sensor + residual by REML.
///
/// One variance for all sites would misstate the difference of two that scatter unlike: with four sensors of a site that
/// scatters three times as much as another's twelve, a test at 5 % would reject in 22 %. So where sites are compared
/// within wearers, the model only gives each sensor its weight, 1 / (between² + within² / pairs); differences and tests
/// then are least squares over the means of sensors, wearers fixed, with a variance of its own for each site that has
/// two degrees of freedom or more to spare for it (nearly Welch's t test, for two sites and one wearer).
///
/// A covariate that is a combination of others is left out; one that tells sites apart refuses the fit. Degrees of
/// freedom are Satterthwaite's, held to those between sensors: sensors - fixed effects - (wearers - 1) where sites are
/// compared within wearers, wearers - sites where they are not. Pairs enter through each sensor's number, mean and
/// squares, which loses nothing since all fixed effects belong to the sensor.
///
/// # Errors
/// [`SiteRefusal`].
///
/// Checked by `tests/sites.rs`.
pub fn compare_sites(sensors: &[SensorMean]) -> Result<SiteComparison, SiteRefusal> {
    let sites: Vec<usize> = distinct(sensors, |sensor| sensor.site)
        .into_iter()
        .collect();
    if sites.len() < 2 {
        return Err(SiteRefusal::OneSite);
    }
    let wearers = distinct(sensors, |sensor| sensor.wearer);
    let site_columns: Vec<Vec<f64>> = std::iter::once(vec![1.0; sensors.len()])
        .chain(
            sites[1..]
                .iter()
                .map(|&site| flags(sensors, |sensor| sensor.site == site)),
        )
        .collect();
    let mut others = Independent::new(site_columns[..1].to_vec());
    let count = sensors.first().map_or(0, |sensor| sensor.covariates.len());
    for place in 0..count {
        others.try_add(
            sensors
                .iter()
                .map(|sensor| sensor.covariates[place])
                .collect(),
        );
    }
    let covariates = others.columns.split_off(1);
    let mut columns = Independent::new(covariates.clone());
    if !site_columns
        .iter()
        .all(|column| columns.try_add(column.clone()))
    {
        return Err(SiteRefusal::NotTellable);
    }
    let rank = columns.columns.len();
    let slopes: Vec<&Vec<f64>> = site_columns[1..].iter().chain(&covariates).collect();
    let mut apart = Independent::default();
    let within = slopes
        .iter()
        .all(|column| apart.extend(less_wearers(sensors, column), dot(column, column)));
    let left = |used: usize| sensors.len().saturating_sub(used);
    let most = match within {
        true => left(rank + wearers.len() - 1),
        false => wearers.len().saturating_sub(rank).min(left(rank)),
    };
    if most < 1 {
        return Err(SiteRefusal::TooFewSensors);
    }
    let fixed = |sensor: usize| -> Vec<f64> {
        let all = site_columns.iter().chain(&covariates);
        all.map(|column| column[sensor]).collect()
    };
    let model = fit(sensors, fixed, wearers.len() > 1)?;
    let points = points(sensors, &sites, &model, |sensor| {
        slopes.iter().map(|column| column[sensor]).collect()
    });
    Ok(SiteComparison {
        own: within
            .then(|| OwnVariances::new(points, sites.len()))
            .flatten(),
        model,
        sites,
        sensors: sensors.len(),
        covariates: covariates.len(),
        most_df: most as f64,
    })
}

/// The sensors as least squares sees them, weighted as the model says.
fn points(
    sensors: &[SensorMean],
    sites: &[usize],
    model: &MixedModel,
    columns: impl Fn(usize) -> Vec<f64>,
) -> Vec<Point> {
    let scatter: Vec<f64> = sites
        .iter()
        .map(|&site| pair_variance(sensors, site))
        .collect();
    let point = |(number, sensor): (usize, &SensorMean)| {
        let site = sites
            .iter()
            .position(|&known| known == sensor.site)
            .unwrap_or(0);
        Point {
            site,
            wearer: sensor.wearer,
            columns: columns(number),
            mean: sensor.mean,
            weight: precision(model, sensor),
            least_variance: scatter[site] / sensor.count,
        }
    };
    sensors.iter().enumerate().map(point).collect()
}

/// Variance of the pairs of a site about their sensors' means; 0 where no sensor has two.
fn pair_variance(sensors: &[SensorMean], site: usize) -> f64 {
    let own = sensors.iter().filter(|sensor| sensor.site == site);
    let (squares, df) = own.fold((0.0, 0.0), |(squares, df), sensor| {
        (squares + sensor.squares, df + sensor.count - 1.0)
    });
    if df > 0.0 { squares / df } else { 0.0 }
}

/// How sure the mean of a sensor is under a model; 1 for all where nothing varies.
fn precision(model: &MixedModel, sensor: &SensorMean) -> f64 {
    let variance = model.sd_inner().powi(2) + model.residual_variance / sensor.count;
    if variance > 0.0 { 1.0 / variance } else { 1.0 }
}

fn fit(
    sensors: &[SensorMean],
    fixed: impl Fn(usize) -> Vec<f64>,
    outer: bool,
) -> Result<MixedModel, SiteRefusal> {
    let row = |(number, sensor): (usize, &SensorMean)| Row {
        count: sensor.count,
        squares: sensor.squares,
        ..Row::new(fixed(number), sensor.mean, number, sensor.wearer)
    };
    let rows: Vec<Row> = sensors.iter().enumerate().map(row).collect();
    let terms = RandomTerms {
        slope: false,
        outer,
    };
    mixed_model(&rows, terms).map_err(|refusal| match refusal {
        Refusal::NotTellable => SiteRefusal::NotTellable,
        Refusal::TooFewValues => SiteRefusal::TooFewSensors,
    })
}

impl SiteComparison {
    /// All sites alike? `None` where the differences are not independent.
    #[must_use]
    pub fn test(&self) -> Option<WaldTest> {
        let unit = |site: usize| {
            let mut weights = vec![0.0; self.model.effects.len()];
            weights[site] = 1.0;
            weights
        };
        let differences: Vec<Vec<f64>> = (1..self.sites.len()).map(unit).collect();
        match &self.own {
            Some(own) => {
                let slopes: Vec<&[f64]> = differences.iter().map(|d| &d[1..]).collect();
                own.test(&slopes, self.most_df)
            }
            None => self.model.wald(&differences, self.most_df),
        }
    }

    /// The second site less the first; `None` where one has no sensor.
    #[must_use]
    pub fn difference(&self, first: usize, second: usize) -> Option<Contrast> {
        let mut weights = vec![0.0; self.model.effects.len()];
        for (site, sign) in [(first, -1.0), (second, 1.0)] {
            let place = self.sites.iter().position(|&known| known == site)?;
            if place > 0 {
                weights[place] += sign;
            }
        }
        Some(match &self.own {
            Some(own) => own.contrast(&weights[1..], self.most_df),
            None => self.model.contrast(&weights, self.most_df),
        })
    }
}

/// Shuffles sites among the sensors of each wearer.
///
/// The statistic is Σ over sites of (W / s²) (m - M)²: m the mean of a site's sensors, each less its wearer's mean and
/// weighted by its precision w under the model without sites, W = Σ w, s² the site's own variance (Σ w (r - m)² and one
/// share of the variance within all sites, over its sensors), M the mean of the m so weighted. So nothing but s² depends on
/// the labels, and a site that scatters more counts for less: sites of unlike scatter are then taken for sites of unlike
/// level far less often (Janssen 1997 Stat Probab Lett 36:9; Chung and Romano 2013 Ann Stat 41:484; from memory). `None` where no wearer
/// wore two sites. Checked by `tests/sites.rs`.
#[must_use]
pub fn permute_sites(sensors: &[SensorMean], seed: u64) -> Option<PermutationTest> {
    let wearers = distinct(sensors, |sensor| sensor.wearer);
    let model = fit(sensors, |_| vec![1.0], wearers.len() > 1).ok()?;
    let mut totals = BTreeMap::<usize, (f64, f64)>::new();
    for sensor in sensors {
        let total = totals.entry(sensor.wearer).or_default();
        total.0 += precision(&model, sensor) * sensor.mean;
        total.1 += precision(&model, sensor);
    }
    // Weight and rest of each sensor.
    let rests: Vec<(f64, f64)> = sensors
        .iter()
        .map(|sensor| {
            let (sum, weights) = totals[&sensor.wearer];
            (precision(&model, sensor), sensor.mean - sum / weights)
        })
        .collect();
    let sites: Vec<usize> = sensors.iter().map(|sensor| sensor.site).collect();
    let blocks: Vec<usize> = sensors.iter().map(|sensor| sensor.wearer).collect();
    let mut sums = vec![SiteSum::default(); sites.iter().max()? + 1];
    permutation_test(&sites, &blocks, seed, |sites| {
        sums.fill(SiteSum::default());
        for (&(weight, rest), &site) in rests.iter().zip(sites) {
            let sum = &mut sums[site];
            sum.count += 1.0;
            sum.weight += weight;
            sum.pull += weight * rest;
            sum.squares += weight * rest * rest;
        }
        studentised(&sums)
    })
}

/// Weighted sums over the sensors of a site.
#[derive(Clone, Copy, Default)]
struct SiteSum {
    count: f64,
    weight: f64,
    pull: f64,
    squares: f64,
}

fn studentised(sums: &[SiteSum]) -> f64 {
    let sites = || sums.iter().filter(|sum| sum.count > 0.0);
    let left = |sum: &SiteSum| (sum.squares - sum.pull * sum.pull / sum.weight).max(0.0);
    let all: f64 = sites().map(|sum| sum.squares).sum();
    let df: f64 = sites().map(|sum| sum.count - 1.0).sum();
    // Rounding stands for no variance at all; where each site has one sensor it does not matter.
    let within = sites().map(left).sum::<f64>() / df.max(1.0);
    let share = within.max(1e-9 * all);
    let weighted = |sum: &SiteSum| sum.weight * sum.count / (left(sum) + share);
    let total: f64 = sites().map(weighted).sum();
    let mean = sites()
        .map(|sum| weighted(sum) * sum.pull / sum.weight)
        .sum::<f64>()
        / total;
    sites()
        .map(|sum| weighted(sum) * (sum.pull / sum.weight - mean).powi(2))
        .sum()
}

fn distinct(sensors: &[SensorMean], of: impl Fn(&SensorMean) -> usize) -> BTreeSet<usize> {
    sensors.iter().map(of).collect()
}

fn flags(sensors: &[SensorMean], of: impl Fn(&SensorMean) -> bool) -> Vec<f64> {
    sensors
        .iter()
        .map(|sensor| f64::from(u8::from(of(sensor))))
        .collect()
}

/// A column less its mean over the sensors of each wearer.
fn less_wearers(sensors: &[SensorMean], column: &[f64]) -> Vec<f64> {
    let mut totals = BTreeMap::<usize, (f64, f64)>::new();
    for (sensor, cell) in sensors.iter().zip(column) {
        let total = totals.entry(sensor.wearer).or_default();
        *total = (total.0 + cell, total.1 + 1.0);
    }
    let rest = |(sensor, cell): (&SensorMean, &f64)| {
        let (sum, count) = totals[&sensor.wearer];
        cell - sum / count
    };
    sensors.iter().zip(column).map(rest).collect()
}

/// Columns none of which is a combination of those before it.
#[derive(Default)]
struct Independent {
    columns: Vec<Vec<f64>>,
    basis: Vec<Vec<f64>>,
}

impl Independent {
    fn new(columns: Vec<Vec<f64>>) -> Self {
        let mut set = Self::default();
        for column in columns {
            set.try_add(column);
        }
        set
    }

    /// Adds a column, unless it is a combination of those that are there.
    fn try_add(&mut self, column: Vec<f64>) -> bool {
        let added = self.extend(column.clone(), dot(&column, &column));
        if added {
            self.columns.push(column);
        }
        added
    }

    /// Adds a direction, unless next to nothing of a column's squared length `size` is new in it.
    fn extend(&mut self, mut direction: Vec<f64>, size: f64) -> bool {
        for _ in 0..2 {
            for known in &self.basis {
                let along = dot(&direction, known);
                for (cell, unit) in direction.iter_mut().zip(known) {
                    *cell -= along * unit;
                }
            }
        }
        let left = dot(&direction, &direction);
        if left <= 1e-10 * size || size == 0.0 {
            return false;
        }
        for cell in &mut direction {
            *cell /= left.sqrt();
        }
        self.basis.push(direction);
        true
    }
}
