//! Two sensors worn one after the other whose ids changed places, in the log or in their readings: all of both are set aside.

use whereworn_model::time::Micros;

use crate::finding::{Finding, OF_ALL, Severity};
use crate::log::{HOUR, Log, Session};
use crate::sessions::of_session;

/// By so much a sensor's readings may begin before an insertion and end after an end.
const LATE: Micros = 6 * HOUR;

/// A finding for each two sensors of a wearer each of which has its readings where the other was worn.
pub(crate) fn findings(log: &Log<'_>, sessions: &[Session]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (place, one) in sessions.iter().enumerate() {
        let later = sessions.iter().skip(place + 1);
        let own = later.take_while(|other| other.wearer == one.wearer);
        let swapped = own.filter(|other| is_of(log, one, other) && is_of(log, other, one));
        findings.extend(swapped.map(|other| finding(log, one, other)));
    }
    findings
}

/// Whether a sensor has its readings where another was worn, and none where it was itself.
fn is_of(log: &Log<'_>, one: &Session, other: &Session) -> bool {
    let Some((first, last)) = one.seen.most else {
        return false;
    };
    let worn = |session: &Session| (session.insert, session.end.unwrap_or(log.cutoff));
    let (from, to) = worn(other);
    let (own_from, own_to) = worn(one);
    first >= from - LATE && last <= to + LATE && (last < own_from || first > own_to)
}

fn finding(log: &Log<'_>, one: &Session, other: &Session) -> Finding {
    let (a, b) = (&one.sensor, &other.sensor);
    Finding {
        to: Some(other.until(log.cutoff)),
        text: format!(
            "sensors `{a}` and `{b}` of `{}`: `{a}` has its readings where `{b}` was worn, and `{b}` where `{a}` was: their ids changed places; the readings of both are set aside",
            one.wearer
        ),
        todo: "give each the id of the other, in the log or in the readings".to_owned(),
        ..of_session(log, one, "set-aside", Severity::Wrong, OF_ALL)
    }
}
