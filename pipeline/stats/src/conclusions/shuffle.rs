//! How often sites shuffled within blocks, or drawn again by lot, lie as far apart: the tail of a permutation distribution
//! without drawing.
//!
//! Sensors whose site was chosen are exchanged with each other within their block. Those whose site was drawn by lot are drawn
//! again, each by the chances that it had when it was drawn: these may have changed from one to the next, and with what was
//! seen before, which exchanging takes no notice of. Given what all sensors showed, and without a difference, the ratio of any
//! other law of the draws to theirs is then a fair game whatever the chances hung on; the tail is a limit of many draws, since
//! other draws would have had other chances. Sources, from memory: Pitman 1937 Suppl J R Stat Soc 4:119 (exchanging); Rosenberger, Uschner and Wang 2019 Stat
//! Med 38:1 (drawing again by the rule of the draws).
//!
//! Coming off and night artefacts are rare and lopsided, so that a t statistic of few sensors is no guide to its tail. The
//! moment generating function of a sum of k out of n values is an elementary symmetric polynomial of their exponentials,
//! and exact; the tail follows from it by a saddle point, and so does the capital of a bet ([`super::laws`]).

use super::blocks::{Member, level};
use crate::distributions::normal_upper_tail;

/// How far a tilt may pull the most extreme value: beyond, the observed sum is the largest possible.
const FARTHEST: f64 = 30.0;

/// Sites shuffled within blocks or drawn again: the first site's sum of values less its mean, and what it could have been.
pub(super) struct Shuffled {
    blocks: Vec<Block>,
    draws: Vec<Draw>,
    sum: f64,
    /// The value farthest from 0.
    farthest: f64,
}

impl Shuffled {
    /// Of weighted scores about their block's weighted mean. `None` where nothing varies.
    pub fn new(members: &[Member]) -> Option<Self> {
        Self::of(members, |block| {
            let level = level(block);
            block.iter().map(|m| m.weight * (m.score - level)).collect()
        })
    }

    /// Of any values that do not depend on which site each sensor of a block was worn at. Members stand in the order of their
    /// blocks. `None` where nothing varies.
    pub fn of(members: &[Member], values: impl Fn(&[Member]) -> Vec<f64>) -> Option<Self> {
        let (mut blocks, mut draws) = (Vec::new(), Vec::new());
        for block in members.chunk_by(|a, b| a.block == b.block) {
            let both = block.iter().zip(values(block));
            let (drawn, chosen): (Vec<_>, Vec<_>) = both.partition(|(m, _)| m.chance.is_some());
            draws.extend(
                drawn
                    .into_iter()
                    .filter_map(|(m, value)| Draw::new(m, value)),
            );
            blocks.extend(Block::new(chosen));
        }
        let values = blocks
            .iter()
            .flat_map(|block: &Block| block.values.iter().copied());
        let values = values.chain(draws.iter().map(|draw| draw.value));
        let farthest = values.fold(0.0, |most: f64, value| most.max(value.abs()));
        let sum = blocks.iter().map(|block| block.sum).sum::<f64>()
            + draws.iter().map(Draw::sum).sum::<f64>();
        (farthest > 0.0).then_some(Self {
            blocks,
            draws,
            sum,
            farthest,
        })
    }

    /// The cumulant generating function of the sum, and its two derivatives.
    fn cumulants(&self, tilt: f64) -> [f64; 3] {
        let mut work = Vec::new();
        let blocks = self.blocks.iter().map(|b| b.cumulants(tilt, &mut work));
        let draws = self.draws.iter().map(|draw| draw.cumulants(tilt));
        blocks
            .chain(draws)
            .fold([0.0; 3], |[k, slope, bend], [a, b, c]| {
                [k + a, slope + b, bend + c]
            })
    }

    /// The largest sum, or the smallest with its sign turned.
    fn largest(&self, side: f64) -> f64 {
        let blocks = self.blocks.iter().map(|block| block.largest(side));
        blocks
            .chain(self.draws.iter().map(|draw| draw.largest(side)))
            .sum()
    }

    /// Two-sided p, if sites were shuffled within blocks or drawn again.
    ///
    /// With K the cumulant generating function of the sum and t where K'(t) is the sum s: r = √(2 (t s - K(t))), u = t √K''(t),
    /// p = 2 Φ(-(r + ln(u / r) / r)); where s is the largest possible sum, twice its own chance. It counts half of the chance
    /// of s itself, as a mid-p does. Sources, from memory: Robinson 1982 J R Stat Soc B 44:91 (saddle points of permutation tests);
    /// Barndorff-Nielsen 1986 Biometrika 73:307 (the form of the tail). `None` where nothing varies.
    pub fn p(&self) -> Option<f64> {
        let side = if self.sum < 0.0 { -1.0 } else { 1.0 };
        let at = |tilt: f64| {
            let [k, slope, bend] = self.cumulants(side * tilt);
            [k, side * slope, bend]
        };
        let sum = self.sum.abs();
        let most = FARTHEST / self.farthest;
        let largest = self.largest(side);
        if sum >= largest - 1e-9 * self.farthest {
            return Some((2.0 * (at(most)[0] - most * sum).exp()).min(1.0));
        }
        let (mut low, mut high) = (0.0, most);
        let [_, start, bend] = at(0.0);
        if bend <= 0.0 {
            return None;
        }
        let mut tilt = ((sum - start) / bend).clamp(0.0, most);
        let mut found = at(tilt);
        for _ in 0..60 {
            let [_, slope, bend] = found;
            if (slope - sum).abs() <= 1e-9 * self.farthest || high - low <= 1e-12 * most {
                break;
            }
            if slope < sum {
                low = tilt;
            } else {
                high = tilt;
            }
            let step = tilt + (sum - slope) / bend;
            tilt = if step > low && step < high {
                step
            } else {
                0.5 * (low + high)
            };
            found = at(tilt);
        }
        let [k, _, bend] = found;
        let reach = tilt * sum - k;
        let tail = if tilt >= 0.98 * most {
            (-reach).exp()
        } else {
            let (r, u) = ((2.0 * reach.max(0.0)).sqrt(), tilt * bend.max(0.0).sqrt());
            if r < 1e-3 || u <= 0.0 {
                0.5
            } else {
                normal_upper_tail(r + (u / r).ln() / r)
            }
        };
        tail.is_finite().then_some((2.0 * tail).min(1.0))
    }

    /// exp(sum) over its mean over all arrangements: how much likelier this one is than shuffled, if values are log-likelihoods
    /// of being of the first site.
    pub fn likelihood_ratio(&self) -> f64 {
        (self.sum - self.cumulants(1.0)[0]).exp()
    }
}

/// Values that exchange sites, the largest first.
struct Block {
    values: Vec<f64>,
    first: usize,
    sum: f64,
}

impl Block {
    /// `None` where no member, or every one, is of the first site.
    fn new(chosen: Vec<(&Member, f64)>) -> Option<Self> {
        let level = chosen.iter().map(|(_, value)| value).sum::<f64>() / chosen.len() as f64;
        let of_first = chosen.iter().filter(|(m, _)| m.first);
        let of_first: Vec<f64> = of_first.map(|(_, value)| value - level).collect();
        let (first, sum) = (of_first.len(), of_first.iter().sum());
        let mut values: Vec<f64> = chosen.iter().map(|(_, value)| value - level).collect();
        values.sort_by(|a, b| b.total_cmp(a));
        (first > 0 && first < values.len()).then_some(Self { values, first, sum })
    }

    /// The largest sum of `first` values, or the smallest with its sign turned.
    fn largest(&self, side: f64) -> f64 {
        let ends: &mut dyn Iterator<Item = &f64> = if side > 0.0 {
            &mut self.values.iter()
        } else {
            &mut self.values.iter().rev()
        };
        side * ends.take(self.first).sum::<f64>()
    }

    /// The cumulant generating function of the sum of `first` values drawn without replacement, and its two derivatives.
    fn cumulants(&self, tilt: f64, work: &mut Vec<[f64; 3]>) -> [f64; 3] {
        let (n, k) = (self.values.len(), self.first);
        // About the k-th largest power, so that neither overflow nor underflow is near.
        let centre = tilt * self.values[if tilt < 0.0 { n - k } else { k - 1 }];
        work.clear();
        work.resize(k + 1, [0.0; 3]);
        work[0][0] = 1.0;
        for (seen, &value) in self.values.iter().enumerate() {
            let x = (tilt * value - centre).exp();
            for size in (1..=k.min(seen + 1)).rev() {
                let [p, dp, ddp] = work[size - 1];
                let cell = &mut work[size];
                cell[0] += x * p;
                cell[1] += x * (dp + value * p);
                cell[2] += x * (ddp + 2.0 * value * dp + value * value * p);
            }
        }
        let [p, dp, ddp] = work[k];
        let ways: f64 = (0..k).map(|i| ((n - i) as f64 / (i + 1) as f64).ln()).sum();
        let slope = dp / p;
        [
            p.ln() + k as f64 * centre - ways,
            slope,
            ddp / p - slope * slope,
        ]
    }
}

/// A sensor whose site was drawn.
struct Draw {
    value: f64,
    chance: f64,
    first: bool,
}

impl Draw {
    /// `None` where its site was chosen.
    fn new(member: &Member, value: f64) -> Option<Self> {
        member.chance.map(|chance| Self {
            value,
            chance,
            first: member.first,
        })
    }

    /// What it adds to the sum, less the mean of that.
    fn sum(&self) -> f64 {
        self.value * (f64::from(u8::from(self.first)) - self.chance)
    }

    fn largest(&self, side: f64) -> f64 {
        let ends = [1.0 - self.chance, -self.chance].map(|part| side * self.value * part);
        ends[0].max(ends[1])
    }

    /// The cumulant generating function of what it adds, and its two derivatives.
    fn cumulants(&self, tilt: f64) -> [f64; 3] {
        let (value, chance) = (self.value, self.chance);
        let tilted = chance * (tilt * value).exp();
        let total = 1.0 - chance + tilted;
        let first = tilted / total;
        [
            total.ln() - tilt * chance * value,
            value * (first - chance),
            value * value * first * (1.0 - first),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn members(values: &[f64], first: &[usize]) -> Vec<Member> {
        let member = |(sensor, score): (usize, &f64)| Member {
            sensor,
            first: first.contains(&sensor),
            block: 0,
            score: *score,
            weight: 1.0,
            size: 1.0,
            seen: 0.0,
            expected: 0.0,
            chance: None,
        };
        values.iter().enumerate().map(member).collect()
    }

    /// All 924 ways to choose six of twelve, counted.
    fn counted(values: &[f64], first: &[usize]) -> f64 {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let sum = |of: u32| -> f64 {
            let chosen = (0..values.len()).filter(|place| of >> place & 1 == 1);
            chosen.map(|place| values[place] - mean).sum()
        };
        let observed = sum(first.iter().map(|place| 1 << place).sum()).abs();
        let all: Vec<f64> = (0..1_u32 << values.len())
            .filter(|of| of.count_ones() as usize == first.len())
            .map(|of| sum(of) * sum(first.iter().map(|place| 1 << place).sum()).signum())
            .collect();
        let beyond = all.iter().filter(|sum| **sum > observed + 1e-9).count() as f64;
        let at = all
            .iter()
            .filter(|sum| (**sum - observed).abs() <= 1e-9)
            .count() as f64;
        2.0 * (beyond + 0.5 * at) / all.len() as f64
    }

    #[test]
    fn the_saddle_point_is_near_the_count_of_all_arrangements() {
        let values = [
            0.3, 1.9, -0.7, 2.8, 0.1, 5.5, 1.2, -1.4, 0.6, 3.1, 0.2, -0.3,
        ];
        for first in [[1, 3, 5, 6, 9, 0], [1, 3, 5, 8, 10, 0], [1, 5, 9, 3, 2, 7]] {
            let (near, exact) = (
                Shuffled::new(&members(&values, &first))
                    .unwrap()
                    .p()
                    .unwrap(),
                counted(&values, &first),
            );
            assert!((near / exact - 1.0).abs() < 0.12, "{near} {exact}");
        }
        // The largest sum of all: twice its own chance.
        let first = [1, 3, 5, 6, 8, 9];
        let near = Shuffled::new(&members(&values, &first))
            .unwrap()
            .p()
            .unwrap();
        assert!(near > 1.0 / 924.0 && near < 2.5 / 924.0, "{near}");
    }

    /// Nothing comes off at one site and eight of ten at the other, all at different times: the least and the largest sum, of
    /// which there are 66 (which ten of the twelve that stayed on) in 184,756.
    #[test]
    fn none_against_eight_of_ten() {
        let scores: Vec<f64> = (0..20)
            .map(|place| {
                if place < 8 {
                    1.0 - 0.05 * place as f64
                } else {
                    -0.54
                }
            })
            .collect();
        let exact = 2.0 * 66.0 / 184_756.0;
        for first in [8..18, 0..10] {
            let first: Vec<usize> = first.collect();
            let p = Shuffled::new(&members(&scores, &first))
                .unwrap()
                .p()
                .unwrap();
            assert!((p / exact - 1.0).abs() < 1e-6, "{first:?}: {p}");
        }
    }

    /// Ten sensors drawn with chances of their own, all 1,024 ways they could have gone: p beside the chance of sums as far from
    /// their mean on that side, twice, half of the observed one's own.
    #[test]
    fn drawing_again_is_near_the_count_of_all_draws() {
        let values = [0.8, 1.9, -0.7, 2.8, 0.9, -1.5, 1.2, -1.4, 0.6, -2.1];
        let chances = [0.5, 0.2, 0.6, 0.8, 0.5, 0.4, 0.7, 0.3, 0.9, 0.5];
        let level = values.iter().sum::<f64>() / 10.0;
        let sum = |ways: u32| -> f64 {
            let of = |place: usize| f64::from(ways >> place & 1) - chances[place];
            (0..10)
                .map(|place| (values[place] - level) * of(place))
                .sum()
        };
        let chance = |ways: u32| -> f64 {
            let of = |place: usize| match ways >> place & 1 {
                1 => chances[place],
                _ => 1.0 - chances[place],
            };
            (0..10).map(of).product()
        };
        let p = |ways: u32| {
            let first: Vec<usize> = (0..10).filter(|place| ways >> place & 1 == 1).collect();
            let mut all = members(&values, &first);
            for (member, chance) in all.iter_mut().zip(chances) {
                member.chance = Some(chance);
            }
            Shuffled::new(&all).unwrap().p().unwrap()
        };
        for ways in 0..1024 {
            let observed = sum(ways);
            let beyond =
                (0..1024).filter(|other| sum(*other) * observed.signum() > observed.abs() + 1e-9);
            let exact = 2.0 * (beyond.map(chance).sum::<f64>() + 0.5 * chance(ways));
            let near = p(ways);
            // Farther out there are too few ways for any smooth tail.
            let ratio = near / exact.min(1.0);
            assert!(
                exact < 0.03 || (0.7..1.6).contains(&ratio),
                "{ways:b}: {near} {exact}"
            );
        }
        // All of those above the level at the first site: the largest sum, twice its own chance.
        let most = (0..10)
            .filter(|place| values[*place] > level)
            .map(|place| 1 << place)
            .sum();
        assert!(
            (p(most) / (2.0 * chance(most)) - 1.0).abs() < 0.05,
            "{}",
            p(most)
        );
    }

    /// The chosen are shuffled among themselves: where all of them were worn at one site they tell nothing.
    #[test]
    fn chosen_sensors_of_one_site_tell_nothing_beside_drawn_ones() {
        let drawn = |values: &[f64], first: &[usize]| {
            let mut all = members(values, first);
            all.iter_mut()
                .take(4)
                .for_each(|member| member.chance = Some(0.5));
            Shuffled::of(&all, |block| block.iter().map(|m| m.score).collect()).unwrap()
        };
        let alone = drawn(&[1.0, -2.0, 0.5, 3.0], &[0, 3]);
        let beside = drawn(&[1.0, -2.0, 0.5, 3.0, 9.0, -7.0, 5.0], &[0, 3, 4, 5, 6]);
        assert!((alone.likelihood_ratio() / beside.likelihood_ratio() - 1.0).abs() < 1e-12);
        // By hand: e^4 over the product of (1 + e^v) / 2.
        let by_hand: f64 = [1.0_f64, -2.0, 0.5, 3.0]
            .iter()
            .map(|v| 2.0 / (1.0 + v.exp()))
            .product();
        assert!((alone.likelihood_ratio() / (by_hand * 4.0_f64.exp()) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn nothing_that_varies_has_no_p() {
        assert!(Shuffled::new(&members(&[1.0; 6], &[0, 1, 2])).is_none());
    }
}
