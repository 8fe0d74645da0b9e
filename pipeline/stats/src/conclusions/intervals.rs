//! Intervals of differences of shares and of rates, made from those of either site.

use super::contrast::{Contrast, Side};
use crate::distributions::{chi_square_quantile, normal_quantile, t_quantile};
use crate::interval::Interval;

/// What is compared, which tells the shape of its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Scale {
    /// Means: t on either side.
    Mean,
    /// Shares between 0 and 1; share of each site's sensors whose end was seen.
    Share([f64; 2]),
    /// Events per 100 nights; nights of Poisson events behind each site's mean.
    Rate([f64; 2]),
}

/// The interval of a difference that misses it on either side with chance `tail`.
///
/// Means: t. Shares and rates: Newcombe 1998 Stat Med 17:873, method 10 (from memory): each end of the difference lies as far from it as
/// the ends of both sites' intervals together. Those are Wilson's with t for z and as many sensors as make the variance that
/// was found, and Garwood's with as many nights as do, times (z / t)²; never more than were worn,
/// of shares than were seen to their end. `None` without degrees of freedom.
pub(super) fn interval(contrast: &Contrast, scale: Scale, tail: f64) -> Option<Interval> {
    if contrast.df < 1.0 {
        return None;
    }
    let t = t_quantile(1.0 - tail, contrast.df.min(1e6));
    let ends = match scale {
        Scale::Mean => {
            return Some(Interval::around(
                contrast.difference,
                t * contrast.std_error,
            ));
        }
        Scale::Share(seen) => [0, 1].map(|place| share(&contrast.sides[place], seen[place], t)),
        Scale::Rate(nights) => {
            [0, 1].map(|place| rate(&contrast.sides[place], nights[place], t, tail))
        }
    };
    let [one, other] = contrast.sides.map(|side| side.mean);
    let reach = |own: f64, others: f64| (own * own + others * others).sqrt();
    Some(Interval {
        lower: contrast.difference - reach(one - ends[0].lower, ends[1].upper - other),
        upper: contrast.difference + reach(ends[0].upper - one, other - ends[1].lower),
    })
}

/// Wilson's interval of a share, of sensors so many of which were seen to their end.
fn share(side: &Side, seen: f64, t: f64) -> Interval {
    let p = side.mean.clamp(0.0, 1.0);
    let binomial = p * (1.0 - p);
    let mut n = seen / side.spread;
    if side.variance > 0.0 && binomial > 0.0 {
        n = n.min(binomial / side.variance);
    }
    let square = t * t;
    let centre = (p + 0.5 * square / n) / (1.0 + square / n);
    let half = t / (1.0 + square / n) * (binomial / n + 0.25 * square / (n * n)).sqrt();
    Interval {
        lower: (centre - half).min(side.mean),
        upper: (centre + half).max(side.mean),
    }
}

/// Garwood's interval of a rate per 100 nights.
fn rate(side: &Side, nights: f64, t: f64, tail: f64) -> Interval {
    let mut nights = nights;
    if side.variance > 0.0 && side.mean > 0.0 {
        nights = nights.min(100.0 * side.mean / side.variance);
    }
    let nights = nights * (normal_quantile(1.0 - tail) / t).powi(2);
    let events = side.mean.max(0.0) * nights / 100.0;
    let rate = |chi_square: f64| 50.0 * chi_square / nights;
    Interval {
        lower: if events > 0.0 {
            rate(chi_square_quantile(tail, 2.0 * events))
        } else {
            0.0
        },
        upper: rate(chi_square_quantile(1.0 - tail, 2.0 * events + 2.0)),
    }
}
