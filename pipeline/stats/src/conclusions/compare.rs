//! Two sites in one measure at one look.

use super::bet::{capital, normal_score};
use super::blocks::{Member, Within};
use super::contrast::{Contrast, contrast};
use super::laws::{self, Counted};
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
/// artefacts p is by t where that is larger.
pub(super) fn compare(measure: Measure, members: &[Member]) -> Option<Comparison> {
    let contrast = contrast(members)?;
    let by_t = contrast.p()?;
    let shuffled = || Shuffled::new(members).and_then(|shuffled| shuffled.p());
    let (p, capital) = match measure {
        Measure::StaysOn => (
            shuffled().unwrap_or(1.0),
            laws::capital(members, Counted::Losses),
        ),
        Measure::QuietAtNight => (
            by_t.max(shuffled().unwrap_or(1.0)),
            laws::capital(members, Counted::Artefacts),
        ),
        _ => {
            let Contrast {
                df, information, ..
            } = contrast;
            (by_t, capital(contrast.t(), df, information))
        }
    };
    Some(Comparison {
        contrast,
        p,
        z: normal_score(p, contrast.difference),
        capital,
    })
}
