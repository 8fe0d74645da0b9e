//! Differences within people, brought together over people: each is their own control, and people may differ in how they differ.

use super::people::{Effects, of_means};
use super::random_effects::{Effect, RandomEffects, over_people, variance_between};
use crate::distributions::{t_quantile, t_two_sided};
use crate::interval::Interval;

/// Differences of several people together.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Mean, spread and the prediction for a new person, by restricted maximum likelihood; without the people's own effects.
    pub effects: RandomEffects,
    /// Standard error of the mean by Hartung and Knapp, no smaller than that given the spread.
    pub std_error: f64,
    /// 95 % interval of the mean.
    pub interval: Interval,
    /// p of "the mean is 0".
    pub p: f64,
    /// Share of each person in the mean, in the order given.
    pub weights: Vec<f64>,
}

/// A mean with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// The mean.
    pub estimate: f64,
    /// Its interval.
    pub interval: Interval,
}

/// Meta-analysis of effects, one a person, whose variances were estimated with `df` degrees of freedom together (infinite where
/// they are known).
///
/// - spread τ, its interval, p of "all alike" and the prediction for a new person: [`super::random_effects`];
/// - mean: weights 1 / (variance + τ²);
/// - standard error: √(Σ w (estimate - mean)² / ((k - 1) Σ w)) (Hartung and Knapp 2001 Stat Med 20:3875, from memory), no smaller than √(1 / Σ w)
///   (Röver, Knapp and Friede 2015 BMC Med Res Methodol 15:99, from memory); interval and p by t with k - 1 degrees of freedom.
///
/// `None` below two effects, or where a variance is not above 0. Checked by `tests/meta_analysis.rs`.
#[must_use]
pub fn meta_analysis(effects: &[Effect], df: f64) -> Option<Summary> {
    let effects_over_people = over_people(effects, df)?;
    let weighed = Weighed::new(effects, effects_over_people.spread.estimate.powi(2));
    Some(Summary {
        interval: weighed.interval(),
        p: t_two_sided(weighed.mean / weighed.std_error, weighed.df),
        std_error: weighed.std_error,
        weights: weighed.weights,
        effects: effects_over_people,
    })
}

/// The mean of effects, given how much people differ.
struct Weighed {
    weights: Vec<f64>,
    mean: f64,
    std_error: f64,
    df: f64,
}

impl Weighed {
    fn new(effects: &[Effect], tau2: f64) -> Self {
        let df = effects.len() as f64 - 1.0;
        let weights: Vec<f64> = effects.iter().map(|e| 1.0 / (e.variance + tau2)).collect();
        let total: f64 = weights.iter().sum();
        let pairs = || weights.iter().zip(effects);
        let mean = pairs().map(|(w, e)| w * e.estimate).sum::<f64>() / total;
        let squares = pairs()
            .map(|(w, e)| w * (e.estimate - mean).powi(2))
            .sum::<f64>();
        Self {
            mean,
            std_error: ((squares / df).max(1.0) / total).sqrt(),
            weights: weights.iter().map(|weight| weight / total).collect(),
            df,
        }
    }

    fn interval(&self) -> Interval {
        Interval::around(self.mean, t_quantile(0.975, self.df) * self.std_error)
    }
}

/// The mean of the others without each person, in the order given; `None` inside where fewer than two others are left.
/// Checked by `tests/meta_analysis.rs`.
#[must_use]
pub fn without_each(effects: &[Effect]) -> Vec<Option<Mean>> {
    let without = |place: usize| {
        let others = effects.iter().enumerate();
        let others = others.filter(|(other, _)| *other != place);
        let others: Vec<Effect> = others.map(|(_, effect)| *effect).collect();
        (others.len() > 1).then(|| {
            let weighed = Weighed::new(&others, variance_between(&others));
            Mean {
                estimate: weighed.mean,
                interval: weighed.interval(),
            }
        })
    };
    (0..effects.len()).map(without).collect()
}

/// The differences of people whose effects at both of two sites are known, the second less the first. Errors at the two are
/// independent; the variance has the degrees of freedom of both, as far as these hang on a scatter of sensors.
/// Checked by `tests/meta_analysis.rs`.
#[must_use]
pub fn differences(first: &Effects, second: &Effects) -> Effects {
    let known = [first.df, second.df];
    let df: f64 = known.iter().filter(|df| df.is_finite()).sum();
    let mut both = Effects {
        people: Vec::new(),
        effects: Vec::new(),
        df: if df > 0.0 { df } else { f64::INFINITY },
    };
    for (person, effect) in first.people.iter().zip(&first.effects) {
        let other = second.people.iter().position(|other| other == person);
        let Some(other) = other.and_then(|place| second.effects.get(place)) else {
            continue;
        };
        both.people.push(*person);
        both.effects.push(Effect {
            estimate: other.estimate - effect.estimate,
            variance: other.variance + effect.variance,
        });
    }
    both
}

/// Differences of means of values, one a sensor: `second` says which were at the second site. Sensors of all people at both sites
/// tell together how much sensors scatter: v (1 / n + 1 / m) for n and m sensors. `None` where they tell nothing.
/// Checked by `tests/meta_analysis.rs`.
#[must_use]
pub fn of_mean_differences(values: &[f64], people: &[usize], second: &[bool]) -> Option<Effects> {
    let at = people.iter().zip(second);
    let cells: Vec<usize> = at
        .map(|(person, second)| 2 * person + usize::from(*second))
        .collect();
    let all = of_means(values, &cells)?;
    let side = |second: usize| {
        let of_side = all.people.iter().zip(&all.effects);
        let of_side = of_side.filter(|(cell, _)| **cell % 2 == second);
        let (people, effects) = of_side.map(|(cell, effect)| (cell / 2, *effect)).unzip();
        Effects {
            people,
            effects,
            df: f64::INFINITY,
        }
    };
    Some(Effects {
        df: all.df,
        ..differences(&side(0), &side(1))
    })
}
