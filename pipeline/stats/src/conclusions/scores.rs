//! What each sensor adds to a comparison, as far as it is known at an instant.

use super::blocks::{Member, Within, in_blocks, stratum};
use super::measure::Measure;
use super::study::{Ending, Sensor, Study};
use crate::distributions::normal_quantile;

/// A sensor with n pairs counts n / (n + 3): its mean scatters by the spread between sensors and by its own pairs, whose
/// variance is about three times as large. A fixed number keeps the weights free of what the sites showed.
pub(super) const PAIRS_OF_A_SENSOR: f64 = 3.0;

/// The same for nights: a rate of 10 per 100 nights whose sensors differ by two thirds of it has a variance between sensors
/// as large as that of counting 15 nights.
pub(super) const NIGHTS_OF_A_SENSOR: f64 = 15.0;

/// The same for delays, in the unit of their weights: sensors of one site commonly differ by 3 minutes (common practice, no source), and a pair's
/// noise is 7 %. Weighed by their noise alone a few sensors with many pairs would speak for all, whose scatter would be told too small.
const DELAY_OF_A_SENSOR: f64 = 0.07 * 0.07 / (3.0 * 3.0);

/// Artefacts are told per 100 nights, shares of glucose in percent.
const HUNDRED: f64 = 100.0;

/// What one sensor showed, and its weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Score {
    pub value: f64,
    pub weight: f64,
    /// Pairs or nights behind it; 1 for a sensor that counts as such.
    pub size: f64,
}

impl Score {
    /// One that weighs as any other sensor's.
    pub fn of_sensor(value: f64) -> Self {
        Self {
            value,
            weight: 1.0,
            size: 1.0,
        }
    }
}

/// How long a sensor stayed on, as known at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Life {
    pub days: f64,
    pub ending: Ending,
}

/// The life of a sensor, cut at its rated wear; `None` before its insertion.
pub(super) fn life(sensor: &Sensor, now: f64) -> Option<Life> {
    if sensor.inserted > now {
        return None;
    }
    let until = sensor.known_until.min(now);
    let days = (until - sensor.inserted).max(0.0);
    let over = days > sensor.rated_days * (1.0 + 1e-9);
    let known = sensor.known_until <= now && !over;
    Some(Life {
        days: days.min(sensor.rated_days),
        ending: if known {
            sensor.ending
        } else {
            Ending::Censored
        },
    })
}

/// The score of each sensor in a measure other than staying on.
pub(super) fn scores(study: &Study<'_>, measure: Measure, now: f64) -> Vec<Option<Score>> {
    let of = |sensor: &Sensor| match measure {
        Measure::StaysOn => None,
        Measure::ReadsTrue => mean_of_pairs(sensor, now, |p| HUNDRED * p.relative.abs()),
        Measure::ReadsHighOrLow => mean_of_pairs(sensor, now, |p| p.difference),
        Measure::QuietAtNight => rate_of_nights(sensor, now),
        Measure::Delay => sensor
            .delay
            .filter(|_| sensor.known_until <= now)
            .map(|delay| Score {
                value: delay.minutes,
                weight: delay.weight / (delay.weight + DELAY_OF_A_SENSOR),
                size: 1.0,
            }),
    };
    study.sensors.iter().map(of).collect()
}

fn mean_of_pairs(sensor: &Sensor, now: f64, of: impl Fn(&super::Pair) -> f64) -> Option<Score> {
    let known = sensor.pairs.partition_point(|pair| pair.time <= now);
    let values = sensor.pairs.iter().take(known).map(of);
    mean(values, known, PAIRS_OF_A_SENSOR)
}

fn rate_of_nights(sensor: &Sensor, now: f64) -> Option<Score> {
    let known = sensor.nights.partition_point(|night| night.end <= now);
    let values = sensor
        .nights
        .iter()
        .take(known)
        .map(|night| HUNDRED * night.artefacts);
    mean(values, known, NIGHTS_OF_A_SENSOR)
}

/// The score of a sensor from weights, of one for a whole pair or night, and values of those, so many of which weigh half as much as any
/// number; `None` without weight.
pub(super) fn weighted(all: impl Iterator<Item = (f64, f64)>, half: f64) -> Option<Score> {
    let (mut size, mut total) = (0.0, 0.0);
    for (weight, value) in all {
        size += weight;
        total += weight * value;
    }
    (size > 0.0).then(|| Score {
        value: total / size,
        weight: size / (size + half),
        size,
    })
}

/// The score of a sensor with so many artefacts in so many nights; `None` without nights.
pub(super) fn of_nights(artefacts: f64, nights: f64) -> Option<Score> {
    let rate = HUNDRED * artefacts / nights;
    weighted(std::iter::once((nights, rate)), NIGHTS_OF_A_SENSOR)
}

fn mean(values: impl Iterator<Item = f64>, count: usize, half: f64) -> Option<Score> {
    let n = count as f64;
    (count > 0).then(|| Score {
        value: values.sum::<f64>() / n,
        weight: n / (n + half),
        size: n,
    })
}

/// Sensors of each site, in the order of wearer, model and insertion.
pub(super) struct Order {
    of_site: Vec<Vec<usize>>,
}

impl Order {
    pub fn new(study: &Study<'_>, within: Within) -> Self {
        let mut of_site = vec![Vec::new(); study.sites.len()];
        for (index, sensor) in study.sensors.iter().enumerate() {
            if let Some(site) = of_site.get_mut(sensor.site) {
                site.push(index);
            }
        }
        for site in &mut of_site {
            site.sort_by(|&a, &b| before(study, within, a, b));
        }
        Self { of_site }
    }

    /// The sensors of a site.
    pub fn of(&self, site: usize) -> &[usize] {
        self.of_site.get(site).map_or(&[], Vec::as_slice)
    }
}

fn before(study: &Study<'_>, within: Within, a: usize, b: usize) -> std::cmp::Ordering {
    let (one, other) = (&study.sensors[a], &study.sensors[b]);
    stratum(one, within)
        .cmp(&stratum(other, within))
        .then(one.inserted.total_cmp(&other.inserted))
        .then(a.cmp(&b))
}

/// A site and what it is compared with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sides<'a> {
    pub site: usize,
    pub against: &'a [usize],
}

/// The chance that a sensor drawn by lot had of the site, either side of the comparison having been drawn; `None` where its
/// site was chosen, and where the lot could have given one side only: then nothing was drawn between the two.
fn chance(sensor: &Sensor, sides: Sides<'_>) -> Option<f64> {
    let of = |site: usize| sensor.chances.get(site).copied().unwrap_or(0.0);
    let others: f64 = sides.against.iter().map(|site| of(*site)).sum();
    let chance = of(sides.site) / (of(sides.site) + others);
    (of(sensor.site) > 0.0 && chance > 0.0 && chance < 1.0).then_some(chance)
}

/// The sensors of a site and of others that have a score, in blocks.
pub(super) fn members(
    study: &Study<'_>,
    order: &Order,
    within: Within,
    sides: Sides<'_>,
    scores: &[Option<Score>],
) -> Vec<Member> {
    let with_score = |site: usize, first: bool| {
        order.of(site).iter().filter_map(move |&sensor| {
            scores[sensor].map(|score| Member {
                sensor,
                first,
                block: 0,
                score: score.value,
                weight: score.weight,
                size: score.size,
                seen: 0.0,
                expected: 0.0,
                chance: chance(&study.sensors[sensor], sides),
            })
        })
    };
    let mut both: Vec<Member> = with_score(sides.site, true).collect();
    for &site in sides.against {
        both.extend(with_score(site, false));
    }
    both.sort_by(|a, b| before(study, within, a.sensor, b.sensor));
    in_blocks(&study.sensors, within, &mut both);
    both
}

/// The sensors of two sites with their log-rank scores, in blocks: 1 where it came off, less the hazard (Nelson and Aalen)
/// that all sensors of either side met in its days. Within one stratum their sum at a site is observed less expected in
/// the log-rank test. The hazard is that of all strata together, since one of few sensors tells it badly: what strata
/// differ by goes with the level of their blocks.
pub(super) fn members_by_hazard(
    study: &Study<'_>,
    order: &Order,
    within: Within,
    sides: Sides<'_>,
    lives: &[Option<Life>],
) -> Vec<Member> {
    let placeholder: Vec<Option<Score>> = lives
        .iter()
        .map(|life| life.map(|_| Score::of_sensor(0.0)))
        .collect();
    let mut members = members(study, order, within, sides, &placeholder);
    hazard_scores(&mut members, lives);
    members
}

/// The sensors of two sites with scores of their night artefacts, in blocks.
///
/// Counts are few, and lopsided between sensors, so that means tell little. A sensor with y artefacts in n nights has a
/// normal score r of the middle of its cumulative probability, P(Y < y) + P(Y = y) / 2, with Y negative binomial of mean
/// m = n λ and variance m + [`UNLIKE`] m², λ the rate of all sensors of the stratum on either side. Its value is r / √i and its
/// weight i = m / (1 + [`UNLIKE`] m), the information on the logarithm of the rate. Source, from memory: Dunn and Smyth 1996 J Comput Graph
/// Stat 5:236 (quantile residuals; the middle stands in for their draw).
pub(super) fn members_by_rate(
    study: &Study<'_>,
    order: &Order,
    within: Within,
    sides: Sides<'_>,
    rates: &[Option<Score>],
) -> Vec<Member> {
    let mut members = members(study, order, within, sides, rates);
    rate_scores(study, within, &mut members);
    members
}

/// Gives members, whose scores are rates and whose sizes are nights, the scores of [`members_by_rate`].
pub(super) fn rate_scores(study: &Study<'_>, within: Within, members: &mut [Member]) {
    let of = |member: &Member| stratum(&study.sensors[member.sensor], within);
    for stratum in members.chunk_by_mut(|a, b| of(a) == of(b)) {
        let events: f64 = stratum.iter().map(|m| m.score * m.size / HUNDRED).sum();
        let nights: f64 = stratum.iter().map(|m| m.size).sum();
        for member in stratum {
            let mean = member.size * events / nights;
            let count = (member.score * member.size / HUNDRED).round();
            (member.seen, member.expected) = (count, mean);
            let information = mean / (1.0 + UNLIKE * mean);
            if information > 0.0 {
                let middle = middle_probability(count, mean).clamp(1e-12, 1.0 - 1e-12);
                member.score = normal_quantile(middle) / information.sqrt();
                member.weight = information;
            } else {
                member.score = 0.0;
            }
        }
    }
}

/// Squared coefficient of variation between sensors that counts of artefacts are judged by.
const UNLIKE: f64 = 0.5;

/// P(Y < y) + P(Y = y) / 2 of a negative binomial of this mean and variance mean + UNLIKE mean².
fn middle_probability(count: f64, mean: f64) -> f64 {
    let shape = 1.0 / UNLIKE;
    let odds = UNLIKE * mean / (1.0 + UNLIKE * mean);
    let mut chance = (1.0 + UNLIKE * mean).powf(-shape);
    let (mut below, mut at) = (0.0, 0.0);
    while at < count {
        below += chance;
        chance *= odds * (at + shape) / (at + 1.0);
        at += 1.0;
    }
    below + 0.5 * chance
}

fn hazard_scores(members: &mut [Member], lives: &[Option<Life>]) {
    let life = |member: &Member| {
        lives[member.sensor].unwrap_or(Life {
            days: 0.0,
            ending: Ending::Censored,
        })
    };
    let mut times: Vec<(f64, bool, usize)> = members
        .iter()
        .enumerate()
        .map(|(place, member)| {
            (
                life(member).days,
                life(member).ending != Ending::CameOff,
                place,
            )
        })
        .collect();
    // Of equal times those that came off first.
    times.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let (mut hazard, mut at) = (0.0, 0);
    while at < times.len() {
        let day = times[at].0;
        let tied = times[at..]
            .iter()
            .take_while(|time| time.0 <= day * (1.0 + 1e-9))
            .count();
        let came_off = times[at..at + tied].iter().filter(|time| !time.1).count();
        hazard += came_off as f64 / (times.len() - at) as f64;
        for (_, stayed, place) in &times[at..at + tied] {
            let member = &mut members[*place];
            (member.seen, member.expected) = (f64::from(u8::from(!stayed)), hazard);
            member.score = member.seen - member.expected;
        }
        at += tied;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Remission of leukaemia (Freireich et al. 1963 Blood 21:699): with 6-mercaptopurine 9 relapses were seen and 19.25
    /// expected (Kleinbaum and Klein 2012, Survival Analysis, table 2.5, from memory).
    #[test]
    fn hazard_scores_add_up_to_observed_less_expected() {
        let treated = [
            6, 6, 6, 7, 10, 13, 16, 22, 23, -6, -9, -10, -11, -17, -19, -20, -25, -32, -32, -34,
            -35,
        ];
        let placebo = [
            1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23,
        ];
        let weeks = treated.iter().chain(&placebo);
        let lives: Vec<Option<Life>> = weeks
            .map(|week: &i32| {
                Some(Life {
                    days: f64::from(week.abs()),
                    ending: if *week > 0 {
                        Ending::CameOff
                    } else {
                        Ending::Censored
                    },
                })
            })
            .collect();
        let mut members: Vec<Member> = (0..lives.len())
            .map(|sensor| Member {
                sensor,
                first: sensor < treated.len(),
                block: 0,
                score: 0.0,
                weight: 1.0,
                size: 1.0,
                seen: 0.0,
                expected: 0.0,
                chance: None,
            })
            .collect();
        hazard_scores(&mut members, &lives);
        let sum: f64 = members.iter().filter(|m| m.first).map(|m| m.score).sum();
        assert!((sum - (9.0 - 19.25)).abs() < 0.01, "{sum}");
        let all: f64 = members.iter().map(|m| m.score).sum();
        assert!(all.abs() < 1e-9);
    }

    /// Negative binomial of mean 2 and variance 4 (shape 2): chances 1/4, 1/4, 3/16, by hand.
    #[test]
    fn the_middle_of_a_count() {
        assert!((middle_probability(0.0, 2.0) - 0.125).abs() < 1e-12);
        assert!((middle_probability(1.0, 2.0) - 0.375).abs() < 1e-12);
        assert!((middle_probability(2.0, 2.0) - 0.59375).abs() < 1e-12);
    }
}
