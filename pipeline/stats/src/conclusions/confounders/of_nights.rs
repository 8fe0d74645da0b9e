//! Nights that were lost: what disturbs a sensor often cuts its signal too, so that the worst nights may be the missing ones.

use super::super::blocks::Member;
use super::super::contrast::contrast;
use super::super::rows::Row;
use super::super::scores::of_nights;
use super::super::study::{Sensor, Study};
use super::{Claim, Confounder, whole_blocks};

/// Whether the claim falls when each lost night counts as disturbed.
pub(super) fn found(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    let difference = |lost: fn(&Sensor) -> f64| {
        let score = |member: &Member| {
            let sensor = &study.sensors[member.sensor];
            let artefacts: f64 = sensor.nights.iter().map(|night| night.artefacts).sum();
            let nights = sensor.nights.len() as f64;
            let score = of_nights(artefacts + lost(sensor), nights + lost(sensor))?;
            Some(Member {
                score: score.value,
                weight: score.weight,
                size: score.size,
                ..*member
            })
        };
        let members = row.members.iter().filter_map(score).collect();
        contrast(&whole_blocks(members)).map(|contrast| contrast.difference)
    };
    let told = difference(|_| 0.0);
    let disturbed = difference(|sensor| sensor.lost_nights.len() as f64);
    let both = told.zip(disturbed);
    let gone = both.is_some_and(|(told, disturbed)| claim.falls(told, disturbed));
    gone.then_some(Confounder::Gaps).into_iter().collect()
}
