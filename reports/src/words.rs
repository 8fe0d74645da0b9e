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

/// Words of which site is best for a wearer.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BestText {
    /// By the wearer's own weights, and where there are none.
    pub own: String,
    pub usual: String,
    pub meaning: String,
    pub none_stands_out: String,
    pub too_few: String,
    /// Title, remark and description of the picture.
    pub title: String,
    pub caption: String,
    pub finding: String,
    pub item: String,
    pub unknown: String,
    pub unbeaten: Point,
    /// Who leads, where a weight can change that, where one can for a site with too few sensors, and where none can.
    pub moves: Point,
    pub leads: Point,
    pub firm: Point,
    pub moved: String,
    pub off_label: Point,
    /// What priorities are called.
    pub names: BTreeMap<String, String>,
}

/// Tips from the study's own log.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Tips {
    /// Where sensors ended: all of them, or most.
    pub at: String,
    pub most_at: String,
    pub knocked: Point,
    /// Sensors that came loose: where the log lacks the tape of some, and where it has that of each.
    pub loose: Point,
    pub taped: Point,
    /// Stands before the link to the table that sets tape against none.
    pub tapes: String,
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
    pub contents_annex: String,
    pub contents_sheets: String,
    pub annex: String,
    pub annex_intro: String,
    /// Title of an edition that leaves out the study's own.
    pub title: String,
    pub month: String,
    pub days: String,
    pub opening: String,
    pub records: String,
    pub models: String,
    pub bodies: String,
    pub pooled: String,
    pub own: String,
    pub of_all: String,
    pub sheets: String,
    pub withheld: String,
    /// What stands in place of [`SectionText::missing`] where sites were left out.
    pub none_shared: String,
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
    /// A query file of the study failed; what is wrong with it stands in English.
    pub fault: String,
    /// The same where the file is told, with the line and column where they are.
    pub fault_at: String,
    pub line: String,
    pub column: String,
    pub some_rows: String,
    pub files: String,
    pub first_rows: String,
    pub interval: String,
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
    /// What is said where the section has a picture.
    #[serde(default)]
    pub of_picture: Vec<String>,
    /// What is said where it has a table; a column of counts in braces stands for its sum.
    #[serde(default)]
    pub of_table: Vec<String>,
    pub missing: String,
    /// What takes its place in a report to one of several, where the section counts everyone.
    #[serde(default)]
    pub everyone: Option<OfEveryone>,
}

/// Title and texts of a section that counts everyone, for one of several wearers.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct OfEveryone {
    pub title: String,
    #[serde(default)]
    pub intro: Vec<String>,
    #[serde(default)]
    pub missing: String,
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

/// Numbers of things.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Counts {
    pub sensors_one: String,
    pub sensors_many: String,
    pub sites_one: String,
    pub sites_many: String,
    pub wearers_one: String,
    pub wearers_many: String,
    pub nights_one: String,
    pub nights_many: String,
}

/// Words of the first screen.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct First {
    pub on_label: String,
    pub off_label: String,
    pub less_is_better: String,
    pub more_is_better: String,
    pub zero_is_best: String,
    pub differs: String,
    pub leans: String,
    pub not_yet: String,
    pub label: String,
    pub alike: String,
    pub open: String,
    pub unused: String,
    pub nothing: String,
    pub one_site: String,
    pub none_on_label: String,
    pub label_unknown: String,
    pub one_on_label: String,
    pub but_rare: String,
    pub open_more: String,
    pub open_all: String,
    pub left_out: String,
    pub left_out_nights: String,
    pub left_out_check: String,
    pub left_out_checks: String,
    pub found: String,
    pub found_touching: String,
    pub found_kind: String,
    /// Findings by kind.
    pub kinds: BTreeMap<String, String>,
}

/// Words of claims.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Claims {
    pub others: String,
    pub so_far: String,
    pub mark_so_far: String,
    pub other_way: String,
    pub and: String,
    pub interval: String,
    pub above_zero: String,
    /// A site with what it is.
    pub site_off_label: String,
    pub rest: String,
    /// Stands before the link to all of them, where no section has them pair by pair.
    pub all: String,
    pub settled_by: String,
    pub at_most: String,
    pub at_most_until: String,
    pub open_known: String,
    pub none_told: String,
    /// What a site cannot be told from.
    pub causes: BTreeMap<String, String>,
    pub measures: BTreeMap<String, ClaimWords>,
}

/// Words of claims in one measure.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ClaimWords {
    pub name: String,
    pub scale: String,
    /// One site, the better or the higher one, against another.
    pub claim: String,
    /// A site that the others together are better than.
    pub behind: String,
    pub alike: String,
    pub open: String,
    pub withdrawn: String,
    /// What a site has over another, with the figures of both.
    pub won: String,
}

/// Words of the next sensor.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NextText {
    pub caption: String,
    pub on_label: String,
    pub sensors: String,
    pub pairs: String,
    pub reads: String,
    pub beyond: String,
    pub days: String,
    pub range: String,
    pub with_range: String,
    pub explain: String,
    /// What is added in a report for one of several.
    pub explain_own: String,
    /// How many sensors a point rests on: of all, of the wearer whose report it is, of others where that wearer has none.
    pub of_all: String,
    pub of_own: String,
    pub of_others: String,
    pub few: String,
    pub point_reads: String,
    pub point_reads_others: String,
    pub point_days: String,
    pub off_label: String,
}

/// Words of what went together with a site.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Together {
    pub caption: String,
    pub model: String,
    pub tape: String,
    pub side: String,
    pub season: String,
    pub wearer: String,
    pub count: String,
    pub explain: String,
}

/// This month, and what moved since the last.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Changes {
    pub this_month: String,
    pub none_put_on: String,
    pub put_on: String,
    pub moved: Point,
    pub none_one: String,
    pub none_many: String,
    pub too_few: String,
}

/// Headings and words of sites pair by pair.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Pairs {
    pub caption: String,
    pub measure: String,
    pub site: String,
    pub against: String,
    pub difference: String,
    pub evidence: String,
    pub evidence_above: String,
    pub verdict: String,
    pub more: String,
    pub differs: String,
    pub leans: String,
    pub alike: String,
    pub open: String,
    pub withdrawn: String,
    pub planned: String,
}

/// Questions to talk over.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Questions {
    pub off_label: Point,
    pub label_unknown: Point,
    pub comes_off: Point,
    pub reads_high: Point,
    pub unchecked: Point,
    pub skin: Point,
}

/// Words on what changed since the copy that was handed out.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct LedgerText {
    /// Stands at the top of a report that took the place of others.
    pub later: String,
    /// Stands at the top of a copy that is kept.
    pub earlier: String,
    pub title: String,
    pub copy: String,
    pub no_longer: Lead,
    pub said: Lead,
    pub rows: Lead,
    pub site: String,
    pub input: Lead,
    pub input_new: String,
    pub input_gone: String,
    pub settings: Lead,
    pub version: Lead,
}

/// Lead-in and text of a point.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Lead {
    pub lead: String,
    pub text: String,
}
