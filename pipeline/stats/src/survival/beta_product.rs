//! Intervals for few subjects: the mid-p beta product confidence procedure, for a share and for a restricted mean.

use super::risk_table::risk_table;
use crate::comparison::{SLACK, at_most};
use crate::distributions::beta_cdf;
use crate::interval::Interval;
use crate::zero::zero_between;

/// What the intervals are computed from: who was at risk, and when events of one cause happened.
///
/// The share still free of the cause after events with R, ... at risk is taken as a product of independent betas, one for
/// each event, of shapes R and 1 (tied events see R, R - 1, ...), each approximated by a beta of the product's mean and
/// variance; on a second path the next event comes at once, with those still at risk. The limits are the 2.5 and 97.5
/// percentiles of the one or the other path, with equal chance. Without censoring this is the mid-p interval of a share: it
/// covers 95 % on average over shares, where Clopper and Pearson's, which takes the path that is further away, covers more.
/// Where other causes compete, subjects that had one stay at risk, with the weight that Gray's test gives them: R = (1 - F) n /
/// S just before the event, F the incidence of the cause, S the survival free of all. Sources, from memory: Fay, Brittain and Proschan 2013
/// Biostatistics 14:723 (method of moments); Fay and Brittain 2016 Stat Med 35:2726 (mid-p); the extensions to competing causes
/// and to means are ours, proved by simulation (`cargo xtask calibrate`). Checked by `tests/beta_product.rs`.
#[derive(Debug, Clone)]
pub struct BetaProduct {
    /// Those at risk at each event, in order; tied events one by one.
    events: Vec<f64>,
    stretches: Vec<Stretch>,
}

/// From one distinct time to the next: nothing happens in between.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    from: f64,
    /// Events up to and at `from`.
    events: usize,
    /// At risk at the very time `from`, after its events: who is censored then was still there.
    then: f64,
    /// At risk after it.
    after: f64,
}

/// Whether the next event comes at once.
#[derive(Clone, Copy, PartialEq)]
enum Next {
    AtOnce,
    Never,
}

impl BetaProduct {
    /// Intervals for cause 0 among `causes` (`None` = censored, other numbers compete), as long as `times`, which are not
    /// negative and have no NaN.
    #[must_use]
    pub fn new(times: &[f64], causes: &[Option<usize>]) -> Self {
        let known = causes.iter().map(|cause| cause.map(|cause| cause.min(1)));
        let (mut events, mut free, mut weight) = (Vec::new(), 1.0, 1.0);
        let subjects = times.len() as f64;
        let mut stretches = vec![Stretch {
            from: 0.0,
            events: 0,
            then: subjects,
            after: subjects,
        }];
        for row in risk_table(times, known, 2) {
            let (own, at_risk) = (row.events[0], row.at_risk as f64);
            // Subjects at risk, each standing for `weight` with those that went before by another cause or unseen.
            let before = free * subjects * weight;
            events.extend((0..own).map(|tied| before - tied as f64));
            free *= 1.0 - own as f64 / before;
            if free < SLACK {
                free = 0.0;
            }
            let then = free * subjects * weight;
            let left = at_risk - row.all_events() as f64;
            if left > 0.0 {
                weight *= (left - row.censored as f64) / left;
            }
            stretches.push(Stretch {
                from: row.time,
                events: events.len(),
                then,
                after: free * subjects * weight,
            });
        }
        Self { events, stretches }
    }

    /// 95 % interval of the share free of the cause just after `time`: of survival, or of one minus the incidence.
    ///
    /// 0 to something past the last follow-up; something to 1 before the first event. `None` without subjects.
    #[must_use]
    pub fn free_at(&self, time: f64) -> Option<Interval> {
        let place = self
            .stretches
            .partition_point(|stretch| at_most(stretch.from, time));
        let stretch = self.stretches.get(place.checked_sub(1)?)?;
        let left = if at_most(time, stretch.from) {
            stretch.then
        } else {
            stretch.after
        };
        let all = Piece {
            length: 1.0,
            events: stretch.events,
            left,
        };
        self.interval(&[all])
    }

    /// 95 % interval of the mean time to the cause, or to `horizon` where that comes first: the area under the same
    /// product, as a path, from 0 to `horizon`.
    ///
    /// Past the last follow-up nothing counts where the next event comes at once, and where it does not, the path carries on.
    /// Without censoring, and with times of 0 and `horizon` only, it is that of a share times `horizon`. `None` without subjects.
    #[must_use]
    pub fn restricted_mean(&self, horizon: f64) -> Option<Interval> {
        let ends = self
            .stretches
            .iter()
            .skip(1)
            .map(|next| next.from)
            .chain([horizon]);
        let pieces: Vec<Piece> = self
            .stretches
            .iter()
            .zip(ends)
            .map(|(stretch, end)| Piece {
                length: (end.min(horizon) - stretch.from) / horizon,
                events: stretch.events,
                left: stretch.after,
            })
            .filter(|piece| piece.length > 0.0)
            .collect();
        let share = self.interval(&pieces)?;
        Some(Interval {
            lower: horizon * share.lower,
            upper: horizon * share.upper,
        })
    }

    fn interval(&self, pieces: &[Piece]) -> Option<Interval> {
        let paths = [Next::AtOnce, Next::Never].map(|next| self.path(pieces, next));
        (self.stretches[0].then > 0.0).then(|| Interval {
            lower: percentile(&paths, 0.025),
            upper: percentile(&paths, 0.975),
        })
    }

    /// The beta with the mean and variance of Σ length · product.
    fn path(&self, pieces: &[Piece], next: Next) -> Path {
        let products = Products::new(&self.events);
        let mean: f64 = pieces
            .iter()
            .map(|piece| piece.length * products.mean(piece, next))
            .sum();
        let mut square = 0.0;
        for (place, later) in pieces.iter().enumerate() {
            let earlier: f64 = pieces[..place]
                .iter()
                .map(|earlier| earlier.length * products.both(earlier, later, &self.events, next))
                .sum();
            let own = later.length * products.both(later, later, &self.events, next);
            square += later.length * (2.0 * earlier + own);
        }
        let variance = square - mean * mean;
        if variance <= SLACK * SLACK.max(mean * (1.0 - mean)) {
            return Path::Certain(if mean > 1.0 - SLACK { 1.0 } else { mean });
        }
        let size = (mean - square) / variance;
        Path::Beta(mean * size, (1.0 - mean) * size)
    }
}

/// How a share or a mean is distributed.
#[derive(Clone, Copy)]
enum Path {
    /// Nothing is left to chance: all of it or nothing, up to rounding.
    Certain(f64),
    Beta(f64, f64),
}

impl Path {
    /// The chance of at most `x`.
    fn at_most(self, x: f64) -> f64 {
        match self {
            Self::Certain(value) => f64::from(u8::from(value <= x)),
            Self::Beta(a, b) => beta_cdf(x, a, b),
        }
    }
}

/// Percentile of the one or the other path, with equal chance.
fn percentile(paths: &[Path; 2], p: f64) -> f64 {
    let beyond = |x: f64| 0.5 * (paths[0].at_most(x) + paths[1].at_most(x)) - p;
    if beyond(0.0) >= 0.0 {
        return 0.0;
    }
    zero_between(0.0, 1.0, beyond)
}

/// A stretch, or part of it, that counts with its length.
struct Piece {
    length: f64,
    events: usize,
    left: f64,
}

/// Products over the first events: of the betas' means, and of their mean squares.
struct Products {
    means: Vec<f64>,
    squares: Vec<f64>,
}

impl Products {
    fn new(at_risk: &[f64]) -> Self {
        let running = |power: f64| {
            let mut product = 1.0;
            let steps = at_risk.iter().map(|r| {
                product *= r / (r + power);
                product
            });
            std::iter::once(1.0).chain(steps).collect()
        };
        Self {
            means: running(1.0),
            squares: running(2.0),
        }
    }

    fn mean(&self, piece: &Piece, next: Next) -> f64 {
        let next = if next == Next::AtOnce {
            piece.left / (piece.left + 1.0)
        } else {
            1.0
        };
        self.means[piece.events] * next
    }

    /// The mean of the product at an earlier piece times that at a later one. A beta of shapes R and 1 is V^(1/R), V
    /// uniform; the next event of the earlier piece is the same V when it happens.
    fn both(&self, earlier: &Piece, later: &Piece, at_risk: &[f64], next: Next) -> f64 {
        let (first, last) = (earlier.events, later.events);
        let shared = self.squares[first];
        if next == Next::Never {
            return shared * self.means[last] / self.means[first];
        }
        if earlier.left <= 0.0 || later.left <= 0.0 {
            return 0.0;
        }
        let met = |other: f64| 1.0 / (1.0 + 1.0 / earlier.left + 1.0 / other);
        if first == last {
            return shared * met(later.left);
        }
        let between = self.means[last] / self.means[first + 1];
        shared * met(at_risk[first]) * between * later.left / (later.left + 1.0)
    }
}
