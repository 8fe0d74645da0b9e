//! How many more sensors it takes until a comparison is settled.

use super::bet::least_score;
use crate::distributions::{normal_quantile, normal_upper_tail};

/// The chance with which it should then be settled.
pub const OFTEN: f64 = 0.8;

/// More sensors than this at a site are no answer.
pub const MOST_SENSORS: usize = 200;

/// What is known of a comparison of two sites, or supposed of one that has not begun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// The true difference, in the unit of the measure.
    pub difference: f64,
    /// Standard deviation of what a single sensor shows, in that unit, above 0: the root mean square of both sites'.
    pub sd: f64,
    /// Degrees of freedom of `sd`; infinite where it is supposed.
    pub df: f64,
    /// Effective number of sensors at either site so far; 0 and 0 for none.
    pub sensors: [f64; 2],
    /// Normal score of the comparison so far, with the sign of the difference; 0 for none.
    pub score: f64,
    /// The margin within which sites are alike, in the unit of the measure.
    pub margin: f64,
    /// The capital that settles that they differ: 20 times the rows of the family over its share of the error.
    pub capital: f64,
    /// The chance of missing on one side that the row's interval has: 0.025 times the family's share over its rows.
    pub tail: f64,
    /// How far the further end of the row's interval lies from the difference so far; `None` for what has not begun: then
    /// that is as far as `sd` makes it.
    pub reach: Option<f64>,
}

/// Equally likely values of an uncertain standard deviation that chances are averaged over.
const DRAWS: usize = 20;

/// The chance that a comparison is settled by so many more sensors at either site: the capital reached, or the interval
/// within the margin, if the difference is what it is supposed to be.
///
/// √I times the normal score moves as a Brownian motion with a drift of difference / sd in the information
/// I = n m / (n + m), from where it stands. The chance is averaged over what sd may be, given its degrees of freedom. Only the
/// end counts, not a capital that was reached and lost on the way. Checked by `tests/conclusions/settle.rs`.
#[must_use]
pub fn chance(outlook: &Outlook, more: usize) -> f64 {
    mean_chance(outlook, &scales(outlook.df), more)
}

/// Factors of the standard deviation, equally likely: √(df / chi-square), its quantiles, from memory, by Wilson and Hilferty 1931 Proc Natl
/// Acad Sci 17:684.
fn scales(df: f64) -> Vec<f64> {
    if df >= 1e4 {
        return vec![1.0];
    }
    let part = 2.0 / (9.0 * df.max(1.0));
    let scale = |draw: usize| {
        let z = normal_quantile((draw as f64 + 0.5) / DRAWS as f64);
        (1.0 - part + z * part.sqrt()).max(0.05).powf(-1.5)
    };
    (0..DRAWS).map(scale).collect()
}

fn mean_chance(outlook: &Outlook, scales: &[f64], more: usize) -> f64 {
    let information = |more: f64| {
        let [n, m] = outlook.sensors.map(|sensors| sensors + more);
        if n > 0.0 && m > 0.0 {
            n * m / (n + m)
        } else {
            0.0
        }
    };
    let (before, after) = (information(0.0), information(more as f64));
    if after <= 0.0 || outlook.sd <= 0.0 {
        return 0.0;
    }
    let far = least_score(outlook.capital, after) * after.sqrt();
    let spread = (after - before).sqrt();
    let of = |scale: &f64| {
        let sd = scale * outlook.sd;
        let mean = outlook.score * before.sqrt() + outlook.difference / sd * (after - before);
        let above = |limit: f64| {
            if spread > 0.0 {
                normal_upper_tail((limit - mean) / spread)
            } else {
                f64::from(u8::from(mean >= limit))
            }
        };
        let reach = outlook.reach.map_or_else(
            || -normal_quantile(outlook.tail) * sd / after.sqrt(),
            |reach| reach * (before / after).sqrt(),
        );
        let room = (outlook.margin - reach) / sd * after;
        let room = room.min(far);
        let alike = if room > 0.0 {
            above(-room) - above(room)
        } else {
            0.0
        };
        above(far) + 1.0 - above(-far) + alike
    };
    scales.iter().map(of).sum::<f64>() / scales.len() as f64
}

/// About how many more sensors it takes at either site until a comparison is settled in four of five such studies; `None`
/// beyond [`MOST_SENSORS`].
#[must_use]
pub fn more_sensors(outlook: &Outlook) -> Option<usize> {
    let scales = scales(outlook.df);
    let settled = |more: &usize| mean_chance(outlook, &scales, *more) >= OFTEN;
    // The chance rises with the number but for the fall of a score that is high by luck: look from below, in steps that
    // grow with the number, then close in.
    let mut from = 0;
    while from < MOST_SENSORS {
        let to = (from + 1 + from / 8).min(MOST_SENSORS);
        if settled(&to) {
            return (from + 1..=to).find(settled);
        }
        from = to;
    }
    None
}
