//! What to wear next, and when a question is settled.
//!
//! A wearer's log goes in, a [`schedule::Schedule`] comes out: where the next sensors go, drawn by lot with known
//! probabilities within limits that no aim can break. Nothing here reads a file, a clock or the environment; the same log,
//! rules and seed give the same schedule.
//!
//! | module | what it holds |
//! | --- | --- |
//! | [`gather`] | one wearer of a study, read from result tables and settings |
//! | [`history`] | what is known of a wearer's spots: sensors, skin looks, injections |
//! | [`limits`] | the hard limits: from which day a spot is open, or what stands in the way |
//! | [`lot`] | probabilities of a draw, balanced in blocks |
//! | [`gain`] | how an aim tilts the lot |
//! | [`schedule`] | the next sensors, one after the other |
//! | [`log`] | `plan-log.csv`, every draw that was made |
//! | [`settle`] | when each primary comparison is settled |
//! | [`sample_size`] | how many sensors a comparison takes, in closed forms |
//! | [`fingersticks`] | which fingersticks would teach most |
//! | [`best`] | the probability that each site is best for a wearer |
//! | [`standing`] | the same as tables for a report |
//! | [`frozen`] | the analysis plan as one page with its hash |
//! | [`document`], [`page`] | the whole plan, as `plan.json` holds it, and in words |
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

pub mod best;
mod best_page;
mod dice;
pub mod document;
pub mod fingersticks;
pub mod frozen;
pub mod gain;
pub mod gather;
pub mod history;
pub mod limits;
pub mod log;
pub mod lot;
pub mod page;
mod reasons;
pub mod sample_size;
pub mod schedule;
pub mod settle;
pub mod standing;
mod words;
