//! How far a sensor lags behind the blood.

pub mod first_order;
pub mod local_trend;
mod matrix;
mod noise;
