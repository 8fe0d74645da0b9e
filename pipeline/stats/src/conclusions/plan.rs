//! What a study set out to compare: its primary rows, reference site and margins.

use super::measure::Measure;
use crate::resampling::seed::seed;
use std::collections::BTreeSet;

/// One thing that a plan names first.
#[derive(Debug, Clone, PartialEq)]
pub enum Primary {
    /// A measure: all sites against the reference.
    Measure(Measure),
    /// One measure of one site against another.
    Row {
        /// The measure.
        measure: Measure,
        /// Key of a site.
        site: String,
        /// Key of another.
        against: String,
    },
}

/// What was planned; the default is a study without a plan.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Plan {
    /// What is compared first; empty without a plan.
    pub primary: Vec<Primary>,
    /// The site that others are compared with.
    pub reference: Option<String>,
    /// Margins that differ from [`Measure::default_margin`]: in its unit, each once.
    pub margins: Vec<(Measure, f64)>,
}

/// A comparison of two sites in one measure, by their places in the report, the earlier first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct RowKey {
    /// The measure.
    pub measure: Measure,
    /// Place of the first site.
    pub site: usize,
    /// Place of the second.
    pub against: usize,
}

impl RowKey {
    /// The row of two sites, whichever is named first.
    #[must_use]
    pub fn new(measure: Measure, one: usize, other: usize) -> Self {
        Self {
            measure,
            site: one.min(other),
            against: one.max(other),
        }
    }
}

impl Plan {
    /// The margin of a measure, in its unit.
    #[must_use]
    pub fn margin(&self, measure: Measure) -> f64 {
        let own = self.margins.iter().find(|(of, _)| *of == measure);
        own.map_or_else(|| measure.default_margin(), |(_, margin)| *margin)
    }

    /// Place of the site that others are compared with: the plan's, else the one with most sensors, of equals the first.
    /// `sites` are the keys in the order of the report, `sensors` the number worn at each; `None` without a sensor.
    #[must_use]
    pub fn reference(&self, sites: &[&str], sensors: &[usize]) -> Option<usize> {
        let place = |key: &String| sites.iter().position(|site| site == key);
        let most = sensors.iter().copied().max().filter(|most| *most > 0);
        let busiest = || sensors.iter().position(|count| Some(*count) == most);
        self.reference.as_ref().and_then(place).or_else(busiest)
    }

    /// The primary rows, given the sites' keys in the order of the report and the place of the reference site. Without a
    /// plan: stays on, reads true and quiet at night against the reference. Rows of sites that are not in the report are
    /// left out.
    #[must_use]
    pub fn primary_rows(&self, sites: &[&str], reference: Option<usize>) -> BTreeSet<RowKey> {
        let usual = [Measure::StaysOn, Measure::ReadsTrue, Measure::QuietAtNight];
        let usual = usual.map(Primary::Measure);
        let named: &[Primary] = if self.primary.is_empty() {
            &usual
        } else {
            &self.primary
        };
        let place = |key: &str| sites.iter().position(|site| *site == key);
        let mut rows = BTreeSet::new();
        for primary in named {
            match primary {
                Primary::Measure(measure) => rows.extend(reference.into_iter().flat_map(|to| {
                    let others = (0..sites.len()).filter(move |site| *site != to);
                    others.map(move |site| RowKey::new(*measure, site, to))
                })),
                Primary::Row {
                    measure,
                    site,
                    against,
                } => rows.extend(
                    place(site)
                        .zip(place(against))
                        .filter(|(a, b)| a != b)
                        .map(|(a, b)| RowKey::new(*measure, a, b)),
                ),
            }
        }
        rows
    }

    /// Sixteen hexadecimal digits that change with the primary rows, the reference or a margin, whatever the order in which
    /// they were written; empty for a study without a plan.
    #[must_use]
    pub fn hash(&self) -> String {
        if *self == Self::default() {
            return String::new();
        }
        let mut parts: Vec<String> = self.primary.iter().map(primary_text).collect();
        parts.sort_unstable();
        parts.dedup();
        parts.extend(
            self.reference
                .iter()
                .map(|site| format!("reference {site}")),
        );
        let margin = |measure: Measure| format!("{} {}", measure.name(), self.margin(measure));
        parts.extend(Measure::ALL.map(margin));
        let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
        format!("{:016x}", seed(&parts))
    }
}

fn primary_text(primary: &Primary) -> String {
    match primary {
        Primary::Measure(measure) => measure.name().to_owned(),
        Primary::Row {
            measure,
            site,
            against,
        } => {
            let (first, second) = if site < against {
                (site, against)
            } else {
                (against, site)
            };
            format!("{} {first} {second}", measure.name())
        }
    }
}
