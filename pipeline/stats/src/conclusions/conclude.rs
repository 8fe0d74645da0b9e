//! From comparisons to conclusions: families, intervals, verdicts.

use super::bet::{ENOUGH, PRIMARY_SHARE};
use super::blocks::Within;
use super::confounders::{Claim, Confounder, confounders, of_people};
use super::evidence::{Evidence, Ledger};
use super::intervals::interval;
use super::measure::Measure;
use super::plan::{Plan, RowKey};
use super::rows::{Facts, Orders, Row};
use super::settle::{Outlook, more_sensors};
use super::study::Study;
use crate::interval::Interval;
use crate::multiplicity::holm;
use std::collections::BTreeSet;

/// The error that is allowed over all rows.
const ERROR: f64 = 0.05;

/// The p of a comparison that bears a difference said for all looks, when something went along with sites.
const DIFFERS: f64 = 0.01;

/// What can be said of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// The sites differ: that holds over all looks and all rows of the family.
    Differs,
    /// The interval lies within the margin that matters.
    Alike,
    /// They seem to differ, by this look alone.
    Leans,
    /// Neither can be said.
    Open,
}

impl Verdict {
    /// The word that tables use.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Differs => "differs",
            Self::Alike => "alike",
            Self::Leans => "leans",
            Self::Open => "open",
        }
    }
}

/// One comparison and what can be said of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Conclusion {
    /// The measure.
    pub measure: Measure,
    /// Place of the site.
    pub site: usize,
    /// Place of the site that it is compared with; `None` for the equally weighted mean of the others.
    pub against: Option<usize>,
    /// The site less the other, in the unit of the measure; `None` where they cannot be compared.
    pub difference: Option<f64>,
    /// Its interval, 95 % for all rows of the family together at this look; `None` with too few sensors.
    pub interval: Option<Interval>,
    /// Sensors compared, of the site and of the other.
    pub sensors: [usize; 2],
    /// Wearers among them.
    pub wearers: usize,
    /// Evidence of a difference, allowing for all rows and looks; 1 where nothing could be compared.
    pub evidence: f64,
    /// p of this look alone, adjusted for the family; `None` with too few sensors.
    pub p: Option<f64>,
    /// What can be said.
    pub verdict: Verdict,
    /// What went with the site, so that nothing can be said.
    pub withdrawn: Vec<Confounder>,
    /// How many more sensors at either site would settle it.
    pub more_sensors: Option<usize>,
    /// Whether it belongs to the primary family.
    pub primary: bool,
    /// Whether it was planned before its first data.
    pub planned: bool,
    /// Of sensors that came off: the day by which, where too few were followed to their rated one.
    pub until: Option<f64>,
}

/// Everything that can be said of a study up to its last look.
///
/// `planned_since` is the cut-off at which this plan was first used; `None` where it never was. Rows: measures in their order; in each
/// the pairs of sites, then each site against the others. Delays have rows only where sensors of both sites tell theirs.
/// See the module for the rules. Checked by `tests/conclusions/main.rs` and, over many studies, by `cargo xtask sentences`.
#[must_use]
pub fn conclude(study: &Study<'_>, plan: &Plan, planned_since: Option<f64>) -> Vec<Conclusion> {
    let orders = Orders::new(study);
    let mut ledger = Ledger::default();
    for &now in &study.looks {
        ledger.add(study, plan, orders.of(Within::WearerAndModel), now);
    }
    let last = study.looks.last();
    last.map_or(Vec::new(), |&now| {
        at(study, plan, planned_since, &orders, &ledger, now)
    })
}

/// What [`conclude`] says at each look, for whoever asks how sentences do over the looks of a study.
#[must_use]
pub fn conclude_each(study: &Study<'_>, plan: &Plan) -> Vec<Vec<Conclusion>> {
    let orders = Orders::new(study);
    let mut ledger = Ledger::default();
    let looks = study.looks.iter();
    looks
        .map(|&now| {
            ledger.add(study, plan, orders.of(Within::WearerAndModel), now);
            at(study, plan, None, &orders, &ledger, now)
        })
        .collect()
}

fn at(
    study: &Study<'_>,
    plan: &Plan,
    planned_since: Option<f64>,
    orders: &Orders,
    ledger: &Ledger,
    now: f64,
) -> Vec<Conclusion> {
    let primary = plan.primary_rows(&study.sites, plan.reference(&study.sites, &study.worn(now)));
    let mut rows = Vec::new();
    for measure in Measure::ALL {
        rows.extend(rows_of(study, orders, measure, now));
    }
    let families = Families::new(&rows, &primary);
    rows.iter()
        .enumerate()
        .map(|(place, row)| {
            let family = families.of(place);
            let known = row.key().and_then(|key| ledger.of(key));
            Judged::new(study, plan, row, family, known).conclusion(planned_since)
        })
        .collect()
}

fn rows_of(study: &Study<'_>, orders: &Orders, measure: Measure, now: f64) -> Vec<Row> {
    let facts = Facts::new(study, orders, measure, now);
    let sites = study.sites.len();
    let mut rows = Vec::new();
    for site in 0..sites {
        rows.extend((site + 1..sites).map(|against| facts.pair(orders, site, against)));
    }
    if measure == Measure::Delay {
        rows.retain(|row| row.sensors().iter().all(|sensors| *sensors > 0));
    }
    if sites > 2 {
        let others = (0..sites).filter_map(|site| facts.others(orders, &rows, site));
        let others: Vec<Row> = others.collect();
        rows.extend(others);
    }
    rows
}

impl Row {
    fn key(&self) -> Option<RowKey> {
        let against = self.against?;
        Some(RowKey::new(self.measure, self.site, against))
    }
}

/// Which rows share which part of the error, and their p adjusted for that.
struct Families {
    primary: Vec<bool>,
    p: Vec<Option<f64>>,
    tested: [usize; 2],
}

/// What a row's family means for it.
#[derive(Clone, Copy)]
struct Family {
    primary: bool,
    p: Option<f64>,
    /// The chance of missing on one side that the row's interval has.
    tail: f64,
    /// The capital that a row of the family needs alone.
    capital: f64,
}

impl Families {
    fn new(rows: &[Row], named: &BTreeSet<RowKey>) -> Self {
        let primary: Vec<bool> = rows
            .iter()
            .map(|row| row.key().is_some_and(|key| named.contains(&key)))
            .collect();
        let mut adjusted = vec![None; rows.len()];
        let tested = [true, false].map(|family| {
            let places: Vec<usize> = (0..rows.len())
                .filter(|&place| primary[place] == family && rows[place].tested.is_some())
                .collect();
            let p: Vec<f64> = places
                .iter()
                .filter_map(|&place| rows[place].tested.as_ref())
                .map(|tested| tested.p)
                .collect();
            for (place, p) in places.iter().zip(holm(&p)) {
                adjusted[*place] = Some((p / share(family)).min(1.0));
            }
            places.len()
        });
        Self {
            primary,
            p: adjusted,
            tested,
        }
    }

    fn of(&self, place: usize) -> Family {
        let primary = self.primary[place];
        let rows = self.tested[usize::from(!primary)].max(1) as f64;
        Family {
            primary,
            p: self.p[place],
            tail: 0.5 * ERROR * share(primary) / rows,
            capital: ENOUGH * rows / share(primary),
        }
    }
}

/// The share of the error that a family has.
fn share(primary: bool) -> f64 {
    if primary {
        PRIMARY_SHARE
    } else {
        1.0 - PRIMARY_SHARE
    }
}

/// A row with all that its conclusion is made from.
struct Judged<'a> {
    study: &'a Study<'a>,
    row: &'a Row,
    family: Family,
    margin: f64,
    evidence: f64,
    p: Option<f64>,
    interval: Option<Interval>,
    capital: f64,
}

impl<'a> Judged<'a> {
    fn new(
        study: &'a Study<'a>,
        plan: &Plan,
        row: &'a Row,
        family: Family,
        known: Option<Evidence>,
    ) -> Self {
        let (mut evidence, mut p) = (known.map_or(1.0, |known| known.most), family.p);
        let by_itself = row.told_by_itself();
        p = p.map(|p| p.max(0.5 * by_itself));
        if by_itself >= ERROR {
            evidence = evidence.min(1.0);
        }
        let found = row.tested.as_ref().and(row.estimate.as_ref());
        let plain = found.and_then(|contrast| interval(contrast, row.scale, family.tail));
        let claimed = evidence >= ENOUGH || p.is_some_and(|p| p < ERROR);
        let difference = row.estimate.map_or(0.0, |contrast| contrast.difference);
        Self {
            study,
            row,
            family,
            margin: plan.margin(row.measure),
            evidence,
            p,
            interval: plain.map(|plain| agreeing(plain, difference, claimed)),
            capital: known.map_or(family.capital, |known| known.needed),
        }
    }

    fn verdict(&self) -> Verdict {
        let pair = self.row.against.is_some();
        let within =
            |interval: Interval| interval.lower > -self.margin && interval.upper < self.margin;
        if pair && self.evidence >= ENOUGH {
            Verdict::Differs
        } else if pair && self.row.until.is_none() && self.interval.is_some_and(within) {
            Verdict::Alike
        } else if self.p.is_some_and(|p| p < ERROR) {
            Verdict::Leans
        } else {
            Verdict::Open
        }
    }

    fn conclusion(&self, planned_since: Option<f64>) -> Conclusion {
        let verdict = self.verdict();
        let claim = match verdict {
            Verdict::Open => Claim::None,
            Verdict::Alike => Claim::Alike(self.margin),
            Verdict::Leans => Claim::Difference(ERROR),
            Verdict::Differs => Claim::Difference(DIFFERS),
        };
        let withdrawn = confounders(self.study, self.row, claim);
        let verdict = if withdrawn.is_empty() {
            verdict
        } else {
            Verdict::Open
        };
        let open = matches!(verdict, Verdict::Open | Verdict::Leans);
        Conclusion {
            measure: self.row.measure,
            site: self.row.site,
            against: self.row.against,
            difference: self.row.estimate.map(|contrast| contrast.difference),
            interval: self.interval,
            sensors: self.row.sensors(),
            wearers: self.row.wearers(self.study),
            evidence: self.evidence,
            p: self.p,
            verdict,
            more_sensors: (open && withdrawn.is_empty())
                .then(|| self.more_sensors())
                .flatten(),
            withdrawn,
            primary: self.family.primary,
            planned: self.family.primary
                && planned_since.is_some_and(|since| since < self.first_data()),
            until: self.row.until,
        }
    }

    fn more_sensors(&self) -> Option<usize> {
        self.row.against?;
        let (tested, estimate) = (self.row.tested.as_ref()?, self.row.estimate.as_ref()?);
        // No number of sensors makes one sentence true of people who differ.
        if of_people::differ(self.study, self.row, self.margin) {
            return None;
        }
        let spread: f64 = estimate.sides.iter().map(|side| side.spread).sum();
        more_sensors(&Outlook {
            difference: estimate.difference,
            sd: estimate.std_error / spread.sqrt(),
            df: estimate.df,
            sensors: estimate.sides.map(|side| 1.0 / side.spread),
            score: tested.z,
            margin: self.margin,
            capital: self.capital,
            tail: self.family.tail,
            reach: self.interval.map(|interval| {
                let ends = [interval.lower, interval.upper];
                ends.map(|end| (end - estimate.difference).abs())
                    .into_iter()
                    .fold(0.0, f64::max)
            }),
        })
    }

    /// When the first sensor of the row was inserted.
    fn first_data(&self) -> f64 {
        let members = self.row.members.iter();
        members
            .map(|member| self.study.sensors[member.sensor].inserted)
            .fold(f64::INFINITY, f64::min)
    }
}

impl Row {
    /// Two-sided p of the difference that is told, by t and without any allowance; 1 where it points the other way than what is
    /// tested.
    ///
    /// Hazards can differ where as many sensors come off in the end, and an early claim can fade: what a reader is told has
    /// to be off 0 as it stands, either way at the level of one row for evidence, one way for this look alone.
    fn told_by_itself(&self) -> f64 {
        let (Some(tested), Some(told)) = (&self.tested, &self.estimate) else {
            return 1.0;
        };
        if tested.contrast.difference * told.difference < 0.0 {
            return 1.0;
        }
        told.p().unwrap_or(1.0)
    }
}

/// An interval that agrees with what is claimed: p is of another statistic than some intervals, and Holm's p of another
/// family than Bonferroni's interval, so that one may leave out no difference where the other does not. A claim keeps its
/// interval off 0 (Strassburger and Bretz 2008 Stat Med 27:4914, from memory); without one it reaches there.
fn agreeing(plain: Interval, difference: f64, claimed: bool) -> Interval {
    let Interval { lower, upper } = plain;
    let (above, below) = match (claimed, difference > 0.0) {
        (true, true) => (lower.max(0.0), upper),
        (true, false) => (lower, upper.min(0.0)),
        (false, _) => (lower.min(0.0), upper.max(0.0)),
    };
    Interval {
        lower: above,
        upper: below,
    }
}
