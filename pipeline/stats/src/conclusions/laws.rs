//! The capital of a bet against shuffled sites, drawn ones drawn again: laws of how sensors come off or are disturbed at night if sites differ.
//!
//! Given what the sensors of a block showed and how many were worn at either site, a law gives each arrangement of sites a
//! chance in proportion to the product of its likelihoods; shuffled, all are equally likely. The capital is the ratio of
//! both for the arrangement that was worn, so that its mean over all of them is 1 whatever the law: one that is wrong costs
//! evidence, never honesty. Source, from memory: Lehmann and Stein 1949 Ann Math
//! Stat 20:28 (the most powerful test by permutation).

use super::bet::EFFECTS;
use super::blocks::{Member, level};
use super::shuffle::Shuffled;
use crate::zero::zero_between;

/// What sensors showed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Shown {
    /// Whether it came off; `expected` is the cumulative hazard that it met.
    Losses,
    /// Artefacts; `expected` is their mean.
    Artefacts,
    /// A mean; its weight is in proportion to one over its variance.
    Means,
}

/// Ratios of hazards that are bet on, as logarithms, and the share of the capital on each.
const HAZARDS: [(f64, f64); 2] = [(0.8, 0.25), (2.0, 0.75)];

/// The same of rates of artefacts.
const RATES: [(f64, f64); 2] = [(0.9, 0.5), (1.7, 0.5)];

/// Squared coefficient of variation between sensors of one site that artefacts are bet with: half of what scores are judged
/// by, which holds much of what differs between sites too.
const UNLIKE: f64 = 0.25;

/// The capital of a bet that either site has more than the other, by one of a few ratios or standard deviations.
pub(super) fn capital(members: &[Member], shown: Shown) -> f64 {
    match shown {
        Shown::Losses => mixture(members, HAZARDS, |block, effect, share| {
            block.iter().map(|m| losses(m, effect, share)).collect()
        }),
        Shown::Artefacts => mixture(members, RATES, |block, effect, share| {
            block.iter().map(|m| artefacts(m, effect, share)).collect()
        }),
        Shown::Means => {
            let deviation = deviation(members);
            mixture(members, EFFECTS, |block, effect, share| {
                means(block, effect, share, deviation)
            })
        }
    }
}

/// The mean capital of bets on effects in either direction, each with its share; `values` gives the log-likelihoods of a block's
/// sensors under an effect, for the share of all that is expected at the first site.
fn mixture(
    members: &[Member],
    bets: [(f64, f64); 2],
    values: impl Fn(&[Member], f64, f64) -> Vec<f64>,
) -> f64 {
    // What it would be in the mean of all arrangements, so that no value hangs on which of them was worn.
    let first = |member: &Member| member.chance.unwrap_or(f64::from(u8::from(member.first)));
    let share = members.iter().map(first).sum::<f64>() / members.len().max(1) as f64;
    let of = |effect: f64| {
        Shuffled::of(members, |block| values(block, effect, share))
            .map_or(1.0, |shuffled| shuffled.likelihood_ratio())
    };
    let both = |(effect, part): &(f64, f64)| 0.5 * part * (of(*effect) + of(-effect));
    bets.iter().map(both).sum()
}

/// Log-likelihood of a sensor at the first site less that at the second, with hazards in this ratio.
fn losses(member: &Member, log_ratio: f64, share: f64) -> f64 {
    let ratio = log_ratio.exp();
    member.seen * log_ratio - (ratio - 1.0) * second_hazard(member.expected, ratio, share)
}

/// The cumulative hazard at the second site, x, where that of a mixture is known: share e^(-ratio x) + (1 - share) e^(-x) =
/// e^(-hazard).
fn second_hazard(hazard: f64, ratio: f64, share: f64) -> f64 {
    let staying = (-hazard).exp();
    zero_between(0.0, hazard.max(hazard / ratio), |x| {
        share * (-ratio * x).exp() + (1.0 - share) * (-x).exp() - staying
    })
}

/// The same of artefacts, negative binomial with rates in this ratio whose mean over the sensors of both sites is known.
fn artefacts(member: &Member, log_ratio: f64, share: f64) -> f64 {
    let ratio = log_ratio.exp();
    let second = member.expected / (share * ratio + 1.0 - share);
    let spread = (UNLIKE * ratio * second).ln_1p() - (UNLIKE * second).ln_1p();
    member.seen * log_ratio - (member.seen + 1.0 / UNLIKE) * spread
}

/// The same of the means of a block's sensors, normal about two levels `effect` standard deviations apart, where that of all
/// sensors of both sites, `deviation`, is known.
fn means(block: &[Member], effect: f64, share: f64, deviation: Deviation) -> Vec<f64> {
    // Sites that far apart make a part of what all sensors scatter by.
    let apart = (1.0 + share * (1.0 - share) * effect * effect).sqrt();
    let halfway = 0.5 * effect * (1.0 - 2.0 * share);
    let level = level(block);
    let value = |member: &Member| {
        let distance = (member.score - level) * apart / deviation.of_all;
        effect * (member.weight / deviation.weight) * (distance - halfway)
    };
    block.iter().map(value).collect()
}

/// By how much scores scatter about their blocks' levels.
#[derive(Clone, Copy)]
struct Deviation {
    /// Standard deviation of a sensor of mean weight, whichever its site; above 0.
    of_all: f64,
    /// The mean weight.
    weight: f64,
}

fn deviation(members: &[Member]) -> Deviation {
    let (mut squares, mut df) = (0.0, 0.0);
    for block in members.chunk_by(|a, b| a.block == b.block) {
        let level = level(block);
        let of_block = block.iter().map(|m| m.weight * (m.score - level).powi(2));
        squares += of_block.sum::<f64>();
        df += block.len() as f64 - 1.0;
    }
    let weight = members.iter().map(|m| m.weight).sum::<f64>() / members.len().max(1) as f64;
    Deviation {
        of_all: (squares / weight / df).sqrt().max(f64::MIN_POSITIVE),
        weight,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Continuous, Discrete, NegativeBinomial, Normal};

    fn members(seen: &[f64], expected: &[f64], first: &[usize]) -> Vec<Member> {
        let member = |(sensor, (seen, expected)): (usize, (&f64, &f64))| Member {
            sensor,
            first: first.contains(&sensor),
            block: 0,
            score: *seen,
            weight: *expected,
            size: 1.0,
            seen: *seen,
            expected: *expected,
            chance: None,
        };
        let both = seen.iter().zip(expected);
        both.enumerate().map(member).collect()
    }

    /// A fair game: the mean over all 35 arrangements of three in seven is 1, and the three sensors with most for what was
    /// expected of them have the largest capital.
    #[test]
    fn the_mean_capital_over_all_arrangements_is_one() {
        let seen = [0.0, 6.0, 1.0, 9.0, 0.0, 1.0, 7.0];
        let expected = [3.0, 3.5, 2.0, 4.0, 1.0, 3.0, 3.5];
        let lost = [0.0, 1.0, 0.0, 1.0, 0.0, 0.0, 1.0];
        let hazard = [0.9, 0.3, 0.9, 0.2, 0.5, 0.9, 0.4];
        for (seen, expected, shown) in [
            (seen, expected, Shown::Artefacts),
            (lost, hazard, Shown::Losses),
            (seen, expected, Shown::Means),
        ] {
            let of = |places: u32| {
                let first: Vec<usize> = (0..7).filter(|at| places >> at & 1 == 1).collect();
                capital(&members(&seen, &expected, &first), shown)
            };
            let all = (0..1_u32 << 7).filter(|places| places.count_ones() == 3);
            let capitals: Vec<f64> = all.map(of).collect();
            let mean = capitals.iter().sum::<f64>() / 35.0;
            assert!((mean - 1.0).abs() < 1e-12, "{mean}");
            let most = capitals.iter().copied().fold(0.0, f64::max);
            assert_eq!(of(0b100_1010).to_bits(), most.to_bits());
        }
    }

    /// Six sensors drawn one after the other, each with a chance that hangs on where those before it went, and on how they did:
    /// over all 64 ways the mean capital is 1, each with the chance that it had.
    #[test]
    fn the_mean_capital_over_draws_whose_chances_change_is_one() {
        let seen = [1.0, 0.0, 1.0, 0.0, 0.0, 1.0];
        let hazard = [0.2, 0.9, 0.4, 0.9, 0.6, 0.3];
        // Where the first site lost more so far it is drawn less.
        let chances = |ways: u32| -> Vec<f64> {
            let lost = |place: usize| {
                let side = |at: usize| if ways >> at & 1 == 1 { 1.0 } else { -1.0 };
                (0..place).map(|at| seen[at] * side(at)).sum::<f64>()
            };
            (0..6)
                .map(|place| 1.0 / (1.0 + lost(place).exp()))
                .collect()
        };
        let of = |ways: u32| {
            let first: Vec<usize> = (0..6).filter(|at| ways >> at & 1 == 1).collect();
            let mut all = members(&seen, &hazard, &first);
            let mut chance = 1.0;
            for (member, of_first) in all.iter_mut().zip(chances(ways)) {
                chance *= if member.first {
                    of_first
                } else {
                    1.0 - of_first
                };
                member.chance = Some(of_first);
            }
            // The values themselves may not hang on the draws: one law for all ways.
            let ratio = Shuffled::of(&all, |block| {
                block.iter().map(|m| losses(m, 2.0, 0.5)).collect()
            });
            chance * ratio.unwrap().likelihood_ratio()
        };
        let mean: f64 = (0..64).map(of).sum();
        assert!((mean - 1.0).abs() < 1e-12, "{mean}");
    }

    /// Two blocks of two sensors that met the same hazard, of which the one at the first site came off: with r the ratio,
    /// either block has the chance r / (1 + r) instead of 1/2, and 1 / (1 + r) where the bet is on the other site.
    #[test]
    fn the_capital_of_two_blocks_by_hand() {
        let mut four = members(&[1.0, 0.0, 1.0, 0.0], &[0.4; 4], &[0, 2]);
        (four[2].block, four[3].block) = (1, 1);
        let by_hand: f64 = HAZARDS
            .iter()
            .map(|(log_ratio, part)| {
                let r = log_ratio.exp();
                2.0 * part * (r * r + 1.0) / (1.0 + r).powi(2)
            })
            .sum();
        let found = capital(&four, Shown::Losses);
        assert!((found / by_hand - 1.0).abs() < 1e-12, "{found} {by_hand}");
        for bets in [HAZARDS, RATES] {
            let parts: f64 = bets.iter().map(|(_, part)| part).sum();
            assert!((parts - 1.0).abs() < 1e-12);
        }
    }

    /// One sensor of four at the first site, by the library's chances of each count under either law.
    #[test]
    fn the_capital_of_counts_by_enumeration() {
        let seen = [5_u64, 1, 0, 2];
        let law = |mean: f64| NegativeBinomial::new(4.0, 4.0 / (4.0 + mean)).unwrap();
        let one = |log_ratio: f64| {
            let ratio = log_ratio.exp();
            let second = 2.0 / (0.25 * ratio + 0.75);
            let odds = seen.map(|count| law(ratio * second).pmf(count) / law(second).pmf(count));
            odds[0] / (odds.iter().sum::<f64>() / 4.0)
        };
        let by_library: f64 = RATES
            .iter()
            .map(|(log_ratio, part)| 0.5 * part * (one(*log_ratio) + one(-log_ratio)))
            .sum();
        let four = members(&seen.map(|count| count as f64), &[2.0; 4], &[0]);
        let found = capital(&four, Shown::Artefacts);
        assert!(
            (found / by_library - 1.0).abs() < 1e-9,
            "{found} {by_library}"
        );
    }

    /// One sensor of four at the first site, by the library's densities: levels d standard deviations apart about the weighted
    /// mean, and the variance that is left of that of all four.
    #[test]
    fn the_capital_of_means_by_enumeration() {
        let (scores, weights) = ([5.0, 1.0, 0.0, 2.0], [1.0, 2.0, 1.5, 0.5]);
        let all = || scores.iter().zip(&weights);
        let level = all().map(|(x, w)| x * w).sum::<f64>() / 5.0;
        let of_all = all()
            .map(|(x, w)| w / 1.25 * (x - level).powi(2))
            .sum::<f64>()
            / 3.0;
        let one = |effect: f64| {
            let variance = of_all / (1.0 + 0.25 * 0.75 * effect * effect);
            let odds: Vec<f64> = all()
                .map(|(x, w)| {
                    let law = |share: f64| {
                        let mean = level + share * effect * variance.sqrt();
                        Normal::new(mean, (variance * 1.25 / w).sqrt()).unwrap()
                    };
                    law(0.75).pdf(*x) / law(-0.25).pdf(*x)
                })
                .collect();
            odds[0] / (odds.iter().sum::<f64>() / 4.0)
        };
        let by_library: f64 = EFFECTS
            .iter()
            .map(|(effect, part)| 0.5 * part * (one(*effect) + one(-effect)))
            .sum();
        let found = capital(&members(&scores, &weights, &[0]), Shown::Means);
        assert!(
            (found / by_library - 1.0).abs() < 1e-9,
            "{found} {by_library}"
        );
    }

    /// With x = ln 2, a ratio of 2 and half of the sensors at either site 1/8 + 1/4 stay on.
    #[test]
    fn the_hazards_of_a_mixture() {
        let hazard = -(0.375_f64).ln();
        assert!((second_hazard(hazard, 2.0, 0.5) - 2.0_f64.ln()).abs() < 1e-9);
        // The other way round the second site has the hazard of 2 ln 2.
        assert!((second_hazard(hazard, 0.5, 0.5) - 4.0_f64.ln()).abs() < 1e-9);
        // A quarter of the sensors at the first: 1/16 + 3/8.
        let of_few = second_hazard(-(0.4375_f64).ln(), 2.0, 0.25);
        assert!((of_few - 2.0_f64.ln()).abs() < 1e-9);
        let stayed = &members(&[0.0], &[hazard], &[])[0];
        assert!((losses(stayed, 2.0_f64.ln(), 0.5) + 2.0_f64.ln()).abs() < 1e-9);
    }

    /// Against the library's negative binomial: of three sensors in four at the first site, at twice the rate of the second,
    /// 7/4 of which are 3.5 artefacts.
    #[test]
    fn artefacts_are_negative_binomial() {
        let law = |mean: f64| NegativeBinomial::new(4.0, 4.0 / (4.0 + mean)).unwrap();
        for seen in [0, 1, 5] {
            let sensor = &members(&[seen as f64], &[3.5], &[])[0];
            let by_library = law(4.0).ln_pmf(seen) - law(2.0).ln_pmf(seen);
            let found = artefacts(sensor, 2.0_f64.ln(), 0.75);
            assert!((found - by_library).abs() < 1e-9, "{found} {by_library}");
        }
    }
}
