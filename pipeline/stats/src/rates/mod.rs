//! Counts, shares and rates.

pub mod clustered;
pub mod heterogeneity;
pub mod poisson;
pub mod proportion;
pub mod ratio;
