//! Two sensors worn at once by one wearer: their difference needs no fingerstick.

pub mod pair_mean;
pub mod two_sensors;
