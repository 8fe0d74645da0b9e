//! Pure statistics on slices of numbers.
//!
//! Nothing here knows of files, tables, clocks or sites: slices go in, structs come out, and a value that
//! does not exist is `None`. Functions are deterministic; those that draw at random take a seed.
//!
//! | module | what it holds |
//! | --- | --- |
//! | [`survival`] | Kaplan-Meier, log-rank, cumulative incidence, Gray's test |
//! | [`agreement`] | error grid, acceptance limits, limits of agreement, lines between two methods |
//! | [`mixed`] | means, differences and spreads of values that come in groups |
//! | [`prediction`] | what the next sensor will read, and how long it will be of use |
//! | [`rates`] | intervals of counts and shares, tests between groups |
//! | [`resampling`] | cluster bootstrap, permutation tests, seeds |
//! | [`nights`] | night artefacts: falls of the readings that blood glucose cannot make |
//! | [`delay`] | the delay of a sensor behind the blood |
//! | [`conclusions`] | what can be said of sites compared with each other |
//! | [`simultaneous`] | two sensors worn at once |
//! | [`distributions`] | quantiles and tail probabilities |
//! | [`multiplicity`] | adjusted p values |

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

pub mod agreement;
pub mod comparison;
pub mod conclusions;
mod conjugate;
pub mod delay;
pub mod distributions;
pub mod interval;
mod linear;
mod minimise;
pub mod mixed;
pub mod multiplicity;
pub mod nights;
pub mod prediction;
pub mod quantile;
pub mod rates;
pub mod resampling;
pub mod simultaneous;
mod skyline;
pub mod survival;
mod zero;
