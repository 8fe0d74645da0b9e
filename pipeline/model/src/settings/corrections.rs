//! `[[corrections]]` to raw rows, which themselves stay as they are, and `[[seen]]`: findings that are all right.

use serde::{Deserialize, Serialize};

use super::when::When;
use crate::units::Unit;

/// What is wrong with some raw rows. It names a sensor (its readings), a meter (its fingersticks) or a file, and
/// one of `clock_minutes`, `unit` and `leave_out`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Correction {
    /// Whose rows; any wearer's where absent.
    pub wearer: Option<String>,
    /// Whose readings.
    pub sensor: Option<String>,
    /// Whose fingersticks.
    pub meter: Option<String>,
    /// All rows of these files, relative to the study folder; `*` and `?` stand for any characters.
    pub file: Option<String>,
    /// From when on, by the times as they are written.
    pub from: Option<When>,
    /// Until when; a date is meant to its end.
    pub to: Option<When>,
    /// Minutes to be added to the times.
    pub clock_minutes: Option<f64>,
    /// The unit that the values really have.
    pub unit: Option<Unit>,
    /// Whether the rows are used for nothing.
    pub leave_out: bool,
}

/// A finding that somebody looked at and found all right.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SeenFinding {
    /// One of [`FINDING_KINDS`].
    pub kind: String,
    /// The wearer that it names; without a sensor or a meter, what is found of all of theirs together.
    pub wearer: Option<String>,
    /// The sensor.
    pub sensor: Option<String>,
    /// The meter.
    pub meter: Option<String>,
    /// The site.
    pub site: Option<String>,
    /// The file.
    pub file: Option<String>,
    /// Until when it was looked at, by the study's clock, a date to its end: what goes on later is none of it.
    pub to: Option<When>,
}

/// Kinds of findings, causes before consequences.
pub const FINDING_KINDS: [&str; 18] = [
    "unit",
    "clock-change",
    "clock-sensor",
    "clock-meter",
    "meter",
    "sensor-reused",
    "wrong-wearer",
    "session-too-long",
    "set-aside",
    "rejected",
    "site-confounded",
    "checks-by-alarm",
    "spacing-changed",
    "no-end",
    "lost",
    "nights-missing",
    "side-never-tried",
    "thin",
];
