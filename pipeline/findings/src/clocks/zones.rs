//! All readings of a wearer under a clock that neither the log nor the fingersticks keep, as of an export in another time zone.

use whereworn_model::time::Micros;

use crate::clocks::causes::Cause;
use crate::clocks::{Wearer, rounded};
use crate::finding::{Finding, Severity};
use crate::readings::trace::minutes;
use crate::words::{clock_correction, signed_minutes};

/// Least minutes of such a shift: logs are kept to some minutes, and sensors start late.
const LEAST: f64 = 50.0;

/// Minutes within which a first or last reading comes when it is due, shifted or not.
const NEAR: f64 = 20.0;

/// Of first and last readings that come at one or the other, so many at least and this share are shifted.
const LEAST_EDGES: usize = 4;
const SHARE: f64 = 0.8;

/// Time zones lie quarters of an hour apart; minutes within which one is meant.
const QUARTER: f64 = 15.0;
const NEAR_QUARTER: f64 = 5.0;

/// Shifts of one thing that lasts as one, in the order of the first: what the second adds was meant by the first.
pub(crate) fn added(causes: Vec<Cause>) -> Vec<Cause> {
    let mut all: Vec<Cause> = Vec::new();
    for next in causes {
        let same = |known: &&mut Cause| {
            known.lag.is_none() && known.whole && next.whole && known.scope == next.scope
        };
        match all.iter_mut().find(same) {
            Some(known) => {
                known.minutes += next.minutes;
                known.steps += next.steps;
                known.error = next.error;
            }
            None => all.push(next),
        }
    }
    all
}

/// Minutes by which the readings' clock is ahead, where a shift against the fingersticks is one against the log too; `None` where the log
/// keeps the readings' clock, or cannot tell.
fn against_log(wearer: &Wearer<'_>, cause: &Cause) -> Option<f64> {
    if cause.minutes.abs() < LEAST {
        return None;
    }
    let is_shifted = |off: f64| (off - cause.minutes).abs() <= NEAR;
    let is_due = |off: f64| off.abs() <= NEAR;
    let (mut shifted, mut due) = (Vec::new(), 0);
    for session in &wearer.sessions {
        let late = |read: Option<Micros>, logged| Some(minutes(read?) - minutes(logged));
        let ended = session.end.and_then(|end| late(session.seen.last, end));
        // The first reading comes at the `insert` or after the warm-up.
        let begun = late(session.seen.first, session.insert);
        let warm = begun.map(|begun| begun - wearer.warm_up);
        for offs in [[ended, None], [begun, warm]] {
            let offs = offs.into_iter().flatten();
            let known = offs.clone().find(|off| is_shifted(*off));
            match (known, offs.clone().any(is_due)) {
                (Some(off), false) => shifted.push(off),
                (None, true) => due += 1,
                _ => {}
            }
        }
    }
    let all = shifted.len() + due;
    if shifted.len() < LEAST_EDGES || (shifted.len() as f64) < SHARE * all as f64 {
        return None;
    }
    shifted.sort_by(f64::total_cmp);
    let middle = shifted[shifted.len() / 2];
    let quarter = (middle / QUARTER).round() * QUARTER;
    Some(match (middle - quarter).abs() <= NEAR_QUARTER {
        true => quarter,
        false => rounded(cause.minutes, cause.error),
    })
}

/// One finding of all of a wearer's sensors; `None` where it is no clock of theirs.
pub(crate) fn told(wearer: &Wearer<'_>, cause: &Cause, sensors: &[usize]) -> Option<Finding> {
    let size = against_log(wearer, cause)?;
    let sessions = sensors
        .iter()
        .filter_map(|sensor| wearer.sessions.get(*sensor));
    let names: Vec<&str> = sessions.map(|session| session.sensor.as_str()).collect();
    let [first, last] = [wearer.sessions.first()?, wearer.sessions.last()?];
    Some(
        Finding {
            file: first.file.clone(),
            line: Some(first.line),
            from: Some(first.insert),
            to: Some(last.until(wearer.cutoff)),
            text: format!(
                "readings of `{}`: their clock is about {} that of the fingersticks, and by as much of the log: a time zone of the export would explain it; every reading is compared with a fingerstick of another time",
                wearer.name,
                signed_minutes(size, "ahead of", "behind"),
            ),
            todo: "look at the time zone in which the readings were exported; if it was another, paste the lines"
                .to_owned(),
            paste: names
                .iter()
                .map(|name| clock_correction(wearer.name, "sensor", name, size, None, None, &wearer.zone))
                .collect(),
            ..wearer.finding("clock-sensor", Severity::Wrong, size)
        }
        .of_sensors(&names),
    )
}
