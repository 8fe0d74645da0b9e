//! Labelled nights: glucose, true lows and pressure events of known start, end and size.
//!
//! Three generators share nothing but what a session is: on the first one's nights the detector's weights were fitted,
//! the other two make baselines, falls, lows and noise of other forms, to show what the detector does on nights that it
//! was not made for. What is found on any of them says nothing of real nights.

mod cosines;
mod four_baselines;
pub mod kinds;
mod mean_reverting;
pub mod session;
pub mod validate;

pub use cosines::Cosines;
pub use four_baselines::{Baseline, Kind, Lows};
pub use mean_reverting::MeanReverting;
pub use session::{Event, Session};

/// Kinds of nights that a detector can be tried on.
pub trait Nights {
    /// Name in tables.
    fn name(&self) -> &'static str;
    /// Minutes between readings.
    fn spacing(&self) -> f64;
    /// One session of `nights` nights; the same seed gives the same session.
    fn session(&self, nights: usize, seed: u64) -> Session;
}
