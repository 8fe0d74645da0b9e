//! Constant and proportional bias: a straight line between two methods that both err.

use crate::distributions::t_quantile;
use crate::interval::Interval;
use std::collections::BTreeMap;

/// y = intercept + slope x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// y at x = 0.
    pub intercept: f64,
    /// Change of y for one unit of x.
    pub slope: f64,
}

/// An ordinary least squares line with what is tested on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastSquares {
    /// The line.
    pub line: Line,
    /// Standard errors of the intercept and the slope.
    pub std_errors: Line,
    /// Residual standard deviation, divisor n - 2.
    pub residual_sd: f64,
    /// Share of the variance of y that the line explains.
    pub r_squared: f64,
    /// F with 1 and n - 2 degrees of freedom of a slope of 0.
    pub f: f64,
}

/// Sums about the means.
struct Moments {
    n: f64,
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Moments {
    fn new(x: &[f64], y: &[f64]) -> Self {
        let n = x.len() as f64;
        let mean = |values: &[f64]| {
            values[0] + values.iter().map(|value| value - values[0]).sum::<f64>() / n
        };
        let (mean_x, mean_y) = (mean(x), mean(y));
        let cross = |a: &[f64], mean_a: f64, b: &[f64], mean_b: f64| -> f64 {
            a.iter()
                .zip(b)
                .map(|(a, b)| (a - mean_a) * (b - mean_b))
                .sum()
        };
        Self {
            n,
            mean_x,
            mean_y,
            xx: cross(x, mean_x, x, mean_x),
            yy: cross(y, mean_y, y, mean_y),
            xy: cross(x, mean_x, y, mean_y),
        }
    }

    fn line(&self, slope: f64) -> Line {
        Line {
            intercept: self.mean_y - slope * self.mean_x,
            slope,
        }
    }
}

/// Ordinary least squares of y on x; `None` with fewer than three points or all x equal.
///
/// All error is taken to be in y, so that error in x draws the slope towards 0. Source: any textbook; certified set
/// Norris of the NIST Statistical Reference Datasets. Checked by `tests/method_comparison.rs`.
#[must_use]
pub fn least_squares(x: &[f64], y: &[f64]) -> Option<LeastSquares> {
    if x.len() < 3 {
        return None;
    }
    let m = Moments::new(x, y);
    if m.xx <= 0.0 {
        return None;
    }
    let line = m.line(m.xy / m.xx);
    let squares: f64 = x
        .iter()
        .zip(y)
        .map(|(x, y)| (y - m.mean_y - line.slope * (x - m.mean_x)).powi(2))
        .sum();
    let variance = squares / (m.n - 2.0);
    let explained = line.slope * m.xy;
    Some(LeastSquares {
        line,
        std_errors: Line {
            intercept: (variance * (1.0 / m.n + m.mean_x * m.mean_x / m.xx)).sqrt(),
            slope: (variance / m.xx).sqrt(),
        },
        residual_sd: variance.sqrt(),
        r_squared: explained / (explained + squares),
        f: explained / variance,
    })
}

/// Deming's line: both methods err, with a known ratio of error variances, var(y error) / var(x error).
///
/// slope = (S_yy - r S_xx + √((S_yy - r S_xx)² + 4 r S_xy²)) / (2 S_xy), through the point of means. `None` with fewer
/// than two points, or where x and y are not correlated. Sources, from memory: Deming 1943, Statistical Adjustment of Data;
/// Linnet 1990 Stat Med 9:1463. Checked by `tests/method_comparison.rs`.
#[must_use]
pub fn deming(x: &[f64], y: &[f64], ratio: f64) -> Option<Line> {
    if x.len() < 2 {
        return None;
    }
    let m = Moments::new(x, y);
    if m.xy == 0.0 {
        return None;
    }
    let lean = m.yy - ratio * m.xx;
    Some(m.line((lean + (lean * lean + 4.0 * ratio * m.xy * m.xy).sqrt()) / (2.0 * m.xy)))
}

/// Deming's line over groups (sensors), with what leaving one out tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClusteredDeming {
    /// The line through all points.
    pub line: Line,
    /// Jackknife standard errors.
    pub std_errors: Line,
    /// 95 % interval of the intercept.
    pub intercept: Interval,
    /// 95 % interval of the slope.
    pub slope: Interval,
}

/// Deming's line with intervals that leave out one group at a time.
///
/// Standard error √((k - 1) / k · Σ (estimate without a group - their mean)²) over k groups; intervals by t with k - 2
/// degrees of freedom about the estimate. With each point a group of its own this is the usual jackknife. `None` with
/// fewer than three groups. Source, from memory: Linnet 1993 Clin Chem 39:424, with whole groups in place of points. Checked by
/// `tests/method_comparison.rs`.
#[must_use]
pub fn clustered_deming(
    x: &[f64],
    y: &[f64],
    groups: &[usize],
    ratio: f64,
) -> Option<ClusteredDeming> {
    let mut members = BTreeMap::<usize, Vec<usize>>::new();
    for (point, &group) in groups.iter().enumerate() {
        members.entry(group).or_default().push(point);
    }
    if members.len() < 3 {
        return None;
    }
    let line = deming(x, y, ratio)?;
    let without = |group: usize| {
        let keep = |values: &[f64]| -> Vec<f64> {
            let kept = values.iter().zip(groups).filter(|(_, of)| **of != group);
            kept.map(|(value, _)| *value).collect()
        };
        deming(&keep(x), &keep(y), ratio)
    };
    let lines: Vec<Line> = members
        .keys()
        .map(|&group| without(group))
        .collect::<Option<_>>()?;
    let k = lines.len() as f64;
    let spread = |of: fn(&Line) -> f64| {
        let mean = lines.iter().map(of).sum::<f64>() / k;
        let squares: f64 = lines.iter().map(|line| (of(line) - mean).powi(2)).sum();
        ((k - 1.0) / k * squares).sqrt()
    };
    let std_errors = Line {
        intercept: spread(|line| line.intercept),
        slope: spread(|line| line.slope),
    };
    let t = t_quantile(0.975, k - 2.0);
    Some(ClusteredDeming {
        line,
        std_errors,
        intercept: Interval::around(line.intercept, t * std_errors.intercept),
        slope: Interval::around(line.slope, t * std_errors.slope),
    })
}

/// A point with the standard deviations of its errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UncertainPoint {
    /// Value by the first method.
    pub x: f64,
    /// Standard deviation of its error.
    pub sd_x: f64,
    /// Value by the second method.
    pub y: f64,
    /// Standard deviation of its error.
    pub sd_y: f64,
}

/// The line of points whose errors are known one by one, and its standard errors.
///
/// Minimises Σ w (y - a - b x)², w = 1 / (sd_y² + b² sd_x²); errors from the weighted moments of x at the minimum.
/// `None` with fewer than three points or where a point has no error at all. The slope is searched between 1/50 and
/// 50 times the slope of least squares. Source: Ripley and Thompson 1987 Analyst 112:377. Checked by
/// `tests/method_comparison.rs`.
#[must_use]
pub fn errors_in_variables(points: &[UncertainPoint]) -> Option<(Line, Line)> {
    let no_error = |point: &UncertainPoint| point.sd_x <= 0.0 && point.sd_y <= 0.0;
    if points.len() < 3 || points.iter().any(no_error) {
        return None;
    }
    let x: Vec<f64> = points.iter().map(|point| point.x).collect();
    let y: Vec<f64> = points.iter().map(|point| point.y).collect();
    let start = deming(&x, &y, 1.0)?.slope;
    let loss = |slope: f64| weighted(points, slope).2;
    let (mut low, mut high) = (0.02_f64.ln(), 50.0_f64.ln());
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    while high - low > 1e-9 {
        let step = golden * (high - low);
        let (left, right) = (high - step, low + step);
        if loss(start * left.exp()) < loss(start * right.exp()) {
            high = right;
        } else {
            low = left;
        }
    }
    let slope = start * (0.5 * (low + high)).exp();
    let (intercept, weights, _) = weighted(points, slope);
    let moment = |power: i32| -> f64 {
        let terms = weights.iter().zip(points);
        terms
            .map(|(weight, point)| weight * point.x.powi(power))
            .sum()
    };
    let determinant = moment(0) * moment(2) - moment(1).powi(2);
    let std_errors = Line {
        intercept: (moment(2) / determinant).sqrt(),
        slope: (moment(0) / determinant).sqrt(),
    };
    Some((Line { intercept, slope }, std_errors))
}

/// The best intercept at a slope, the weights, and the weighted squares that are left.
fn weighted(points: &[UncertainPoint], slope: f64) -> (f64, Vec<f64>, f64) {
    let weight = |point: &UncertainPoint| 1.0 / (point.sd_y.powi(2) + (slope * point.sd_x).powi(2));
    let weights: Vec<f64> = points.iter().map(weight).collect();
    let total: f64 = weights.iter().sum();
    let left = |point: &UncertainPoint| point.y - slope * point.x;
    let terms = || weights.iter().zip(points);
    let intercept = terms().map(|(w, point)| w * left(point)).sum::<f64>() / total;
    let squares = terms()
        .map(|(w, point)| w * (left(point) - intercept).powi(2))
        .sum();
    (intercept, weights, squares)
}
