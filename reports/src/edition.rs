//! Editions: whom a report is for, and what stands where in each.

use std::collections::BTreeMap;

use serde::Deserialize;
use whereworn_model::table::ResultTable;

use crate::error::ReportError;

const PLANS: &str = include_str!("text/editions.toml");

/// Whom a report is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edition {
    /// Someone with few minutes and clinical knowledge.
    Clinician,
    /// Who wears the sensors and decides.
    Wearer,
    /// Strangers: nothing in it identifies anyone.
    Public,
}

impl Edition {
    /// Every edition, the usual one first.
    pub const ALL: [Self; 3] = [Self::Clinician, Self::Wearer, Self::Public];

    /// The word for it in commands and names of folders.
    pub fn name(self) -> &'static str {
        match self {
            Self::Clinician => "clinician",
            Self::Wearer => "wearer",
            Self::Public => "public",
        }
    }

    /// The edition of a word.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|edition| edition.name() == word)
    }
}

/// The sections of one edition, in order.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Plan {
    pub body: Vec<String>,
    pub annex: Vec<String>,
    /// Whether it comes with sheets of sensors that ended early.
    pub sheets: bool,
    /// Whether what the next sensor will do is told in points, not in a table.
    pub points: bool,
}

/// What answers one question: a picture of one table, some rows and columns of another.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Excerpt {
    /// The table whose chart is drawn.
    pub picture: Option<String>,
    /// The table of which rows are shown.
    pub table: Option<String>,
    pub columns: Vec<String>,
    /// Those of the columns that are shown with their interval. A figure that has another interval elsewhere in the
    /// report is shown without one.
    pub intervals: Vec<String>,
    /// Most rows shown.
    pub rows: usize,
    /// The count of what was looked at: where it is 0, the zeros beside it mean nothing, and what is missing is said.
    pub of: Option<String>,
    /// The column whose highest or latest values come first.
    pub first: Option<String>,
    /// Sections whose tables are linked.
    pub sections: Vec<String>,
}

impl Default for Excerpt {
    fn default() -> Self {
        Self {
            picture: None,
            table: None,
            columns: Vec::new(),
            intervals: Vec::new(),
            rows: 12,
            of: None,
            first: None,
            sections: Vec::new(),
        }
    }
}

/// What stands where, in every edition.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Plans {
    clinician: Plan,
    wearer: Plan,
    public: Plan,
    /// Tables that the public edition is made from.
    published: Vec<String>,
    excerpts: BTreeMap<String, Excerpt>,
}

impl Plans {
    /// Those of the program.
    pub fn read() -> Result<Self, ReportError> {
        toml::from_str(PLANS).map_err(|error| ReportError::Catalogue(error.to_string()))
    }

    /// The plan of an edition.
    pub fn of(&self, edition: Edition) -> &Plan {
        match edition {
            Edition::Clinician => &self.clinician,
            Edition::Wearer => &self.wearer,
            Edition::Public => &self.public,
        }
    }

    /// What answers a question.
    pub fn excerpt(&self, key: &str) -> Option<&Excerpt> {
        self.excerpts.get(key)
    }

    /// All excerpts by the section that they are.
    #[cfg(test)]
    pub fn excerpts(&self) -> &BTreeMap<String, Excerpt> {
        &self.excerpts
    }

    /// Whether a table may be published: one of the program's that is named for it.
    pub fn is_published(&self, table: &ResultTable) -> bool {
        !table.own_query && self.published.contains(&table.name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;
    use whereworn_model::settings::Language;
    use whereworn_model::tables;

    #[test]
    fn every_section_has_words_and_stands_once_in_each_part() {
        let plans = Plans::read().unwrap();
        for edition in Edition::ALL {
            let text = Catalogue::read(Language::English, edition).unwrap();
            let plan = plans.of(edition);
            for part in [&plan.body, &plan.annex] {
                for (at, key) in part.iter().enumerate() {
                    assert!(text.sections.contains_key(key), "{key}");
                    assert!(!part[..at].contains(key), "{key}");
                }
            }
        }
    }

    #[test]
    fn excerpts_name_what_the_queries_declare() {
        let plans = Plans::read().unwrap();
        for (key, excerpt) in plans.excerpts() {
            let declared = |table: &str| tables::ALL.iter().find(|found| found.name == table);
            if let Some(picture) = &excerpt.picture {
                assert!(declared(picture).is_some(), "{key}: {picture}");
            }
            let Some(table) = &excerpt.table else {
                continue;
            };
            let columns = declared(table).unwrap().columns;
            assert!(!excerpt.columns.is_empty(), "{key}");
            for wanted in excerpt
                .columns
                .iter()
                .chain(&excerpt.of)
                .chain(&excerpt.first)
            {
                let found = columns.iter().any(|column| column.name == wanted);
                assert!(found, "{key}: {wanted}");
            }
            for shown in &excerpt.intervals {
                assert!(excerpt.columns.contains(shown), "{key}: {shown}");
                let upper = format!("{shown}_upper");
                assert!(
                    columns.iter().any(|column| column.name == upper),
                    "{key}: {shown}"
                );
            }
        }
    }

    #[test]
    fn words_for_editions() {
        for edition in Edition::ALL {
            assert_eq!(Edition::parse(edition.name()), Some(edition));
        }
        assert_eq!(Edition::parse("patient"), None);
    }
}
