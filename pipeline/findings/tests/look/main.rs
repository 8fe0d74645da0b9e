//! Small studies by hand: what is found, what it is called, and what is not claimed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod clocks;
mod coarse;
mod copies;
mod cut_times;
mod days;
mod doubles;
mod journeys;
mod log_dates;
mod log_days;
mod lost_minutes;
mod meter_clocks;
mod meters;
mod repeated;
mod rows;
mod sites;
mod study;
mod units;
mod wearers;
