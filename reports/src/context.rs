//! What every part of the report needs to know of the study.

use std::collections::BTreeSet;

use jiff::tz::TimeZone;
use whereworn_model::sites::Site;
use whereworn_model::table::ResultTable;
use whereworn_model::units::Unit;

use crate::catalogue::{Catalogue, fill};
use crate::view::View;
use crate::{Input, ReportError};

/// The input with its words, sites and units at hand.
pub(crate) struct Context<'a> {
    pub input: &'a Input<'a>,
    pub text: Catalogue,
    pub zone: TimeZone,
    pub unit: Unit,
    sites: Vec<Site>,
    /// Keys of the sites with a sensor, in their order.
    worn: Vec<String>,
}

impl<'a> Context<'a> {
    pub fn new(input: &'a Input<'a>) -> Result<Self, ReportError> {
        let mut context = Self {
            input,
            text: Catalogue::english()?,
            zone: input.settings.zone(),
            unit: input.settings.study.unit,
            sites: input.settings.all_sites(),
            worn: Vec::new(),
        };
        context.worn = context.worn_sites();
        Ok(context)
    }

    /// A result by its name, where it has rows.
    pub fn view(&'a self, name: &str) -> Option<View<'a>> {
        let table = self.input.tables.iter().find(|table| table.name == name)?;
        (table.rows() > 0).then(|| View::new(self, table))
    }

    /// A name from outside, closed so that one written from right to left does not turn what follows it.
    pub fn name(&self, text: &str) -> String {
        let right_to_left = |c: char| matches!(c, '\u{0590}'..='\u{08FF}' | '\u{FB1D}'..='\u{FDFF}' | '\u{FE70}'..='\u{FEFC}');
        match self.text.direction.as_str() {
            "ltr" if text.contains(right_to_left) => format!("{text}\u{200E}"),
            "rtl" => format!("{text}\u{200F}"),
            _ => text.to_owned(),
        }
    }

    /// The name of a site for readers.
    pub fn site_label(&self, key: &str) -> String {
        let site = self.sites.iter().find(|site| site.key == key);
        self.name(site.map_or(key, |site| &site.label))
    }

    fn worn_sites(&self) -> Vec<String> {
        let cells = self
            .input
            .tables
            .iter()
            .filter_map(|table| table.column("site"))
            .flat_map(|column| &column.cells);
        let keys: BTreeSet<&str> = cells.filter_map(|cell| cell.as_text()).collect();
        let mut keys: Vec<String> = keys.into_iter().map(str::to_owned).collect();
        keys.sort_by_key(|key| self.site_rank(key));
        keys
    }

    /// Which mark and colour a site has.
    pub fn site_mark(&self, key: &str) -> usize {
        self.worn.iter().position(|site| site == key).unwrap_or(0)
    }

    /// The place of a site in lists; sites that no one knows come last.
    pub fn site_rank(&self, key: &str) -> usize {
        self.sites
            .iter()
            .position(|site| site.key == key)
            .unwrap_or(self.sites.len())
    }

    /// Number of wearers with a sensor.
    pub fn wearers(&self) -> usize {
        let sessions = self.input.tables.iter().find(|t| t.name == "sessions");
        let mut names: Vec<&str> = sessions
            .map(|table| {
                (0..table.rows())
                    .map(|row| table.text(row, "wearer"))
                    .collect()
            })
            .unwrap_or_default();
        names.sort_unstable();
        names.dedup();
        names.len()
    }

    /// The month of the report in words.
    pub fn month(&self) -> String {
        let text = self.input.month.to_string();
        let (year, month) = text.split_once('-').unwrap_or((&text, ""));
        let index: usize = month.parse().unwrap_or(0);
        match self.text.months.get(index.wrapping_sub(1)) {
            Some(name) => fill(&self.text.page.month, &[("month", name), ("year", year)]),
            None => text,
        }
    }

    /// The catalogue's sentence for a table without rows.
    pub fn missing(&self, table: &ResultTable) -> String {
        match self.text.missing.get(&table.name) {
            Some(text) => text.clone(),
            None => fill(&self.text.table.missing, &[("title", &table.title())]),
        }
    }
}
