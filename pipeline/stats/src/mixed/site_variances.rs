//! Differences between sites where the sensors of each site scatter as much as they do.

use super::contrast::{Contrast, WaldTest};
use crate::distributions::f_upper_tail;
use crate::linear::{Square, add, dot};
use std::collections::BTreeMap;

/// Degrees of freedom from which on a site's scatter is taken from its own sensors.
const LEAST_DF: f64 = 2.0;

/// A site's variance may be this many times its estimate: where it is too small by chance, t is too large and its degrees of
/// freedom are too many at once.
const DOUBT: f64 = 2.0;

/// The mean of a sensor as least squares sees it.
pub(super) struct Point {
    pub site: usize,
    /// Each wearer has a level of its own.
    pub wearer: usize,
    /// What else is fitted.
    pub columns: Vec<f64>,
    pub mean: f64,
    /// Its precision if all sites scattered alike.
    pub weight: f64,
    /// What the scatter of the sensor's own pairs alone makes the variance of its mean.
    pub least_variance: f64,
}

/// Weighted least squares over the means of sensors with a variance of its own for each site.
///
/// A site's variance is Σ w e² / ν over its sensors, e the residual, w the weight, ν its sensors less their leverages; where
/// ν is below 2 all sites together stand in, unless those with little to spare scatter more. An effect is Σ a · mean, so its variance is Σ over sites of their variance
/// times Σ a² / w, no site's part below that of the scatter of pairs, with (Σ V)² / Σ (V² / ν) degrees of freedom,
/// the fewest that come out with any one V doubled. For two sites and one wearer this is Welch's t test but for that
/// doubling, without which it rejects in 6 to 7 % with 3 or 4 sensors of the site that scatters more. Sources, from memory: Welch 1938 Biometrika 29:350; Satterthwaite 1946 Biometrics
/// Bull 2:110.
#[derive(Debug, Clone)]
pub(super) struct OwnVariances {
    effects: Vec<f64>,
    /// Covariance of the effects if each mean had the variance 1 / weight.
    alike: Square,
    parts: Vec<Part>,
}

/// What sites with one estimate of variance add to the covariance of the effects.
#[derive(Debug, Clone)]
struct Part {
    covariance: Square,
    df: f64,
}

impl OwnVariances {
    /// `None` where the columns depend on each other within wearers or nothing is left over. Sites are numbered below
    /// `sites`; an effect is of each column.
    pub fn new(mut points: Vec<Point>, sites: usize) -> Option<Self> {
        let shares = less_wearers(&mut points);
        let size = points.first()?.columns.len();
        let mut normal = Square::zero(size);
        let mut right = vec![0.0; size];
        for point in &points {
            normal.add_outer(point.weight, &point.columns);
            add(&mut right, point.weight * point.mean, &point.columns);
        }
        let inverse = normal.cholesky(1e-10)?.inverse_of_product();
        let product =
            |v: &[f64]| -> Vec<f64> { (0..size).map(|i| dot(inverse.row(i), v)).collect() };
        let effects = product(&right);
        let mut scatters = vec![Scatter::new(size); sites];
        for (point, share) in points.iter().zip(shares) {
            let pull = product(&point.columns);
            let leverage = share + point.weight * dot(&pull, &point.columns);
            let residual = point.mean - dot(&effects, &point.columns);
            let scatter = &mut scatters[point.site];
            scatter.squares += point.weight * residual * residual;
            scatter.df += 1.0 - leverage;
            scatter.unscaled.add_outer(point.weight, &pull);
            let least = point.weight * point.weight * point.least_variance;
            scatter.least.add_outer(least, &pull);
        }
        let mut alike = Square::zero(size);
        for scatter in &scatters {
            alike.add(1.0, &scatter.unscaled);
        }
        Some(Self {
            effects,
            alike,
            parts: parts(&scatters)?,
        })
    }

    /// A combination of effects, held to `most` degrees of freedom.
    pub fn contrast(&self, weights: &[f64], most: f64) -> Contrast {
        let variances = self.parts.iter().map(|part| {
            let variance = part.covariance.form(weights, weights);
            (variance, part.df)
        });
        let (variance, df) = joined(variances, most);
        Contrast::by_t(dot(&self.effects, weights), variance.sqrt(), df)
    }

    /// Several combinations against 0: d' H d / tr(H C), H the inverse of their covariance if all sites scattered alike
    /// and C as they do; degrees of freedom of tr(H C) as of a variance. Source, from memory: Brunner, Dette and Munk 1997 J Am Stat
    /// Assoc 92:1494, whose numerator's degrees of freedom are here the number of combinations.
    pub fn test(&self, combinations: &[&[f64]], most: f64) -> Option<WaldTest> {
        let q = combinations.len();
        let of = |covariance: &Square| {
            let mut among = Square::zero(q);
            for (i, one) in combinations.iter().enumerate() {
                for (j, other) in combinations.iter().enumerate() {
                    *among.at_mut(i, j) = covariance.form(one, other);
                }
            }
            among
        };
        let inverse = of(&self.alike).cholesky(1e-10)?.inverse_of_product();
        let trace = |covariance: &Square| dot(&inverse.cells, &of(covariance).cells);
        let traces = self
            .parts
            .iter()
            .map(|part| (trace(&part.covariance), part.df));
        let (variance, df) = joined(traces, most);
        let estimates: Vec<f64> = combinations.iter().map(|c| dot(c, &self.effects)).collect();
        let f = inverse.form(&estimates, &estimates) / variance;
        Some(WaldTest {
            f,
            df_numerator: q as f64,
            df_denominator: df,
            p: f_upper_tail(f, q as f64, df),
        })
    }
}

/// Takes the weighted mean of each wearer's points from their columns and means, which fits a level to each wearer, and gives
/// the share of its wearer's weight that each point has.
fn less_wearers(points: &mut [Point]) -> Vec<f64> {
    let mut totals = BTreeMap::<usize, Point>::new();
    for point in points.iter() {
        let total = totals.entry(point.wearer).or_insert_with(|| Point {
            columns: vec![0.0; point.columns.len()],
            mean: 0.0,
            weight: 0.0,
            ..*point
        });
        total.weight += point.weight;
        total.mean += point.weight * point.mean;
        add(&mut total.columns, point.weight, &point.columns);
    }
    let own = points.iter_mut().map(|point| {
        let total = &totals[&point.wearer];
        point.mean -= total.mean / total.weight;
        add(&mut point.columns, -1.0 / total.weight, &total.columns);
        point.weight / total.weight
    });
    own.collect()
}

/// Sums over the sensors of a site.
#[derive(Clone)]
struct Scatter {
    squares: f64,
    df: f64,
    unscaled: Square,
    least: Square,
}

impl Scatter {
    fn new(effects: usize) -> Self {
        Self {
            squares: 0.0,
            df: 0.0,
            unscaled: Square::zero(effects),
            least: Square::zero(effects),
        }
    }

    fn add(&mut self, other: &Self) {
        self.squares += other.squares;
        self.df += other.df;
        self.unscaled.add(1.0, &other.unscaled);
        self.least.add(1.0, &other.least);
    }

    /// The part of these sensors, given a variance and its degrees of freedom.
    fn part(&self, variance: f64, df: f64) -> Part {
        let mut covariance = Square::zero(self.unscaled.size);
        covariance.add(variance, &self.unscaled);
        let trace = |m: &Square| (0..m.size).map(|i| m.at(i, i)).sum::<f64>();
        if trace(&covariance) < trace(&self.least) {
            covariance = self.least.clone();
        }
        Part { covariance, df }
    }
}

fn parts(scatters: &[Scatter]) -> Option<Vec<Part>> {
    let (mut all, mut few) = (
        scatters.first()?.clone(),
        Scatter::new(scatters[0].unscaled.size),
    );
    scatters[1..].iter().for_each(|scatter| all.add(scatter));
    if all.df < 0.5 {
        return None;
    }
    let (enough, rest): (Vec<&Scatter>, Vec<&Scatter>) = scatters
        .iter()
        .partition(|scatter| scatter.df >= LEAST_DF - 1e-9);
    rest.iter().for_each(|scatter| few.add(scatter));
    let mut parts: Vec<Part> = enough
        .iter()
        .map(|scatter| scatter.part(scatter.squares / scatter.df, scatter.df))
        .collect();
    if !rest.is_empty() {
        let variance = (all.squares / all.df).max(few.squares / few.df.max(1.0));
        parts.push(few.part(variance, all.df));
    }
    Some(parts)
}

/// The sum of independent variances, and its degrees of freedom, 1 to `most`: the fewest there would be if one of them were
/// truly [`DOUBT`] times its estimate, or all as estimated.
fn joined(variances: impl Iterator<Item = (f64, f64)>, most: f64) -> (f64, f64) {
    let variances: Vec<(f64, f64)> = variances.collect();
    let df_if = |doubted: Option<usize>| {
        let truly = |place: usize| if doubted == Some(place) { DOUBT } else { 1.0 };
        let parts = variances.iter().enumerate();
        let (sum, uncertain) = parts.fold((0.0, 0.0), |(sum, uncertain), (place, (v, df))| {
            let variance = truly(place) * v;
            (sum + variance, uncertain + variance * variance / df)
        });
        if uncertain > 0.0 {
            sum * sum / uncertain
        } else {
            most
        }
    };
    let df = (0..variances.len())
        .map(|place| df_if(Some(place)))
        .fold(df_if(None), f64::min);
    let sum = variances.iter().map(|(variance, _)| variance).sum();
    (sum, df.clamp(1.0, most.max(1.0)))
}
