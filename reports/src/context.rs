//! What every part of the report needs to know of the study.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use whereworn_model::format::{self, NO_VALUE};
use whereworn_model::settings::{DateFormat, Measure, Settings};
use whereworn_model::sites::{Site, label_is_told};
use whereworn_model::tables::sessions;
use whereworn_model::time::Micros;
use whereworn_model::units::Unit;

use crate::catalogue::{Catalogue, fill};
use crate::edition::{Plan, Plans};
use crate::input::Input;
use crate::palette::NO_SITE;
use crate::privacy::Shared;

/// The input with its words, sites and units at hand.
pub(crate) struct Context<'a> {
    pub input: &'a Input<'a>,
    pub text: Catalogue,
    pub plans: &'a Plans,
    /// What was taken out of the public edition.
    pub shared: Option<Shared>,
    /// How many wearers there are, in a report for one of them.
    pub everyone: Option<usize>,
    pub zone: TimeZone,
    pub unit: Unit,
    /// Differences that would not matter.
    pub margins: BTreeMap<Measure, f64>,
    sites: Vec<Site>,
}

impl<'a> Context<'a> {
    pub fn new(
        input: &'a Input<'a>,
        mut text: Catalogue,
        plans: &'a Plans,
        shared: Option<Shared>,
    ) -> Self {
        if shared.is_some_and(|shared| shared.withheld > 0) {
            let sections = text.sections.values_mut();
            let said = sections.filter(|section| !section.missing.is_empty());
            said.for_each(|section| section.missing.clone_from(&text.page.none_shared));
        }
        Self {
            sites: sites(&input.settings, &text),
            input,
            text,
            plans,
            shared,
            everyone: None,
            zone: input.settings.zone(),
            unit: input.settings.unit(),
            margins: input.settings.study_plan().margins,
        }
    }

    /// For one of so many wearers: sections that count everyone say so instead of speaking of the reader's own.
    pub fn for_one_of(mut self, everyone: Option<usize>) -> Self {
        self.everyone = everyone;
        if everyone.is_some() {
            for section in self.text.sections.values_mut() {
                if let Some(of_everyone) = section.everyone.take() {
                    section.title = of_everyone.title;
                    section.intro = of_everyone.intro;
                    section.missing = of_everyone.missing;
                }
            }
        }
        self
    }

    /// What stands where in this edition.
    pub fn plan(&self) -> &'a Plan {
        self.plans.of(self.input.edition)
    }

    /// A number with so many decimals, as the language writes it.
    pub fn number(&self, value: f64, digits: usize) -> String {
        self.local(&format::number(value, digits))
    }

    /// A formatted number with the decimal mark of the language.
    pub fn local(&self, number: &str) -> String {
        number.replace('.', &self.text.decimal)
    }

    /// The name of the study's time zone.
    pub fn zone_name(&self) -> &str {
        match self.shared {
            Some(_) => &self.text.page.own_zone,
            None => {
                let name = self.input.settings.study.timezone.as_deref();
                name.unwrap_or("UTC")
            }
        }
    }

    /// A calendar date as the study or else the language writes it.
    pub fn date(&self, date: Date) -> String {
        let pattern = match &self.input.settings.study.date_format {
            Some(wanted) => DateFormat::pattern(wanted),
            None => &self.text.date,
        };
        date.strftime(pattern).to_string()
    }

    /// An instant as local date and time to the minute.
    pub fn instant(&self, at: Micros) -> String {
        let Ok(timestamp) = Timestamp::from_microsecond(at) else {
            return NO_VALUE.to_owned();
        };
        let local = timestamp.to_zoned_datetime(self.zone.clone());
        format!("{} {}", self.date(local.date()), local.strftime("%H:%M"))
    }

    /// The time for which the report stands, in words.
    pub fn period(&self) -> String {
        match self.shared {
            Some(shared) => fill(&self.text.page.days, &[("days", &shared.days.to_string())]),
            None => self.month(),
        }
    }

    /// A name from outside, closed so that one written from right to left does not turn what follows it.
    pub fn name(&self, text: &str) -> String {
        let right_to_left = |c: char| matches!(c, '\u{0590}'..='\u{08FF}' | '\u{FB1D}'..='\u{FDFF}' | '\u{FE70}'..='\u{FEFC}');
        match text.contains(right_to_left) {
            true => format!("{text}\u{200E}"),
            false => text.to_owned(),
        }
    }

    /// The name of a site for readers.
    pub fn site_label(&self, key: &str) -> String {
        let site = self.sites.iter().find(|site| site.key == key);
        match site {
            Some(site) => self.name(&site.label),
            None => self.name(self.text.value("site", key).unwrap_or(key)),
        }
    }

    /// Whether the settings say of any site that it is on the device's label, or off it: else nothing is known of any.
    pub fn label_is_told(&self) -> bool {
        label_is_told(&self.sites)
    }

    /// Whether a site is off the device's label; one that no one knows is, where others are known to be on it.
    pub fn off_label(&self, key: &str) -> bool {
        let site = self.sites.iter().find(|site| site.key == key);
        self.label_is_told() && !site.is_some_and(Site::is_on_label)
    }

    /// Which mark and colour a site has: by its place among all sites, worn or not, so that it keeps them from month to
    /// month.
    pub fn site_mark(&self, key: &str) -> usize {
        self.site_rank(key) % NO_SITE
    }

    /// The place of a site in lists; sites that no one knows come last.
    pub fn site_rank(&self, key: &str) -> usize {
        self.sites
            .iter()
            .position(|site| site.key == key)
            .unwrap_or(self.sites.len())
    }

    /// Names of the wearers with a sensor.
    pub fn wearers(&self) -> Vec<&'a str> {
        let sessions = self.input.tables.iter().find(|t| t.name == sessions::NAME);
        let mut names: Vec<&str> = sessions
            .map(|table| {
                (0..table.rows())
                    .map(|row| table.text(row, sessions::column::WEARER))
                    .collect()
            })
            .unwrap_or_default();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// The month of the report in words.
    fn month(&self) -> String {
        let text = self.input.month.to_string();
        let (year, month) = text.split_once('-').unwrap_or((&text, ""));
        let index: usize = month.parse().unwrap_or(0);
        match self.text.months.get(index.wrapping_sub(1)) {
            Some(name) => fill(&self.text.page.month, &[("month", name), ("year", year)]),
            None => text,
        }
    }
}

/// The sites, those of the program under the names of the language where the study gives none.
pub(crate) fn sites(settings: &Settings, text: &Catalogue) -> Vec<Site> {
    let mut sites = settings.all_sites();
    for site in &mut sites {
        let own = settings.sites.get(&site.key);
        if own.is_none_or(|own| own.label.is_none())
            && let Some(label) = text.sites.get(&site.key)
        {
            site.label.clone_from(label);
        }
    }
    let labels: Vec<String> = sites.iter().map(|site| site.label.clone()).collect();
    for site in &mut sites {
        if labels.iter().filter(|label| **label == site.label).count() > 1 {
            site.label = format!("{} ({})", site.label, site.key);
        }
    }
    sites
}
