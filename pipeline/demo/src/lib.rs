//! Synthetic studies with a known truth.
//!
//! [`write_study`] writes a study folder of any size about invented people, and beside it, in `truth/`, what a
//! perfect analysis would find: the parameters of every site and sensor, every night artefact, every true low and
//! every fault planted in the raw files. Nothing in it comes from a real person or device.
//!
//! | module | job |
//! | --- | --- |
//! | `scenario` | the invented people, sites, models and tapes: all numbers that the truth rests on |
//! | `plan` | which sensor is worn where and when, and how it ends |
//! | `nights` | nights and their artefacts |
//! | `physiology` | blood glucose, minute by minute |
//! | `sensors`, `fingersticks`, `events` | what sensors report and what wearers measure and note |
//! | `faults` | faults planted in the raw files |
//! | `truth` | the truth as JSON |
//! | `page` | settings and README of the study |
//! | `folder`, `write`, `rows`, `table` | all or nothing; files; rows; CSV |
//! | `clock`, `random` | local time; seeded draws |
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

mod clock;
mod events;
mod faults;
mod fingersticks;
mod folder;
mod nights;
mod page;
mod physiology;
mod plan;
mod random;
mod rows;
mod scenario;
mod sensors;
mod table;
mod truth;
mod write;

use std::path::{Path, PathBuf};

pub use folder::{write_study, write_study_with_progress};

/// What kind of study to write.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Number of wearers, 1 to 10,000.
    pub wearers: usize,
    /// Sensors of each wearer, one after the other, some worn two at a time; 1 to 1000. Each wearer wears all seven
    /// sites about equally often.
    pub sensors: usize,
    /// Minutes from one reading to the next, 1 to 60.
    pub minutes: u32,
    /// Same options and seed, same bytes, on any machine.
    pub seed: u64,
    /// How many wearers (the first ones) have plain readings files, the others getting `.csv.gz`; `None` for all.
    pub plain: Option<usize>,
    /// Whether to plant faults in the raw files; `None` plants them in studies of up to 200 sensors.
    pub faults: Option<bool>,
}

impl Default for Options {
    /// Four wearers of 21 sensors each, a reading every 5 minutes, plain files, planted faults.
    fn default() -> Self {
        Self {
            wearers: 4,
            sensors: 21,
            minutes: 5,
            seed: 1,
            plain: None,
            faults: None,
        }
    }
}

impl Options {
    fn plants_faults(&self) -> bool {
        self.faults
            .unwrap_or(self.wearers.saturating_mul(self.sensors) <= 200)
    }

    fn check(&self) -> Result<(), DemoError> {
        let limits = [
            ("wearers", self.wearers, 10_000),
            ("sensors", self.sensors, 1000),
            ("minutes", self.minutes as usize, 60),
        ];
        match limits
            .into_iter()
            .find(|(_, value, most)| *value < 1 || value > most)
        {
            Some((name, value, most)) => Err(DemoError::OutOfRange { name, value, most }),
            None => Ok(()),
        }
    }
}

/// How much was written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Sensors that were inserted.
    pub sensors: usize,
    /// Rows of all readings files, planted faults included.
    pub readings: u64,
    /// Rows of all fingerstick files, planted faults included.
    pub fingersticks: u64,
    /// Rows of all wear-event files, planted faults included.
    pub events: u64,
    /// Labelled night artefacts.
    pub artefacts: u64,
    /// Labelled true lows.
    pub true_lows: u64,
    /// Entries in the list of planted faults.
    pub planted_faults: u64,
}

/// Why a study could not be written. Nothing is left behind.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The target exists and is not an empty folder.
    #[error("{} exists and is not an empty folder: name a new folder, or empty this one first", .0.display())]
    NotEmpty(PathBuf),
    /// The folder for unfinished work is there, from a run that was cut off.
    #[error("{} is left from a run that was cut off: delete it and run again", .0.display())]
    Leftover(PathBuf),
    /// The target has no name of its own to write beside (`/`, or `..`).
    #[error("{} cannot be replaced: name a new folder", .0.display())]
    Unnamed(PathBuf),
    /// An option is out of its range.
    #[error("{name} is {value}, but must be 1 to {most}")]
    OutOfRange {
        /// Name of the option.
        name: &'static str,
        /// What was given.
        value: usize,
        /// Largest value allowed.
        most: usize,
    },
    /// A file or folder could not be written.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A bug of ours: a date outside the calendar, or a zone that the time zone library does not know.
    #[error("calendar: {0}")]
    Calendar(#[from] jiff::Error),
}

impl DemoError {
    fn io(path: &Path, source: std::io::Error) -> Self {
        Self::Io {
            path: path.to_owned(),
            source,
        }
    }
}
