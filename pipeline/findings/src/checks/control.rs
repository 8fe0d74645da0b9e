//! Checks with a control solution among fingersticks: many of one value, whatever the readings show.

use std::collections::{BTreeMap, BTreeSet};

use whereworn_model::rows::Check;
use whereworn_model::units::Unit;

use crate::checks::twice::{leave_out, rows_at};
use crate::finding::{Finding, OF_PAIRS, Severity};
use crate::readings::trace::{Trace, median, middle_and_scatter, minutes};

/// Half the width of the values of one solution, in logarithms: meters scatter by 3 to 5 %.
const WIDTH: f64 = 0.1;

/// A fingerstick is far from its reading from so much on, in logarithms.
const FAR: f64 = 0.3;

/// Least fingersticks far from their reading and near one value, the share of all far ones that they are, and how many times as
/// often those near that value are far as others. In 77 clean studies and 40 with other faults the most were 13 with a share of
/// 0.34; of planted solutions those of 24 and more had 0.77 to 0.99.
const LEAST: usize = 12;
const SHARE: f64 = 0.7;
const OFTENER: f64 = 5.0;

/// Least robust standard deviation of their readings, in logarithms: of a display that ends at some value it is none.
const MOVING: f64 = 0.05;

/// From this share of all fingersticks between the first and the last on they are somebody's own, if these lie so many minutes apart: a
/// solution is checked now and then.
const OF_A_BODY: f64 = 0.5;
const LONG: f64 = 3.0 * 1440.0;

/// A fingerstick with a reading, in logarithms, and when it was taken, minutes.
struct Beside {
    place: usize,
    at: f64,
    value: f64,
    reading: f64,
}

impl Beside {
    fn is_far(&self) -> bool {
        (self.value - self.reading).abs() > FAR
    }

    fn is_near(&self, value: f64) -> bool {
        (self.value - value).abs() <= WIDTH
    }
}

/// Takes what seem to be checks with a control solution out of a wearer's fingersticks; a finding for each meter, and these
/// fingersticks.
pub(crate) fn take_out(
    checks: &mut Vec<Check>,
    traces: &[&Trace],
    unit: Unit,
) -> Vec<(Finding, Vec<Check>)> {
    let mut by: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (place, check) in checks.iter().enumerate() {
        by.entry(check.meter.as_str()).or_default().push(place);
    }
    let (mut found, mut taken) = (Vec::new(), BTreeSet::new());
    for places in by.values() {
        let all = beside(checks, places, traces);
        let Some((value, far)) = solution(&all) else {
            continue;
        };
        let near = all.iter().filter(|of| of.is_near(value));
        let near: Vec<usize> = near.map(|of| of.place).collect();
        let rows = rows_at(checks, &near);
        found.extend(finding(&rows, value.exp(), far, unit).map(|finding| (finding, rows)));
        taken.extend(near);
    }
    leave_out(checks, &taken);
    found
}

/// A meter's fingersticks that have a reading.
fn beside(checks: &[Check], places: &[usize], traces: &[&Trace]) -> Vec<Beside> {
    let of = |place: &usize| {
        let check = &checks[*place];
        let at = minutes(check.time);
        Some(Beside {
            place: *place,
            at,
            value: check.glucose.ln(),
            reading: traces.iter().find_map(|trace| trace.beside(at))?,
        })
    };
    places.iter().filter_map(of).collect()
}

/// The value, in logarithms, that most fingersticks far from their reading are near, and how many are; `None` where body and
/// sensor explain them.
fn solution(all: &[Beside]) -> Option<(f64, usize)> {
    let far: Vec<&Beside> = all.iter().filter(|of| of.is_far()).collect();
    let near = |value: f64| far.iter().filter(move |of| of.is_near(value));
    let middle = far.iter().map(|of| of.value);
    let middle = middle.max_by_key(|value| near(*value).count())?;
    let value = median(&mut near(middle).map(|of| of.value).collect::<Vec<f64>>())?;
    let mut readings: Vec<f64> = near(value).map(|of| of.reading).collect();
    let count = readings.len();
    let of_value = all.iter().filter(|of| of.is_near(value)).count();
    // One more than there are: of none nothing is known.
    let elsewhere = (far.len() - count + 1) as f64 / (all.len() - of_value + 1) as f64;
    let here = count as f64 / of_value.max(1) as f64;
    let told = count >= LEAST
        && count as f64 >= SHARE * far.len() as f64
        && here >= OFTENER * elsewhere
        && middle_and_scatter(&mut readings).is_some_and(|(_, scatter)| scatter >= MOVING)
        && !is_of_a_body(all, value);
    told.then_some((value, count))
}

/// Whether those far from their reading and near a value are the fingersticks of some days, and not now and then one among others.
fn is_of_a_body(all: &[Beside], value: f64) -> bool {
    let is_told = |of: &Beside| of.is_far() && of.is_near(value);
    let (first, last) = (all.iter().position(is_told), all.iter().rposition(is_told));
    let span = first
        .zip(last)
        .and_then(|(first, last)| all.get(first..=last));
    let Some(span @ [first, .., last]) = span else {
        return false;
    };
    let near = span.iter().filter(|of| of.is_near(value)).count();
    last.at - first.at >= LONG && near as f64 >= OF_A_BODY * span.len() as f64
}

/// A glucose in mg/dL in the unit of the study.
fn written(glucose: f64, unit: Unit) -> String {
    match unit {
        Unit::MmolL => format!("{:.1}", unit.from_mgdl(glucose)),
        Unit::MgDl => format!("{glucose:.0}"),
    }
}

fn finding(rows: &[Check], value: f64, far: usize, unit: Unit) -> Option<Finding> {
    let (first, last) = (rows.first()?, rows.last()?);
    let whose = match first.meter.as_str() {
        "" => "the meter".to_owned(),
        meter => format!("meter `{meter}`"),
    };
    let [from, to] = [-WIDTH, WIDTH].map(|off| written(value * off.exp(), unit));
    Some(Finding {
        size: Some(value.round()),
        unit: Unit::MgDl.code(),
        text: format!(
            "{whose} of `{}`: {far} fingersticks near {} {} are a third and more off the readings, whatever those show, and hardly any others are: they seem to be checks with a control solution; comparisons leave out all {} from {from} to {to} {}",
            first.wearer,
            written(value, unit),
            unit.code(),
            rows.len(),
            unit.code(),
        ),
        todo: "look at the meter's log: write `control` as the purpose of checks with a control solution, or take them out of the file; with that the others count again".to_owned(),
        leaves_out: false,
        ..Finding::new("meter", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    })
}
