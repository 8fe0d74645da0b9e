//! Nights that were lost: what disturbs a sensor often cuts its signal too, so that the worst nights may be the missing ones.

use super::super::blocks::Member;
use super::super::contrast::{Contrast, contrast};
use super::super::rows::Row;
use super::super::scores::{NIGHTS_OF_A_SENSOR, of_nights, rate_scores};
use super::super::study::{Night, Study};
use super::classes::Classes;
use super::compared::Compared;
use super::{AGES, Claim, Confounder, of_age, whole_blocks};

/// What of the nights a row's claim cannot be told from.
pub(super) fn found(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    let went = [
        (Confounder::Age, by_age(study, row, claim)),
        (Confounder::Gaps, by_lost(study, row, claim)),
    ];
    let went = went.into_iter().filter(|(_, went)| *went);
    went.map(|(confounder, _)| confounder).collect()
}

/// Whether the claim falls with the age of wear: sensors that come off early have young nights alone.
fn by_age(study: &Study<'_>, row: &Row, claim: Claim) -> bool {
    let compared = Compared {
        study,
        members: &row.members,
        claim,
        of: |sensor| &sensor.nights,
        value: &|night: &Night| 100.0 * night.artefacts,
        half: NIGHTS_OF_A_SENSOR,
    };
    let ages = Classes {
        of: &|night: &Night| of_age(night.age),
        count: AGES.len() + 1,
    };
    compared.apart(&ages) || compared.went(&ages)
}

/// Whether the claim falls, or holds no longer, when each lost night counts as disturbed.
fn by_lost(study: &Study<'_>, row: &Row, claim: Claim) -> bool {
    let lost = |member: &Member| study.sensors[member.sensor].lost_nights.len() as f64;
    if claim == Claim::None || row.members.iter().all(|member| lost(member) == 0.0) {
        return false;
    }
    let rates = |lost: &dyn Fn(&Member) -> f64| {
        let rate = |member: &Member| {
            let nights = &study.sensors[member.sensor].nights;
            let artefacts: f64 = nights.iter().map(|night| night.artefacts).sum();
            let score = of_nights(artefacts + lost(member), nights.len() as f64 + lost(member))?;
            Some(Member {
                score: score.value,
                weight: score.weight,
                size: score.size,
                ..*member
            })
        };
        whole_blocks(row.members.iter().filter_map(rate).collect())
    };
    let (told, disturbed) = (rates(&|_| 0.0), rates(&lost));
    let both = contrast(&told).zip(contrast(&disturbed));
    let stands = both.is_some_and(|(told, plain)| {
        let mut scored = disturbed;
        // What is claimed to be alike is so in artefacts; a difference was tested on scores.
        if !matches!(claim, Claim::Alike(_)) {
            rate_scores(study, row.within, &mut scored);
        }
        let holds = |scored: Contrast| claim.holds(told.difference, &scored);
        !claim.falls(told.difference, plain.difference) && contrast(&scored).is_some_and(holds)
    });
    !stands
}
