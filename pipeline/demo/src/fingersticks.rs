//! Capillary checks: by routine, in doubt, and when the alarm sounds at night.

use crate::clock::{Clock, Minute};
use crate::nights::{Artefact, Night};
use crate::physiology::{Blood, TrueLow};
use crate::random::{Dice, Purpose};
use crate::scenario::Wearer;

/// One capillary check; glucose in mg/dL before rounding.
pub(crate) struct Fingerstick {
    pub(crate) minute: Minute,
    pub(crate) glucose: f64,
    pub(crate) purpose: &'static str,
}

/// The fingersticks of one wearer, one at most in a minute, in order of time.
pub(crate) fn fingersticks(
    wearer: &Wearer,
    nights: &[Night],
    blood: &Blood,
    artefacts: &[Artefact],
    lows: &[TrueLow],
    clock: &Clock,
    seed: u64,
) -> Vec<Fingerstick> {
    let mut dice = Dice::new(seed, wearer.index, Purpose::Fingersticks, 0);
    let mut times: Vec<(Minute, &'static str)> = Vec::new();
    for pair in nights.windows(2) {
        add_day(pair[0].rise, pair[1].bed, &mut times, &mut dice);
    }
    for low in lows.iter().filter(|low| is_at_night(low.start, nights)) {
        if dice.chance(0.8) {
            times.push((low.start + dice.whole(3, 14), "alarm"));
        }
    }
    for artefact in artefacts {
        let at = artefact.start + dice.whole(8, artefact.end - artefact.start);
        let sounds = blood.at(at) - artefact.size < 75.0;
        if dice.chance(if sounds { 0.5 } else { 0.12 }) {
            times.push((at, if sounds { "alarm" } else { "doubt" }));
        }
    }
    let end = blood.start + blood.values.len() as Minute;
    times.retain(|time| time.0 >= blood.start && time.0 < end && !clock.is_repeated(time.0));
    times.sort_unstable();
    times.dedup_by_key(|time| time.0);
    times
        .into_iter()
        .map(|(minute, purpose)| check(minute, purpose, wearer, blood, &mut dice))
        .collect()
}

/// Four to six routine checks from rising to bedtime, and rarely a calibration or a control.
fn add_day(rise: Minute, bed: Minute, times: &mut Vec<(Minute, &'static str)>, dice: &mut Dice) {
    times.push((rise + dice.whole(2, 20), "routine"));
    times.push((bed - dice.whole(5, 30), "routine"));
    for _ in 0..dice.whole(2, 4) {
        times.push((dice.whole(rise + 40, bed - 40), "routine"));
    }
    if dice.chance(0.06) {
        times.push((dice.whole(rise + 40, bed - 40), "calibration"));
    }
    if dice.chance(0.03) {
        times.push((rise + 30, "control"));
    }
}

fn check(
    minute: Minute,
    purpose: &'static str,
    wearer: &Wearer,
    blood: &Blood,
    dice: &mut Dice,
) -> Fingerstick {
    let level = if purpose == "control" {
        112.0
    } else {
        blood.at(minute)
    };
    let glucose = (level * (1.0 + wearer.meter_noise * dice.normal())).max(20.0);
    Fingerstick {
        minute,
        glucose,
        purpose,
    }
}

/// Whether a minute lies between going to bed and rising.
pub(crate) fn is_at_night(minute: Minute, nights: &[Night]) -> bool {
    let begun = nights.partition_point(|night| night.bed <= minute);
    begun > 0 && minute < nights[begun - 1].rise
}
