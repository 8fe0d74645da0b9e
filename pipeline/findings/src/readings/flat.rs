//! Readings that repeat one value for hours, as where a display or an export goes on with the last one.

use std::collections::BTreeSet;

use whereworn_model::rows::{Check, Reading, SensorReadings, Status};
use whereworn_model::time::{MICROS_PER_MINUTE, Micros};

use crate::checks::extremes::shown;
use crate::finding::{DoubtedCheck, Finding, OF_GLUCOSE, Severity};
use crate::log::{Log, Session};
use crate::readings::trace::{median_step, minutes};
use crate::words::{clock, count, quoted};

/// Least minutes of a flat run, and least readings.
const LEAST: f64 = 150.0;
const LEAST_READINGS: usize = 8;

/// Spacings, and minutes at least, between two readings of a run.
const BRIDGE_SPACINGS: f64 = 3.1;
const BRIDGE: f64 = 20.0;

/// Runs at least as long that chance may give a sensor, whose readings repeat the one before as often as they otherwise do.
const CHANCE: f64 = 1e-6;

/// Coarsest step from a value to the next, as a part of it: in whole mmol/L a calm night is flat.
const COARSEST: f64 = 0.04;

/// Repeats that are supposed beside those counted, of readings that hardly ever repeat: one in twenty.
const REPEATS: (f64, f64) = (1.0, 20.0);

/// Runs that lines to paste are given for.
const NAMED: usize = 20;

/// Runs of a sensor.
#[derive(Clone, Debug)]
pub(crate) struct Flat {
    /// First and last reading of each.
    spans: Vec<(Micros, Micros)>,
    rows: usize,
    all: usize,
    file: usize,
    line: u64,
}

/// The flat runs of a sensor while it was worn; `None` where there are none.
pub(crate) fn flat(readings: &SensorReadings, from: Micros, to: Micros) -> Option<Flat> {
    let usable =
        |reading: &&Reading| reading.status == Status::Ok && (from..=to).contains(&reading.time);
    let own: Vec<&Reading> = readings.readings.iter().filter(usable).collect();
    let times: Vec<f64> = own.iter().map(|reading| minutes(reading.time)).collect();
    let bridge = BRIDGE.max(BRIDGE_SPACINGS * median_step(&times));
    let follows = |a: &&Reading, b: &&Reading| {
        a.glucose == b.glucose && minutes(b.time) - minutes(a.time) <= bridge
    };
    let runs: Vec<&[&Reading]> = own.chunk_by(follows).collect();
    let is_long = |run: &&[&Reading]| {
        let span = run.first().zip(run.last());
        run.len() >= LEAST_READINGS
            && span.is_some_and(|(a, b)| minutes(b.time) - minutes(a.time) >= LEAST)
    };
    // What a display cannot show is shown as its highest, or its lowest, for as long as it lasts; of coarse steps nothing is told.
    let values = || own.iter().map(|reading| reading.glucose);
    let (lowest, highest) = (
        values().fold(f64::MAX, f64::min),
        values().fold(0.0, f64::max),
    );
    let step = step(values().collect());
    let is_cut = |run: &&[&Reading]| {
        run.first().is_none_or(|first| {
            let value = first.glucose;
            value == lowest || value == highest || step > COARSEST * value
        })
    };
    let (long, rest): (Vec<&[&Reading]>, Vec<&[&Reading]>) = runs.into_iter().partition(is_long);
    let others: usize = rest.iter().map(|run| run.len()).sum();
    let repeats = (others - rest.len()) as f64;
    let often = (repeats + REPEATS.0) / (others as f64 + REPEATS.1);
    let by_chance = |run: &&[&Reading]| own.len() as f64 * often.powi(run.len() as i32 - 1);
    let found: Vec<&[&Reading]> = long
        .into_iter()
        .filter(|run| !is_cut(run) && by_chance(run) <= CHANCE)
        .collect();
    let first = found.first()?.first()?;
    let span = |run: &&[&Reading]| Some((run.first()?.time, run.last()?.time));
    Some(Flat {
        spans: found.iter().filter_map(span).collect(),
        rows: found.iter().map(|run| run.len()).sum(),
        all: own.len(),
        file: first.file,
        line: first.line,
    })
}

/// The least difference of two values, mg/dL.
fn step(mut values: Vec<f64>) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values.dedup();
    let steps = values.iter().zip(values.iter().skip(1));
    steps.map(|(a, b)| b - a).fold(f64::MAX, f64::min)
}

impl Flat {
    /// The fingersticks beside a reading that repeats another.
    fn checks<'a>(&self, checks: &'a [Check], readings: &'a SensorReadings) -> Vec<&'a Check> {
        let inside = |at: Micros| {
            self.spans
                .iter()
                .any(|(from, to)| (*from < at) && at <= *to)
        };
        shown(checks, &readings.readings)
            .filter(|(_, shown)| inside(shown.time))
            .map(|(check, _)| check)
            .collect()
    }

    /// What is told of them, and the fingersticks that comparisons leave out.
    pub fn told(
        &self,
        log: &Log<'_>,
        session: &Session,
        readings: &SensorReadings,
    ) -> (Finding, Vec<DoubtedCheck>) {
        let finding = self.finding(log, session);
        let checks = self.checks(log.checks_of(&session.wearer), readings);
        let doubted = match log.is_seen(&finding) {
            true => Vec::new(),
            false => checks
                .iter()
                .map(|check| DoubtedCheck::new(check, finding.kind))
                .collect(),
        };
        (finding, doubted)
    }

    fn finding(&self, log: &Log<'_>, session: &Session) -> Finding {
        let zone = log.home(&session.wearer);
        let minutes = |(from, to): &(Micros, Micros)| minutes(*to) - minutes(*from);
        let hours: f64 = self.spans.iter().map(minutes).sum::<f64>() / 60.0;
        let longest = self.spans.iter().map(minutes).fold(0.0, f64::max) / 60.0;
        let lines: String = self
            .spans
            .iter()
            .take(NAMED)
            .map(|(from, to)| {
                format!(
                    "[[corrections]]\nwearer = {}\nsensor = {}\nfrom = \"{}\"\nto = \"{}\"\nleave_out = true\n",
                    quoted(&session.wearer),
                    quoted(&session.sensor),
                    clock(*from, &zone),
                    clock(*to + MICROS_PER_MINUTE, &zone),
                )
            })
            .collect();
        Finding {
            wearer: session.wearer.clone(),
            sensor: session.sensor.clone(),
            site: session.site.clone(),
            file: log.files.get(self.file).map_or(String::new(), |file| file.name.clone()),
            line: Some(self.line),
            from: self.spans.first().map(|span| span.0),
            to: self.spans.last().map(|span| span.1),
            size: Some((self.rows as f64 / self.all.max(1) as f64 * 1e4).round() / 1e4),
            unit: "fraction",
            text: format!(
                "sensor `{}` of `{}`: {} for {hours:.0} hours in all, up to {longest:.1} at a time, show one value that does not move: no body's glucose does that; nights look quiet then, and fingersticks of that time are left out of comparisons",
                session.sensor,
                session.wearer,
                count(self.spans.len(), "run") + " of readings",
            ),
            todo: "look whether a display or an export went on with the last value; if it did, paste the lines, which leave these readings out".to_owned(),
            paste: lines,
            leaves_out: false,
            ..Finding::new("thin", Severity::Doubtful, OF_GLUCOSE)
        }
    }
}

/// Takes fingersticks beside such readings out of a wearer's: they tell of no clock and no meter.
pub(crate) fn take_out(doubted: &[DoubtedCheck], wearer: &str, checks: &mut Vec<Check>) {
    let own = doubted.iter().filter(|row| row.wearer == wearer);
    let times: BTreeSet<Micros> = own.map(|row| row.time).collect();
    checks.retain(|check| !times.contains(&check.time));
}
