//! What to wear next, and when a question is settled.
//!
//! A wearer's log goes in, a [`schedule::Schedule`] comes out: where the next sensors go, drawn by lot with known
//! probabilities within limits that no aim can break. Nothing here reads a file, a clock or the environment; the same log,
//! rules and seed give the same schedule.
//!
//! | module | what it holds |
//! | --- | --- |
//! | [`history`] | what is known of a wearer's spots: sensors, skin looks, injections |
//! | [`limits`] | the hard limits: from which day a spot is open, or what stands in the way |
//! | [`lot`] | probabilities of a draw, balanced in blocks |
//! | [`gain`] | how an aim tilts the lot |
//! | [`schedule`] | the next sensors, one after the other |
//! | [`best`] | the probability that each site is best for a wearer |
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

pub mod best;
mod dice;
pub mod gain;
pub mod history;
pub mod limits;
pub mod lot;
pub mod schedule;
