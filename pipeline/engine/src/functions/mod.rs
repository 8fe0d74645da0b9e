//! Functions of ours in SQL, found by name only.
//!
//! [`descriptions`] lists them with what they take and give. [`statistics`], [`survival`], [`accuracy`],
//! [`site_differences`], [`prediction`], [`meta_analysis`] and [`conclusions`] hold the aggregates, each a thin adapter; [`scalars`] the functions of single rows, [`holm`] and [`product`]
//! what works over a window, [`artefacts`] the detector of night artefacts.

pub mod accuracy;
pub mod arguments;
pub mod artefacts;
mod collect;
pub mod conclusions;
pub mod holm;
pub mod meta_analysis;
pub mod prediction;
pub mod product;
mod register;
mod scalar;
pub mod scalars;
pub mod site_differences;
pub mod statistics;
pub mod survival;

pub(crate) use register::register;
pub use register::{Description, descriptions};
