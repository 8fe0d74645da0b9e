//! Two sites in one measure at one look.

use super::bet::{capital, normal_score};
use super::blocks::{Member, Within, by_lot};
use super::contrast::{Contrast, contrast};
use super::laws::{self, Shown};
use super::measure::Measure;
use super::scores::{
    Life, Order, Score, Sides, life, members, members_by_hazard, members_by_rate, scores,
};
use super::shuffle::Shuffled;
use super::study::Study;

/// What every sensor showed in one measure up to a look.
pub(super) enum Known {
    /// A score each.
    Scores(Vec<Option<Score>>),
    /// Artefacts and nights of each: scores depend on what it is compared with.
    Rates(Vec<Option<Score>>),
    /// How long each stayed on: scores depend on what it is compared with.
    Lives(Vec<Option<Life>>),
}

impl Known {
    pub fn new(study: &Study<'_>, measure: Measure, now: f64) -> Self {
        match measure {
            Measure::StaysOn => Self::Lives(study.sensors.iter().map(|s| life(s, now)).collect()),
            Measure::QuietAtNight => Self::Rates(scores(study, measure, now)),
            _ => Self::Scores(scores(study, measure, now)),
        }
    }

    /// Whether a sensor showed anything.
    pub fn has(&self, sensor: usize) -> bool {
        match self {
            Self::Scores(scores) | Self::Rates(scores) => scores[sensor].is_some(),
            Self::Lives(lives) => lives[sensor].is_some(),
        }
    }

    /// The sensors of a site and what it is compared with, in blocks.
    pub fn members(
        &self,
        study: &Study<'_>,
        order: &Order,
        within: Within,
        sides: Sides<'_>,
    ) -> Vec<Member> {
        match self {
            Self::Scores(scores) => members(study, order, within, sides, scores),
            Self::Rates(rates) => members_by_rate(study, order, within, sides, rates),
            Self::Lives(lives) => members_by_hazard(study, order, within, sides, lives),
        }
    }
}

/// Two sites compared.
pub(super) struct Comparison {
    /// The difference on the scale that is tested: of log-rank scores where sensors stay on, else that of the measure.
    pub contrast: Contrast,
    /// Two-sided p of no difference.
    pub p: f64,
    /// Its normal score, with the sign of the difference.
    pub z: f64,
    /// The capital of a bet against no difference.
    pub capital: f64,
}

/// Tests two sites; `None` with too few sensors.
///
/// Coming off and artefacts are rare and lopsided: there p and the bet are those of shuffled sites, drawn ones drawn again. What a sensor's nights tell
/// depends on how many there were, so that sites where sensors stay on unequally long scatter unlike though rates are alike: for
/// artefacts p is by t where that is larger. Means are tested by t; where a lot drew sensors, whose chances may have moved with
/// the season within a block, both p and the bet are also those of drawing again, whichever finds less.
pub(super) fn compare(measure: Measure, members: &[Member]) -> Option<Comparison> {
    let contrast = contrast(members)?;
    let by_t = contrast.p()?;
    let shuffled = || Shuffled::new(members).and_then(|shuffled| shuffled.p());
    let (p, capital) = match measure {
        Measure::StaysOn => (
            shuffled().unwrap_or(1.0),
            laws::capital(members, Shown::Losses),
        ),
        Measure::QuietAtNight => (
            by_t.max(shuffled().unwrap_or(1.0)),
            laws::capital(members, Shown::Artefacts),
        ),
        Measure::ReadsTrue | Measure::ReadsHighOrLow | Measure::Delay => {
            let bet = capital(contrast.t(), contrast.df, contrast.information);
            if by_lot(members) {
                (
                    by_t.max(shuffled().unwrap_or(1.0)),
                    bet.min(laws::capital(members, Shown::Means)),
                )
            } else {
                (by_t, bet)
            }
        }
    };
    Some(Comparison {
        contrast,
        p,
        z: normal_score(p, contrast.difference),
        capital,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sensors that read higher and higher, of sites alike, while the lot turns from one site to the other.
    fn drifting(drawn: bool) -> Vec<Member> {
        let first = [1, 1, 1, 0, 1, 1, 0, 0, 1, 0, 0, 0];
        let member = |(sensor, first): (usize, i32)| Member {
            sensor,
            first: first == 1,
            block: 0,
            score: sensor as f64,
            weight: 1.0,
            size: 1.0,
            seen: 0.0,
            expected: 0.0,
            chance: drawn.then_some(0.95 - 0.9 * sensor as f64 / 11.0),
        };
        first.into_iter().enumerate().map(member).collect()
    }

    /// By hand: means 20/6 and 46/6, variances of 26/3 each, t = 2.55 on about ten degrees of freedom, p = 0.03; drawn again
    /// with those chances such a difference is nothing to speak of.
    #[test]
    fn a_drift_that_goes_with_the_chances_of_the_lot_is_no_difference() {
        for measure in [Measure::ReadsTrue, Measure::ReadsHighOrLow, Measure::Delay] {
            let chosen = compare(measure, &drifting(false)).unwrap();
            let drawn = compare(measure, &drifting(true)).unwrap();
            assert!(
                (0.029..0.033).contains(&chosen.p) && chosen.capital > 3.0,
                "{measure:?}: {} {}",
                chosen.p,
                chosen.capital
            );
            assert!(
                drawn.p > 0.3 && drawn.capital < 1.0,
                "{measure:?}: {} {}",
                drawn.p,
                drawn.capital
            );
            assert_eq!(drawn.contrast, chosen.contrast);
        }
    }

    /// With even chances drawing again is a t test's near neighbour, and the larger p of both stands.
    #[test]
    fn even_chances_find_no_more_than_t() {
        let mut even = drifting(true);
        even.iter_mut().for_each(|m| m.chance = Some(0.5));
        let (drawn, chosen) = (
            compare(Measure::ReadsTrue, &even).unwrap(),
            compare(Measure::ReadsTrue, &drifting(false)).unwrap(),
        );
        assert!(
            drawn.p >= chosen.p && drawn.p < 0.05,
            "{} {}",
            drawn.p,
            chosen.p
        );
        assert!(
            drawn.capital <= chosen.capital && drawn.capital > 2.0,
            "{} {}",
            drawn.capital,
            chosen.capital
        );
    }
}
