//! Single fingersticks in the other unit, in a file whose rest is right.

use std::collections::BTreeMap;

use whereworn_model::rows::{Check, Reading, SensorReadings, Status};
use whereworn_model::time::{Micros, local_date};
use whereworn_model::units::{MGDL_PER_MMOLL, Unit};

use crate::finding::{DoubtedCheck, Finding, OF_PAIRS, Severity};
use crate::log::Log;
use crate::units::Told;
use crate::words::{count, day, quoted};

/// No body has glucose outside, mg/dL.
const BODY: std::ops::RangeInclusive<f64> = 20.0..=600.0;

/// Glucose that is plain, mg/dL: what would not be in the other unit is none in it, however rare it is as it was read.
const PLAIN: std::ops::RangeInclusive<f64> = 36.0..=540.0;

/// A reading so near in time is beside a fingerstick.
const BESIDE: Micros = 15 * 60_000_000;

/// How far a fingerstick in its true unit is from the reading beside it at most, in logarithms.
const NEAR: f64 = 0.6;

/// Least rows that are told; fewer are kept out of comparisons alone.
const LEAST: usize = 3;

/// Lines that are named.
const NAMED: usize = 5;

/// A fingerstick that would be plain in the other unit.
#[derive(Clone, Debug)]
struct Candidate {
    /// Its position among the log's.
    place: usize,
    /// What cures it, if it is in the other unit.
    factor: f64,
    /// Time to the nearest reading, and its glucose.
    beside: Option<(Micros, f64)>,
}

impl Candidate {
    fn new(place: usize, check: &Check) -> Option<Self> {
        let factor = [MGDL_PER_MMOLL, 1.0 / MGDL_PER_MMOLL]
            .into_iter()
            .find(|factor| PLAIN.contains(&(check.glucose * factor)))?;
        Some(Self {
            place,
            factor,
            beside: None,
        })
    }

    fn see(&mut self, check: &Check, reading: &Reading) {
        let apart = (reading.time - check.time).abs();
        let known = matches!(reading.status, Status::Ok | Status::Low | Status::High);
        let nearer = self.beside.is_none_or(|(known, _)| apart < known);
        if known && reading.glucose > 0.0 && apart <= BESIDE && nearer {
            self.beside = Some((apart, reading.glucose));
        }
    }

    /// Whether it is in the other unit.
    fn is_other(&self, check: &Check) -> bool {
        let no_body = !BODY.contains(&check.glucose);
        let Some((_, reading)) = self.beside else {
            return no_body;
        };
        let as_read = (check.glucose / reading).ln().abs();
        let cured = (check.glucose * self.factor / reading).ln().abs();
        cured <= NEAR || no_body && cured < as_read
    }
}

/// Fingersticks that may be in the other unit, by wearer and time as the log has them.
#[derive(Default)]
pub(crate) struct OddUnits {
    candidates: Vec<Candidate>,
}

impl OddUnits {
    /// All but those that are told with their group.
    pub fn new(log: &Log<'_>) -> Self {
        let own = log.checks.iter().enumerate();
        let own = own.filter(|(_, check)| check.time <= log.cutoff && check.glucose > 0.0);
        let mut candidates: Vec<Candidate> = own
            .filter_map(|(place, check)| Candidate::new(place, check))
            .collect();
        if !candidates.is_empty() {
            let told = Told::new(log);
            let check = |candidate: &Candidate| log.checks.get(candidate.place);
            candidates.retain(|one| check(one).is_some_and(|check| !told.has(check)));
        }
        Self { candidates }
    }

    /// Sets a sensor's readings beside its wearer's fingersticks.
    pub fn sensor(&mut self, log: &Log<'_>, readings: &SensorReadings) {
        let name = readings.wearer.as_str();
        let wearer = |one: &Candidate| log.checks.get(one.place).map(|check| &check.wearer);
        let before = |one: &Candidate| wearer(one).is_some_and(|wearer| wearer.as_str() < name);
        let from = self.candidates.partition_point(before);
        for candidate in self.candidates.iter_mut().skip(from) {
            let Some(check) = log.checks.get(candidate.place) else {
                break;
            };
            if check.wearer.as_str() != name {
                break;
            }
            let all = &readings.readings;
            let near = all.partition_point(|reading| reading.time < check.time - BESIDE);
            all.iter()
                .skip(near)
                .take_while(|reading| reading.time <= check.time + BESIDE)
                .for_each(|reading| candidate.see(check, reading));
        }
    }

    /// Those in the other unit, with what cures them.
    fn found<'a>(&'a self, log: &Log<'a>) -> impl Iterator<Item = (&'a Check, f64)> {
        let checks = log.checks;
        self.candidates.iter().filter_map(|one| {
            let check = checks.get(one.place)?;
            one.is_other(check).then_some((check, one.factor))
        })
    }

    /// Takes those of a wearer whose sensors have come in out of some fingersticks.
    pub fn take_out(&self, log: &Log<'_>, wearer: &str, checks: &mut Vec<Check>) {
        let own = self.found(log).filter(|(check, _)| check.wearer == *wearer);
        let odd: Vec<&Check> = own.map(|(check, _)| check).collect();
        checks.retain(|check| {
            let same = |odd: &&Check| odd.line == check.line && odd.file == check.file;
            !odd.iter().any(same)
        });
    }

    /// What is told of each file and wearer, and the fingersticks that comparisons leave out: those too few to be told as well,
    /// unless the settings say that they are all right.
    pub fn findings(&self, log: &Log<'_>) -> (Vec<Finding>, Vec<DoubtedCheck>) {
        let mut by: BTreeMap<(&str, &str, bool), Vec<&Check>> = BTreeMap::new();
        for (check, factor) in self.found(log) {
            by.entry((&check.file, &check.wearer, factor > 1.0))
                .or_default()
                .push(check);
        }
        let (mut findings, mut doubted) = (Vec::new(), Vec::new());
        for ((_, _, is_mmol), rows) in by {
            let unit = if is_mmol { Unit::MmolL } else { Unit::MgDl };
            let Some(finding) = finding(log, &rows, unit) else {
                continue;
            };
            if !log.settings.seen.iter().any(|seen| finding.is_about(seen)) {
                doubted.extend(rows.iter().map(|row| DoubtedCheck::new(row, finding.kind)));
            }
            findings.extend((rows.len() >= LEAST).then_some(finding));
        }
        (findings, doubted)
    }
}

/// Of some rows of one file and wearer, which are by time.
fn finding(log: &Log<'_>, rows: &[&Check], unit: Unit) -> Option<Finding> {
    let (first, last) = (rows.first()?, rows.last()?);
    let mut lines: Vec<u64> = rows.iter().map(|row| row.line).collect();
    lines.sort_unstable();
    let named: Vec<String> = lines.iter().take(NAMED).map(u64::to_string).collect();
    let more = lines.len().saturating_sub(NAMED);
    let and_more = match more {
        0 => String::new(),
        _ => format!(" and {more} more"),
    };
    let paste = paste(log, (first, last), rows.len(), unit);
    Some(Finding {
        wearer: first.wearer.to_string(),
        file: first.file.to_string(),
        line: lines.first().copied(),
        from: Some(first.time),
        to: Some(last.time),
        size: Some(rows.len() as f64),
        unit: "rows",
        text: format!(
            "{}: {} of `{}` in {} among others that are not ({} {}{and_more}): a factor of 18 off as they were read; comparisons leave them out",
            first.file,
            count(rows.len(), "fingerstick"),
            first.wearer,
            unit.code(),
            if lines.len() == 1 { "line" } else { "lines" },
            named.join(", "),
        ),
        todo: match paste {
            Some(_) => "correct these lines in the file, or paste the lines".to_owned(),
            None => "correct these lines in the file".to_owned(),
        },
        paste: paste.unwrap_or_default(),
        leaves_out: false,
        ..Finding::new("unit", Severity::Wrong, OF_PAIRS)
    })
}

/// Lines that name their unit, where the file has no other row of the wearer on the days from the first to the last.
fn paste(log: &Log<'_>, span: (&Check, &Check), rows: usize, unit: Unit) -> Option<String> {
    let (first, last) = span;
    let zone = log.home(&first.wearer);
    let date = |check: &Check| local_date(check.time, &zone);
    let days = date(first)..=date(last);
    let own = log.checks_of(&first.wearer).iter();
    let own = own.filter(|check| check.file == first.file && days.contains(&date(check)));
    (own.count() == rows).then(|| {
        format!(
            "[[corrections]]\nwearer = {}\nfile = {}\nfrom = \"{}\"\nto = \"{}\"\nunit = \"{}\"\n",
            quoted(&first.wearer),
            quoted(&first.file),
            day(first.time, &zone),
            day(last.time, &zone),
            unit.code()
        )
    })
}
