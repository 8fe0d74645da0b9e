//! A step of a report that another process runs: what is written for it, and read there.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::header::Role;

/// Version of what is written for a step: a process of another version refuses it.
pub const VERSION: u32 = 1;

/// A query that needs no other sensor's rows, or no other wearer's, with all that it reads.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Step {
    /// [`VERSION`].
    pub version: u32,
    /// Name of the query.
    pub name: String,
    /// Its text.
    pub sql: String,
    /// Whose rows it keeps apart.
    pub role: Role,
    /// The first of each part after the first part: numbers of sensors, or names of wearers.
    pub firsts: Vec<String>,
    /// Readings, where it reads them.
    pub readings: Option<StepReadings>,
    /// Queries under the names that the SQL uses, each after those that it names.
    pub views: Vec<(String, String)>,
    /// Parquet files of the other tables that it reads.
    pub tables: BTreeMap<String, PathBuf>,
}

/// The readings that a step reads.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct StepReadings {
    /// Parquet files, sorted by `sensor_no` and `time` over all of them.
    pub files: Vec<PathBuf>,
    /// Text that stands for their rows: others have another.
    pub hash: String,
    /// What of the table `readings_all` counts, as SQL.
    pub sql: String,
}
