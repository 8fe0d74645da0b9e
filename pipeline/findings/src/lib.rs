//! A look at files, sensors, meters and clocks before any figure is made of them.
//!
//! Pure functions over plain rows: nothing here reads a file or a clock. [`Look`] takes the log at once and the
//! readings one sensor at a time, and gives every [`Finding`] and the sensors and fingersticks that comparisons leave out.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

mod checks;
mod clocks;
mod finding;
mod kept;
mod log;
mod look;
mod meters;
mod readings;
mod sessions;
mod units;
mod words;

pub use finding::{ChecksOut, DoubtedCheck, Finding, LeftOut, Severity};
pub use log::Log;
pub use look::{Look, Outcome};
