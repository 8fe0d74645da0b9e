//! The words of the report, read from one file a language.

use std::collections::BTreeMap;

use serde::Deserialize;
use whereworn_model::format::number;

use crate::chart::body::BodyText;
use crate::chart::last_day::LastDayText;
use crate::chart::spans::SpansText;
use crate::chart::strip::StripText;
use crate::chart::traces::TracesText;
use crate::words::{Changes, Questions, Reasons, SheetText, TableWords, Tips, Unknown};

/// Every word that the report prints. Fields are the keys of the file, so that a translation which
/// lacks one is refused.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Catalogue {
    pub language: String,
    pub direction: String,
    /// The mark before decimals.
    pub decimal: String,
    /// How a date is written where the study does not say, in the notation of `strftime`.
    pub date: String,
    pub months: Vec<String>,
    pub months_short: Vec<String>,
    pub page: Page,
    /// Units other than glucose.
    pub units: BTreeMap<String, String>,
    /// Names of the sites that come with the program.
    pub sites: BTreeMap<String, String>,
    /// Words for coded values, by column; the public edition has no other texts.
    pub values: BTreeMap<String, BTreeMap<String, String>>,
    /// Titles, remarks and headings of the program's tables that take the place of the query files' own.
    #[serde(default)]
    pub tables: BTreeMap<String, TableWords>,
    pub table: TableText,
    pub missing: BTreeMap<String, String>,
    pub sections: BTreeMap<String, SectionText>,
    pub chart: ChartText,
    pub bottom: Bottom,
    pub site: SiteText,
    pub tests: Tests,
    pub changes: Changes,
    pub questions: Questions,
    pub reasons: Reasons,
    pub unknown: Unknown,
    pub tips: Tips,
    pub sheets: SheetText,
    pub method: Vec<Point>,
    pub figures: Vec<FigureText>,
    pub figure_table: FigureHeadings,
    pub cautions: Vec<Point>,
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
    pub figure_numbers: String,
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
pub(crate) struct ChartText {
    pub alt: String,
    pub day_month: String,
    pub panel_count: String,
    pub more_rows: String,
    pub thinned: String,
    pub curves: CurvesText,
    pub intervals: IntervalsText,
    pub points: PointsText,
    pub bars: BarsText,
    pub spans: SpansText,
    pub traces: TracesText,
    pub last_day: LastDayText,
    pub strip: StripText,
    pub body: BodyText,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct CurvesText {
    pub caption: String,
    pub caption_lines: String,
    pub caption_ghosts: String,
    pub caption_band: String,
    pub caption_at_risk: String,
    pub at_risk: String,
    pub finding: String,
    pub item: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct IntervalsText {
    pub caption: String,
    pub caption_zero: String,
    pub finding: String,
    pub item: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PointsText {
    pub caption: String,
    pub caption_limits: String,
    pub caption_interval: String,
    pub bias: String,
    pub limits: String,
    pub finding: String,
    pub item: String,
    pub item_bias: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BarsText {
    pub caption: String,
    pub finding: String,
    pub item: String,
    pub item_series: String,
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

impl Catalogue {
    /// A number of sensors.
    pub fn sensors(&self, count: f64) -> String {
        counted(count, &self.bottom.sensors_one, &self.bottom.sensors_many)
    }

    /// A number of sites.
    pub fn sites_counted(&self, count: f64) -> String {
        counted(count, &self.bottom.sites_one, &self.bottom.sites_many)
    }

    /// The word for a coded value of a column, where there is one.
    pub fn value(&self, column: &str, code: &str) -> Option<&str> {
        Some(self.values.get(column)?.get(code)?.as_str())
    }
}

fn counted(count: f64, one: &str, many: &str) -> String {
    if count == 1.0 {
        one.to_owned()
    } else {
        fill(many, &[("count", &number(count, 0))])
    }
}

/// A text with its `{names}` filled in. A name that is not given stays as it is; what is filled in is not
/// looked at again.
pub(crate) fn fill(template: &str, values: &[(&str, &str)]) -> String {
    let mut out = String::with_capacity(template.len() + 32);
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        out.push_str(&rest[..open]);
        let tail = &rest[open + 1..];
        let known = tail
            .find('}')
            .and_then(|close| Some((close, values.iter().find(|(n, _)| *n == &tail[..close])?)));
        match known {
            Some((close, (_, value))) => {
                out.push_str(value);
                rest = &tail[close + 1..];
            }
            None => {
                out.push('{');
                rest = tail;
            }
        }
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_filled_in_is_not_filled_again() {
        assert_eq!(fill("{a} {b}", &[("a", "{b}"), ("b", "x")]), "{b} x");
        assert_eq!(fill("{c} {", &[("a", "1")]), "{c} {");
    }
}
