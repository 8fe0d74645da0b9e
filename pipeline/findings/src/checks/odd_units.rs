//! Single fingersticks in the other unit, in a file whose rest is right.

use std::collections::BTreeMap;

use whereworn_model::rows::Check;
use whereworn_model::time::local_date;
use whereworn_model::units::{MGDL_PER_MMOLL, Unit};

use crate::checks::beside::Beside;
use crate::finding::{DoubtedCheck, Finding, OF_PAIRS, Severity};
use crate::log::Log;
use crate::units::Told;
use crate::words::{count, day, quoted};

/// No body has glucose outside, mg/dL.
const BODY: std::ops::RangeInclusive<f64> = 20.0..=600.0;

/// Glucose that is plain, mg/dL: what would not be in the other unit is none in it, however rare it is as it was read.
const PLAIN: std::ops::RangeInclusive<f64> = 36.0..=540.0;

/// How far a fingerstick in its true unit is from the reading beside it at most, in logarithms.
const NEAR: f64 = 0.6;

/// Least rows that are told; fewer are kept out of comparisons alone.
const LEAST: usize = 3;

/// Lines that are named.
const NAMED: usize = 5;

/// What cures a fingerstick if it is in the other unit; `None` where it would not be plain there.
fn cure(check: &Check) -> Option<f64> {
    let mut factors = [MGDL_PER_MMOLL, 1.0 / MGDL_PER_MMOLL].into_iter();
    factors.find(|factor| PLAIN.contains(&(check.glucose * factor)))
}

/// Fingersticks that may be in the other unit, by their places in the log, and what would cure them.
#[derive(Default)]
pub(crate) struct OddUnits(Vec<(usize, f64)>);

impl OddUnits {
    /// All but those that are told with their group.
    pub fn new(log: &Log<'_>) -> Self {
        let own = log.checks.iter().enumerate();
        let own = own.filter(|(_, check)| check.time <= log.cutoff && check.glucose > 0.0);
        let mut odd: Vec<(usize, f64)> = own
            .filter_map(|(place, check)| Some((place, cure(check)?)))
            .collect();
        if !odd.is_empty() {
            let told = Told::new(log);
            odd.retain(|(place, _)| !told.has(&log.checks[*place]));
        }
        Self(odd)
    }

    /// Their places.
    pub fn places(&self) -> impl Iterator<Item = usize> {
        self.0.iter().map(|(place, _)| *place)
    }

    /// Those in the other unit, with what cures them.
    fn found<'a>(&self, log: &Log<'a>, beside: &Beside) -> impl Iterator<Item = (&'a Check, f64)> {
        let checks = log.checks;
        self.0.iter().filter_map(move |(place, factor)| {
            let check = checks.get(*place)?;
            let no_body = !BODY.contains(&check.glucose);
            let as_read = beside.off(*place, check.glucose);
            let cured = beside.off(*place, check.glucose * factor);
            let is_other = match as_read.zip(cured) {
                Some((as_read, cured)) => cured <= NEAR || no_body && cured < as_read,
                None => no_body,
            };
            is_other.then_some((check, *factor))
        })
    }

    /// Takes those of a wearer whose sensors have come in out of some fingersticks.
    pub fn take_out(&self, log: &Log<'_>, beside: &Beside, wearer: &str, checks: &mut Vec<Check>) {
        let own = self
            .found(log, beside)
            .filter(|(check, _)| check.wearer == *wearer);
        let odd: Vec<&Check> = own.map(|(check, _)| check).collect();
        checks.retain(|check| {
            let same = |odd: &&Check| odd.line == check.line && odd.file == check.file;
            !odd.iter().any(same)
        });
    }

    /// What is told of each file and wearer, and the fingersticks that comparisons leave out: those too few to be told as well,
    /// unless the settings say that they are all right.
    pub fn findings(&self, log: &Log<'_>, beside: &Beside) -> (Vec<Finding>, Vec<DoubtedCheck>) {
        let mut by: BTreeMap<(&str, &str, bool), Vec<&Check>> = BTreeMap::new();
        for (check, factor) in self.found(log, beside) {
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
            if !log.is_seen(&finding) {
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
        size: Some(18.0),
        unit: unit.code(),
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
