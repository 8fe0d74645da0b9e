//! Accepted rows as plain structs, for what looks at them before any query runs. Rows share their texts: there are many
//! rows, and few names among them.

use std::borrow::Borrow;
use std::fmt::{self, Display, Formatter};
use std::ops::Deref;
use std::sync::Arc;

use crate::time::Micros;

/// Text that many rows share.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Text(Arc<str>);

impl Text {
    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Deref for Text {
    type Target = str;

    fn deref(&self) -> &str {
        &self.0
    }
}

impl Borrow<str> for Text {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl From<&str> for Text {
    fn from(text: &str) -> Self {
        Self(text.into())
    }
}

impl From<String> for Text {
    fn from(text: String) -> Self {
        Self(text.into())
    }
}

impl Display for Text {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl PartialEq<str> for Text {
    fn eq(&self, other: &str) -> bool {
        *self.0 == *other
    }
}

impl PartialEq<&str> for Text {
    fn eq(&self, other: &&str) -> bool {
        *self.0 == **other
    }
}

impl PartialEq<String> for Text {
    fn eq(&self, other: &String) -> bool {
        *self.0 == **other
    }
}

/// What a sensor can say of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// A value within the measuring range.
    Ok,
    /// Below it.
    Low,
    /// Above it.
    High,
    /// The sensor was warming up.
    Warmup,
    /// The sensor said that it cannot tell.
    Error,
}

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When.
    pub time: Micros,
    /// mg/dL; NaN where there is none.
    pub glucose: f64,
    /// What the sensor says of it.
    pub status: Status,
    /// The row's file, a position in the list of files.
    pub file: usize,
    /// The row's line in its file, from 1.
    pub line: u64,
}

/// All accepted readings of one sensor.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SensorReadings {
    /// Who wears it.
    pub wearer: String,
    /// The sensor.
    pub sensor: String,
    /// By time.
    pub readings: Vec<Reading>,
}

/// A capillary check.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Check {
    /// Whose.
    pub wearer: Text,
    /// When.
    pub time: Micros,
    /// mg/dL.
    pub glucose: f64,
    /// Label of the meter; empty where there is none.
    pub meter: Text,
    /// `routine`, `doubt`, `alarm`, `calibration` or `control`.
    pub purpose: Text,
    /// The row's file.
    pub file: Text,
    /// The row's line.
    pub line: u64,
}

/// What happened to a sensor or its wearer; empty text where the row says nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WearEvent {
    /// Whose.
    pub wearer: Text,
    /// The sensor.
    pub sensor: Text,
    /// When.
    pub time: Micros,
    /// `insert`, `end`, `bed` and so on.
    pub event: Text,
    /// With `insert`.
    pub site: Text,
    /// With `insert`.
    pub side: Text,
    /// With `end`.
    pub cause: Text,
    /// With `insert` and `tape`.
    pub tape: Text,
    /// With `insert`.
    pub model: Text,
    /// With `insert`.
    pub lot: Text,
    /// With `skin`, 0 to 4.
    pub grade: Option<u8>,
    /// The row's file.
    pub file: Text,
    /// The row's line.
    pub line: u64,
}

/// An input file and its rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FileRows {
    /// Path relative to the study folder.
    pub name: String,
    /// Folder of the table: `readings`, `fingersticks`, `wear-events` or `judgements`.
    pub table: &'static str,
    /// Rows read, rejected ones too.
    pub rows: u64,
}

/// A row that could not be used.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RejectedRow {
    /// Path relative to the study folder.
    pub file: String,
    /// Line on which it begins, from 1.
    pub line: u64,
    /// Column at fault.
    pub column: String,
    /// Why.
    pub reason: String,
    /// The row as it stands in the file.
    pub raw: String,
}

/// Ends the words about a row that contradicts another.
const CONTRADICTS: &str = ": same sensor and time, another glucose or status; the first stays";

/// Why a reading is rejected that contradicts the one on a line of a file.
pub fn contradiction(file: &str, line: u64) -> String {
    format!("contradicts {file}, line {line}{CONTRADICTS}")
}

impl RejectedRow {
    /// File and line of the reading that this one contradicts, where that is why it was rejected.
    pub fn contradicted(&self) -> Option<(&str, u64)> {
        let reason = self.reason.strip_prefix("contradicts ")?;
        let (file, line) = reason.strip_suffix(CONTRADICTS)?.rsplit_once(", line ")?;
        Some((file, line.parse().ok()?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whoever looks for the other row finds it, whatever its file is called.
    #[test]
    fn a_contradiction_names_the_row_that_stays() {
        let rejected = |reason: &str| RejectedRow {
            reason: reason.to_owned(),
            ..RejectedRow::default()
        };
        let reason = contradiction("readings/a, line 2.csv", 47);
        let file = "readings/a, line 2.csv";
        assert_eq!(rejected(&reason).contradicted(), Some((file, 47)));
        let words = "contradicts readings/a, line 2.csv, line 47: same sensor and time";
        assert!(reason.starts_with(words), "{reason}");
        for other in ["", "contradicts itself", "glucose 0 mg/dL"] {
            assert_eq!(rejected(other).contradicted(), None, "{other}");
        }
    }
}
