//! Lines from the ranks of the slopes between all pairs of points, which single outliers do not move.

use super::method_comparison::Line;
use crate::comparison::SLACK;
use crate::distributions::normal_quantile;
use crate::interval::Interval;
use crate::quantile::median;

/// A line with intervals of both of its numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankLine {
    /// The line.
    pub line: Line,
    /// Interval of the slope; `None` where there are too few slopes for its ranks.
    pub slope: Option<Interval>,
    /// Interval of the intercept.
    pub intercept: Option<Interval>,
}

/// Passing and Bablok's line, the same whichever method is called x.
///
/// The slopes of all pairs of points, those of equal points and those of -1 (up to rounding) left out, vertical ones infinite;
/// with K below -1, the slope is the median shifted up by K. Interval: ranks M1 = (N - C) / 2 to the nearest whole and
/// M2 = N - M1 + 1, shifted alike, C = z √(n (n - 1) (2 n + 5) / 18). Intercept: median of y - b x, its ends at the
/// ends of the slope. `None` with fewer than three points or without any slope. Source: Passing and Bablok 1983 J Clin
/// Chem Clin Biochem 21:709. Checked by `tests/method_comparison.rs`.
#[must_use]
pub fn passing_bablok(x: &[f64], y: &[f64], level: f64) -> Option<RankLine> {
    let slopes: Vec<f64> = sorted_slopes(x, y, |dx, dy| {
        let minus_one = (dx + dy).abs() <= SLACK * dx.abs();
        (!minus_one && (dx, dy) != (0.0, 0.0)).then_some(dy / dx)
    });
    let shift = slopes.iter().filter(|slope| **slope < -1.0).count();
    let middle = middle_of(&slopes, shift)?;
    let first = ((slopes.len() as f64 - rank_spread(x.len(), level)) / 2.0).round();
    let rank = |rank: f64| {
        let place = rank as usize + shift;
        (rank >= 1.0)
            .then(|| slopes.get(place - 1))
            .flatten()
            .copied()
    };
    let ends = rank(first).zip(rank(slopes.len() as f64 - first + 1.0));
    line_of(x, y, middle, ends)
}

/// Theil and Sen's line: the median of the slopes of all pairs of points with different x.
///
/// Interval: slopes at ranks (N - C) / 2 and (N + C) / 2, C as in [`passing_bablok`], the lower rank rounded and the
/// upper rounded and one up. `None` with fewer than three points or all x equal. Source: Sen 1968 J Am Stat Assoc
/// 63:1379. Checked by `tests/method_comparison.rs`.
#[must_use]
pub fn theil_sen(x: &[f64], y: &[f64], level: f64) -> Option<RankLine> {
    let slopes = sorted_slopes(x, y, |dx, dy| (dx != 0.0).then_some(dy / dx));
    let middle = middle_of(&slopes, 0)?;
    let (n, spread) = (slopes.len() as f64, rank_spread(x.len(), level));
    let lower = ((n - spread) / 2.0).round();
    let upper = ((n + spread) / 2.0).round() + 1.0;
    let rank = |rank: f64| {
        (rank >= 1.0)
            .then(|| slopes.get(rank as usize - 1))
            .flatten()
            .copied()
    };
    line_of(x, y, middle, rank(lower).zip(rank(upper)))
}

fn sorted_slopes(x: &[f64], y: &[f64], slope: impl Fn(f64, f64) -> Option<f64>) -> Vec<f64> {
    let mut slopes: Vec<f64> = (0..x.len())
        .flat_map(|i| (i + 1..x.len()).map(move |j| (i, j)))
        .filter_map(|(i, j)| slope(x[j] - x[i], y[j] - y[i]))
        .collect();
    slopes.sort_by(f64::total_cmp);
    slopes
}

/// The median of slopes whose ranks are counted from `shift` on.
fn middle_of(slopes: &[f64], shift: usize) -> Option<f64> {
    let place = (slopes.len() + 1) as f64 / 2.0 + shift as f64;
    let below = *slopes.get((place.floor() as usize).checked_sub(1)?)?;
    let above = *slopes.get(place.ceil() as usize - 1)?;
    Some(if below == above {
        below
    } else {
        0.5 * (below + above)
    })
}

/// z times the standard deviation of Kendall's score of n points.
fn rank_spread(points: usize, level: f64) -> f64 {
    let n = points as f64;
    normal_quantile(0.5 * (1.0 + level)) * (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt()
}

fn line_of(x: &[f64], y: &[f64], slope: f64, ends: Option<(f64, f64)>) -> Option<RankLine> {
    let intercept = |slope: f64| {
        let left: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
        median(&left)
    };
    if x.len() < 3 || !slope.is_finite() {
        return None;
    }
    Some(RankLine {
        line: Line {
            intercept: intercept(slope)?,
            slope,
        },
        slope: ends.map(|(lower, upper)| Interval { lower, upper }),
        intercept: ends.and_then(|(lower, upper)| {
            Some(Interval {
                lower: intercept(upper)?,
                upper: intercept(lower)?,
            })
        }),
    })
}
