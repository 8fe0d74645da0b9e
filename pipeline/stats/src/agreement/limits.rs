//! Is a reading close enough to its fingerstick?

use crate::comparison::at_most;

/// Fingerstick from which on a limit counts in percent, below it in mg/dL.
pub const PERCENT_FROM: f64 = 100.0;

/// Whether a reading is within `limit` of a fingerstick: mg/dL where the fingerstick is below 100 mg/dL, percent of
/// the fingerstick from 100 on.
///
/// Both in mg/dL, the fingerstick above 0. A pair exactly at the limit is within, up to a relative 1e-9.
#[must_use]
pub fn within_limit(reading: f64, fingerstick: f64, limit: f64) -> bool {
    if at_most(PERCENT_FROM, fingerstick) {
        within_percent(reading, fingerstick, limit)
    } else {
        at_most((reading - fingerstick).abs(), limit)
    }
}

/// Whether a reading is within `percent` of a fingerstick at every level; at the limit is within.
#[must_use]
pub fn within_percent(reading: f64, fingerstick: f64, percent: f64) -> bool {
    at_most((reading - fingerstick).abs() * 100.0, percent * fingerstick)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_itself_is_within() {
        assert!(within_limit(115.0, 100.0, 15.0));
        assert!(!within_limit(115.1, 100.0, 15.0));
        assert!(within_limit(84.0, 99.0, 15.0));
        assert!(!within_limit(83.9, 99.0, 15.0));
        assert!(within_limit(240.0, 200.0, 20.0));
        assert!(within_percent(72.0, 60.0, 20.0));
        assert!(!within_percent(72.5, 60.0, 20.0));
        // 6.6 against 5.5 mmol/L is exactly 20 %, but not in binary.
        assert!(within_percent(6.6 * 18.0156, 5.5 * 18.0156, 20.0));
    }
}
