//! How meters read against each other, sensors that fail apart.

pub(crate) mod bias;
pub(crate) mod bias_change;
pub(crate) mod steady;
