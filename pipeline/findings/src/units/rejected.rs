//! Rows that were rejected because mg/dL was declared as mmol/L.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::DateTime;
use whereworn_model::rows::{FileRows, RejectedRow, WearEvent};
use whereworn_model::time::{Micros, parse_instant};
use whereworn_model::units::{MGDL_PER_MMOLL, Unit};

use super::{Group, LEAST_ROWS};
use crate::log::Log;

/// Share of a file's rows rejected for a glucose that no body has, from which on their unit is the cause.
const REJECTED: f64 = 0.3;

/// Rows that are left beside rejected ones and have a median above this, in mg/dL, are of the same unit: 20 mmol/L is no
/// body's usual glucose, and mg/dL below 20 are rare.
const HIGH_BESIDE: f64 = 20.0 * MGDL_PER_MMOLL;

/// Adds groups of the rejected rows of a table, and the factor of those that are left beside them.
pub(super) fn add(log: &Log<'_>, groups: &mut Vec<Group>, table: &str) {
    let files = log.files.iter();
    for file in files.filter(|file| file.rows > 0 && file.table == table) {
        of_file(log, file, groups);
    }
}

fn of_file(log: &Log<'_>, file: &FileRows, groups: &mut Vec<Group>) {
    let is_absurd = |(_, reject): &(usize, &RejectedRow)| {
        reject.file == file.name
            && reject.reason.starts_with("glucose that no body has")
            && reject.reason.contains(Unit::MmolL.code())
    };
    let rejects = log.rejects.iter().enumerate().filter(is_absurd);
    // Several sensors or meters of a file may have been declared so, or one.
    let mut by: BTreeMap<[String; 3], Vec<(usize, &RejectedRow)>> = BTreeMap::new();
    for (place, reject) in rejects {
        let subject = subject(log, file, reject, groups);
        by.entry(subject).or_default().push((place, reject));
    }
    let known = |group: &Group| group.file == file.name && group.factor < 1.0;
    let rows: usize = by.values().map(Vec::len).sum();
    let few = (rows as f64) < REJECTED * file.rows as f64;
    if few && by.len() > 1 && !groups.iter().any(known) {
        return;
    }
    for ([wearer, sensor, meter], rejects) in by {
        // A sensor is one in all its files.
        let is_own = |group: &Group| {
            let here = !sensor.is_empty() || group.file == file.name;
            (&group.wearer, &group.sensor) == (&wearer, &sensor) && here
        };
        let own = || groups.iter().filter(|group| is_own(group));
        let all = rejects.len() + own().map(|group| group.rows).sum::<usize>();
        let is_few = rejects.len() < LEAST_ROWS || (rejects.len() as f64) < REJECTED * all as f64;
        if is_few && !own().any(|group| group.factor < 1.0) {
            continue;
        }
        for group in groups.iter_mut().filter(|group| is_own(group)) {
            if group.level > HIGH_BESIDE {
                group.factor = 1.0 / MGDL_PER_MMOLL;
            }
        }
        groups.push(Group {
            file: file.name.clone(),
            times: times(log, &wearer, &rejects),
            wearer,
            sensor,
            meter,
            factor: 1.0 / MGDL_PER_MMOLL,
            level: 0.0,
            rows: rejects.len(),
            line: rejects.iter().map(|(_, row)| row.line).min().unwrap_or(1),
            rejects: rejects.into_iter().map(|(place, _)| place).collect(),
        });
    }
}

fn cells(raw: &str) -> impl Iterator<Item = &str> {
    let cells = raw.split([',', ';', '\t']);
    cells.map(|cell| cell.trim().trim_matches('"'))
}

/// Wearer, sensor and meter of a rejected row, as far as its cells name some that are known.
fn subject(log: &Log<'_>, file: &FileRows, reject: &RejectedRow, groups: &[Group]) -> [String; 3] {
    let cells: BTreeSet<&str> = cells(&reject.raw).collect();
    let default = &log.settings.study.wearer;
    let inserted = log.events.iter().filter(|event| event.event == "insert");
    let mut own = inserted.filter(|event| cells.contains(event.sensor.as_str()));
    let named = own.clone().find(|event| cells.contains(&*event.wearer));
    let usual = || own.clone().find(|event| event.wearer == *default);
    let event: Option<&WearEvent> = named.or_else(usual).or_else(|| own.next());
    let mut wearers = log.events.iter().map(|event| &event.wearer);
    let wearer = event.map(|event| &event.wearer);
    let wearer = wearer.or_else(|| wearers.find(|wearer| cells.contains(wearer.as_str())));
    let wearer = wearer.map_or_else(|| default.clone(), |wearer| wearer.to_string());
    if file.table == "readings" {
        let sensor = event.map(|event| event.sensor.to_string());
        return [wearer, sensor.unwrap_or_default(), String::new()];
    }
    let known = groups.iter().filter(|group| group.wearer == wearer);
    let mut meters = known.map(|group| &group.meter);
    let meter = meters.find(|meter| cells.contains(meter.as_str()));
    [wearer, String::new(), meter.cloned().unwrap_or_default()]
}

/// When rows are from, where every one of them has a date as ISO 8601 writes it.
fn times(
    log: &Log<'_>,
    wearer: &str,
    rejects: &[(usize, &RejectedRow)],
) -> Option<(Micros, Micros)> {
    let zone = log.home(wearer);
    let local = |cell: &str| {
        let local = cell.parse::<DateTime>().ok()?;
        let zoned = local.to_zoned_datetime(zone.clone()).ok()?;
        Some(zoned.timestamp().as_microsecond())
    };
    let time = |cell| parse_instant(cell).or_else(|| local(cell));
    let times = rejects
        .iter()
        .map(|(_, row)| cells(&row.raw).find_map(time));
    let times: Vec<Micros> = times.collect::<Option<_>>()?;
    times.iter().min().copied().zip(times.iter().max().copied())
}
