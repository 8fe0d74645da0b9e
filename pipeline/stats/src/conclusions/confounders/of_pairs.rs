//! What pairs have one by one: why, by which meter, in what trend and at what age of wear a fingerstick was taken.

use super::super::blocks::Member;
use super::super::contrast::{Contrast, coefficients, contrast};
use super::super::measure::Measure;
use super::super::rows::Row;
use super::super::scores::of_weighted_pairs;
use super::super::study::{Pair, Sensor, Study};
use super::classes::{Classes, Effects};
use super::{BY_CHANCE, Claim, Confounder, of_sensors, whole_blocks};
use std::collections::{BTreeMap, BTreeSet};

/// What of the fingersticks a row's claim cannot be told from.
pub(super) fn found(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    let compared = Compared { study, row, claim };
    let meters = meters(study, row);
    let by_meter = Classes {
        of: &|pair: &Pair| meters.binary_search(&pair.meter).ok(),
        count: meters.len(),
    };
    let by_age = Classes {
        of: &|pair: &Pair| Some(class(&AGES, pair.age)),
        count: AGES.len() + 1,
    };
    let went = [
        (Confounder::Purpose, compared.purpose()),
        (Confounder::Meter, compared.meter(&by_meter)),
        (Confounder::Trend, compared.trend()),
        (Confounder::Age, compared.went(&by_age)),
    ];
    let went = went.into_iter().filter(|(_, went)| *went);
    went.map(|(confounder, _)| confounder).collect()
}

/// Days of wear from which on a pair is of another class: the first day, and thirds of a long wear.
const AGES: [f64; 4] = [1.0, 4.0, 7.0, 10.0];

/// The longest that sensors usually are behind the blood, minutes (common practice, no source).
const BEHIND: f64 = 15.0;

/// The chance of such a difference in rates: as that many minutes are taken off whatever sensors are, a claim is tried by them
/// sooner than by what the data tell.
const MOVED_BY_CHANCE: f64 = 0.05;

fn class(from: &[f64], value: f64) -> usize {
    from.iter().filter(|from| value >= **from).count()
}

/// The meters that sensors of a row were checked with, in order.
fn meters(study: &Study<'_>, row: &Row) -> Vec<usize> {
    let sensors = row.members.iter().map(|m| &study.sensors[m.sensor]);
    let mut meters: Vec<usize> = sensors.flat_map(|s| &s.pairs).map(|p| p.meter).collect();
    meters.sort_unstable();
    meters.dedup();
    meters
}

/// The meter that most of a sensor's fingersticks were taken with.
fn main_meter(sensor: &Sensor) -> Option<i64> {
    let mut counts = BTreeMap::new();
    for pair in &sensor.pairs {
        *counts.entry(pair.meter as i64).or_insert(0) += 1;
    }
    let most = counts.into_iter().max_by_key(|(_, count)| *count);
    most.map(|(meter, _)| meter)
}

/// Sensors of either site, or all it has, that have pairs of a class before sites are said to share it.
const SHARED_BY: usize = 3;

/// A row with what it claims.
struct Compared<'a> {
    study: &'a Study<'a>,
    row: &'a Row,
    claim: Claim,
}

impl Compared<'_> {
    fn value(&self, pair: &Pair) -> f64 {
        match self.row.measure {
            Measure::ReadsTrue => 100.0 * pair.relative.abs(),
            _ => pair.difference,
        }
    }

    fn pairs(&self, member: &Member) -> &[Pair] {
        &self.study.sensors[member.sensor].pairs
    }

    /// The sensors with means of other values of their pairs, each with a weight at its side; without those whose pairs
    /// have none.
    fn rescored(
        &self,
        weight: &dyn Fn(usize, &Pair) -> f64,
        value: &dyn Fn(&Pair) -> f64,
    ) -> Vec<Member> {
        let score = |member: &Member| {
            let side = usize::from(!member.first);
            let pairs = self.pairs(member).iter();
            let score = of_weighted_pairs(pairs.map(|pair| (weight(side, pair), value(pair))))?;
            Some(Member {
                score: score.value,
                weight: score.weight,
                size: score.size,
                ..*member
            })
        };
        whole_blocks(self.row.members.iter().filter_map(score).collect())
    }

    fn difference(&self) -> Option<f64> {
        contrast(&self.row.members).map(|contrast| contrast.difference)
    }

    fn falls(&self, adjusted: &[Member]) -> bool {
        let adjusted = contrast(adjusted).map(|contrast| contrast.difference);
        let both = self.difference().zip(adjusted);
        both.is_some_and(|(difference, adjusted)| self.claim.falls(difference, adjusted))
    }

    fn holds(&self, among: &[Member]) -> bool {
        let both = self.difference().zip(contrast(among));
        both.is_some_and(|(difference, among)| self.claim.holds(difference, &among))
    }

    fn stands(&self, adjusted: &[Member]) -> bool {
        let both = self.difference().zip(contrast(adjusted));
        both.is_some_and(|(difference, adjusted)| self.claim.stands(difference, &adjusted))
    }

    /// Why fingersticks were taken, as it is said or as it shows.
    fn purpose(&self) -> bool {
        let classes = Classes {
            of: &|pair: &Pair| Some(usize::from(pair.routine)),
            count: 2,
        };
        if self.apart(&classes) {
            return true;
        }
        let value = |pair: &Pair| self.value(pair);
        let routine = || self.rescored(&|_, pair| f64::from(u8::from(pair.routine)), &value);
        let evenly = |weights: [Tenths; 2]| {
            let evenly = self.rescored(&|side, pair| weights[side][tenth(pair)], &value);
            !evenly.is_empty() && !self.holds(&evenly)
        };
        self.claim != Claim::None
            && (self.falls(&routine()) || evenly_checked(self.study, self.row).is_some_and(evenly))
    }

    /// Whether sites share no class, the claim falls without what classes do within sensors, or it is lost in what is not known of
    /// that, where classes went along with sites.
    fn went(&self, classes: &Classes<'_>) -> bool {
        if self.apart(classes) || self.claim == Claim::None {
            return self.apart(classes);
        }
        let effects = self.effects(classes);
        let adjusted = self.rescored(&|_, _| 1.0, &|pair| self.value(pair) - effects.of(pair));
        let moved = self.rescored(&|_, _| 1.0, &|pair| effects.of(pair));
        let along = contrast(&moved).and_then(|moved| moved.p());
        self.falls(&adjusted)
            || along.is_some_and(|p| p < BY_CHANCE) && self.lost(&adjusted, &effects)
    }

    fn effects<'a>(&'a self, classes: &'a Classes<'a>) -> Effects<'a> {
        let sensors = self.row.members.iter().map(|member| self.pairs(member));
        Effects::new(sensors, classes, |pair| self.value(pair))
    }

    /// Whether the adjusted difference does not hold with the error of what was taken off it.
    fn lost(&self, adjusted: &[Member], effects: &Effects<'_>) -> bool {
        let both = self.difference().zip(contrast(adjusted));
        !both.is_some_and(|(difference, among)| {
            let shares = coefficients(adjusted);
            let shares = adjusted
                .iter()
                .zip(shares)
                .map(|(m, share)| (self.pairs(m), share));
            let std_error = among.std_error.hypot(effects.std_error(shares));
            self.claim
                .holds(difference, &Contrast { std_error, ..among })
        })
    }

    /// Also whether the claim is that of sensors that were checked with one meter and not another.
    fn meter(&self, classes: &Classes<'_>) -> bool {
        if classes.count < 2 {
            return false;
        }
        let of_one_meter = || {
            let effects = self.effects(classes);
            let members = self.rescored(&|_, _| 1.0, &|pair| self.value(pair) - effects.of(pair));
            of_sensors::explains(self.study, &members, self.claim, main_meter)
        };
        self.went(classes) || self.claim != Claim::None && of_one_meter()
    }

    /// Whether glucose moved otherwise at the fingersticks of one site than of the other, and the claim does not stand for sensors that
    /// are [`BEHIND`]: so many minutes behind, one is off by as many times its rate. To ask the pairs how far behind they are would take
    /// away too little, as the noise of readings is in the rate of each.
    fn trend(&self) -> bool {
        let by_minute = |pair: &Pair| match self.row.measure {
            Measure::ReadsTrue => {
                let fingerstick = pair.difference / pair.relative;
                pair.rate.map(|rate| 100.0 * rate.abs() / fingerstick)
            }
            _ => pair.rate.map(|rate| -rate),
        };
        let told = |pair: &Pair| by_minute(pair).filter(|value| value.is_finite());
        let known = |_: usize, pair: &Pair| f64::from(u8::from(told(pair).is_some()));
        let moved = |pair: &Pair| told(pair).unwrap_or(0.0);
        let along = contrast(&self.rescored(&known, &moved)).and_then(|moved| moved.p());
        self.claim != Claim::None
            && along.is_some_and(|p| p < MOVED_BY_CHANCE)
            && !self.stands(&self.rescored(&known, &|p| self.value(p) - BEHIND * moved(p)))
    }

    /// Whether sites share no class, though either has pairs of some.
    fn apart(&self, classes: &Classes<'_>) -> bool {
        let mut sensors = vec![[0; 2]; classes.count];
        for member in &self.row.members {
            let found = self.pairs(member).iter().filter_map(classes.of);
            for class in found.collect::<BTreeSet<usize>>() {
                sensors[class][usize::from(!member.first)] += 1;
            }
        }
        let any = |side: usize| sensors.iter().any(|of| of[side] > 0);
        let least = self.row.sensors().map(|sensors| sensors.min(SHARED_BY));
        let shared = |of: &[usize; 2]| of[0] >= least[0] && of[1] >= least[1];
        any(0) && any(1) && !sensors.iter().any(shared)
    }
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
