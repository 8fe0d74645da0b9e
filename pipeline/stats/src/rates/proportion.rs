//! Shares: so many out of so many.

use crate::distributions::{beta_quantile, normal_quantile};
use crate::interval::Interval;

/// Exact interval of a share `hits / total`, at a confidence `level`; `None` for a total of 0.
///
/// Beta quantiles at α/2 with shapes (x, n - x + 1) and at 1 - α/2 with (x + 1, n - x); 0 and 1 at the ends. For a
/// one-sided 95 % bound take the end of the interval at level 0.90. Source, from memory: Clopper and Pearson 1934 Biometrika
/// 26:404. Checked by `tests/proportion.rs`.
#[must_use]
pub fn clopper_pearson(hits: u64, total: u64, level: f64) -> Option<Interval> {
    let misses = total.checked_sub(hits).filter(|_| total > 0)?;
    let tail = 0.5 * (1.0 - level);
    let (x, y) = (hits as f64, misses as f64);
    Some(Interval {
        lower: if hits == 0 {
            0.0
        } else {
            beta_quantile(tail, x, y + 1.0)
        },
        upper: if misses == 0 {
            1.0
        } else {
            beta_quantile(1.0 - tail, x + 1.0, y)
        },
    })
}

/// Wilson's score interval of a share `hits / total`, at a confidence `level`; `None` for a total of 0.
///
/// Centre (p + z² / 2n) / (1 + z² / n), half width z √(p (1 - p) / n + z² / 4n²) / (1 + z² / n), without continuity
/// correction. Sources: Wilson 1927 J Am Stat Assoc 22:209 (from memory); Newcombe 1998 Stat Med 17:857, method 3. Checked by
/// `tests/proportion.rs`.
#[must_use]
pub fn wilson(hits: u64, total: u64, level: f64) -> Option<Interval> {
    if total == 0 || hits > total {
        return None;
    }
    let n = total as f64;
    let p = hits as f64 / n;
    let z = normal_quantile(0.5 * (1.0 + level));
    let shrink = 1.0 + z * z / n;
    let centre = (p + z * z / (2.0 * n)) / shrink;
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt() / shrink;
    Some(Interval {
        lower: if hits == 0 { 0.0 } else { centre - half },
        upper: if hits == total { 1.0 } else { centre + half },
    })
}

/// Wilson's interval with continuity correction, at a confidence `level`; `None` for a total of 0.
///
/// (2np + z² ∓ 1 ∓ z √(z² ∓ 2 - 1/n + 4p (n (1 - p) ± 1))) / 2 (n + z²), upper signs for the lower end; 0 and 1 where there is
/// no hit or no miss. Source: Newcombe 1998 Stat Med 17:857, method 4. Checked by `tests/proportion.rs`.
#[must_use]
pub fn wilson_corrected(hits: u64, total: u64, level: f64) -> Option<Interval> {
    if total == 0 || hits > total {
        return None;
    }
    let n = total as f64;
    let z = normal_quantile(0.5 * (1.0 + level));
    // The upper end is 1 less the lower end of the misses.
    let lower = |hits: u64| {
        let p = hits as f64 / n;
        let root = (z * z - 2.0 - 1.0 / n + 4.0 * p * (n * (1.0 - p) + 1.0)).sqrt();
        let end = (2.0 * n * p + z * z - 1.0 - z * root) / (2.0 * (n + z * z));
        if hits == 0 { 0.0 } else { end.max(0.0) }
    };
    Some(Interval {
        lower: lower(hits),
        upper: 1.0 - lower(total - hits),
    })
}
