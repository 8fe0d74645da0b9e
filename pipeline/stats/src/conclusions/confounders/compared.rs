//! A row with what single pairs or nights say of its claim.

use super::super::blocks::Member;
use super::super::contrast::{Contrast, coefficients, contrast};
use super::super::scores::weighted;
use super::super::study::{Sensor, Study};
use super::classes::{Classes, Effects};
use super::{BY_CHANCE, Claim, whole_blocks};
use std::collections::BTreeSet;

/// Sensors of either site, or all it has, that are set against ones of the other by classes that both have, before sites are said to share
/// any.
const SHARED_BY: usize = 3;

/// The sensors of a row with their pairs or nights, and what is claimed of a mean of those.
pub(super) struct Compared<'a, T> {
    pub study: &'a Study<'a>,
    pub members: &'a [Member],
    pub claim: Claim,
    pub of: fn(&Sensor) -> &[T],
    pub value: &'a dyn Fn(&T) -> f64,
    /// How many of them weigh half as much as any number.
    pub half: f64,
}

impl<T> Compared<'_, T> {
    fn all_of(&self, member: &Member) -> &[T] {
        (self.of)(&self.study.sensors[member.sensor])
    }

    /// The sensors with means of other values, each with a weight at its side; without those that have none.
    pub fn rescored(
        &self,
        weight: &dyn Fn(usize, &T) -> f64,
        value: &dyn Fn(&T) -> f64,
    ) -> Vec<Member> {
        let score = |member: &Member| {
            let side = usize::from(!member.first);
            let all = self.all_of(member).iter();
            let score = weighted(all.map(|one| (weight(side, one), value(one))), self.half)?;
            Some(Member {
                score: score.value,
                weight: score.weight,
                size: score.size,
                ..*member
            })
        };
        whole_blocks(self.members.iter().filter_map(score).collect())
    }

    fn difference(&self) -> Option<f64> {
        let told = contrast(&self.rescored(&|_, _| 1.0, self.value))?;
        Some(told.difference)
    }

    fn with(&self, other: &[Member], of: impl Fn(f64, &Contrast) -> bool) -> bool {
        let both = self.difference().zip(contrast(other));
        both.is_some_and(|(difference, other)| of(difference, &other))
    }

    pub fn falls(&self, adjusted: &[Member]) -> bool {
        self.with(adjusted, |difference, adjusted| {
            self.claim.falls(difference, adjusted.difference)
        })
    }

    pub fn holds(&self, among: &[Member]) -> bool {
        self.with(among, |difference, among| {
            self.claim.holds(difference, among)
        })
    }

    pub fn stands(&self, adjusted: &[Member]) -> bool {
        !self.falls(adjusted) && self.holds(adjusted)
    }

    /// Whether the claim falls without what classes do within sensors, or is lost in what is not known of that, where classes went along with
    /// sites.
    pub fn went(&self, classes: &Classes<'_, T>) -> bool {
        if self.claim == Claim::None {
            return false;
        }
        let sensors = self.members.iter().map(|member| self.all_of(member));
        let effects = Effects::new(sensors, classes, self.value);
        let adjusted = self.rescored(&|_, _| 1.0, &|one| (self.value)(one) - effects.of(one));
        let moved = self.rescored(&|_, _| 1.0, &|one| effects.of(one));
        let along = contrast(&moved).and_then(|moved| moved.p());
        self.falls(&adjusted)
            || along.is_some_and(|p| p < BY_CHANCE) && self.lost(&adjusted, &effects)
    }

    /// Whether the adjusted difference does not hold with the error of what was taken off it.
    fn lost(&self, adjusted: &[Member], effects: &Effects<'_, T>) -> bool {
        let shares = coefficients(adjusted);
        let shares = adjusted
            .iter()
            .zip(shares)
            .map(|(m, share)| (self.all_of(m), share));
        let error = effects.std_error(shares);
        !self.with(adjusted, |difference, adjusted| {
            let std_error = adjusted.std_error.hypot(error);
            let adjusted = Contrast {
                std_error,
                ..*adjusted
            };
            self.claim.holds(difference, &adjusted)
        })
    }

    /// Whether sites share no class, though either has some.
    pub fn apart(&self, classes: &Classes<'_, T>) -> bool {
        let mut sensors = vec![[0; 2]; classes.count];
        let mut all = [0; 2];
        for member in self.members {
            let side = usize::from(!member.first);
            all[side] += 1;
            let found = self.all_of(member).iter().filter_map(classes.of);
            for class in found.collect::<BTreeSet<usize>>() {
                sensors[class][side] += 1;
            }
        }
        let any = |side: usize| sensors.iter().any(|of| of[side] > 0);
        let shared: usize = sensors.iter().map(|[one, other]| *one.min(other)).sum();
        any(0) && any(1) && shared < SHARED_BY.min(all[0]).min(all[1])
    }
}
