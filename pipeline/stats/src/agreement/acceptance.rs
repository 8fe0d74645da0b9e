//! Acceptance limits of a regulation and a standard, as a yardstick.
//!
//! A report that holds pairs of one wearer against them is no regulatory test: the bounds take pairs as independent,
//! and the studies they were written for have many wearers and a laboratory method in place of a meter.

use crate::comparison::{at_least, at_most};
use crate::rates::proportion::clopper_pearson;

/// Which value decides whether a pair falls under a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BinnedBy {
    /// The sensor's reading.
    Reading,
    /// The reference, here a fingerstick.
    Fingerstick,
    /// Every pair counts.
    Nothing,
}

/// What a pair has to keep to, glucose in mg/dL.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Closeness {
    /// |reading - fingerstick| at most so many mg/dL.
    Within(f64),
    /// |reading - fingerstick| at most so many percent of the fingerstick.
    WithinPercent(f64),
    /// The fingerstick is not above this.
    FingerstickNotAbove(f64),
    /// The fingerstick is not below this.
    FingerstickNotBelow(f64),
}

/// How many pairs have to keep to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Demand {
    /// The one-sided 95 % lower bound of their share is above this.
    LowerBoundAbove(f64),
    /// Their share is at least this.
    ShareAtLeast(f64),
    /// All of them.
    All,
}

/// A range of glucose, mg/dL.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Range {
    /// Below, the limit itself not.
    Below(f64),
    /// From and to, both included.
    Between(f64, f64),
    /// Above, the limit itself not.
    Above(f64),
    /// From on, the limit itself included.
    From(f64),
    /// Everything.
    Whole,
}

/// One acceptance limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcceptanceLimit {
    /// Short name.
    pub id: &'static str,
    /// Where it stands.
    pub source: &'static str,
    /// Which value `range` is about.
    pub by: BinnedBy,
    /// The pairs it is about.
    pub range: Range,
    /// What a pair has to keep to.
    pub closeness: Closeness,
    /// How many have to.
    pub demand: Demand,
}

const fn regulation(
    id: &'static str,
    source: &'static str,
    range: Range,
    closeness: Closeness,
    demand: Demand,
) -> AcceptanceLimit {
    let by = match range {
        Range::Whole => BinnedBy::Nothing,
        _ => BinnedBy::Reading,
    };
    AcceptanceLimit {
        id,
        source,
        by,
        range,
        closeness,
        demand,
    }
}

const fn meters(id: &'static str, range: Range, closeness: Closeness) -> AcceptanceLimit {
    AcceptanceLimit {
        id,
        source: "ISO 15197:2013 system accuracy",
        by: BinnedBy::Fingerstick,
        range,
        closeness,
        demand: Demand::ShareAtLeast(0.95),
    }
}

/// The limits that a table of pairs can be held against.
///
/// A to I of 21 CFR 862.1355(b)(1)(v), special controls for integrated sensors (J and K need the rate of change of
/// blood glucose), and the two ranges of ISO 15197:2013, made for meters. Checked by `tests/acceptance.rs`.
pub const LIMITS: [AcceptanceLimit; 11] = {
    use Closeness::{FingerstickNotAbove, FingerstickNotBelow, Within, WithinPercent};
    use Demand::{All, LowerBoundAbove};
    use Range::{Above, Below, Between, From, Whole};
    [
        regulation(
            "A",
            "21 CFR 862.1355(b)(1)(v)(A)",
            Below(70.0),
            Within(15.0),
            LowerBoundAbove(0.85),
        ),
        regulation(
            "B",
            "21 CFR 862.1355(b)(1)(v)(B)",
            Between(70.0, 180.0),
            WithinPercent(15.0),
            LowerBoundAbove(0.70),
        ),
        regulation(
            "C",
            "21 CFR 862.1355(b)(1)(v)(C)",
            Above(180.0),
            WithinPercent(15.0),
            LowerBoundAbove(0.80),
        ),
        regulation(
            "D",
            "21 CFR 862.1355(b)(1)(v)(D)",
            Below(70.0),
            Within(40.0),
            LowerBoundAbove(0.98),
        ),
        regulation(
            "E",
            "21 CFR 862.1355(b)(1)(v)(E)",
            Between(70.0, 180.0),
            WithinPercent(40.0),
            LowerBoundAbove(0.99),
        ),
        regulation(
            "F",
            "21 CFR 862.1355(b)(1)(v)(F)",
            Above(180.0),
            WithinPercent(40.0),
            LowerBoundAbove(0.99),
        ),
        regulation(
            "G",
            "21 CFR 862.1355(b)(1)(v)(G)",
            Whole,
            WithinPercent(20.0),
            LowerBoundAbove(0.87),
        ),
        regulation(
            "H",
            "21 CFR 862.1355(b)(1)(v)(H)",
            Below(70.0),
            FingerstickNotAbove(180.0),
            All,
        ),
        regulation(
            "I",
            "21 CFR 862.1355(b)(1)(v)(I)",
            Above(180.0),
            FingerstickNotBelow(70.0),
            All,
        ),
        meters("meters-low", Below(100.0), Within(15.0)),
        meters("meters-high", From(100.0), WithinPercent(15.0)),
    ]
};

/// The limit of a name in [`LIMITS`].
#[must_use]
pub fn limit(id: &str) -> Option<&'static AcceptanceLimit> {
    LIMITS.iter().find(|limit| limit.id == id)
}

impl Range {
    /// Whether a value is in the range; one that misses a closed end by rounding is.
    #[must_use]
    pub fn holds(self, value: f64) -> bool {
        match self {
            Range::Below(limit) => !at_least(value, limit),
            Range::Between(from, to) => at_least(value, from) && at_most(value, to),
            Range::Above(limit) => !at_most(value, limit),
            Range::From(limit) => at_least(value, limit),
            Range::Whole => true,
        }
    }
}

impl AcceptanceLimit {
    /// Whether a pair (mg/dL) keeps to the limit; `None` where the limit is not about it. At the limit is within.
    #[must_use]
    pub fn met(&self, reading: f64, fingerstick: f64) -> Option<bool> {
        let binned = match self.by {
            BinnedBy::Reading => reading,
            BinnedBy::Fingerstick => fingerstick,
            BinnedBy::Nothing => 0.0,
        };
        let gap = (reading - fingerstick).abs();
        self.range.holds(binned).then(|| match self.closeness {
            Closeness::Within(limit) => at_most(gap, limit),
            Closeness::WithinPercent(percent) => at_most(100.0 * gap, percent * fingerstick),
            Closeness::FingerstickNotAbove(limit) => at_most(fingerstick, limit),
            Closeness::FingerstickNotBelow(limit) => at_least(fingerstick, limit),
        })
    }

    /// The share that is demanded: of a lower bound, of the share itself, or 1 for all.
    #[must_use]
    pub fn share(&self) -> f64 {
        match self.demand {
            Demand::LowerBoundAbove(share) | Demand::ShareAtLeast(share) => share,
            Demand::All => 1.0,
        }
    }
}

/// The exact one-sided 95 % lower bound of a share, pairs taken as independent; `None` for a total of 0.
///
/// The lower end of Clopper and Pearson's interval at level 0.90. Checked by `tests/proportion.rs`.
#[must_use]
pub fn one_sided_lower_bound(hits: u64, total: u64) -> Option<f64> {
    clopper_pearson(hits, total, 0.90).map(|interval| interval.lower)
}

/// The fewest hits out of `total` whose [`one_sided_lower_bound`] is above a share; `None` where not even all are
/// enough. Checked by `tests/proportion.rs`.
#[must_use]
pub fn least_passing_count(total: u64, share: f64) -> Option<u64> {
    let passes = |hits: u64| one_sided_lower_bound(hits, total).is_some_and(|bound| bound > share);
    if !passes(total) {
        return None;
    }
    let (mut fails, mut enough) = (0, total);
    while enough - fails > 1 {
        let middle = fails + (enough - fails) / 2;
        if passes(middle) {
            enough = middle;
        } else {
            fails = middle;
        }
    }
    Some(enough)
}

/// Ranges of the sensor's reading that labelling reports, with their names: 21 CFR 862.1355(b)(7)(i).
///
/// A reading of 54 belongs to the second, 70 and 180 to the third, 250 to the fourth. Checked by
/// `tests/acceptance.rs`.
#[must_use]
pub fn reporting_range(reading: f64) -> &'static str {
    if !at_least(reading, 54.0) {
        "lt54"
    } else if !at_least(reading, 70.0) {
        "54_to_lt70"
    } else if at_most(reading, 180.0) {
        "70_to_180"
    } else if at_most(reading, 250.0) {
        "gt180_to_250"
    } else {
        "gt250"
    }
}
