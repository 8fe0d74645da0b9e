//! Restricted maximum likelihood of the two variances of a one-way layout.

use std::collections::BTreeMap;

/// One group of values.
pub(super) struct Group {
    pub size: f64,
    pub mean: f64,
}

/// All that the likelihood needs: sizes and means of the groups, and the sum of squares within them.
pub(super) struct Sample {
    pub groups: Vec<Group>,
    /// Number of values.
    pub count: f64,
    /// Sum of squares about the group means; 0 where only rounding is left.
    pub within_squares: f64,
}

/// Which likelihood is made as large as possible.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likelihood {
    /// That of all values (ML): its variance between groups is too small on average.
    Full,
    /// That of what is left once the mean is estimated (REML).
    Restricted,
}

/// Variances between and within groups.
#[derive(Clone, Copy)]
pub(super) struct Variances {
    pub between: f64,
    pub within: f64,
}

impl Sample {
    pub fn new(values: &[f64], groups: &[usize]) -> Self {
        let mut members = BTreeMap::<usize, Vec<f64>>::new();
        for (&value, &group) in values.iter().zip(groups) {
            members.entry(group).or_default().push(value);
        }
        let largest = values
            .iter()
            .fold(0.0_f64, |largest, value| largest.max(value.abs()));
        let mut within_squares = 0.0;
        let groups = members
            .into_values()
            .map(|members| {
                let size = members.len() as f64;
                let first = members[0];
                let mean = first + members.iter().map(|value| value - first).sum::<f64>() / size;
                within_squares += members
                    .iter()
                    .map(|value| (value - mean).powi(2))
                    .sum::<f64>();
                Group { size, mean }
            })
            .collect();
        let count = values.len() as f64;
        let rounding = count * (4.0 * f64::EPSILON * largest).powi(2);
        Self {
            groups,
            count,
            within_squares: if within_squares <= rounding {
                0.0
            } else {
                within_squares
            },
        }
    }

    /// Sample variance of the group means.
    pub fn between_means(&self) -> f64 {
        let k = self.groups.len() as f64;
        let origin = self.groups[0].mean;
        let mean = origin
            + self
                .groups
                .iter()
                .map(|group| group.mean - origin)
                .sum::<f64>()
                / k;
        self.groups
            .iter()
            .map(|group| (group.mean - mean).powi(2))
            .sum::<f64>()
            / (k - 1.0)
    }

    /// The REML estimates.
    pub fn reml(&self) -> Variances {
        self.most_likely(Likelihood::Restricted).0
    }

    /// The estimates and the deviance -2 ln L: the best of the local maxima over the ratio of the variances, found where
    /// the slope of the profile changes sign on a grid of ratios, and of the boundary at 0. No spread within groups: the
    /// deviance is -∞.
    pub fn most_likely(&self, likelihood: Likelihood) -> (Variances, f64) {
        if self.within_squares == 0.0 {
            let between = self.between_means();
            let within = 0.0;
            return (Variances { between, within }, f64::NEG_INFINITY);
        }
        let profile = |ratio: f64| self.profile(ratio, likelihood);
        let mut best = (profile(0.0), 0.0);
        let mut low = (0.0, profile(0.0).slope);
        for step in -120..=160 {
            let ratio = 10_f64.powf(f64::from(step) / 10.0);
            let high = (ratio, profile(ratio).slope);
            if low.1 < 0.0 && high.1 >= 0.0 {
                let root = flat_ratio(low.0, high.0, profile);
                let here = profile(root);
                if here.deviance < best.0.deviance {
                    best = (here, root);
                }
            }
            low = high;
        }
        let df = likelihood.df(self.count);
        let within = best.0.squares / df;
        let variances = Variances {
            between: best.1 * within,
            within,
        };
        let constant = df * (1.0 + (2.0 * std::f64::consts::PI / df).ln());
        (variances, best.0.deviance + constant)
    }

    /// The deviance, less a constant, at a ratio of between to within variance, the within variance profiled out.
    fn profile(&self, ratio: f64, likelihood: Likelihood) -> Profile {
        let weight = |group: &Group| group.size / (1.0 + group.size * ratio);
        let total: f64 = self.groups.iter().map(weight).sum();
        let mean = self
            .groups
            .iter()
            .map(|group| weight(group) * group.mean)
            .sum::<f64>()
            / total;
        let mut squares = self.within_squares;
        let (mut log_sizes, mut squared_weights, mut squares_slope) = (0.0, 0.0, 0.0);
        for group in &self.groups {
            let weight = weight(group);
            let residual = weight * (group.mean - mean);
            squares += residual * (group.mean - mean);
            squares_slope -= residual * residual;
            squared_weights += weight * weight;
            log_sizes += (group.size * ratio).ln_1p();
        }
        let df = likelihood.df(self.count);
        // What the mean that is estimated as well adds to the restricted deviance.
        let (of_mean, slope_of_mean) = match likelihood {
            Likelihood::Full => (0.0, 0.0),
            Likelihood::Restricted => (total.ln(), squared_weights / total),
        };
        Profile {
            deviance: df * squares.ln() + log_sizes + of_mean,
            slope: df * squares_slope / squares + total - slope_of_mean,
            squares,
        }
    }
}

/// Bisection for the ratio in `low..high` at which the slope of the profile turns positive.
fn flat_ratio(mut low: f64, mut high: f64, profile: impl Fn(f64) -> Profile) -> f64 {
    while high - low > 4.0 * f64::EPSILON * high {
        let middle = 0.5 * (low + high);
        if profile(middle).slope < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

impl Likelihood {
    /// What the sum of squares is divided by for the variance within, from the number of values.
    fn df(self, count: f64) -> f64 {
        match self {
            Self::Full => count,
            Self::Restricted => count - 1.0,
        }
    }
}

struct Profile {
    deviance: f64,
    slope: f64,
    /// Within-group variance times (count - 1).
    squares: f64,
}

impl Variances {
    /// Precision of the mean of a group of `size`.
    pub fn weight(self, size: f64) -> f64 {
        1.0 / (self.between + self.within / size)
    }
}
