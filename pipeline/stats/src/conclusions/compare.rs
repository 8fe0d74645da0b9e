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

/// Whether neither site has more than [`UNEQUAL`] times the sensors of the other.
fn balanced(contrast: &Contrast) -> bool {
    let [one, other] = contrast.sides.map(|side| side.sensors as f64);
    one.max(other) <= UNEQUAL * one.min(other)
}

/// Sensors of one site over those of the other from which on drawing again is not trusted with sites that scatter unlike: as
/// many of both are shuffled as widely as they scatter, whatever that is of either.
const UNEQUAL: f64 = 1.5;

/// Tests two sites; `None` with too few sensors.
///
/// Coming off and artefacts are rare and lopsided: there p and the bet are those of shuffled sites, drawn ones drawn again. What a sensor's nights tell
/// depends on how many there were, so that sites where sensors stay on unequally long scatter unlike though rates are alike: for
/// artefacts p is by t where that is larger. Means are tested by t; where a lot drew sensors, whose chances may have moved with
/// the season within a block, p and the bet are those of drawing again, and by t where that finds less and one site has so
/// many more sensors that its scatter would stand for that of both.
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
            let again = || {
                let p = shuffled().unwrap_or(1.0);
                (p, laws::capital(members, Shown::Means))
            };
            match (by_lot(members), balanced(&contrast)) {
                (false, _) => (by_t, bet),
                (true, true) => again(),
                (true, false) => {
                    let (p, drawn) = again();
                    (by_t.max(p), bet.min(drawn))
                }
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

    /// With even chances and as many sensors of either site drawing again finds about what t does, and stands alone; where the
    /// few sensors of one site scatter far more, t finds less, and stands.
    #[test]
    fn t_guards_where_one_site_has_many_more_sensors() {
        let mut even = drifting(true);
        even.iter_mut().for_each(|m| m.chance = Some(0.5));
        let again = Shuffled::new(&even).unwrap().p().unwrap();
        let drawn = compare(Measure::ReadsTrue, &even).unwrap();
        assert!(drawn.p == again && (0.02..0.05).contains(&again), "{again}");
        assert!((2.0..8.0).contains(&drawn.capital), "{}", drawn.capital);

        let scores = [
            -6.0, 0.3, 10.0, -0.8, 0.1, 9.0, 0.9, -0.4, 0.6, 7.0, -0.1, 0.2, -0.7, 0.5, -0.2, -0.4,
        ];
        let mut few = drifting(true);
        few.extend(few.clone().into_iter().take(4));
        for (place, (member, score)) in few.iter_mut().zip(scores).enumerate() {
            member.sensor = place;
            member.first = [0, 2, 5, 9].contains(&place);
            member.score = score;
            member.chance = Some(0.25);
        }
        let again = Shuffled::new(&few).unwrap().p().unwrap();
        let guarded = compare(Measure::ReadsTrue, &few).unwrap();
        assert_eq!(Some(guarded.p), guarded.contrast.p());
        assert!(again < 0.5 * guarded.p, "{again} {}", guarded.p);
        assert!(guarded.capital < laws::capital(&few, Shown::Means));
    }
}
