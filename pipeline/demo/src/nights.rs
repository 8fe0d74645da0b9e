//! Nights of a wearer and the artefacts that lying on a sensor makes.

use crate::clock::{Clock, DAY, Minute};
use crate::plan::Session;
use crate::random::{Dice, Purpose};
use crate::scenario::Wearer;

/// One night from going to bed to rising.
pub(crate) struct Night {
    /// Local day (number since 1970) on whose evening it begins.
    pub(crate) day: i64,
    pub(crate) bed: Minute,
    pub(crate) rise: Minute,
    /// Whether bed and rise are in the log.
    pub(crate) recorded: bool,
    pub(crate) posture: &'static str,
}

/// Pressure on one sensor: from `start` the reading falls towards `size` below its course, from `end` it comes back.
#[derive(Clone, Copy)]
pub(crate) struct Artefact {
    /// Local day (number since 1970) on whose evening the night begins.
    pub(crate) night: i64,
    pub(crate) start: Minute,
    pub(crate) end: Minute,
    /// Full depth, mg/dL.
    pub(crate) size: f64,
    /// Time constant of the fall and of the recovery, minutes.
    pub(crate) edge: f64,
}

/// The nights that begin on the days `from_day` to `to_day` - 1.
pub(crate) fn nights(
    wearer: &Wearer,
    clock: &Clock,
    from_day: i64,
    to_day: i64,
    seed: u64,
) -> Vec<Night> {
    let mut dice = Dice::new(seed, wearer.index, Purpose::Nights, 0);
    (from_day..to_day)
        .map(|day| {
            let bed = wearer.bed + (22.0 * dice.normal()) as i64;
            let rise = wearer.rise + (18.0 * dice.normal()) as i64;
            let posture = match dice.unit() {
                p if p < 0.35 => "left",
                p if p < 0.70 => "right",
                p if p < 0.80 => "back",
                p if p < 0.84 => "front",
                _ => "mixed",
            };
            Night {
                day,
                bed: clock.settled(clock.utc(day * DAY + bed)),
                rise: clock.settled(clock.utc((day + 1) * DAY + rise)),
                recorded: dice.chance(wearer.records_nights),
                posture,
            }
        })
        .collect()
}

/// The artefacts of one sensor, in order and apart from each other.
pub(crate) fn artefacts(session: &Session, nights: &[Night], dice: &mut Dice) -> Vec<Artefact> {
    let mut found: Vec<Artefact> = Vec::new();
    let first = nights.partition_point(|night| night.rise <= session.insert);
    for night in nights[first..]
        .iter()
        .take_while(|night| night.bed < session.last)
    {
        let mean = session.site.artefacts / 100.0
            * session.artefact_factor
            * lain_on(session.side, night.posture);
        let mut drawn: Vec<Artefact> = (0..dice.poisson(mean))
            .map(|_| artefact(night, dice))
            .collect();
        drawn.sort_by_key(|artefact| artefact.start);
        for artefact in drawn {
            let apart = found
                .last()
                .is_none_or(|last| artefact.start >= last.end + 40);
            if apart && session.covers(artefact.start - 60, artefact.end + 20) {
                found.push(artefact);
            }
        }
    }
    found
}

/// How much more often a sensor is lain on in this posture; about 1 on average.
fn lain_on(side: &str, posture: &str) -> f64 {
    match (side, posture) {
        ("left", "left") | ("right", "right") => 2.0,
        ("left", "right") | ("right", "left") => 0.3,
        ("middle", "back") => 3.0,
        (_, "front") => 0.5,
        _ => 0.8,
    }
}

/// Half of the artefacts are around 26 mg/dL deep and half around 50; the median duration is 45 min.
fn artefact(night: &Night, dice: &mut Dice) -> Artefact {
    let size = if dice.chance(0.5) {
        26.0 + 4.0 * dice.normal()
    } else {
        50.0 + 8.0 * dice.normal()
    };
    let minutes = (45.0 * libm::exp(0.45 * dice.normal())).clamp(18.0, 150.0) as Minute;
    let start = night.bed + 10 + dice.whole(0, (night.rise - night.bed - 40).max(1));
    Artefact {
        night: night.day,
        start,
        end: (start + minutes).min(night.rise + 15).max(start + 18),
        size: size.clamp(15.0, 80.0),
        edge: dice.between(3.0, 5.0),
    }
}

/// The random stream of a sensor's artefacts.
pub(crate) fn artefact_dice(seed: u64, wearer: usize, sensor: usize) -> Dice {
    Dice::new(seed, wearer, Purpose::Artefacts, sensor)
}
