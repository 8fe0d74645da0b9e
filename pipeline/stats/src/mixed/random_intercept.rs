//! The mean of a random-intercept model by REML.

use crate::distributions::t_quantile;
use crate::interval::Interval;
pub use crate::mixed::reml::Likelihood;
use crate::mixed::reml::{Group, Sample, Variances};

/// Standard deviations from the mean to a limit of agreement.
pub const LIMIT_FACTOR: f64 = 1.96;

/// A mean over groups (sensors) of values (differences), in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RandomIntercept {
    /// Number of groups.
    pub groups: usize,
    /// Number of values.
    pub count: usize,
    /// The mean: generalised least squares given the two variances.
    pub mean: f64,
    /// Standard error of the mean; `None` with one group.
    pub std_error: Option<f64>,
    /// Degrees of freedom of the t interval; `None` with one group.
    pub df: Option<f64>,
    /// 95 % interval of the mean; `None` with one group.
    pub interval: Option<Interval>,
    /// Standard deviation between groups; `None` where it cannot be told from that within.
    pub sd_between: Option<f64>,
    /// Standard deviation within groups; `None` where it cannot be told from that between.
    pub sd_within: Option<f64>,
    /// Mean ± 1.96 √(between² + within²); `None` with one group.
    pub limits: Option<Interval>,
}

/// Fits value = mean + group effect + residual, both normal, by restricted maximum likelihood.
///
/// `values` (finite) and `groups` (any numbers) are equally long. The interval uses t with Satterthwaite's degrees of
/// freedom 2 V² / Var(V), V the variance of the mean and Var(V) by the delta method from the observed REML
/// information, held to 1 to k - 1 for k groups. Returns `None` without values. Edges:
///
/// - one group: the plain mean and, from two values, `sd_within`; nothing else;
/// - one value per group: the plain mean, t with k - 1, limits from the total standard deviation; no `sd_between`, no
///   `sd_within`;
/// - between-group variance estimated as 0, or groups of equal size: k - 1 degrees of freedom;
/// - no spread within any group: the limit of the model, the mean of the group means with k - 1.
///
/// Sources, from memory: Searle, Casella and McCulloch 1992, Variance Components, section 3.8; Satterthwaite 1946 Biometrics Bull
/// 2:110; Kuznetsova et al. 2017 J Stat Softw 82(13) for the observed information. Checked by
/// `tests/random_intercept.rs`.
#[must_use]
pub fn random_intercept(values: &[f64], groups: &[usize]) -> Option<RandomIntercept> {
    let sample = Sample::new(values, groups);
    let count = values.len();
    let k = sample.groups.len();
    if k == 0 {
        return None;
    }
    if k == 1 {
        return Some(one_group(&sample, count));
    }
    let fit = if k == count {
        let equal = Variances {
            between: sample.between_means(),
            within: 0.0,
        };
        MeanFit::new(&sample, equal)
    } else {
        MeanFit::new(&sample, sample.reml())
    };
    let told_apart = k < count;
    let df = fit.degrees_of_freedom(&sample);
    let total = (fit.variances.between + fit.variances.within).sqrt();
    let std_error = fit.variance_of_mean.sqrt();
    Some(RandomIntercept {
        groups: k,
        count,
        mean: fit.mean,
        std_error: Some(std_error),
        df: Some(df),
        interval: Some(Interval::around(
            fit.mean,
            t_quantile(0.975, df) * std_error,
        )),
        sd_between: told_apart.then(|| fit.variances.between.sqrt()),
        sd_within: told_apart.then(|| fit.variances.within.sqrt()),
        limits: Some(Interval::around(fit.mean, LIMIT_FACTOR * total)),
    })
}

/// Variance components with the likelihood that they reach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// The mean given the variances.
    pub mean: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Variance between groups.
    pub between: f64,
    /// Variance within groups.
    pub within: f64,
    /// Share of the variance that lies between groups: the correlation of two values of a group.
    pub correlation: f64,
    /// -2 ln L, the constant included.
    pub deviance: f64,
}

/// The model of [`random_intercept`] by one likelihood or the other; kept for checking. `None` with fewer than two groups,
/// or one value in each. Source, from memory: Searle, Casella and McCulloch 1992, sections 3.7 and 3.8. Checked by `tests/random_intercept.rs`.
#[must_use]
pub fn components(values: &[f64], groups: &[usize], likelihood: Likelihood) -> Option<Components> {
    let sample = Sample::new(values, groups);
    if sample.groups.len() < 2 || sample.groups.len() == values.len() {
        return None;
    }
    let (variances, deviance) = sample.most_likely(likelihood);
    let fit = MeanFit::new(&sample, variances);
    Some(Components {
        mean: fit.mean,
        std_error: fit.variance_of_mean.sqrt(),
        between: variances.between,
        within: variances.within,
        correlation: variances.between / (variances.between + variances.within),
        deviance,
    })
}

fn one_group(sample: &Sample, count: usize) -> RandomIntercept {
    let spread = (count > 1).then(|| (sample.within_squares / (count - 1) as f64).sqrt());
    RandomIntercept {
        groups: 1,
        count,
        mean: sample.groups[0].mean,
        std_error: None,
        df: None,
        interval: None,
        sd_between: None,
        sd_within: spread,
        limits: None,
    }
}

/// The mean given the variances.
struct MeanFit {
    variances: Variances,
    mean: f64,
    variance_of_mean: f64,
}

impl MeanFit {
    fn new(sample: &Sample, variances: Variances) -> Self {
        // Without any spread the weights would be infinite; equal ones are their limit.
        let no_spread = variances.between + variances.within == 0.0;
        let weight = |group: &Group| {
            if no_spread {
                1.0
            } else {
                variances.weight(group.size)
            }
        };
        let total: f64 = sample.groups.iter().map(weight).sum();
        let origin = sample.groups[0].mean;
        let shift: f64 = sample
            .groups
            .iter()
            .map(|group| weight(group) * (group.mean - origin))
            .sum();
        Self {
            variances,
            mean: origin + shift / total,
            variance_of_mean: if no_spread { 0.0 } else { 1.0 / total },
        }
    }

    fn degrees_of_freedom(&self, sample: &Sample) -> f64 {
        let most = sample.groups.len() as f64 - 1.0;
        let balanced = sample
            .groups
            .iter()
            .all(|group| group.size == sample.groups[0].size);
        if balanced || self.variances.between == 0.0 || self.variances.within == 0.0 {
            return most;
        }
        let df = self.satterthwaite(sample);
        if df.is_finite() {
            df.clamp(1.0, most)
        } else {
            1.0
        }
    }

    /// 2 V² / (g' A g): V = 1 / T with T = Σ v, v = 1 / (between + within / n); g the gradient of V in the two
    /// variances, A = 2 H⁻¹ their covariance, H the Hessian of the deviance
    /// `squares / within + (N - k) ln within - Σ ln v + ln T + Σ v (group mean - mean)²`.
    fn satterthwaite(&self, sample: &Sample) -> f64 {
        let within = self.variances.within;
        let total = 1.0 / self.variance_of_mean;
        let mut slope = [0.0; 2]; // -∂T
        let mut pull = [0.0; 2]; // Σ v² q r
        let mut bend = [[0.0; 2]; 2];
        for group in &sample.groups {
            let v = self.variances.weight(group.size);
            let r = group.mean - self.mean;
            let q = [1.0, 1.0 / group.size];
            for a in 0..2 {
                slope[a] += v * v * q[a];
                pull[a] += v * v * q[a] * r;
                for b in 0..2 {
                    bend[a][b] += v * v * q[a] * q[b] * (2.0 * v * r * r + 2.0 * v / total - 1.0);
                }
            }
        }
        let hessian = |a: usize, b: usize| {
            bend[a][b] - slope[a] * slope[b] / (total * total) - 2.0 * pull[a] * pull[b] / total
        };
        let own = 2.0 * sample.within_squares / within.powi(3)
            - (sample.count - sample.groups.len() as f64) / (within * within);
        let (bb, bw, ww) = (hessian(0, 0), hessian(0, 1), hessian(1, 1) + own);
        let quadratic =
            slope[0] * slope[0] * ww - 2.0 * slope[0] * slope[1] * bw + slope[1] * slope[1] * bb;
        let gradient_form = quadratic / (bb * ww - bw * bw) / total.powi(4);
        let df = self.variance_of_mean.powi(2) / gradient_form;
        if df > 0.0 { df } else { f64::NAN }
    }
}
