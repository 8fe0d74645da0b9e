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

/// Rejected rows of a file that are listed one by one; the rest is counted.
const LISTED: usize = 100_000;

/// Bytes of a row that are kept to be shown.
const RAW_BYTES: usize = 500;

/// Rejected rows: the first of them, and how many there are.
#[derive(Debug, Default)]
pub(crate) struct Rejects {
    /// At most [`LISTED`].
    pub listed: Vec<Reject>,
    /// All, listed or not.
    pub count: u64,
}

impl Rejects {
    pub fn push(&mut self, reject: Reject) {
        self.count += 1;
        if self.listed.len() < LISTED {
            self.listed.push(reject);
        }
    }

    /// Adds those of the part of the file that follows.
    pub fn append(&mut self, next: Self) {
        self.count += next.count;
        let room = LISTED.saturating_sub(self.listed.len());
        self.listed.extend(next.listed.into_iter().take(room));
    }
}

/// The line that stands for rejected rows which are not listed.
pub(crate) fn not_listed(file: &str, line: u64, rows: u64) -> Reject {
    Reject {
        file: file.to_owned(),
        line,
        column: String::new(),
        reason: format!(
            "{rows} more rows of this file were rejected after this line: they are counted, not listed"
        ),
        raw: String::new(),
    }
}

/// A row as it is shown: its beginning, where it is long.
pub(crate) fn shown(raw: &str) -> String {
    if raw.len() <= RAW_BYTES {
        return raw.to_owned();
    }
    let end = raw.floor_char_boundary(RAW_BYTES);
    format!(
        "{}… ({} bytes)",
        raw.get(..end).unwrap_or_default(),
        raw.len()
    )
}

/// What a fault is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FaultKind {
    /// The row cannot be used.
    Row,
    /// The file as a whole cannot be used.
    File,
    /// The study's corrections leave the row out.
    LeftOut,
    /// The export leaves the row to others.
    Untaken,
}

/// What is wrong with a row, before it is known where the row stands.
#[derive(Debug)]
pub(crate) struct Fault {
    pub column: &'static str,
    pub reason: String,
    pub kind: FaultKind,
}

impl Fault {
    pub fn new(column: &'static str, reason: impl Into<String>) -> Self {
        Self {
            column,
            reason: reason.into(),
            kind: FaultKind::Row,
        }
    }

    /// A fault for which the whole file is refused.
    pub fn stop(column: &'static str, reason: impl Into<String>) -> Self {
        Self {
            kind: FaultKind::File,
            ..Self::new(column, reason)
        }
    }

    /// No fault of the row: a correction leaves it out.
    pub fn left_out() -> Self {
        Self {
            kind: FaultKind::LeftOut,
            ..Self::new("", "")
        }
    }

    /// No fault of the row: the export does not take it; the text says what of it and who does.
    pub fn untaken(text: String) -> Self {
        Self {
            kind: FaultKind::Untaken,
            ..Self::new("", text)
        }
    }

    pub fn at(self, file: &str, line: u64, raw: &[u8]) -> Reject {
        Reject {
            file: file.to_owned(),
            line,
            column: self.column.to_owned(),
            reason: self.reason,
            raw: shown(&String::from_utf8_lossy(raw)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_rows_are_shown_by_their_beginning() {
        assert_eq!(shown("a,b"), "a,b");
        let long = "ä".repeat(400);
        assert_eq!(shown(&long), format!("{}… (800 bytes)", "ä".repeat(250)));
    }

    #[test]
    fn what_is_too_much_is_counted() {
        let mut all = Rejects::default();
        for line in 0..LISTED as u64 + 7 {
            all.push(not_listed("a", line, 1));
        }
        let mut two = Rejects::default();
        two.push(not_listed("a", 0, 1));
        two.append(all);
        assert_eq!((two.listed.len(), two.count), (LISTED, LISTED as u64 + 8));
    }
}
