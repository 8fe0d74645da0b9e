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

/// Before the annex or in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Place {
    Body,
    Annex,
}

/// The sections of one edition, in order.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Plan {
    pub body: Vec<String>,
    pub annex: Vec<String>,
    /// Whether it comes with sheets of sensors that ended early.
    pub sheets: bool,
    /// Columns of the table of the bottom line.
    pub summary: Vec<SummaryColumn>,
}

/// A column of the bottom line's table: whose cells it shows, and beside them the number that they rest on. Both are
/// written `TABLE.COLUMN`.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SummaryColumn {
    pub value: String,
    pub count: Option<String>,
}

#[derive(Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Placement {
    clinician: Option<Place>,
    wearer: Option<Place>,
    public: Option<Place>,
}

/// What stands where, in every edition.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Plans {
    clinician: Plan,
    wearer: Plan,
    public: Plan,
    tables: BTreeMap<String, Placement>,
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

    /// Where a table stands in an edition. One that no one has placed is in the clinician's annex alone, one that came
    /// with the study also in the wearer's; the public edition has none of those.
    pub fn place(&self, edition: Edition, table: &ResultTable) -> Option<Place> {
        if table.own_query {
            return (edition != Edition::Public).then_some(Place::Annex);
        }
        let placement = self.tables.get(&table.name).copied().unwrap_or_default();
        match edition {
            Edition::Clinician => placement.clinician.or(Some(Place::Annex)),
            Edition::Wearer => placement.wearer,
            Edition::Public => placement.public,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;
    use whereworn_model::settings::Language;

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
    fn words_for_editions() {
        for edition in Edition::ALL {
            assert_eq!(Edition::parse(edition.name()), Some(edition));
        }
        assert_eq!(Edition::parse("patient"), None);
    }
}
