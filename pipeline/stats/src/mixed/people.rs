//! What each person's sensors show, with the variance of its error: effects for [`super::random_effects`].
//!
//! A person with few sensors tells little of how much these scatter, so all people of a site tell it together.

use super::random_effects::Effect;
use crate::distributions::{normal_quantile, t_quantile};
use crate::interval::Interval;
use crate::rates::clustered::Cluster;
use crate::survival::incidence::cumulative_incidence;
use std::collections::BTreeMap;

/// Effects of people in the order of their numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Effects {
    /// The people's numbers.
    pub people: Vec<usize>,
    /// Their effects.
    pub effects: Vec<Effect>,
    /// Degrees of freedom of the variances; infinite where they do not hang on a scatter of sensors.
    pub df: f64,
}

impl Effects {
    /// 95 % interval of an effect from its own variance: by t, normal where the degrees of freedom are infinite.
    #[must_use]
    pub fn interval(&self, effect: &Effect) -> Interval {
        let quantile = if self.df.is_finite() {
            t_quantile(0.975, self.df)
        } else {
            normal_quantile(0.975)
        };
        Interval::around(effect.estimate, quantile * effect.variance.sqrt())
    }
}

fn by_person<T: Copy>(values: &[T], people: &[usize]) -> BTreeMap<usize, Vec<T>> {
    let mut own = BTreeMap::<usize, Vec<T>>::new();
    for (&value, &person) in values.iter().zip(people) {
        own.entry(person).or_default().push(value);
    }
    own
}

fn effects(own: impl Iterator<Item = (usize, f64, f64)>, df: f64) -> Effects {
    let (people, effects) = own
        .map(|(person, estimate, variance)| (person, Effect { estimate, variance }))
        .unzip();
    Effects {
        people,
        effects,
        df,
    }
}

/// Means of values, one a sensor: each person's mean, its variance v / n for n sensors, v = Σ (value - own mean)² / df with
/// sensors - people degrees of freedom. `None` where no person has two sensors, or these are alike. Checked by
/// `tests/random_effects.rs`.
#[must_use]
pub fn of_means(values: &[f64], people: &[usize]) -> Option<Effects> {
    let own = by_person(values, people);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let df = values.len() as f64 - own.len() as f64;
    let squares: f64 = own
        .values()
        .map(|values| {
            let mean = mean(values);
            values
                .iter()
                .map(|value| (value - mean).powi(2))
                .sum::<f64>()
        })
        .sum();
    let variance = squares / df;
    let each = own
        .iter()
        .map(|(&person, own)| (person, mean(own), variance / own.len() as f64));
    (df > 0.0 && variance > 0.0).then(|| effects(each, df))
}

/// Rates, an exposure above 0 for each sensor: events over exposure T of each person, the variance φ r / T. r is the rate of all,
/// with half an event more, so that none is 0; φ is Pearson's Σ (events - own rate T)² / (own rate T) over sensors - people, 1 at
/// least (McCullagh and Nelder 1989, Generalized Linear Models, 4.5, from memory). `None` without sensors. Checked by `tests/random_effects.rs`.
#[must_use]
pub fn of_rates(sensors: &[Cluster], people: &[usize]) -> Option<Effects> {
    let own = by_person(sensors, people);
    let totals = |sensors: &[Cluster]| {
        let add = |a: (f64, f64), s: &Cluster| (a.0 + s.sum, a.1 + s.size);
        sensors.iter().fold((0.0, 0.0), add)
    };
    let (events, exposure) = totals(sensors);
    if exposure <= 0.0 {
        return None;
    }
    let pearson = |sensors: &Vec<Cluster>| -> f64 {
        let (events, exposure) = totals(sensors);
        let off = |s: &Cluster| {
            let expected = events / exposure * s.size;
            (s.sum - expected).powi(2) / expected
        };
        if events > 0.0 {
            sensors.iter().map(off).sum()
        } else {
            0.0
        }
    };
    let spare = sensors.len() as f64 - own.len() as f64;
    let dispersion = if spare > 0.0 {
        (own.values().map(pearson).sum::<f64>() / spare).max(1.0)
    } else {
        1.0
    };
    let variance = dispersion * (events + 0.5) / exposure;
    let each = own.iter().filter_map(|(&person, own)| {
        let (events, exposure) = totals(own);
        (exposure > 0.0).then(|| (person, events / exposure, variance / exposure))
    });
    Some(effects(
        each,
        if spare > 0.0 { spare } else { f64::INFINITY },
    ))
}

/// Shares of sensors that cause 0 has ended by the horizon (other causes compete, `None` is censored): each person's cumulative
/// incidence, its variance p (1 - p) / n. p is the share of all, with half an event more among one sensor more, so that it is
/// neither 0 nor 1; n counts sensors censored before the horizon by half (the actuary's rule: Cutler and Ederer 1958 J Chronic
/// Dis 8:699, from memory). `None` without sensors. Checked by `tests/random_effects.rs`.
#[must_use]
pub fn of_shares(
    days: &[f64],
    causes: &[Option<usize>],
    people: &[usize],
    horizon: f64,
) -> Option<Effects> {
    let lives: Vec<(f64, Option<usize>)> =
        days.iter().copied().zip(causes.iter().copied()).collect();
    let own = by_person(&lives, people);
    let counted = |lives: &[(f64, Option<usize>)]| -> f64 {
        let of = |(day, cause): &(f64, Option<usize>)| {
            if cause.is_none() && *day < horizon {
                0.5
            } else {
                1.0
            }
        };
        lives.iter().map(of).sum()
    };
    let share = |lives: &[(f64, Option<usize>)]| -> f64 {
        let (days, causes): (Vec<f64>, Vec<Option<usize>>) = lives.iter().copied().unzip();
        let course = cumulative_incidence(&days, &causes, 2);
        let by = |point: &&crate::survival::incidence::IncidencePoint| point.time <= horizon;
        let last = course.first().and_then(|own| own.iter().rfind(by));
        last.map_or(0.0, |point| point.incidence)
    };
    let all = counted(&lives);
    if all <= 0.0 {
        return None;
    }
    let p = (share(&lives) * all + 0.5) / (all + 1.0);
    let each = own
        .iter()
        .map(|(&person, own)| (person, share(own), p * (1.0 - p) / counted(own)));
    Some(effects(each, f64::INFINITY))
}
