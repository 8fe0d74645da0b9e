//! How far sensors were followed, and what became of them by then.

use super::scores::{Life, Order, Score};
use super::study::{Ending, Study};
use crate::survival::pseudo::pseudo_incidence;

/// Sensors whose end nobody saw before a day, for each that was still followed then: with more of them the few would speak for all.
const UNSEEN: f64 = 4.0;

/// A sensor that is taken off within a day of its rated wear stayed on for all of it.
const CHANGED_EARLY: f64 = 1.0;

/// A relative slack: a day that is reached to rounding is reached.
const SLACK: f64 = 1e-9;

/// How far a sensor was followed, and whether its end was not seen.
struct Followed {
    days: f64,
    unseen: bool,
}

/// How far the sensors of a site that is worn were followed, and the longest rated wear of one.
fn followed(
    study: &Study<'_>,
    order: &Order,
    lives: &[Option<Life>],
    site: usize,
) -> (Vec<Followed>, f64) {
    let mut rated = 0.0_f64;
    let mut all = Vec::new();
    for &sensor in order.of(site) {
        let (Some(life), own) = (lives[sensor], study.sensors[sensor].rated_days) else {
            continue;
        };
        rated = rated.max(own);
        let whole = life.ending == Ending::Censored && life.days >= own - CHANGED_EARLY;
        all.push(Followed {
            days: if whole { own } else { life.days },
            unseen: life.ending == Ending::Censored,
        });
    }
    (all, rated)
}

/// The last whole day by which what became of the sensors of some sites was seen; `None` where that is the rated day.
///
/// By a later day more than four sensors of a site were taken off, with their end not seen, for each one that was still worn.
pub(super) fn seen_until(
    study: &Study<'_>,
    order: &Order,
    lives: &[Option<Life>],
    sites: [usize; 2],
) -> Option<f64> {
    let of_site = |site: usize| {
        let (mut sensors, rated) = followed(study, order, lives, site);
        sensors.sort_by(|a, b| a.days.total_cmp(&b.days));
        // Unseen ends before each sensor's, those before it in order.
        let mut unseen = vec![0];
        for sensor in &sensors {
            unseen.push(unseen.last().unwrap_or(&0) + usize::from(sensor.unseen));
        }
        let told = |day: &f64| {
            let short = sensors.partition_point(|sensor| sensor.days < day * (1.0 - SLACK));
            let still = sensors.len() - short;
            unseen[short] as f64 <= UNSEEN * still as f64
        };
        let mut days = sensors.iter().rev().map(|sensor| sensor.days);
        let days = [days.find(told), Some(rated).filter(told)];
        (days.into_iter().flatten().fold(0.0, f64::max), rated)
    };
    let [(one, rated), (other, rated_there)] = sites.map(of_site);
    let (until, rated) = (one.min(other), rated.max(rated_there));
    (until < rated * (1.0 - SLACK)).then_some(until.floor())
}

/// Share of the sensors of a site whose state on a day, or on their rated one, was seen.
pub(super) fn share_seen(
    study: &Study<'_>,
    order: &Order,
    lives: &[Option<Life>],
    site: usize,
    until: Option<f64>,
) -> f64 {
    let (sensors, rated) = followed(study, order, lives, site);
    let day = until.unwrap_or(rated) * (1.0 - SLACK);
    let unseen = sensors
        .iter()
        .filter(|sensor| sensor.unseen && sensor.days < day)
        .count();
    1.0 - unseen as f64 / sensors.len().max(1) as f64
}

/// The share that came off by a day, or by the rated one, sensor by sensor: pseudo-observations of each site's cumulative incidence.
pub(super) fn shares(
    study: &Study<'_>,
    order: &Order,
    lives: &[Option<Life>],
    sites: impl Iterator<Item = usize>,
    until: Option<f64>,
) -> Vec<Option<Score>> {
    let day = until.unwrap_or(f64::INFINITY);
    let mut scores = vec![None; study.sensors.len()];
    for site in sites {
        let known: Vec<(usize, Life)> = order
            .of(site)
            .iter()
            .filter_map(|&sensor| Some((sensor, lives[sensor]?)))
            .collect();
        let days: Vec<f64> = known.iter().map(|(_, life)| life.days).collect();
        let causes: Vec<Option<usize>> = known
            .iter()
            .map(|(_, life)| match life.ending {
                _ if life.days > day * (1.0 + SLACK) => None,
                Ending::CameOff => Some(0),
                Ending::Competing => Some(1),
                Ending::Censored => None,
            })
            .collect();
        let values = pseudo_incidence(&days, &causes, 0);
        for ((sensor, _), value) in known.iter().zip(values) {
            scores[*sensor] = Some(Score::of_sensor(value));
        }
    }
    scores
}
