//! What readings of a sensor show of themselves: steps, runs, copies, times, dates.

pub(crate) mod coarse;
pub(crate) mod cut_times;
pub(crate) mod flat;
pub(crate) mod repeated;
pub(crate) mod swapped_dates;
pub(crate) mod trace;
