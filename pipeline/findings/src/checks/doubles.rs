//! Fingersticks that stand twice at one time: under two names of one meter, or as calibrations and as routine ones.

use std::collections::{BTreeMap, BTreeSet};

use jiff::tz::TimeZone;
use whereworn_model::rows::Check;
use whereworn_model::time::Micros;

use crate::checks::twice::{SHARE, are_many, leave_out, rows_at};
use crate::finding::{Finding, OF_PAIRS, Severity};
use crate::words::{checks_from, quoted};

/// From this share of a name's fingersticks on all of them may be left out: what stands under it alone is lost with them.
const ALL: f64 = 0.95;

/// Takes one of each two out of a wearer's fingersticks, which come by time; `all` has the calibrations too. A finding for
/// each two names, and for each meter with calibrations among its routine ones; of the latter these, which comparisons have to
/// leave out.
pub(crate) fn take_out(
    checks: &mut Vec<Check>,
    all: &[Check],
    zone: &TimeZone,
) -> Vec<(Finding, Vec<Check>)> {
    let mut found = calibrations(checks, all, zone);
    found.extend(two_names(checks, zone).map(|finding| (finding, Vec::new())));
    found
}

/// What two fingersticks at one time have in common.
fn key(check: &Check) -> (Micros, u64) {
    (check.time, check.glucose.to_bits())
}

/// Whether so many of the smaller of two sets are in both.
fn are_most(twice: usize, one: usize, other: usize) -> bool {
    twice as f64 >= SHARE * one.min(other) as f64
}

fn calibrations(
    checks: &mut Vec<Check>,
    all: &[Check],
    zone: &TimeZone,
) -> Vec<(Finding, Vec<Check>)> {
    let said = all.iter().filter(|check| check.purpose == "calibration");
    let said: BTreeSet<(Micros, u64)> = said.map(key).collect();
    let is_routine = |check: &Check| ["", "routine"].contains(&check.purpose.as_str());
    let mut by: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (place, check) in checks.iter().enumerate().filter(|(_, c)| is_routine(c)) {
        by.entry(check.meter.to_string()).or_default().push(place);
    }
    let (mut found, mut taken) = (Vec::new(), BTreeSet::new());
    for places in by.into_values() {
        let of_meter = places.len();
        let twice = places.into_iter();
        let twice: Vec<usize> = twice
            .filter(|at| said.contains(&key(&checks[*at])))
            .collect();
        let rows = rows_at(checks, &twice);
        if let [first, .., last] = &rows[..]
            && are_many(rows.iter())
            && are_most(rows.len(), said.len(), of_meter)
        {
            let finding = of_calibrations(first, last, rows.len(), zone);
            found.push((finding, rows));
            taken.extend(twice);
        }
    }
    leave_out(checks, &taken);
    found
}

fn of_calibrations(first: &Check, last: &Check, rows: usize, zone: &TimeZone) -> Finding {
    Finding {
        text: format!(
            "{} stand twice, as calibrations and as routine ones, at the same time and with the same value: they were told to the sensor, which reads as they do for a while; no clock or meter is judged by them, and comparisons leave them out",
            checks_from(first, last, rows, zone)
        ),
        todo: "take the copies that are said to be routine, or have no purpose, out of the folder"
            .to_owned(),
        ..Finding::new("meter", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    }
}

fn two_names(checks: &mut Vec<Check>, zone: &TimeZone) -> impl Iterator<Item = Finding> + use<> {
    let mut of_name: BTreeMap<String, usize> = BTreeMap::new();
    let mut by: BTreeMap<(String, String), Vec<(usize, usize)>> = BTreeMap::new();
    for (place, check) in checks.iter().enumerate() {
        *of_name.entry(check.meter.to_string()).or_default() += 1;
        let later = checks.iter().enumerate().skip(place + 1);
        let later = later.take_while(|(_, other)| other.time == check.time);
        for (other, same) in later.filter(|(_, other)| key(other) == key(check)) {
            let (one, two) = (
                (check.meter.to_string(), place),
                (same.meter.to_string(), other),
            );
            let (one, two) = if one < two { (one, two) } else { (two, one) };
            by.entry((one.0, two.0)).or_default().push((one.1, two.1));
        }
    }
    by.retain(|(one, two), _| one != two);
    let used = |name: &str| of_name.get(name).copied().unwrap_or_default();
    let (mut found, mut taken) = (Vec::new(), BTreeSet::new());
    for ((one, two), pairs) in by {
        let (own, others): (Vec<usize>, Vec<usize>) = pairs.into_iter().unzip();
        let (less, places, more) = match used(&one) < used(&two) {
            true => (one, own, two),
            false => (two, others, one),
        };
        let rows = rows_at(checks, &places);
        if are_many(rows.iter()) && are_most(rows.len(), used(&less), used(&more)) {
            found.extend(of_names(&rows, used(&less), &more, zone));
            taken.extend(places);
        }
    }
    leave_out(checks, &taken);
    found.into_iter()
}

fn of_names(rows: &[Check], used: usize, other: &str, zone: &TimeZone) -> Option<Finding> {
    let (first, last) = (rows.first()?, rows.last()?);
    let name = first.meter.as_str();
    let words = |name: &str| match name {
        "" => "without a meter".to_owned(),
        name => format!("as of meter `{name}`"),
    };
    let can_go = !name.is_empty() && rows.len() as f64 >= ALL * used as f64;
    let paste = can_go.then(|| {
        let (wearer, meter) = (quoted(&first.wearer), quoted(name));
        format!("[[corrections]]\nwearer = {wearer}\nmeter = {meter}\nleave_out = true\n")
    });
    Some(Finding {
        meter: [name, other].join(" + "),
        text: format!(
            "{} stand twice, {} and {}, at the same time and with the same value: both may be one meter's, and every pair is counted twice; meters are judged by one of each two",
            checks_from(first, last, rows.len(), zone),
            words(name),
            words(other)
        ),
        todo: match paste {
            Some(_) => "take one of the two exports out of the folder, or paste the lines, which leave one name out",
            None => "take one of the two exports out of the folder",
        }
        .to_owned(),
        paste: paste.unwrap_or_default(),
        ..Finding::new("meter", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    })
}
