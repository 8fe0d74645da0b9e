//! What the log of sensors contradicts or leaves open.

pub(crate) mod log_days;
pub(crate) mod moved_log;
pub(crate) mod nights;
pub(crate) mod rows;
pub(crate) mod sites;
pub(crate) mod swapped_ids;
pub(crate) mod swapped_log;
pub(crate) mod two_ids;

use std::collections::BTreeSet;

use whereworn_model::rows::WearEvent;
use whereworn_model::time::{MICROS_PER_DAY, days_between};

use crate::finding::{Finding, OF_ALL, OF_GLUCOSE, OF_WEAR, Severity};
use crate::log::{Log, Session};
use crate::look::Orphan;
use crate::words::{clock, day};

/// Days beyond the rated wear that a sensor may be worn.
pub(crate) const LONGER: f64 = 2.0;

/// Days without a reading inside a session from which on it was two.
const GAP_DAYS: f64 = 3.0;

/// A ratio of spacings from which on it has changed.
const SPACING_RATIO: f64 = 1.5;

/// Findings on sessions.
pub(crate) fn findings(log: &Log<'_>, sessions: &[Session], orphans: &[Orphan]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut reused_ids: BTreeSet<(&str, &str)> = BTreeSet::new();
    for refused in log.refused.iter().filter(|event| event.event == "insert") {
        let first = sessions
            .iter()
            .find(|s| refused.wearer == s.wearer && refused.sensor == s.sensor);
        if let Some(session) = first.filter(|_| refused.time <= log.cutoff) {
            findings.push(reused(log, session, refused));
            reused_ids.insert((&session.wearer, &session.sensor));
        }
    }
    for session in sessions {
        if !reused_ids.contains(&(session.wearer.as_str(), session.sensor.as_str())) {
            match too_long(log, session) {
                Some(found) => findings.push(found),
                None => findings.extend(log_days::findings(log, session)),
            }
        }
        findings.extend(no_end(log, session));
    }
    findings.extend(
        orphans
            .iter()
            .filter_map(|orphan| wrong_wearer(log, sessions, orphan)),
    );
    findings.extend(spacing(log, sessions));
    findings
}

/// A finding on a session.
pub(crate) fn of_session(
    log: &Log<'_>,
    session: &Session,
    kind: &'static str,
    severity: Severity,
    touches: &'static [&'static str],
) -> Finding {
    Finding {
        wearer: session.wearer.clone(),
        sensor: session.sensor.clone(),
        site: session.site.clone(),
        file: session.file.clone(),
        line: Some(session.line),
        from: Some(session.insert),
        to: Some(session.until(log.cutoff)),
        ..Finding::new(kind, severity, touches)
    }
}

fn reused(log: &Log<'_>, session: &Session, second: &WearEvent) -> Finding {
    let zone = log.home(&session.wearer);
    let made = Finding {
        file: second.file.to_string(),
        line: Some(second.line),
        from: Some(second.time),
        to: None,
        size: Some(2.0),
        unit: "inserts",
        ..of_session(log, session, "sensor-reused", Severity::Wrong, OF_ALL)
    };
    let (first, again) = (day(session.insert, &zone), day(second.time, &zone));
    if !is_corrected(log, session, second) {
        return Finding {
            text: format!(
                "sensor `{}` of `{}` is inserted on {first} and again on {again}: two sensors have one id; readings from the second `insert` on are set aside, or they would count for the first one's site",
                session.sensor, session.wearer
            ),
            todo: "give the second sensor an id of its own, in the log and in its readings"
                .to_owned(),
            ..made
        };
    }
    let set_aside = match session.second {
        Some(_) => "; readings from the second `insert` on are set aside",
        None => "",
    };
    Finding {
        from: Some(session.insert),
        text: format!(
            "sensor `{}` of `{}` is inserted at `{}` on {first}, corrected to `{}` on {again}: one sensor, whose readings run on; only the first `insert` is used, so that it counts for the first site{set_aside}",
            session.sensor, session.wearer, session.site, second.site
        ),
        todo: "take the `insert` that is wrong out of the log, and give the other the time of the insertion".to_owned(),
        ..made
    }
}

/// Whether a second `insert` corrects the first: of a sensor that ends once, later, and has no warm-up at the second.
fn is_corrected(log: &Log<'_>, session: &Session, second: &WearEvent) -> bool {
    let of_session =
        |row: &&WearEvent| row.wearer == session.wearer && row.sensor == session.sensor;
    let ends_twice = log
        .refused
        .iter()
        .filter(of_session)
        .any(|row| row.event == "end");
    let ended = session.end.is_some_and(|end| end <= second.time);
    let runs_on = session.seen.run.is_some_and(|(_, last)| last > second.time);
    let warming_up = second.time <= session.insert + log.warm_up(&session.wearer);
    !ends_twice && !ended && (runs_on || warming_up)
}

/// Worn for longer than it can be, or without a reading for days.
pub(crate) fn too_long(log: &Log<'_>, session: &Session) -> Option<Finding> {
    let zone = log.home(&session.wearer);
    let rated = log.settings.rated_days(&session.wearer, &session.model);
    let days = days_between(session.insert, session.until(log.cutoff));
    let gap = session
        .seen
        .gap
        .filter(|(from, to)| days_between(*from, *to) >= GAP_DAYS);
    let why = match gap {
        _ if days > rated + LONGER => format!("worn for {days:.1} days, rated for {rated}"),
        Some((from, to)) => format!("no reading from {} to {}", day(from, &zone), day(to, &zone)),
        None => return None,
    };
    let size = if days > rated + LONGER {
        days
    } else {
        gap.map_or(0.0, |(from, to)| days_between(from, to))
    };
    let misdated = misdated(log, session, rated);
    let severity = match misdated.is_some() || days > rated + LONGER {
        true => Severity::Wrong,
        // Readings may be missing.
        false => Severity::Doubtful,
    };
    let (wrong, todo) = match misdated {
        Some((event, days)) => (
            format!("its readings lie {days:.0} days from its `{event}`, whose date seems to be wrong"),
            format!("log the true date of its `{event}`"),
        ),
        None if days <= rated + LONGER => (
            "readings are missing, its `end` is wrong, or two sensors have one id and one of them counts for the other's site".to_owned(),
            "look whether readings can still be had; log its true `end`; if the id was used twice, give the second sensor one of its own".to_owned(),
        ),
        None => (
            "its `end` is missing or wrong, or two sensors have one id and one of them counts for the other's site".to_owned(),
            "log its true `end`; if the id was used twice, give the second sensor one of its own".to_owned(),
        ),
    };
    Some(Finding {
        size: Some((size * 100.0).round() / 100.0),
        unit: "days",
        text: format!(
            "sensor `{}` of `{}`: {why}: {wrong}",
            session.sensor, session.wearer
        ),
        todo,
        ..of_session(log, session, "session-too-long", severity, OF_ALL)
    })
}

/// The event whose date is wrong and the days from it to the nearest reading, where the readings are those of one sensor and lie
/// beside the other event.
fn misdated(log: &Log<'_>, session: &Session, rated: f64) -> Option<(&'static str, f64)> {
    let (first, last) = session.seen.span?;
    if days_between(first, last) > rated + LONGER {
        return None;
    }
    let early = days_between(session.insert, first);
    let late = days_between(last, session.until(log.cutoff));
    match (early >= GAP_DAYS, late >= GAP_DAYS) {
        (true, false) => Some(("insert", early)),
        (false, true) if session.end.is_some() => Some(("end", late)),
        _ => None,
    }
}

/// A sensor without `end` that is no longer worn: `no-end` says what to write into the log, `lost` that survival rests on it.
fn no_end(log: &Log<'_>, session: &Session) -> Vec<Finding> {
    if !session.is_lost(log.cutoff) {
        return Vec::new();
    }
    let zone = log.home(&session.wearer);
    let last = session.seen.span.map(|span| span.1);
    let days = days_between(session.insert, session.until(log.cutoff));
    let stopped = match last {
        Some(last) => format!("its last reading is of {}", clock(last, &zone)),
        None => "it has no reading".to_owned(),
    };
    let size = Some((days * 100.0).round() / 100.0);
    let who = format!("sensor `{}` of `{}`", session.sensor, session.wearer);
    let log_it = Finding {
        size,
        unit: "days",
        text: format!("{who} has no `end` in the log; {stopped}"),
        todo: format!(
            "log how and when it ended, for example `{},{},{},end,completed` under wearer, sensor, time, event, cause",
            session.wearer,
            session.sensor,
            clock(last.unwrap_or(session.insert), &zone)
        ),
        ..of_session(log, session, "no-end", Severity::Thin, OF_WEAR)
    };
    let lost = Finding {
        text: format!(
            "{who} was lost track of after {days:.1} days: it counts as worn until then and no longer, as if it had not come off"
        ),
        todo: "log how it ended: what stays on is told from that".to_owned(),
        ..log_it.clone()
    };
    vec![
        log_it,
        Finding {
            kind: "lost",
            ..lost
        },
    ]
}

/// Readings of a sensor that another wearer has, at the time when it was worn there.
pub(crate) fn wrong_wearer(
    log: &Log<'_>,
    sessions: &[Session],
    orphan: &Orphan,
) -> Option<Finding> {
    let other = sessions.iter().find(|session| {
        let until = session.end.unwrap_or(log.cutoff);
        let (from, to) = (orphan.from.max(session.insert), orphan.to.min(until));
        let inside = (to - from) as f64 >= 0.5 * (orphan.to - orphan.from) as f64 && to >= from;
        let has_its_own = session.seen.span.is_some_and(|(first, last)| {
            (last.min(orphan.to) - first.max(orphan.from)) as f64
                > 0.5 * (orphan.to - orphan.from) as f64
        });
        session.sensor == orphan.sensor && session.wearer != orphan.wearer && inside && !has_its_own
    })?;
    Some(Finding {
        wearer: orphan.wearer.clone(),
        sensor: orphan.sensor.clone(),
        file: log
            .files
            .get(orphan.file)
            .map(|file| file.name.clone())
            .unwrap_or_default(),
        line: Some(orphan.line),
        from: Some(orphan.from),
        to: Some(orphan.to),
        size: Some(orphan.rows as f64),
        unit: "rows",
        text: format!(
            "{} readings of sensor `{}` stand under wearer `{}`, who never inserted it; `{}` wore it then: they are set aside",
            orphan.rows, orphan.sensor, orphan.wearer, other.wearer
        ),
        todo: format!("write `{}` as the wearer of these rows", other.wearer),
        ..Finding::new("wrong-wearer", Severity::Wrong, OF_ALL)
    })
}

/// Sensors whose readings are further apart or closer together than those of the one before.
fn spacing(log: &Log<'_>, sessions: &[Session]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut before: Option<&Session> = None;
    for session in sessions.iter().filter(|session| session.seen.spacing > 0.0) {
        let last = before
            .replace(session)
            .filter(|last| last.wearer == session.wearer);
        let Some(last) = last else {
            continue;
        };
        let (old, new) = (last.seen.spacing, session.seen.spacing);
        let ratio = (new / old).max(old / new);
        let enough =
            days_between(session.insert, session.until(log.cutoff)) * MICROS_PER_DAY as f64 > 0.0;
        if ratio >= SPACING_RATIO && enough {
            findings.push(Finding {
                size: Some(new),
                unit: "min",
                text: format!(
                    "sensor `{}` of `{}` has a reading every {new:.0} min, the one before it every {old:.0} min: sparse readings show fewer and longer night artefacts, so nights before and after do not compare",
                    session.sensor, session.wearer
                ),
                todo: "look whether the device or the export was changed; compare nights with like spacing".to_owned(),
                ..of_session(log, session, "spacing-changed", Severity::Thin, OF_GLUCOSE)
            });
        }
    }
    findings
}
