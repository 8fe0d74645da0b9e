//! Time to an event, with censoring.

pub mod beta_product;
pub mod cox;
pub mod gray;
pub mod incidence;
pub mod interval_scale;
pub mod kaplan_meier;
pub mod logrank;
pub mod lost;
pub mod pseudo;
mod quadratic_form;
mod risk_table;
pub mod score_permutation;
