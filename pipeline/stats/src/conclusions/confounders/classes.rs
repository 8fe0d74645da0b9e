//! What the class of a pair or a night does to it, as sensors with several classes tell.

use crate::conjugate::conjugate_gradient;
use std::collections::BTreeMap;

/// A way to tell pairs or nights apart; one is of no class where that is not known.
pub(super) struct Classes<'a, T> {
    pub of: &'a dyn Fn(&T) -> Option<usize>,
    pub count: usize,
}

/// Part of a pair or night that a class is held back to no effect by: next to nothing, but classes that no sensor has beside others then
/// have none, and an error without bounds.
const HELD: f64 = 1e-6;

/// Effects of classes within sensors, by least squares with a level for each sensor.
pub(super) struct Effects<'a, T> {
    classes: &'a Classes<'a, T>,
    effects: Vec<f64>,
    /// Pairs or nights of each sensor by class.
    counts: Vec<BTreeMap<usize, f64>>,
    /// Variance of them about sensor and class.
    variance: f64,
}

impl<'a, T> Effects<'a, T> {
    /// Those of the pairs or nights of sensors.
    pub fn new<'s>(
        sensors: impl Iterator<Item = &'s [T]>,
        classes: &'a Classes<'a, T>,
        value: impl Fn(&T) -> f64,
    ) -> Self
    where
        T: 's,
    {
        let mut found = Self {
            classes,
            effects: Vec::new(),
            counts: Vec::new(),
            variance: 0.0,
        };
        let (mut right, mut squares, mut all) = (vec![0.0; classes.count], 0.0, 0.0);
        for own in sensors {
            let known = own.iter();
            let known = known.filter_map(|one| Some(((classes.of)(one)?, value(one))));
            let count = known.clone().count() as f64;
            let level = known.clone().map(|(_, value)| value).sum::<f64>() / count;
            let mut counts = BTreeMap::new();
            for (class, value) in known {
                *counts.entry(class).or_insert(0.0) += 1.0;
                right[class] += value - level;
                squares += (value - level).powi(2);
            }
            all += count;
            found.counts.push(counts);
        }
        found.effects = found.solve(&right).unwrap_or(vec![0.0; classes.count]);
        let told: f64 = found.effects.iter().zip(&right).map(|(e, r)| e * r).sum();
        let left = all - (found.counts.len() + classes.count.saturating_sub(1)) as f64;
        found.variance = (squares - told) / left.max(1.0);
        found
    }

    /// The effect of its class; 0 where that is not known.
    pub fn of(&self, one: &T) -> f64 {
        (self.classes.of)(one).map_or(0.0, |class| self.effects[class])
    }

    /// The standard error of a sum of the mean effects of sensors, each times its share.
    pub fn std_error<'s>(&self, sensors: impl Iterator<Item = (&'s [T], f64)>) -> f64
    where
        T: 's,
    {
        let mut sum = vec![0.0; self.classes.count];
        for (own, share) in sensors {
            for class in own.iter().filter_map(self.classes.of) {
                sum[class] += share / own.len() as f64;
            }
        }
        let solved = self.solve(&sum);
        solved.map_or(f64::INFINITY, |solved| {
            let product: f64 = solved.iter().zip(&sum).map(|(x, share)| x * share).sum();
            (self.variance * product).sqrt()
        })
    }

    /// Solves the normal equations, sensors taken out.
    fn solve(&self, right: &[f64]) -> Option<Vec<f64>> {
        let mut diagonal = vec![HELD; right.len()];
        for counts in &self.counts {
            let all: f64 = counts.values().sum();
            for (class, count) in counts {
                diagonal[*class] += count * (1.0 - count / all);
            }
        }
        conjugate_gradient(&diagonal, right, |effects| {
            let mut product: Vec<f64> = effects.iter().map(|effect| HELD * effect).collect();
            for counts in &self.counts {
                let sum = counts.iter().map(|(class, count)| count * effects[*class]);
                let mean = sum.sum::<f64>() / counts.values().sum::<f64>();
                for (class, count) in counts {
                    product[*class] += count * (effects[*class] - mean);
                }
            }
            product
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::study::Pair;
    use super::*;

    fn pairs(of: &[(usize, f64)]) -> Vec<Pair> {
        let pair = |&(meter, difference): &(usize, f64)| Pair {
            meter,
            difference,
            ..Pair::default()
        };
        of.iter().map(pair).collect()
    }

    /// By hand: the meters are 2 apart in one sensor and 3 in the other, of which 1/2 and 2/3 pairs tell: (1 + 2) / (7/6) = 18/7 in all. About that
    /// squares of 1/2 (4/7)² + 2/3 (3/7)² = 2/7 are left, of 6 pairs less 3 sensors and one effect: variance 1/7, and that of
    /// the effect (1/7) / (7/6) = 6/49.
    #[test]
    fn two_meters_in_two_sensors() {
        let sensors = [
            pairs(&[(0, 1.0), (1, 3.0)]),
            pairs(&[(0, 10.0), (1, 13.0), (0, 10.0)]),
            pairs(&[(1, 50.0)]),
        ];
        let classes = Classes {
            of: &|pair: &Pair| Some(pair.meter),
            count: 2,
        };
        let all = sensors.iter().map(Vec::as_slice);
        let effects = Effects::new(all, &classes, |pair: &Pair| pair.difference);
        let apart = effects.of(&sensors[0][1]) - effects.of(&sensors[0][0]);
        assert!((apart - 18.0 / 7.0).abs() < 1e-5, "{apart}");
        let shares = |of: [f64; 3]| sensors.iter().map(Vec::as_slice).zip(of);
        assert!(
            (effects.variance - 1.0 / 7.0).abs() < 1e-5,
            "{}",
            effects.variance
        );
        // The first has half of its pairs by either meter, the last all by one: (e0 + e1) / 2 - e1.
        let error = effects.std_error(shares([1.0, 0.0, -1.0]));
        assert!(
            (error - 0.5 * (6.0_f64 / 49.0).sqrt()).abs() < 1e-5,
            "{error}"
        );
        // What sensors are off by as a whole, none of them tells.
        assert!(effects.std_error(shares([1.0, 0.0, 0.0])) > 100.0);
    }
}
