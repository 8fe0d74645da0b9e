//! What else went with a site: other models, lots, tapes, sides, seasons, people, fingersticks, ages of wear, lost nights, or
//! doubted sensors.

mod classes;
mod compared;
mod of_nights;
mod of_pairs;
pub(super) mod of_people;
mod of_sensors;

use super::blocks::{Member, Within};
use super::contrast::Contrast;
use super::measure::Measure;
use super::rows::Row;
use super::study::Study;
use crate::distributions::t_quantile;

/// What may have gone with a site, in the order in which it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Confounder {
    /// Model.
    Model,
    /// Lot.
    Lot,
    /// Tape.
    Tape,
    /// Half of the body.
    Side,
    /// Calendar quarter.
    Season,
    /// Wearer.
    Wearer,
    /// Why fingersticks were taken.
    Purpose,
    /// Meter.
    Meter,
    /// Whether glucose rose or fell at the fingersticks.
    Trend,
    /// Age of wear at the fingersticks.
    Age,
    /// Nights with too few readings.
    Gaps,
    /// A clock in doubt.
    Clock,
    /// A unit in doubt.
    Unit,
}

impl Confounder {
    /// All of them, in order.
    pub const ALL: [Self; 13] = [
        Self::Model,
        Self::Lot,
        Self::Tape,
        Self::Side,
        Self::Season,
        Self::Wearer,
        Self::Purpose,
        Self::Meter,
        Self::Trend,
        Self::Age,
        Self::Gaps,
        Self::Clock,
        Self::Unit,
    ];

    /// The word that tables use.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Model => "model",
            Self::Lot => "lot",
            Self::Tape => "tape",
            Self::Side => "side",
            Self::Season => "season",
            Self::Wearer => "wearer",
            Self::Purpose => "purpose",
            Self::Meter => "meter",
            Self::Trend => "trend",
            Self::Age => "age",
            Self::Gaps => "gaps",
            Self::Clock => "clock",
            Self::Unit => "unit",
        }
    }
}

/// What a row claims, if nothing else went with its site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Claim {
    /// Nothing.
    None,
    /// A difference, which a comparison bears by itself with a p below this.
    Difference(f64),
    /// That sites are alike within a margin.
    Alike(f64),
}

impl Claim {
    /// Whether a comparison within the levels of something bears the claim by itself.
    fn holds(self, difference: f64, within: &Contrast) -> bool {
        match self {
            Self::None => true,
            Self::Difference(level) => {
                let clear = within.p().is_some_and(|p| p < level);
                clear && within.difference * difference > 0.0
            }
            Self::Alike(margin) => {
                let reach = t_quantile(0.975, within.df) * within.std_error;
                within.difference.abs() + reach <= margin
            }
        }
    }

    /// Whether the claim falls with a difference that is adjusted for something.
    fn falls(self, difference: f64, adjusted: f64) -> bool {
        match self {
            Self::None => false,
            Self::Difference(_) => adjusted / difference < 0.5,
            Self::Alike(margin) => adjusted.abs() > margin,
        }
    }
}

/// What went with the sites of a row so that its difference cannot be told from it: no level that both sites share, or a
/// claim that falls when it is adjusted for.
pub(super) fn confounders(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    let mut found = Vec::new();
    // Nothing was compared that something could have gone with.
    if row.members.is_empty() {
        return found;
    }
    let models_shared = || of_sensors::shared(study, row, |sensor| Some(sensor.model as i64));
    if row.within == Within::Wearer || (row.within == Within::Nothing && !models_shared()) {
        found.push(Confounder::Model);
    }
    let people_differ = match claim {
        Claim::Alike(margin) => of_people::differ(study, row, margin),
        Claim::None | Claim::Difference(_) => false,
    };
    if row.within == Within::Nothing || people_differ {
        found.push(Confounder::Wearer);
    }
    found.extend(of_sensors::found(study, row, claim));
    found.extend(match row.measure {
        Measure::ReadsTrue | Measure::ReadsHighOrLow => of_pairs::found(study, row, claim),
        Measure::QuietAtNight => of_nights::found(study, row, claim),
        Measure::StaysOn | Measure::Delay => Vec::new(),
    });
    found.sort_unstable();
    found
}

/// The chance, if nothing went with sites, of what seems to: below it something went along.
const BY_CHANCE: f64 = 0.01;

/// Days of wear from which on a pair or a night is of another class: the first days, and thirds of a long wear.
const AGES: [f64; 5] = [1.0, 2.0, 4.0, 7.0, 10.0];

/// The class of an age.
fn of_age(age: f64) -> Option<usize> {
    Some(AGES.iter().filter(|from| age >= **from).count())
}

/// Members of blocks that still hold both sites, blocks numbered anew.
fn whole_blocks(members: Vec<Member>) -> Vec<Member> {
    let mut whole = Vec::with_capacity(members.len());
    let mut next = 0;
    for block in members.chunk_by(|a, b| a.block == b.block) {
        if block.iter().any(|m| m.first) && block.iter().any(|m| !m.first) {
            whole.extend(block.iter().map(|member| Member {
                block: next,
                ..*member
            }));
            next += 1;
        }
    }
    whole
}
