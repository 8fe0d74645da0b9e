//! Fingersticks that stand under two wearers, as where one's file was copied or booked to another.

use std::collections::BTreeMap;

use whereworn_model::rows::Check;

use crate::checks::beside::Beside;
use crate::finding::{DoubtedCheck, Finding, OF_PAIRS, Severity};
use crate::log::Log;
use crate::readings::trace::median;
use crate::words::checks_from;

/// Least fingersticks of equal time and value, and share of a wearer's own: two who measure by the hour have one in fifty.
const LEAST: usize = 10;
const SHARE: f64 = 0.2;

/// Those of another are further from the readings by so much.
const FURTHER: f64 = 1.5;

/// By wearer and other wearer, the places of the first one's fingersticks that the other has too.
#[derive(Default)]
pub(crate) struct SharedChecks<'a>(BTreeMap<(&'a str, &'a str), Vec<usize>>);

impl<'a> SharedChecks<'a> {
    /// Those that are too many for chance.
    pub fn new(log: &Log<'a>) -> Self {
        let checks = log.checks;
        let key = |check: &Check| (check.time, check.glucose.to_bits());
        let mut places: Vec<usize> = (0..checks.len()).collect();
        places.retain(|place| checks[*place].time <= log.cutoff);
        places.sort_unstable_by_key(|place| (key(&checks[*place]), *place));
        let mut by: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
        for equal in places.chunk_by(|a, b| key(&checks[*a]) == key(&checks[*b])) {
            let wearer = |place: &usize| checks[*place].wearer.as_str();
            let mut wearers: Vec<&str> = equal.iter().map(wearer).collect();
            wearers.dedup();
            for place in equal {
                let others = wearers.iter().filter(|other| **other != wearer(place));
                for other in others {
                    by.entry((wearer(place), other)).or_default().push(*place);
                }
            }
        }
        by.retain(|(wearer, _), shared| {
            let own = log.checks_of(wearer).iter();
            let all = own.filter(|check| check.time <= log.cutoff).count();
            shared.len() >= LEAST && shared.len() as f64 > SHARE * all as f64
        });
        Self(by)
    }

    /// Places of all of them.
    pub fn places(&self) -> impl Iterator<Item = usize> {
        self.0.values().flatten().copied()
    }

    /// Takes those of a wearer out of some fingersticks.
    pub fn take_out(&self, log: &Log<'_>, wearer: &str, checks: &mut Vec<Check>) {
        let own = self.0.iter().filter(|((of, _), _)| *of == wearer);
        let mut rows: Vec<(&str, u64)> = own
            .flat_map(|(_, shared)| shared)
            .map(|place| (log.checks[*place].file.as_str(), log.checks[*place].line))
            .collect();
        rows.sort_unstable();
        checks.retain(|check| rows.binary_search(&(&check.file, check.line)).is_err());
    }

    /// A finding for each wearer whose they are not, or for both where the readings do not tell; and these fingersticks, which
    /// comparisons leave out unless the settings say that they are all right.
    pub fn findings(&self, log: &Log<'_>, beside: &Beside) -> (Vec<Finding>, Vec<DoubtedCheck>) {
        let off = |shared: &[usize]| {
            let glucose = |place: usize| log.checks[place].glucose;
            let off = shared.iter();
            let mut off: Vec<f64> = off
                .filter_map(|place| beside.off(*place, glucose(*place)))
                .collect();
            median(&mut off)
        };
        let (mut findings, mut doubted) = (Vec::new(), Vec::new());
        for ((wearer, other), shared) in &self.0 {
            let others = self.0.get(&(*other, *wearer));
            let own = others.and_then(|others| Some((off(shared)?, off(others)?)));
            if own.is_some_and(|(own, others)| FURTHER * own < others) {
                continue;
            }
            let Some(finding) = finding(log, other, shared) else {
                continue;
            };
            if !log.is_seen(&finding) {
                let rows = shared.iter().map(|place| &log.checks[*place]);
                doubted.extend(rows.map(|check| DoubtedCheck::new(check, finding.kind)));
            }
            findings.push(finding);
        }
        (findings, doubted)
    }
}

fn finding(log: &Log<'_>, other: &str, shared: &[usize]) -> Option<Finding> {
    let first = log.checks.get(*shared.first()?)?;
    let last = log.checks.get(*shared.last()?)?;
    Some(Finding {
        wearer: first.wearer.to_string(),
        file: first.file.to_string(),
        line: Some(first.line),
        from: Some(first.time),
        to: Some(last.time),
        size: Some(shared.len() as f64),
        unit: "rows",
        text: format!(
            "{} have time and value of ones of `{other}`, which no two bodies have: they are somebody else's; no clock is judged by them, and comparisons leave them out",
            checks_from(first, last, shared.len(), &log.home(&first.wearer)),
        ),
        todo: "ask whose these fingersticks are, and take them out of the other's rows".to_owned(),
        leaves_out: false,
        ..Finding::new("wrong-wearer", Severity::Wrong, OF_PAIRS)
    })
}
