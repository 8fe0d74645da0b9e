//! Words of the tables and of the sections that are made by rules.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::catalogue::Point;

/// What a catalogue says of one table; what it leaves out stays as the query file has it.
#[derive(Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct TableWords {
    pub title: Option<String>,
    pub row: Option<String>,
    pub note: Option<String>,
    /// Headings by column.
    pub columns: BTreeMap<String, String>,
}

/// What moved since last month.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Changes {
    pub moved: Point,
    pub none: String,
}

/// Questions to talk over.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Questions {
    pub off_label: Point,
    pub label_unknown: Point,
    pub comes_off: Point,
    pub reads_high: Point,
    pub reads_low: Point,
    pub unchecked: Point,
    pub skin: Point,
}

/// What is not known yet, and what would settle it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Unknown {
    pub few: Point,
    pub stay: Point,
    pub r#true: Point,
    pub quiet: Point,
    pub unchecked: Point,
    pub lost: Point,
}

/// Tips from the study's own log.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Tips {
    pub knocked: Point,
    pub loose: Point,
    pub skin: Point,
    pub checks: Point,
}

/// Words of the sheets on sensors that ended early.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SheetText {
    pub title: String,
    pub caption: String,
    pub fact: String,
    pub recorded: String,
    pub no_reading: String,
}

/// Why a run of readings is called a night artefact.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Reasons {
    pub text: String,
    /// What is added where readings are too far apart.
    pub sparse: String,
    /// What a fingerstick says, by the evidence.
    pub checks: BTreeMap<String, String>,
}
