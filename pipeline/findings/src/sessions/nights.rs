//! Nights with too few readings.

use jiff::ToSpan;
use whereworn_model::time::{Micros, at_clock, local_date};

use crate::finding::{Finding, OF_NIGHTS, Severity};
use crate::log::{Log, Session};

/// Share of a sensor's whole nights that may lack readings, and how many.
const SHARE: f64 = 0.3;
const LEAST: u32 = 3;

/// Whole nights by the clock during which a sensor was worn, and those of them with too few readings.
pub(crate) fn counted(
    log: &Log<'_>,
    session: &Session,
    told: &[Micros],
    spacing: f64,
) -> (u32, u32) {
    let zone = log.settings.zone();
    let (from, to) = log.settings.clock_night();
    let until = session
        .end
        .or(told.last().copied())
        .unwrap_or(session.insert);
    let until = until.min(session.readings_until(log.cutoff));
    let (Some(mut date), Some(last)) =
        (local_date(session.insert, &zone), local_date(until, &zone))
    else {
        return (0, 0);
    };
    let (mut nights, mut missing) = (0, 0);
    while date < last && spacing > 0.0 {
        let next = date.saturating_add(1.day());
        let start = at_clock(date, from, &zone);
        let end = at_clock(if to > from { date } else { next }, to, &zone);
        if let (Some(start), Some(end)) = (start, end)
            && start >= session.insert
            && end <= until
        {
            let had = told.partition_point(|time| *time < end)
                - told.partition_point(|time| *time < start);
            let expected = (end - start) as f64 / 6e7 / spacing;
            nights += 1;
            missing +=
                u32::from((had as f64) < log.settings.night.coverage * expected * (1.0 - 1e-9));
        }
        date = next;
    }
    (nights, missing)
}

/// Sensors whose nights mostly do not count.
pub(crate) fn findings(log: &Log<'_>, sessions: &[Session]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for session in sessions {
        let (nights, missing) = session.seen.nights;
        if missing < LEAST || f64::from(missing) < SHARE * f64::from(nights) {
            continue;
        }
        findings.push(Finding {
            wearer: session.wearer.clone(),
            sensor: session.sensor.clone(),
            site: session.site.clone(),
            file: session.file.clone(),
            line: Some(session.line),
            from: Some(session.insert),
            to: Some(session.until(log.cutoff)),
            size: Some(f64::from(missing)),
            unit: "nights",
            text: format!(
                "sensor `{}` of `{}`: {missing} of {nights} nights lack readings and count for nothing at night",
                session.sensor, session.wearer
            ),
            todo: "keep the receiver near the bed, and look whether an export was left out".to_owned(),
            ..Finding::new("nights-missing", Severity::Thin, OF_NIGHTS)
        });
    }
    findings
}
