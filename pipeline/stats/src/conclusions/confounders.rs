//! What else went with a site: other models, lots, tapes, seasons, people, fingersticks, ages of wear, or doubted sensors.

use super::blocks::{Member, Within, by_lot};
use super::contrast::{Contrast, contrast};
use super::measure::Measure;
use super::rows::Row;
use super::scores::Score;
use super::study::{Pair, Sensor, Study};
use crate::conjugate::conjugate_gradient;
use crate::distributions::{f_upper_tail, t_quantile};
use std::collections::BTreeMap;

/// What may have gone with a site, in the order in which it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Confounder {
    /// Model.
    Model,
    /// Lot.
    Lot,
    /// Tape.
    Tape,
    /// Calendar quarter.
    Season,
    /// Wearer.
    Wearer,
    /// Why fingersticks were taken.
    Purpose,
    /// Age of wear at the fingersticks.
    Age,
    /// A clock in doubt.
    Clock,
    /// A unit in doubt.
    Unit,
}

impl Confounder {
    /// The word that tables use.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Model => "model",
            Self::Lot => "lot",
            Self::Tape => "tape",
            Self::Season => "season",
            Self::Wearer => "wearer",
            Self::Purpose => "purpose",
            Self::Age => "age",
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
    /// A difference.
    Difference,
    /// That sites are alike within a margin.
    Alike(f64),
}

impl Claim {
    /// Whether a comparison within the levels of something bears the claim by itself.
    fn holds(self, difference: f64, within: &Contrast) -> bool {
        match self {
            Self::None => true,
            Self::Difference => {
                let clear = within.p().is_some_and(|p| p < 0.05);
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
            Self::Difference => adjusted / difference < 0.5,
            Self::Alike(margin) => adjusted.abs() > margin,
        }
    }
}

type LevelOf = fn(&Sensor) -> i64;

/// What a sensor has one level of, beyond wearer and model, within which sites are compared anyway.
const OF_SENSORS: [(Confounder, LevelOf); 5] = [
    (Confounder::Lot, |sensor| sensor.lot as i64),
    (Confounder::Tape, |sensor| sensor.tape as i64),
    (Confounder::Season, |sensor| i64::from(sensor.quarter)),
    (Confounder::Clock, |sensor| i64::from(sensor.clock_doubted)),
    (Confounder::Unit, |sensor| i64::from(sensor.unit_doubted)),
];

/// What went with the sites of a row so that its difference cannot be told from it: no level that both sites share, or a
/// claim that falls when it is adjusted for.
pub(super) fn confounders(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    let mut found = Vec::new();
    // Nothing was compared that something could have gone with.
    if row.members.is_empty() {
        return found;
    }
    let models_shared = || shared(study, row, |sensor| sensor.model as i64);
    if row.within == Within::Wearer || (row.within == Within::Nothing && !models_shared()) {
        found.push(Confounder::Model);
    }
    if row.within == Within::Nothing {
        found.push(Confounder::Wearer);
    }
    let difference = contrast(&row.members).map(|contrast| contrast.difference);
    for (confounder, level) in OF_SENSORS {
        let falls = |difference: f64| {
            let adjusted = adjusted(study, &row.members, level);
            adjusted.is_some_and(|adjusted| claim.falls(difference, adjusted))
                || within_levels(study, &row.members, level)
                    .is_some_and(|within| !claim.holds(difference, &within))
        };
        if apart(study, row, level) || difference.is_some_and(falls) {
            found.push(confounder);
        }
    }
    if matches!(row.measure, Measure::ReadsTrue | Measure::ReadsHighOrLow) {
        found.extend(of_pairs(study, row, claim, difference));
    }
    found.sort_unstable();
    found
}

/// Sensors at each level, of the site and of the other.
fn levels(study: &Study<'_>, row: &Row, level: LevelOf) -> BTreeMap<i64, [usize; 2]> {
    let mut levels = BTreeMap::<i64, [usize; 2]>::new();
    for member in &row.members {
        levels
            .entry(level(&study.sensors[member.sensor]))
            .or_default()[usize::from(!member.first)] += 1;
    }
    levels
}

fn shared(study: &Study<'_>, row: &Row, level: LevelOf) -> bool {
    let levels = levels(study, row, level);
    levels.values().any(|[one, other]| *one > 0 && *other > 0)
}

/// Whether sites share no level, though levels hold several sensors: where most sensors have a level of their own, as a lot
/// may be, nothing went with a site.
fn apart(study: &Study<'_>, row: &Row, level: LevelOf) -> bool {
    let levels = levels(study, row, level);
    let repeated: usize = levels
        .values()
        .map(|[one, other]| one + other)
        .filter(|sensors| *sensors > 1)
        .sum();
    let none_shared = !levels.values().any(|[one, other]| *one > 0 && *other > 0);
    none_shared && 2 * repeated >= row.members.len() && !row.members.is_empty()
}

/// The chance, if nothing went with sites, of levels that seem to: below it they went along.
const BY_CHANCE: f64 = 0.01;

/// Sites compared within blocks and levels alone, where levels went along with sites: an adjusted difference then rests on the
/// few sensors that crossed over. `None` where levels did not, or where nothing can be compared within them.
///
/// Whether they did is told by the F test of an analysis of variance of sites on levels within blocks: what is left of the
/// comparison's information within levels is, of sensors that weigh alike, the sum of squares within them (Scheffé 1959, The Analysis of Variance, 3.1, from memory).
fn within_levels(study: &Study<'_>, members: &[Member], level: LevelOf) -> Option<Contrast> {
    // What a lot drew went along by chance alone.
    if by_lot(members) {
        return None;
    }
    let mut split = members.to_vec();
    let of = |member: &Member| (member.block, level(&study.sensors[member.sensor]));
    split.sort_by_key(of);
    let mut parts = 0;
    for part in split.chunk_by_mut(|a, b| of(a) == of(b)) {
        part.iter_mut().for_each(|member| member.block = parts);
        parts += 1;
    }
    let blocks = members.last()?.block + 1;
    let [between, left] = [parts - blocks, members.len() - parts].map(|df| df as f64);
    let all = contrast(members)?.information;
    let within = contrast(&whole_blocks(split))?;
    let lost = all - within.information;
    let ratio = (lost / between) / (within.information / left);
    let along = between > 0.0 && f_upper_tail(ratio, between, left) < BY_CHANCE;
    along.then_some(within)
}

/// The difference with an effect of each level: least squares with a level of each block, and effects of levels that may
/// vary as much as sensors do. `None` where it cannot be solved.
fn adjusted(study: &Study<'_>, members: &[Member], level: LevelOf) -> Option<f64> {
    let names: BTreeMap<i64, usize> = {
        let mut all: Vec<i64> = members
            .iter()
            .map(|m| level(&study.sensors[m.sensor]))
            .collect();
        all.sort_unstable();
        all.dedup();
        all.into_iter()
            .enumerate()
            .map(|(place, name)| (name, place))
            .collect()
    };
    let blocks = members.last()?.block + 1;
    let levels = 1 + blocks;
    // Weights about 1, so that a level is held back as much as one sensor would.
    let usual = members.iter().map(|m| m.weight).sum::<f64>() / members.len() as f64;
    let terms = members.iter().map(|member| Term {
        weight: member.weight / usual,
        first: f64::from(u8::from(member.first)),
        block: 1 + member.block,
        level: levels + names[&level(&study.sensors[member.sensor])],
    });
    let terms: Vec<Term> = terms.collect();
    let mut diagonal = vec![0.0; levels];
    diagonal.resize(levels + names.len(), 1.0);
    let mut right = vec![0.0; diagonal.len()];
    for (term, member) in terms.iter().zip(members) {
        term.add(&mut diagonal, 1.0);
        term.add(&mut right, member.score);
    }
    let solution = conjugate_gradient(&diagonal, &right, |effects| {
        let mut product = vec![0.0; levels];
        product.extend_from_slice(&effects[levels..]);
        for term in &terms {
            term.add(&mut product, term.fitted(effects));
        }
        product
    });
    Some(solution?[0])
}

/// What a sensor's score is made of: the difference where it is of the first site, its block and its level.
struct Term {
    weight: f64,
    first: f64,
    block: usize,
    level: usize,
}

impl Term {
    fn fitted(&self, effects: &[f64]) -> f64 {
        self.first * effects[0] + effects[self.block] + effects[self.level]
    }

    /// Adds a weighted value to what it is made of.
    fn add(&self, to: &mut [f64], value: f64) {
        to[0] += self.weight * self.first * value;
        to[self.block] += self.weight * value;
        to[self.level] += self.weight * value;
    }
}

/// Purpose of fingersticks, said or shown, and age of wear, which pairs have one by one.
fn of_pairs(
    study: &Study<'_>,
    row: &Row,
    claim: Claim,
    difference: Option<f64>,
) -> Vec<Confounder> {
    let value = |pair: &Pair| match row.measure {
        Measure::ReadsTrue => 100.0 * pair.relative.abs(),
        _ => pair.difference,
    };
    let rescored = |of: &dyn Fn(&Pair) -> Option<f64>| {
        let all = rescored_by(study, row, of, &[[1.0; TENTHS]; 2]);
        all.map(|contrast| contrast.difference)
    };
    let falls = |adjusted: Option<f64>| {
        difference
            .zip(adjusted)
            .is_some_and(|(d, a)| claim.falls(d, a))
    };
    let mut found = Vec::new();
    let routine = || rescored(&|pair: &Pair| pair.routine.then(|| value(pair)));
    let evenly = || {
        let weights = evenly_checked(study, row)?;
        let evenly = rescored_by(study, row, &|pair| Some(value(pair)), &weights)?;
        Some(!claim.holds(difference?, &evenly))
    };
    if pairs_apart(study, row, |pair| usize::from(pair.routine))
        || (claim != Claim::None && (falls(routine()) || evenly() == Some(true)))
    {
        found.push(Confounder::Purpose);
    }
    let of_one_age = || {
        let effects = age_effects(study, &row.members, &value);
        rescored(&|pair: &Pair| Some(value(pair) - effects[age_class(pair)]))
    };
    if pairs_apart(study, row, age_class) || (claim != Claim::None && falls(of_one_age())) {
        found.push(Confounder::Age);
    }
    found
}

/// The comparison from what is told of pairs, each with the weight of its tenth at its site.
fn rescored_by(
    study: &Study<'_>,
    row: &Row,
    of: &dyn Fn(&Pair) -> Option<f64>,
    weights: &[Tenths; 2],
) -> Option<Contrast> {
    let score = |member: &Member| {
        let pairs = &study.sensors[member.sensor].pairs;
        let weights = &weights[usize::from(!member.first)];
        let told = pairs
            .iter()
            .filter_map(|pair| Some((weights[tenth(pair)], of(pair)?)));
        let (weights, values): (Vec<f64>, Vec<f64>) = told.unzip();
        let score: Score = super::scores::of_pairs(&values)?;
        let sum: f64 = weights
            .iter()
            .zip(&values)
            .map(|(weight, value)| weight * value)
            .sum();
        Some(Member {
            score: sum / weights.iter().sum::<f64>(),
            weight: score.weight,
            size: score.size,
            ..*member
        })
    };
    let members = row.members.iter().filter_map(score).collect();
    contrast(&whole_blocks(members))
}

/// Tenths of a sensor's readings, from the lowest; something of pairs in each.
const TENTHS: usize = 10;
type Tenths = [f64; TENTHS];

fn tenth(pair: &Pair) -> usize {
    ((pair.rank * TENTHS as f64) as usize).min(TENTHS - 1)
}

/// Pairs of a site, and the share of them in one tenth of readings, from which on fingersticks followed the readings, and the
/// most that one then weighs.
const FOLLOWED_PAIRS: f64 = 20.0;
const FOLLOWED: f64 = 0.3;
const MOST_WEIGHT: f64 = 5.0;

/// Weights of pairs at either site as if every tenth of a sensor's readings had been checked alike; `None` where fingersticks did
/// not follow the readings.
///
/// Who checks whenever a reading is low has more pairs of sensors that happen to read low, the more of them the more sensors scatter. Each pair
/// counts by one over the chance to be checked (Horvitz and Thompson 1952 J Am Stat Assoc 47:663, from memory).
fn evenly_checked(study: &Study<'_>, row: &Row) -> Option<[Tenths; 2]> {
    let mut counts = [[0.0; TENTHS]; 2];
    for member in &row.members {
        for pair in &study.sensors[member.sensor].pairs {
            counts[usize::from(!member.first)][tenth(pair)] += 1.0;
        }
    }
    let followed = |counts: &Tenths| {
        let all: f64 = counts.iter().sum();
        all >= FOLLOWED_PAIRS && counts.iter().any(|count| *count >= FOLLOWED * all)
    };
    counts.iter().any(followed).then(|| {
        counts.map(|of| {
            let even = of.iter().sum::<f64>() / TENTHS as f64;
            of.map(|count| (even / count.max(1.0)).min(MOST_WEIGHT))
        })
    })
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

/// Days of wear from which on a pair is of another class: the first day, and thirds of a long wear.
const AGES: [f64; 4] = [1.0, 4.0, 7.0, 10.0];
const AGE_CLASSES: usize = AGES.len() + 1;

fn age_class(pair: &Pair) -> usize {
    AGES.iter().filter(|from| pair.age >= **from).count()
}

fn pairs_apart(study: &Study<'_>, row: &Row, class: fn(&Pair) -> usize) -> bool {
    let mut seen = [[false; 2]; AGE_CLASSES];
    for member in &row.members {
        for pair in &study.sensors[member.sensor].pairs {
            seen[class(pair)][usize::from(!member.first)] = true;
        }
    }
    let any = |side: usize| seen.iter().any(|class| class[side]);
    any(0) && any(1) && !seen.iter().any(|class| class[0] && class[1])
}

/// Effects of age within sensors: alternately the means of sensors and of ages.
fn age_effects(
    study: &Study<'_>,
    members: &[Member],
    value: &dyn Fn(&Pair) -> f64,
) -> [f64; AGE_CLASSES] {
    const ROUNDS: usize = 10;
    let mut effects = [0.0; AGE_CLASSES];
    for _ in 0..ROUNDS {
        let mut sums = [(0.0, 0.0); AGE_CLASSES];
        for member in members {
            let pairs = &study.sensors[member.sensor].pairs;
            let left = |pair: &Pair| value(pair) - effects[age_class(pair)];
            let level = pairs.iter().map(left).sum::<f64>() / pairs.len().max(1) as f64;
            for pair in pairs {
                let (sum, count) = &mut sums[age_class(pair)];
                *sum += value(pair) - level;
                *count += 1.0;
            }
        }
        effects = sums.map(|(sum, count)| if count > 0.0 { sum / count } else { 0.0 });
    }
    effects
}
