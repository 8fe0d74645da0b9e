//! Values that are a factor of 18 off.

mod rejected;
mod told;

use std::collections::{BTreeMap, BTreeSet};

use whereworn_model::rows::{Check, Reading, SensorReadings, Status};
use whereworn_model::time::{MICROS_PER_DAY, Micros};
use whereworn_model::units::MGDL_PER_MMOLL;

use crate::finding::{DoubtedCheck, Finding};
use crate::log::{Log, Session};
use crate::look::month_of;
use crate::readings::trace::median;

/// A month's median below this is no glucose in mg/dL, and a plain one in mmol/L.
const LOW: f64 = 30.0;

/// A month's median above this is no glucose in mg/dL, and eighteen times a plain one: a body above 600 mg/dL is in
/// hospital, and sensors end at 400 to 500.
const HIGH: f64 = 600.0;

/// Least rows of a month, or a day, that tell of its unit.
const LEAST_ROWS: usize = 5;

/// What values of some rows have to be multiplied by.
fn factor(values: &mut [f64]) -> f64 {
    if values.len() < LEAST_ROWS {
        return 1.0;
    }
    median(values).map_or(1.0, factor_alone)
}

/// What each of a sensor's readings has to be multiplied by, told by the days of each file; on a day on which that changes by
/// the reading itself.
fn of_days(readings: &SensorReadings) -> Vec<f64> {
    let rows = &readings.readings;
    let day = |reading: &Reading| (reading.file, reading.time.div_euclid(MICROS_PER_DAY));
    let mut values: BTreeMap<(usize, i64), Vec<f64>> = BTreeMap::new();
    for reading in rows.iter().filter(|reading| reading.status == Status::Ok) {
        values
            .entry(day(reading))
            .or_default()
            .push(reading.glucose);
    }
    let days: BTreeMap<(usize, i64), f64> = values
        .into_iter()
        .map(|(day, mut values)| (day, factor(&mut values)))
        .collect();
    let of_row = |reading: &Reading| {
        let (file, day) = day(reading);
        let near = days.range((file, day - 1)..=(file, day + 1));
        let near: Vec<f64> = near.map(|(_, factor)| *factor).collect();
        let own = days.get(&(file, day)).or(near.first());
        let own = own.copied().unwrap_or(1.0);
        let alone = factor_alone(reading.glucose);
        match near.iter().all(|factor| *factor == own) || !near.contains(&alone) {
            true => own,
            false => alone,
        }
    };
    rows.iter().map(of_row).collect()
}

/// What a value has to be multiplied by, nothing being known but itself.
fn factor_alone(value: f64) -> f64 {
    match value {
        low if low < LOW => MGDL_PER_MMOLL,
        high if high > HIGH => 1.0 / MGDL_PER_MMOLL,
        _ => 1.0,
    }
}

/// Rows of one file, wearer, sensor or meter, and month.
#[derive(Clone, Debug)]
struct Group {
    file: String,
    wearer: String,
    sensor: String,
    meter: String,
    factor: f64,
    /// The median of its values as they were read, mg/dL.
    level: f64,
    rows: usize,
    /// The places of its rows among the rejected ones, where they are such.
    rejects: Vec<usize>,
    /// When its rows are from; of some that were rejected it is not known.
    times: Option<(Micros, Micros)>,
    line: u64,
}

impl Group {
    /// Whether it has rows enough to tell of their unit.
    fn tells(&self) -> bool {
        self.rows >= LEAST_ROWS
    }

    fn is_rejected(&self) -> bool {
        !self.rejects.is_empty()
    }

    /// Whether a fingerstick is one of its rows.
    fn has(&self, check: &Check) -> bool {
        check.file == self.file
            && check.wearer == self.wearer
            && check.meter == self.meter
            && self.meets(check.time, check.time)
    }

    /// Whether some of its time lies between two instants.
    fn meets(&self, from: Micros, to: Micros) -> bool {
        self.times.is_some_and(|own| own.0 <= to && own.1 >= from)
    }

    /// Whether it is of the same sensor, or meter, of the same wearer.
    fn is_of(&self, other: &Self) -> bool {
        (&self.wearer, &self.sensor, &self.meter) == (&other.wearer, &other.sensor, &other.meter)
    }
}

/// What the values of readings are like.
#[derive(Default)]
pub(crate) struct Levels {
    groups: Vec<Group>,
}

impl Levels {
    /// Notes a sensor's readings by file and month; gives the factor that cures each.
    pub fn readings(
        &mut self,
        log: &Log<'_>,
        session: &Session,
        readings: &SensorReadings,
    ) -> Vec<f64> {
        let factors = of_days(readings);
        let mut by: BTreeMap<(usize, String, u64), Vec<usize>> = BTreeMap::new();
        let mut cache = None;
        for (row, (reading, factor)) in readings.readings.iter().zip(&factors).enumerate() {
            let month = month_of(log, reading.time, &mut cache);
            by.entry((reading.file, month, factor.to_bits()))
                .or_default()
                .push(row);
        }
        for ((file, _, factor), rows) in by {
            let own = |row: &usize| readings.readings.get(*row);
            let times = || rows.iter().filter_map(own).map(|reading| reading.time);
            self.groups.push(Group {
                file: log
                    .files
                    .get(file)
                    .map(|file| file.name.clone())
                    .unwrap_or_default(),
                wearer: session.wearer.clone(),
                sensor: session.sensor.clone(),
                meter: String::new(),
                factor: f64::from_bits(factor),
                level: level(rows.iter().filter_map(own).map(|reading| reading.glucose)),
                rows: rows.len(),
                rejects: Vec::new(),
                times: times().min().zip(times().max()),
                line: rows
                    .iter()
                    .filter_map(own)
                    .map(|reading| reading.line)
                    .min()
                    .unwrap_or(1),
            });
        }
        factors
    }

    /// Findings on the units of readings and fingersticks, fingersticks that comparisons leave out, and the places of rejected
    /// rows that are told.
    pub fn findings(&self, log: &Log<'_>) -> (Vec<Finding>, Vec<DoubtedCheck>, BTreeSet<usize>) {
        let mut checks = check_groups(log, log.checks);
        let mut readings = self.groups.clone();
        rejected::add(log, &mut readings, "readings");
        rejected::add(log, &mut checks, "fingersticks");
        let of_checks = told::findings(log, &checks);
        let of_readings = told::findings(log, &readings);
        let doubted = doubted(log, &checks, of_checks.iter().map(|(finding, _)| finding));
        let (mut findings, mut rejects) = (Vec::new(), BTreeSet::new());
        for (finding, groups) in of_checks.into_iter().chain(of_readings) {
            if !log.is_seen(&finding) {
                rejects.extend(groups.iter().flat_map(|group| &group.rejects));
            }
            findings.push(finding);
        }
        (findings, doubted, rejects)
    }
}

/// Fingersticks of groups whose finding leaves out no sensor.
fn doubted<'a>(
    log: &Log<'_>,
    groups: &[Group],
    findings: impl Iterator<Item = &'a Finding>,
) -> Vec<DoubtedCheck> {
    let of_rows: Vec<&Finding> = findings
        .filter(|finding| !finding.leaves_out && !log.is_seen(finding))
        .collect();
    let is_told = |group: &&Group| {
        let has = |finding: &&Finding| {
            let span = group.times.zip(finding.from.zip(finding.to));
            finding.wearer == group.wearer
                && (finding.meter.is_empty() || finding.meter == group.meter)
                && span.is_some_and(|(own, of)| of.0 <= own.0 && own.1 <= of.1)
        };
        group.factor != 1.0 && !group.is_rejected() && of_rows.iter().any(has)
    };
    let groups = groups.iter().filter(is_told);
    groups
        .flat_map(|group| {
            let own = log.checks_of(&group.wearer).iter();
            own.filter(|check| group.has(check))
        })
        .map(|check| DoubtedCheck::new(check, "unit"))
        .collect()
}

fn level(values: impl Iterator<Item = f64>) -> f64 {
    median(&mut values.collect::<Vec<_>>()).unwrap_or(0.0)
}

/// Groups of fingersticks.
fn check_groups(log: &Log<'_>, checks: &[Check]) -> Vec<Group> {
    let mut by: BTreeMap<(&str, &str, &str, String), Vec<&Check>> = BTreeMap::new();
    let mut cache = None;
    for check in checks.iter().filter(|check| check.time <= log.cutoff) {
        let month = month_of(log, check.time, &mut cache);
        by.entry((&check.file, &check.wearer, &check.meter, month))
            .or_default()
            .push(check);
    }
    let split = by.into_iter().flat_map(|(of, checks)| {
        parted(checks)
            .into_iter()
            .map(move |part| (of.clone(), part))
    });
    split
        .map(|((file, wearer, meter, _), checks)| Group {
            file: file.to_owned(),
            wearer: wearer.to_owned(),
            sensor: String::new(),
            meter: meter.to_owned(),
            factor: factor(&mut checks.iter().map(|check| check.glucose).collect::<Vec<_>>()),
            level: level(checks.iter().map(|check| check.glucose)),
            rows: checks.len(),
            rejects: Vec::new(),
            times: {
                let times = || checks.iter().map(|check| check.time);
                times().min().zip(times().max())
            },
            line: checks.iter().map(|check| check.line).min().unwrap_or(1),
        })
        .collect()
}

/// The fingersticks of a month, by time, in two where their unit changes at one moment.
fn parted(checks: Vec<&Check>) -> Vec<Vec<&Check>> {
    let alone = |check: &&Check| factor_alone(check.glucose);
    let first = checks.first().map(alone);
    let split = checks
        .iter()
        .position(|check| Some(alone(check)) != first)
        .unwrap_or(checks.len());
    let (before, after) = checks.split_at(split);
    let changed = after.first().map(alone);
    let is_one = after.iter().all(|check| Some(alone(check)) == changed);
    match before.len().min(after.len()) >= LEAST_ROWS && is_one {
        true => vec![before.to_vec(), after.to_vec()],
        false => vec![checks],
    }
}

/// Fingersticks that are told with the others of their group.
pub(crate) struct Told(Vec<Group>);

impl Told {
    pub fn new(log: &Log<'_>) -> Self {
        Self(check_groups(log, log.checks))
    }

    /// Whether a fingerstick is in a group of the other unit, or in one too small to tell beside one.
    pub fn has(&self, check: &Check) -> bool {
        let of_meter = |group: &&Group| {
            check.file == group.file && check.wearer == group.wearer && check.meter == group.meter
        };
        let mut alike = self.0.iter().filter(of_meter);
        match alike.clone().find(|group| group.has(check)) {
            Some(group) if group.tells() => group.factor != 1.0,
            _ => alike.any(|group| group.factor != 1.0),
        }
    }
}

/// The fingersticks of a wearer that clocks and meters are judged by, in the unit that they seem to have.
pub(crate) fn cured(log: &Log<'_>, wearer: &str) -> Vec<Check> {
    let own = log.checks_of(wearer);
    let groups = check_groups(log, own);
    let factor = |check: &Check| {
        let own = groups.iter().find(|group| group.has(check));
        own.map_or(1.0, |group| group.factor)
    };
    own.iter()
        .filter(|check| check.time <= log.cutoff && check.glucose > 0.0)
        .filter(|check| check.purpose != "control" && check.purpose != "calibration")
        .map(|check| Check {
            glucose: check.glucose * factor(check),
            ..check.clone()
        })
        .collect()
}
