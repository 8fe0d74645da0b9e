//! When each primary comparison is settled.

use std::collections::BTreeMap;

use whereworn_model::settings::{Measure, Primary, Settings};
use whereworn_model::table::ResultTable;

use crate::gain::{Contrast, Tilt};
use crate::gather::{Wearer, allowed};
use crate::lot;
use crate::words::Words;

/// Days of a month of wear.
const MONTH: f64 = 365.25 / 12.0;

/// The power that the number of sensors is given for: settled in four of five such studies.
pub const POWER: f64 = 0.8;

/// A difference that today's sensors would show in four of five studies, over half the width of a 95 % interval: (z₀.₉₇₅ +
/// z₀.₈) / z₀.₉₇₅.
const SHOWN_OVER_HALF_WIDTH: f64 = (1.959_964 + 0.841_621) / 1.959_964;

/// A primary comparison of two sites, and how far it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What is compared.
    pub measure: Measure,
    /// The site.
    pub site: usize,
    /// The other.
    pub against: usize,
    /// What is concluded so far: `differs`, `alike`, `leans`, `open`.
    pub verdict: String,
    /// The difference that today's sensors could show, in the measure's unit.
    pub shown_today: Option<f64>,
    /// Sensors a site until it is settled; 0 where it is.
    pub more_sensors: Option<f64>,
    /// The same in months of this wearer's sensors, one at a time, as the plan draws them.
    pub months: Option<f64>,
}

impl Comparison {
    /// Whether it is settled.
    #[must_use]
    pub fn settled(&self) -> bool {
        ["differs", "alike"].contains(&self.verdict.as_str())
    }
}

/// The primary comparisons of a wearer's plan, with what the conclusions say of them. Those with a site that is not
/// planned are left out: no sensor of the plan tells on them.
#[must_use]
pub fn comparisons(wearer: &Wearer, conclusions: Option<&ResultTable>) -> Vec<Comparison> {
    let mut rows: Vec<(Measure, usize, usize)> = Vec::new();
    let planned = |site: usize| wearer.rules.allowed.contains(&site);
    for primary in &wearer.plan.primary {
        match primary {
            Primary::Measure(measure) => {
                let reference = reference(wearer);
                let others = wearer.rules.allowed.iter().copied();
                rows.extend(
                    others
                        .filter(|site| *site != reference)
                        .map(|site| (*measure, site, reference)),
                );
            }
            Primary::Row(row) => {
                let pair = wearer.place(&row.site).zip(wearer.place(&row.against));
                rows.extend(pair.map(|(site, against)| (row.measure, site, against)));
            }
        }
    }
    rows.retain(|(_, site, against)| planned(*site) && planned(*against));
    let mut seen = BTreeMap::new();
    for (at, row) in rows.iter().enumerate() {
        seen.entry((row.0, row.1.min(row.2), row.1.max(row.2)))
            .or_insert(at);
    }
    let mut kept: Vec<usize> = seen.into_values().collect();
    kept.sort_unstable();
    kept.into_iter()
        .map(|at| said(wearer, conclusions, rows[at]))
        .collect()
}

/// The site that others are compared with: the plan's where it is allowed, else the allowed one with most sensors, of
/// equals the first.
fn reference(wearer: &Wearer) -> usize {
    let allowed = &wearer.rules.allowed;
    let named = wearer
        .plan
        .reference
        .as_deref()
        .and_then(|key| wearer.place(key));
    let sensors = |site: usize| {
        wearer
            .history
            .worn
            .iter()
            .filter(|worn| worn.site == site)
            .count()
    };
    let busiest = allowed
        .iter()
        .copied()
        .rev()
        .max_by_key(|&site| sensors(site));
    named
        .filter(|site| allowed.contains(site))
        .or(busiest)
        .unwrap_or(0)
}

fn said(
    wearer: &Wearer,
    conclusions: Option<&ResultTable>,
    (measure, site, against): (Measure, usize, usize),
) -> Comparison {
    let keys = [wearer.key(site), wearer.key(against)];
    let found = conclusions.and_then(|table| {
        let rows = table.rows_where("measure", measure.name());
        let of = |row: &usize| {
            let sites = [table.text(*row, "site"), table.text(*row, "against")];
            sites == keys || sites == [keys[1], keys[0]]
        };
        rows.into_iter().find(of).map(|row| (table, row))
    });
    let number = |column: &str| found.and_then(|(table, row)| table.number(row, column));
    let verdict = found.map_or("open", |(table, row)| table.text(row, "verdict"));
    let half_width = number("lower")
        .zip(number("upper"))
        .map(|(l, u)| 0.5 * (u - l));
    let mut comparison = Comparison {
        measure,
        site,
        against,
        verdict: verdict.to_owned(),
        shown_today: half_width.map(|half| half * SHOWN_OVER_HALF_WIDTH),
        more_sensors: number("more_sensors"),
        months: None,
    };
    if comparison.settled() {
        comparison.more_sensors = Some(0.0);
    }
    comparison
}

/// What the primary rows still wait for, a line each, for whoever asks what is thin: those of sites that may be planned alone, so
/// that no one is urged elsewhere.
#[must_use]
pub fn waiting(settings: &Settings, conclusions: &ResultTable) -> Vec<String> {
    let (words, sites) = (Words::english(), settings.all_sites());
    let allowed = allowed(&settings.study_plan(), &sites);
    let label = |key: &str| {
        let place = sites.iter().position(|site| site.key == key)?;
        allowed.contains(&place).then(|| sites[place].label.clone())
    };
    let line = |row: usize| {
        let text = |column: &str| conclusions.text(row, column);
        let waits = ["open", "leans"].contains(&text("verdict"));
        let primary = conclusions.number(row, "primary") == Some(1.0);
        let more = conclusions.number(row, "more_sensors")?;
        let (site, against) = label(text("site")).zip(label(text("against")))?;
        let name = text("measure");
        let measure = Measure::ALL.into_iter().find(|m| m.name() == name)?;
        (waits && primary).then(|| {
            format!(
                "{}, {site} against {against}: {}",
                words.measure(measure),
                words.sensors_settle_it(more)
            )
        })
    };
    (0..conclusions.rows()).filter_map(line).collect()
}

/// The contrasts that are still open, over the study's sites.
#[must_use]
pub fn open(wearer: &Wearer, comparisons: &[Comparison]) -> Vec<Contrast> {
    let contrast = |comparison: &Comparison| {
        let mut weights = vec![0.0; wearer.sites.len()];
        weights[comparison.site] = 1.0;
        weights[comparison.against] = -1.0;
        weights
    };
    let waiting = comparisons
        .iter()
        .filter(|comparison| !comparison.settled());
    waiting.map(contrast).collect()
}

/// Months in which this wearer's planned sensors are so many more a site: both sites' sensors over their share of the draws,
/// times the days that a sensor was worn so far.
pub fn in_months(wearer: &Wearer, tilt: &Tilt, comparisons: &mut [Comparison]) {
    let allowed = &wearer.rules.allowed;
    let mut sensors = vec![0.0; wearer.sites.len()];
    for worn in &wearer.history.worn {
        sensors[worn.site] += 1.0;
    }
    let shares = lot::lifted(&tilt.weights(allowed, &sensors));
    let share = |site: usize| {
        let place = allowed.iter().position(|allowed| *allowed == site);
        place.map_or(0.0, |place| shares[place])
    };
    let days = wearer.days_worn.unwrap_or(wearer.rules.rated_days as f64);
    for comparison in comparisons {
        let both = share(comparison.site) + share(comparison.against);
        comparison.months = comparison
            .more_sensors
            .map(|more| 2.0 * more / both * days / MONTH);
    }
}
