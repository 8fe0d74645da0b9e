//! Nights that were lost: what disturbs a sensor often cuts its signal too, so that the worst nights may be the missing ones.

use super::super::blocks::Member;
use super::super::contrast::{Contrast, contrast};
use super::super::rows::Row;
use super::super::scores::{of_nights, rate_scores};
use super::super::study::Study;
use super::{Claim, Confounder, whole_blocks};

/// Whether the claim falls, or holds no longer, when each lost night counts as disturbed.
pub(super) fn found(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    let lost = |member: &Member| study.sensors[member.sensor].lost_nights.len() as f64;
    if claim == Claim::None || row.members.iter().all(|member| lost(member) == 0.0) {
        return Vec::new();
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
    (!stands).then_some(Confounder::Gaps).into_iter().collect()
}
