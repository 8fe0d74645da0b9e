//! What a report is made from.

use whereworn_model::settings::Settings;
use whereworn_model::table::ResultTable;
use whereworn_model::time::{Micros, Month};

use crate::edition::Edition;
use crate::ledger::EarlierCopy;

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
