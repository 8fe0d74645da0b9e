//! How well readings agree with fingersticks.

pub mod acceptance;
pub mod bland_altman;
pub mod error_grid;
pub mod limits;
pub mod method_comparison;
pub mod rank_regression;
pub mod steadiness;
