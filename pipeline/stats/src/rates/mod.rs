//! Counts, shares and rates.

pub mod clustered;
pub mod heterogeneity;
pub mod poisson;
pub mod proportion;
pub mod quasi_ratio;
pub mod ratio;
pub mod study;
