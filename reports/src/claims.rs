//! What is concluded of the sites: the rows of the table `conclusions`, from which every sentence, order and question of
//! every edition is made.

use whereworn_model::settings::Measure;
use whereworn_model::table::ResultTable;
use whereworn_model::tables::conclusions::{self, column};

/// What stands for all other sites in the column `against`.
pub(crate) const OTHERS: &str = "others";

/// Fewest sensors for a word on a site, as tables have them.
pub(crate) const LEAST_SENSORS: f64 = whereworn_model::sites::LEAST_SENSORS as f64;

/// A p below which a withdrawn row would have been said without what went with its site.
const SAID_BELOW: f64 = 0.05;

/// Measures in which less is better; a bias has no good direction, and a delay is told apart too seldom.
pub(crate) const JUDGED: [Measure; 3] =
    [Measure::StaysOn, Measure::ReadsTrue, Measure::QuietAtNight];

/// The measure of a word in the tables.
fn measure_of(name: &str) -> Option<Measure> {
    Measure::ALL
        .into_iter()
        .find(|measure| measure.name() == name)
}

/// The place of a measure in lists: those that have a good direction first.
fn rank(measure: Measure) -> usize {
    let judged = JUDGED.iter().position(|judged| *judged == measure);
    judged.unwrap_or(JUDGED.len() + measure as usize)
}

/// What a row comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    Differs,
    Leans,
    Alike,
    Open,
}

impl Verdict {
    fn of(code: &str) -> Self {
        match code {
            "differs" => Self::Differs,
            "leans" => Self::Leans,
            "alike" => Self::Alike,
            _ => Self::Open,
        }
    }
}

/// A site against another, or against all others, in one measure; turned so that `site` has less of what is measured,
/// which is better but for a bias, where `site` is the one that reads higher.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Claim<'t> {
    pub measure: Measure,
    pub site: &'t str,
    pub against: &'t str,
    /// How much more `against` has, or how much higher `site` reads, and its interval.
    pub size: f64,
    pub interval: Option<(f64, f64)>,
    /// Sensors of the site that had fewer.
    pub sensors: f64,
    pub evidence: f64,
    pub verdict: Verdict,
    /// What else went with the site; a row with any is said only to take it back.
    pub withdrawn: Vec<&'t str>,
    /// Whether it would have been said but for that.
    pub striking: bool,
    pub more_sensors: Option<f64>,
    /// The least margin within which the interval of an open row lies.
    pub alike_from: Option<f64>,
    pub planned: bool,
    /// The day by which sensors came off, where too few were followed to the rated one.
    pub until: Option<f64>,
}

impl<'t> Claim<'t> {
    fn of(table: &'t ResultTable, row: usize) -> Option<Self> {
        let text = |name| table.text(row, name);
        let number = |name| table.number(row, name).filter(|number| number.is_finite());
        let measure = measure_of(text(column::MEASURE))?;
        let difference = number(column::DIFFERENCE)?;
        let ends = number(column::LOWER).zip(number(column::UPPER));
        let (site, against) = (text(column::SITE), text(column::AGAINST));
        let straight = (difference > 0.0) == (measure == Measure::ReadsHighOrLow);
        let turned = |(lower, upper): (f64, f64)| match difference < 0.0 {
            true => (-upper, -lower),
            false => (lower, upper),
        };
        let withdrawn: Vec<&str> = text(column::WITHDRAWN)
            .split('+')
            .filter(|w| !w.is_empty())
            .collect();
        Some(Self {
            measure,
            site: if straight { site } else { against },
            against: if straight { against } else { site },
            size: difference.abs(),
            interval: ends.map(turned),
            sensors: number(column::SENSORS)
                .zip(number(column::SENSORS_AGAINST))
                .map_or(0.0, |(one, other)| one.min(other)),
            evidence: number(column::EVIDENCE).unwrap_or(1.0),
            verdict: Verdict::of(text(column::VERDICT)),
            striking: !withdrawn.is_empty() && number(column::P).is_some_and(|p| p < SAID_BELOW),
            withdrawn,
            more_sensors: number(column::MORE_SENSORS),
            alike_from: number(column::ALIKE_FROM),
            planned: number(column::PLANNED) == Some(1.0),
            until: number(column::UNTIL),
        })
    }

    /// Whether the sites are said to differ, for good or so far.
    pub fn is_difference(&self) -> bool {
        self.withdrawn.is_empty() && matches!(self.verdict, Verdict::Differs | Verdict::Leans)
    }

    /// Whether a row is of two sites, not of one and all others.
    pub fn is_pair(&self) -> bool {
        self.site != OTHERS && self.against != OTHERS
    }

    /// Whether it is of this site and all others.
    pub fn is_of(&self, site: &str) -> bool {
        !self.is_pair() && (self.site == site || self.against == site)
    }

    /// Whether both sites of it are among these.
    pub fn within(&self, sites: &[&str]) -> bool {
        sites.contains(&self.site) && sites.contains(&self.against)
    }
}

/// All rows, planned ones first, then by measure, then those with more evidence.
pub(crate) fn read(tables: &[ResultTable]) -> Vec<Claim<'_>> {
    let Some(table) = tables.iter().find(|table| table.name == conclusions::NAME) else {
        return Vec::new();
    };
    let mut claims: Vec<Claim> = (0..table.rows())
        .filter_map(|row| Claim::of(table, row))
        .collect();
    claims.sort_by(|a, b| {
        let planned = b.planned.cmp(&a.planned);
        let measure = rank(a.measure).cmp(&rank(b.measure));
        planned
            .then(measure)
            .then(b.evidence.total_cmp(&a.evidence))
    });
    claims
}
