//! Invented sensors, nights and delays of known truth, for tests and for `cargo xtask`: nothing that is shipped
//! depends on them.
//!
//! | module | what it holds |
//! | --- | --- |
//! | [`accuracy`] | errors of sensors, and night artefacts as counts |
//! | [`wear`] | how sensors end |
//! | [`studies`] | whole studies of several sites |
//! | [`delay`] | readings that lag behind blood glucose |
//! | [`nights`] | readings of whole nights with pressure events and true lows, and how a detector does on them |
//! | [`draws`] | variates that all of them are made of |

pub mod accuracy;
pub mod delay;
pub mod draws;
pub mod nights;
pub mod studies;
pub mod wear;
