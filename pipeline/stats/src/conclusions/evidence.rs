//! Evidence at the month ends up to the cut-off.

use super::bet::{PRIMARY_SHARE, allowing_for_rows};
use super::blocks::Within;
use super::compare::{Known, compare};
use super::measure::Measure;
use super::plan::{Plan, RowKey};
use super::scores::{Order, Sides};
use super::study::Study;
use std::collections::BTreeMap;

/// The evidence of a row at the cut-off, and what it would take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Evidence {
    /// The most that the capital, allowing for all rows, came to at a look at which the difference pointed the way it does
    /// now.
    pub most: f64,
    /// The capital that the row alone would need, given the rows of its family at the last look.
    pub needed: f64,
}

/// What was seen of a row at one look.
struct Seen {
    upwards: bool,
    evidence: f64,
}

/// The evidence of every row, look by look.
///
/// Only what was known at a look counts there, and only the rows that could be compared then share the allowance: a pair's
/// clock starts when both sites are worn. What an earlier look gave never changes but by a correction of the data.
#[derive(Default)]
pub(super) struct Ledger {
    seen: BTreeMap<RowKey, Vec<Seen>>,
    needed: BTreeMap<RowKey, f64>,
}

impl Ledger {
    /// Adds a look, later than those before it.
    pub fn add(&mut self, study: &Study<'_>, plan: &Plan, order: &Order, now: f64) {
        let look = Look::new(study, plan, order, now);
        self.needed = look.needed();
        for (row, one) in look.seen() {
            self.seen.entry(row).or_default().push(one);
        }
    }

    /// The evidence of a row; `None` where it could not be compared at the last look.
    pub fn of(&self, row: RowKey) -> Option<Evidence> {
        let looks = self.seen.get(&row)?;
        let upwards = looks.last()?.upwards;
        let alike = looks.iter().filter(|look| look.upwards == upwards);
        Some(Evidence {
            most: alike.map(|look| look.evidence).reduce(f64::max)?,
            needed: *self.needed.get(&row)?,
        })
    }
}

/// The capitals of both families at one look, primary rows first.
struct Look {
    rows: [Vec<(RowKey, bool, f64)>; 2],
}

impl Look {
    fn new(study: &Study<'_>, plan: &Plan, order: &Order, now: f64) -> Self {
        let mut rows = [Vec::new(), Vec::new()];
        let primary =
            plan.primary_rows(&study.sites, plan.reference(&study.sites, &study.worn(now)));
        for measure in Measure::ALL {
            let known = Known::new(study, measure, now);
            for first in 0..study.sites.len() {
                for second in first + 1..study.sites.len() {
                    if ![first, second]
                        .iter()
                        .all(|site| enough(order, &known, *site))
                    {
                        continue;
                    }
                    let sides = Sides {
                        site: first,
                        against: &[second],
                    };
                    let members = known.members(study, order, Within::WearerAndModel, sides);
                    let Some(found) = compare(measure, &members) else {
                        continue;
                    };
                    let row = RowKey::new(measure, first, second);
                    let family = usize::from(!primary.contains(&row));
                    let upwards = found.contrast.difference > 0.0;
                    let capital = found.capital;
                    rows[family].push((row, upwards, capital));
                }
            }
        }
        Self { rows }
    }

    fn seen(&self) -> Vec<(RowKey, Seen)> {
        let capitals = |family: usize| -> Vec<f64> {
            self.rows[family]
                .iter()
                .map(|(_, _, capital)| *capital)
                .collect()
        };
        let adjusted = allowing_for_rows(&capitals(0), &capitals(1));
        let rows = self.rows.iter().zip(adjusted);
        rows.flat_map(|(rows, adjusted)| {
            rows.iter()
                .zip(adjusted)
                .map(|((row, upwards, _), evidence)| {
                    let seen = Seen {
                        upwards: *upwards,
                        evidence,
                    };
                    (*row, seen)
                })
        })
        .collect()
    }

    fn needed(&self) -> BTreeMap<RowKey, f64> {
        let mut needed = BTreeMap::new();
        for (rows, share) in self.rows.iter().zip([PRIMARY_SHARE, 1.0 - PRIMARY_SHARE]) {
            let each = super::bet::ENOUGH * rows.len() as f64 / share;
            needed.extend(rows.iter().map(|(row, _, _)| (*row, each)));
        }
        needed
    }
}

/// Whether a site has sensors enough to be compared at all.
fn enough(order: &Order, known: &Known, site: usize) -> bool {
    let with = order.of(site).iter().filter(|sensor| known.has(**sensor));
    with.take(super::contrast::FEWEST).count() == super::contrast::FEWEST
}
