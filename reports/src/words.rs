//! Words of the tables and of the sections that are made by rules.

use std::collections::BTreeMap;

use serde::Deserialize;

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
    pub page: String,
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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Page {
    pub skip: String,
    pub contents: String,
    pub contents_annex: String,
    pub contents_sheets: String,
    pub annex: String,
    pub annex_intro: String,
    /// Title of an edition that leaves out the study's own.
    pub title: String,
    pub month: String,
    pub days: String,
    pub opening: String,
    pub withheld: String,
    pub wearer: String,
    pub sensor: String,
    pub own_site: String,
    /// What stands for the time zone where that is left out.
    pub own_zone: String,
    pub wearers: String,
    pub on_paper: String,
    pub page_number: String,
    pub cautions: Vec<String>,
    pub made_by: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TableText {
    pub row: String,
    pub own: String,
    pub first_rows: String,
    pub rows_in_file: String,
    pub not_shown: String,
    pub interval: String,
    pub interval_unit: String,
    pub value_unit: String,
    pub no_interval: String,
    pub no_value: String,
    pub missing: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SectionText {
    pub title: String,
    pub intro: Vec<String>,
    pub missing: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Bottom {
    pub scope_one: String,
    pub scope_many: String,
    pub scope_one_site: String,
    pub sensors_one: String,
    pub sensors_many: String,
    pub sites_one: String,
    pub sites_many: String,
    pub stay: String,
    pub r#true: String,
    pub quiet: String,
    pub stay_best: String,
    pub true_best: String,
    pub quiet_best: String,
    pub clear: String,
    pub behind: String,
    pub overlap: String,
    pub label: String,
    pub label_text: String,
    pub no_site: String,
    pub not_enough: String,
    pub caption: String,
    pub counted: String,
    pub explain: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SiteText {
    pub sensors: String,
    pub few: String,
    pub off_label: String,
    pub wear_more: String,
    pub wear_less: String,
    pub wear_same: String,
    pub wear_alone: String,
    pub wear_unknown: String,
    pub reads_high_steady: String,
    pub reads_low_steady: String,
    pub reads_high_scattered: String,
    pub reads_low_scattered: String,
    pub reads_high: String,
    pub reads_low: String,
    pub reads_even: String,
    pub reads_unknown: String,
    pub nights_noisy: String,
    pub nights_quiet: String,
    pub nights_same: String,
    pub nights_alone: String,
    pub nights_unknown: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Tests {
    pub wear: String,
    pub nights: String,
    pub hardly: String,
    pub rarely: String,
    pub could: String,
    pub shuffled: String,
    pub formula: String,
    pub unknown: String,
}

/// How one figure of the report comes about.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FigureText {
    pub name: String,
    pub plain: String,
    pub formula: String,
    pub unit: String,
    pub few: String,
    pub source: String,
}

/// Headings of the table of figures.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FigureHeadings {
    pub name: String,
    pub plain: String,
    pub formula: String,
    pub unit: String,
    pub few: String,
    pub source: String,
    pub caption: String,
}

/// A point of a list: its lead-in and what it says.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Point {
    pub lead: String,
    pub text: String,
}
