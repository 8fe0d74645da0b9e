//! How far a sensor lags behind the blood.
//!
//! [`point`] reduces a fingerstick and the readings around it to three numbers, [`first_order`] makes the delay of a
//! site from them, [`difference`] the difference between two sites, [`sensor_delay`] that of one sensor.

pub mod difference;
pub mod first_order;
pub mod local_trend;
mod of_sensor;
pub mod point;
mod sums;

pub use of_sensor::{SensorDelay, sensor_delay};
