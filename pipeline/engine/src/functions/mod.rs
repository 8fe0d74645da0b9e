//! Functions of ours in SQL, found by name only.
//!
//! [`statistics::ALL`], [`survival::ALL`], [`accuracy::ALL`], [`site_differences::ALL`], [`prediction::ALL`] and [`conclusions::ALL`]
//! list the aggregates with what they take and give; [`scalars`] holds functions of single rows, [`product`] a running product,
//! [`artefacts`] the detector of night artefacts.

pub mod accuracy;
pub mod artefacts;
mod collect;
pub mod conclusions;
pub mod prediction;
pub mod product;
pub mod scalars;
pub mod site_differences;
pub mod statistics;
pub mod survival;

pub(crate) use register::register;

mod register;
