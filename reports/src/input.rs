//! What a report is made from.

use serde::{Deserialize, Serialize};
use whereworn_model::settings::Settings;
use whereworn_model::table::ResultTable;
use whereworn_model::time::{Micros, Month};

use crate::edition::Edition;

/// What a report is made from.
pub struct Input<'a> {
    /// Whom the report is for.
    pub edition: Edition,
    /// Whose report it is, of several wearers: of that person are the rows of sensors and nights, of all of them the
    /// comparison of sites. None where there is one wearer, or it is no one's own.
    pub wearer: Option<&'a str>,
    /// The study's settings: title, unit, language, names of sites.
    pub settings: Settings,
    /// The month of the report.
    pub month: Month,
    /// Nothing later than this was used.
    pub cutoff: Micros,
    /// All results, those of the program and the researcher's own; they are shown in this order within
    /// the section that their header names. Glucose is in mg/dL, shares are 0 to 1. A table that came with
    /// the program and names no section is not shown.
    pub tables: Vec<ResultTable>,
    /// Copies of this report that were handed out before its rows changed, the oldest first.
    pub earlier: Vec<EarlierCopy>,
    /// Version of the program.
    pub version: &'a str,
}

/// A copy that is kept beside the report, and what changed after it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EarlierCopy {
    /// Its file, `report-1.html` or a higher number.
    pub file: String,
    /// What the report that took its place says or holds instead.
    pub changes: Vec<Change>,
}

/// One difference between a copy and the report that took its place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Change {
    /// Page one said this and no longer does.
    NoLonger {
        /// The sentence as it stood there.
        sentence: String,
    },
    /// Page one says this and did not before.
    Said {
        /// The sentence as it stands there.
        sentence: String,
    },
    /// Rows of one result table at one site.
    Rows {
        /// The table, by its name.
        table: String,
        /// The site, by its key; empty where rows have none.
        site: String,
        /// Rows that were not there.
        added: usize,
        /// Rows of the same sensor and time with another value.
        changed: usize,
        /// Rows that are there no more.
        gone: usize,
    },
    /// A raw file that differs, with its rows; none where there was or is no such file.
    Input {
        /// Path in the study.
        file: String,
        /// Rows then.
        then: Option<u64>,
        /// Rows now.
        now: Option<u64>,
    },
    /// Sections of the settings that differ.
    Settings {
        /// Their names, joined by commas.
        names: String,
    },
    /// The program's version.
    Version {
        /// Then.
        then: String,
        /// Now.
        now: String,
    },
}
