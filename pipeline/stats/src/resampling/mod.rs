//! Uncertainty by drawing again.

pub mod bootstrap;
pub mod permutation;
pub mod seed;
