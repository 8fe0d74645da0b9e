//! A look at files, sensors, meters and clocks before any figure is made of them.
//!
//! Pure functions over plain rows: nothing here reads a file or a clock. [`Look`] takes the log at once and the
//! readings one sensor at a time, and gives every [`Finding`] and the sensors and fingersticks that comparisons leave out.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

mod beside;
mod bias;
mod bias_change;
mod causes;
mod clocks;
mod coarse;
mod control;
mod copies;
mod days_off;
mod drift;
mod edges;
mod extremes;
mod finding;
mod flat;
mod half_days;
mod journeys;
mod kept;
mod lag;
mod log;
mod log_days;
mod look;
mod lost_dates;
mod nights;
mod odd_units;
mod repeated;
mod rows;
mod sensor_shifts;
mod sessions;
mod shared_breaks;
mod shared_checks;
mod shared_meter;
mod sites;
mod steady;
mod stretches;
mod swapped_dates;
mod swapped_ids;
mod trace;
mod twice;
mod two_ids;
mod unfit;
mod units;
mod words;
mod worn_at_once;

pub use finding::{DoubtedCheck, Finding, LeftOut, Severity};
pub use log::Log;
pub use look::{Look, Outcome};
