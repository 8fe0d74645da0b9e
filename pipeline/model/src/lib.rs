//! The vocabulary that every crate shares: units, times, settings, result tables.
//!
//! Nothing here reads a file, a clock or the environment.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

pub mod format;
pub mod header;
mod readable;
pub mod rows;
pub mod settings;
pub mod sites;
pub mod step;
pub mod store;
pub mod table;
pub mod tables;
pub mod text;
pub mod time;
pub mod units;
