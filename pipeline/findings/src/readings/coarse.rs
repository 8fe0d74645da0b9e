//! Readings written in coarse steps, as of an export in whole mmol/L: rounding hides falls and makes others.

use std::collections::BTreeMap;

use whereworn_model::rows::SensorReadings;
use whereworn_model::time::Micros;
use whereworn_stats::nights::coarse::steps;

use crate::finding::{Finding, OF_NIGHTS, Severity};
use crate::log::{Log, Session};
use crate::readings::trace::minutes;
use crate::sessions::of_session;

/// Share of a sensor's readings from which on it is told.
const LARGE: f64 = 0.25;

/// A sensor with readings in coarse steps.
#[derive(Debug)]
pub(crate) struct Coarse {
    /// Place of its session.
    place: usize,
    /// The widest step, mg/dL.
    step: f64,
    share: f64,
    span: (Micros, Micros),
}

impl Coarse {
    /// What is coarse of a sensor, if much is.
    pub fn of(place: usize, sensor: &SensorReadings) -> Option<Self> {
        let told = || sensor.readings.iter().filter(|row| row.glucose > 0.0);
        let times: Vec<f64> = told().map(|row| minutes(row.time)).collect();
        let glucose: Vec<f64> = told().map(|row| row.glucose).collect();
        let steps = steps(&times, &glucose);
        let coarse = told().zip(&steps).filter(|(_, step)| **step > 0.0);
        let coarse: Vec<(Micros, f64)> = coarse.map(|(row, step)| (row.time, *step)).collect();
        let share = coarse.len() as f64 / times.len().max(1) as f64;
        let span = (coarse.first()?.0, coarse.last()?.0);
        (share >= LARGE).then(|| Self {
            place,
            step: coarse.iter().map(|(_, step)| *step).fold(0.0, f64::max),
            share,
            span,
        })
    }
}

/// A finding for each of these sensors, whose nights comparisons leave out, or one for a wearer who has no finer ones.
pub(crate) fn findings(log: &Log<'_>, sessions: &[Session], coarse: &[Coarse]) -> Vec<Finding> {
    let mut by_wearer: BTreeMap<&str, Vec<(&Session, &Coarse)>> = BTreeMap::new();
    for of in coarse {
        let session = sessions.get(of.place);
        if let Some(session) = session.filter(|session| session.seen.span.is_some()) {
            let own = by_wearer.entry(&session.wearer).or_default();
            own.push((session, of));
        }
    }
    let mut findings = Vec::new();
    for (wearer, known) in by_wearer {
        let read = |session: &&Session| session.wearer == wearer && session.seen.span.is_some();
        if sessions.iter().filter(read).count() > known.len() {
            findings.extend(known.iter().map(|(session, of)| of_one(log, session, of)));
        } else if let Some((first, _)) = known.first() {
            findings.push(of_all(log, first, &known));
        }
    }
    findings
}

const TODO: &str =
    "export readings as finely as the device has them: whole mg/dL, or mmol/L with one decimal";

/// A step in whole mg/dL, and falls that it hides.
fn hidden(step: f64) -> String {
    format!(
        "in steps of {step:.0} mg/dL: falls at night that are smaller cannot be told from rounding"
    )
}

fn of_one(log: &Log<'_>, session: &Session, of: &Coarse) -> Finding {
    Finding {
        from: Some(of.span.0),
        to: Some(of.span.1),
        size: Some(of.step.round()),
        unit: "mg/dL",
        text: format!(
            "sensor `{}` of `{}`: {:.0} % of its readings are written {}, so that comparisons leave its nights out",
            session.sensor,
            session.wearer,
            100.0 * of.share,
            hidden(of.step)
        ),
        todo: TODO.to_owned(),
        leaves_out: true,
        ..of_session(log, session, "thin", Severity::Doubtful, OF_NIGHTS)
    }
}

fn of_all(log: &Log<'_>, first: &Session, known: &[(&Session, &Coarse)]) -> Finding {
    let all = || known.iter().map(|(_, of)| of);
    let step = all().map(|of| of.step).fold(0.0, f64::max);
    Finding {
        sensor: String::new(),
        site: String::new(),
        from: all().map(|of| of.span.0).min(),
        to: all().map(|of| of.span.1).max(),
        size: Some(step.round()),
        unit: "mg/dL",
        text: format!(
            "`{}`: readings of all sensors are written {}",
            first.wearer,
            hidden(step)
        ),
        todo: TODO.to_owned(),
        ..of_session(log, first, "thin", Severity::Doubtful, OF_NIGHTS)
    }
}
