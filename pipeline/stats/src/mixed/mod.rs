//! Means of values that come in groups.

pub mod random_intercept;
mod reml;
