//! The words of the report, read from one file a language.

use std::collections::BTreeMap;

use serde::Deserialize;
use whereworn_model::format::number;

use crate::chart_words::ChartText;
use crate::words::*;

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
    pub sections: BTreeMap<String, SectionText>,
    pub chart: ChartText,
    pub counts: Counts,
    pub first: First,
    pub claims: Claims,
    pub next: NextText,
    pub together: Together,
    pub pairs: Pairs,
    pub changes: Changes,
    pub questions: Questions,
    pub reasons: Reasons,
    pub best: BestText,
    pub tips: Tips,
    pub sheets: SheetText,
    pub ledger: LedgerText,
    pub method: Vec<Point>,
    pub figures: Vec<FigureText>,
    pub figure_table: FigureHeadings,
    pub cautions: Vec<Point>,
}

impl Catalogue {
    /// A number of sensors.
    pub fn sensors(&self, count: f64) -> String {
        counted(count, &self.counts.sensors_one, &self.counts.sensors_many)
    }

    /// A number of sites.
    pub fn sites_counted(&self, count: f64) -> String {
        counted(count, &self.counts.sites_one, &self.counts.sites_many)
    }

    /// A number of wearers.
    pub fn wearers(&self, count: f64) -> String {
        counted(count, &self.counts.wearers_one, &self.counts.wearers_many)
    }

    /// A number of sensor-nights.
    pub fn nights(&self, count: f64) -> String {
        counted(count, &self.counts.nights_one, &self.counts.nights_many)
    }

    /// The word for a coded value of a column, where there is one.
    pub fn value(&self, column: &str, code: &str) -> Option<&str> {
        Some(self.values.get(column)?.get(code)?.as_str())
    }
}

/// A text on a number of things, in its form for one or for many.
pub(crate) fn counted(count: f64, one: &str, many: &str) -> String {
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
