//! What fingersticks show of themselves and beside readings: copies, other bodies, other dates, other units.

pub(crate) mod beside;
pub(crate) mod control;
pub(crate) mod copies;
pub(crate) mod days_off;
pub(crate) mod doubles;
pub(crate) mod extremes;
pub(crate) mod half_days;
pub(crate) mod lost_dates;
pub(crate) mod lost_minutes;
pub(crate) mod odd_units;
pub(crate) mod shared_checks;
pub(crate) mod shared_meter;
pub(crate) mod stopped;
pub(crate) mod twice;
