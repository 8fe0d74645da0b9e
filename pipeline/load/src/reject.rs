//! Rows that cannot be used.

use serde::{Deserialize, Serialize};

/// A row that was set aside, as `rejects.csv` shows it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Reject {
    /// Path relative to the study folder.
    pub file: String,
    /// Line on which the row begins, from 1.
    pub line: u64,
    /// Column at fault; empty where it is the row as a whole.
    pub column: String,
    /// Why, and what to do where that is not plain.
    pub reason: String,
    /// The row as it stands in the file.
    pub raw: String,
}

/// What is wrong with a row, before it is known where the row stands.
#[derive(Debug)]
pub(crate) struct Fault {
    pub column: &'static str,
    pub reason: String,
}

impl Fault {
    pub fn new(column: &'static str, reason: impl Into<String>) -> Self {
        Self {
            column,
            reason: reason.into(),
        }
    }

    pub fn at(self, file: &str, line: u64, raw: &[u8]) -> Reject {
        Reject {
            file: file.to_owned(),
            line,
            column: self.column.to_owned(),
            reason: self.reason,
            raw: String::from_utf8_lossy(raw).into_owned(),
        }
    }
}
