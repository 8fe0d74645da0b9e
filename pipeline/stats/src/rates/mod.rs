//! Counts, shares and rates.

pub mod heterogeneity;
pub mod poisson;
pub mod proportion;
pub mod ratio;
