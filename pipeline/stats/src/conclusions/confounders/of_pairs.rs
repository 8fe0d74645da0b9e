//! What pairs have one by one: why, by which meter, in what trend and at what age of wear a fingerstick was taken.

use super::super::blocks::Member;
use super::super::contrast::contrast;
use super::super::measure::Measure;
use super::super::rows::Row;
use super::super::scores::PAIRS_OF_A_SENSOR;
use super::super::study::{Pair, Sensor, Study};
use super::classes::Classes;
use super::compared::Compared;
use super::{AGES, Claim, Confounder, of_age, of_sensors, whole_blocks};
use std::collections::BTreeMap;

/// What of the fingersticks a row's claim cannot be told from.
pub(super) fn found(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    let value = |pair: &Pair| match row.measure {
        Measure::ReadsTrue => 100.0 * pair.relative.abs(),
        _ => pair.difference,
    };
    let compared = Compared {
        study,
        members: &row.members,
        claim,
        of: |sensor| &sensor.pairs,
        value: &value,
        half: PAIRS_OF_A_SENSOR,
    };
    let by_age = Classes {
        of: &|pair: &Pair| of_age(pair.age),
        count: AGES.len() + 1,
    };
    let went = [
        (Confounder::Purpose, purpose(&compared, row)),
        (Confounder::Meter, meter(&compared)),
        (Confounder::Trend, trend(&compared, row)),
        (
            Confounder::Age,
            compared.apart(&by_age) || compared.went(&by_age),
        ),
    ];
    let went = went.into_iter().filter(|(_, went)| *went);
    went.map(|(confounder, _)| confounder).collect()
}

/// Why fingersticks were taken, as it is said or as it shows.
fn purpose(compared: &Compared<'_, Pair>, row: &Row) -> bool {
    let classes = Classes {
        of: &|pair: &Pair| Some(usize::from(pair.routine)),
        count: 2,
    };
    if compared.apart(&classes) {
        return true;
    }
    let routine = |_: usize, pair: &Pair| f64::from(u8::from(pair.routine));
    let evenly = |weights: [Tenths; 2]| {
        let evenly = compared.rescored(&|side, pair| weights[side][tenth(pair)], compared.value);
        !evenly.is_empty() && !compared.holds(&evenly)
    };
    compared.claim != Claim::None
        && (compared.falls(&compared.rescored(&routine, compared.value))
            || evenly_checked(compared.study, row).is_some_and(evenly))
}

/// The meter, also where most sensors were checked with one alone.
fn meter(compared: &Compared<'_, Pair>) -> bool {
    let meters = meters(compared);
    let classes = Classes {
        of: &|pair: &Pair| meters.binary_search(&pair.meter).ok(),
        count: meters.len(),
    };
    if classes.count < 2 || each_has_one(compared) {
        return false;
    }
    let sensor = |member: &Member| &compared.study.sensors[member.sensor];
    let of_one_meter = || {
        let all = compared.rescored(&|_, _| 1.0, compared.value);
        let half = all.len() / 2;
        let of_one = all.into_iter().filter(|m| only_meter(sensor(m)).is_some());
        let of_one = whole_blocks(of_one.collect());
        of_one.len() > half
            && of_sensors::explains(compared.study, &of_one, compared.claim, only_meter)
    };
    compared.apart(&classes)
        || compared.went(&classes)
        || compared.claim != Claim::None && of_one_meter()
}

/// Whether every wearer has one meter: sites are compared within wearers, and it goes with none.
fn each_has_one(compared: &Compared<'_, Pair>) -> bool {
    let mut of_wearer = BTreeMap::new();
    let sensors = compared.members.iter();
    let mut sensors = sensors.map(|member| &compared.study.sensors[member.sensor]);
    sensors.all(|sensor| {
        let mut meters = sensor.pairs.iter().map(|pair| pair.meter);
        meters.all(|meter| *of_wearer.entry(sensor.wearer).or_insert(meter) == meter)
    })
}

/// The meters that sensors of a row were checked with, in order.
fn meters(compared: &Compared<'_, Pair>) -> Vec<usize> {
    let sensors = compared.members.iter();
    let pairs = sensors.flat_map(|member| &compared.study.sensors[member.sensor].pairs);
    let mut meters: Vec<usize> = pairs.map(|pair| pair.meter).collect();
    meters.sort_unstable();
    meters.dedup();
    meters
}

/// Of a sensor's fingersticks, so many by one meter are as good as all.
const ONLY: f64 = 0.9;

/// The meter that a sensor was checked with, where it was one.
fn only_meter(sensor: &Sensor) -> Option<i64> {
    let mut counts = BTreeMap::new();
    for pair in &sensor.pairs {
        *counts.entry(pair.meter as i64).or_insert(0) += 1;
    }
    let (meter, count) = counts.into_iter().max_by_key(|(_, count)| *count)?;
    (f64::from(count) >= ONLY * sensor.pairs.len() as f64).then_some(meter)
}

/// The longest that sensors usually are behind the blood, minutes (common practice, no source).
const BEHIND: f64 = 15.0;

/// The chance of such a difference in rates: as that many minutes are taken off whatever sensors are, a claim is tried by them
/// sooner than by what the data tell.
const MOVED_BY_CHANCE: f64 = 0.05;

/// Whether glucose moved otherwise at the fingersticks of one site than of the other, and the claim does not stand for sensors that
/// are [`BEHIND`]: so many minutes behind, one is off by as many times its rate. To ask the pairs how far behind they are would take
/// away too little, as the noise of readings is in the rate of each.
fn trend(compared: &Compared<'_, Pair>, row: &Row) -> bool {
    let by_minute = |pair: &Pair| match row.measure {
        Measure::ReadsTrue => {
            let fingerstick = pair.difference / pair.relative;
            pair.rate.map(|rate| 100.0 * rate.abs() / fingerstick)
        }
        _ => pair.rate.map(|rate| -rate),
    };
    let told = |pair: &Pair| by_minute(pair).filter(|value| value.is_finite());
    let known = |_: usize, pair: &Pair| f64::from(u8::from(told(pair).is_some()));
    let moved = |pair: &Pair| told(pair).unwrap_or(0.0);
    let along = contrast(&compared.rescored(&known, &moved)).and_then(|moved| moved.p());
    let without = |pair: &Pair| (compared.value)(pair) - BEHIND * moved(pair);
    compared.claim != Claim::None
        && along.is_some_and(|p| p < MOVED_BY_CHANCE)
        && !compared.stands(&compared.rescored(&known, &without))
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
