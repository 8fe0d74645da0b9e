//! Values that are a factor of 18 off.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use whereworn_model::rows::{Check, Reading, SensorReadings, Status};
use whereworn_model::time::{MICROS_PER_DAY, MICROS_PER_SECOND, Micros, local_date};
use whereworn_model::units::{MGDL_PER_MMOLL, Unit};

use crate::finding::{DoubtedCheck, Finding, OF_GLUCOSE, OF_PAIRS, Severity};
use crate::log::{Log, Session};
use crate::look::month_of;
use crate::readings::trace::median;
use crate::words::{clock, count, day, quoted};

/// A month's median below this is no glucose in mg/dL, and a plain one in mmol/L.
const LOW: f64 = 30.0;

/// A month's median above this is no glucose in mg/dL, and eighteen times a plain one: a body above 600 mg/dL is in
/// hospital, and sensors end at 400 to 500.
const HIGH: f64 = 600.0;

/// Share of a file's rows rejected for a glucose that no body has, from which on their unit is the cause.
const REJECTED: f64 = 0.3;

/// Seconds are not written: a minute after the last row is after it.
const A_MINUTE: Micros = 60 * MICROS_PER_SECOND;

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
    rows: usize,
    from: Micros,
    to: Micros,
    line: u64,
}

impl Group {
    /// Whether it has rows enough to tell of their unit.
    fn tells(&self) -> bool {
        self.rows >= LEAST_ROWS
    }

    /// Whether a fingerstick is one of its rows.
    fn has(&self, check: &Check) -> bool {
        check.file == self.file
            && check.wearer == self.wearer
            && check.meter == self.meter
            && (self.from..=self.to).contains(&check.time)
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
                rows: rows.len(),
                from: times().min().unwrap_or(0),
                to: times().max().unwrap_or(0),
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

    /// Findings on the units of readings and fingersticks, and fingersticks that comparisons leave out.
    pub fn findings(&self, log: &Log<'_>) -> (Vec<Finding>, Vec<DoubtedCheck>) {
        let checks = check_groups(log, log.checks);
        let mut found = merged(log, &checks);
        let doubted = doubted(log, &checks, &found);
        found.extend(merged(log, &self.groups));
        found.extend(rejected(log, &self.groups, &checks));
        (found, doubted)
    }
}

/// Fingersticks of groups whose finding leaves out no sensor.
fn doubted(log: &Log<'_>, groups: &[Group], findings: &[Finding]) -> Vec<DoubtedCheck> {
    let of_rows: Vec<&Finding> = findings
        .iter()
        .filter(|finding| !finding.leaves_out && !log.is_seen(finding))
        .collect();
    let is_told = |group: &&Group| {
        let has = |finding: &&Finding| {
            finding.wearer == group.wearer
                && finding.meter == group.meter
                && finding.from.is_some_and(|from| from <= group.from)
                && finding.to.is_some_and(|to| group.to <= to)
        };
        group.factor != 1.0 && of_rows.iter().any(has)
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
            rows: checks.len(),
            from: checks.iter().map(|check| check.time).min().unwrap_or(0),
            to: checks.iter().map(|check| check.time).max().unwrap_or(0),
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

/// One finding for each file and wearer, or for each sensor or meter where only some of the file's are off.
fn merged(log: &Log<'_>, groups: &[Group]) -> Vec<Finding> {
    let mut by: BTreeMap<(&str, &str), Vec<&Group>> = BTreeMap::new();
    for group in groups {
        by.entry((&group.file, &group.wearer))
            .or_default()
            .push(group);
    }
    let mut findings = Vec::new();
    for ((_, _), all) in by {
        let mut off: Vec<&Group> = all
            .iter()
            .filter(|group| group.factor != 1.0)
            .copied()
            .collect();
        if off.is_empty() {
            continue;
        }
        if off.len() == all.iter().filter(|group| group.tells()).count() {
            // Named by its file where the same sensor or meter is right in another.
            let right = |group: &&Group| group.tells() && group.factor == 1.0;
            let elsewhere = groups
                .iter()
                .filter(right)
                .any(|group| off.iter().any(|off| off.is_of(group)));
            let rows = if elsewhere { Rows::OfFile } else { Rows::All };
            findings.push(of_groups(log, &off, rows));
            continue;
        }
        while let Some(first) = off.first().copied() {
            let (own, others): (Vec<&Group>, Vec<&Group>) =
                off.into_iter().partition(|group| group.is_of(first));
            let all = groups
                .iter()
                .filter(|group| group.tells() && group.is_of(first));
            let whole = all.count() == own.len();
            let right = groups
                .iter()
                .filter(|group| group.factor == 1.0 && group.is_of(first));
            let rows = match whole {
                true => Rows::All,
                false => Rows::between(log, &own, right),
            };
            findings.push(of_groups(log, &own, rows));
            off = others;
        }
    }
    findings
}

/// Which rows of some groups' sensor or meter have the other unit.
#[derive(Clone, Copy, PartialEq)]
enum Rows {
    /// All that there are.
    All,
    /// All of their file, and none of another.
    OfFile,
    /// Those between their first and last day.
    Between,
    /// Those between the minutes of the first and the last: on these days others are right.
    BetweenMinutes,
    /// Some among others that are right.
    Among,
}

impl Rows {
    /// Of groups some of whose subject's rows are right.
    fn between<'a>(
        log: &Log<'_>,
        off: &[&Group],
        right: impl Iterator<Item = &'a Group> + Clone,
    ) -> Self {
        let from = off.iter().map(|group| group.from).min().unwrap_or(0);
        let to = off.iter().map(|group| group.to).max().unwrap_or(0);
        let zone = off
            .first()
            .map_or(TimeZone::UTC, |first| log.home(&first.wearer));
        let days = [from, to].map(|at| local_date(at, &zone));
        let meets = |group: &Group| group.from <= to && group.to >= from;
        let same_day = |group: &Group| {
            let of = [group.from, group.to].map(|at| local_date(at, &zone));
            of[0] == days[1] || of[1] == days[0]
        };
        match (right.clone().any(meets), right.clone().any(same_day)) {
            (true, _) => Self::Among,
            (false, true) => Self::BetweenMinutes,
            (false, false) => Self::Between,
        }
    }

    /// Whether others of the same subject are right, and not told by their file.
    fn are_some(self) -> bool {
        matches!(self, Self::Between | Self::BetweenMinutes | Self::Among)
    }
}

fn of_groups(log: &Log<'_>, groups: &[&Group], rows_off: Rows) -> Finding {
    let Some(first) = groups.first() else {
        return Finding::new("unit", Severity::Wrong, OF_GLUCOSE);
    };
    let one = |of: fn(&Group) -> &String| {
        let same = groups.iter().all(|group| of(group) == of(first));
        if same {
            of(first).clone()
        } else {
            String::new()
        }
    };
    let (sensor, meter) = (one(|group| &group.sensor), one(|group| &group.meter));
    let of_readings = groups.iter().any(|group| !group.sensor.is_empty());
    let unit = if first.factor > 1.0 {
        Unit::MmolL
    } else {
        Unit::MgDl
    };
    let read_as = if first.factor > 1.0 {
        Unit::MgDl
    } else {
        Unit::MmolL
    };
    let rows: usize = groups.iter().map(|group| group.rows).sum();
    let from = groups.iter().map(|group| group.from).min();
    let to = groups.iter().map(|group| group.to).max();
    let zone = log.home(&first.wearer);
    let (what, table) = if of_readings {
        ("reading", OF_GLUCOSE)
    } else {
        ("fingerstick", OF_PAIRS)
    };
    let mut paste = format!("[[corrections]]\nwearer = {}\n", quoted(&first.wearer));
    paste += &match (sensor.as_str(), meter.as_str()) {
        _ if rows_off == Rows::OfFile => format!("file = {}\n", quoted(&first.file)),
        ("", "") => format!("file = {}\n", quoted(&first.file)),
        ("", meter) => format!("meter = {}\n", quoted(meter)),
        (sensor, _) => format!("sensor = {}\n", quoted(sensor)),
    };
    if let (Some(from), Some(to)) = (from, to) {
        let [from, to] = match rows_off {
            Rows::BetweenMinutes => [clock(from, &zone), clock(to + A_MINUTE, &zone)],
            _ => [day(from, &zone), day(to, &zone)],
        };
        if rows_off.are_some() {
            paste += &format!("from = \"{from}\"\nto = \"{to}\"\n");
        }
    }
    paste += &format!("unit = \"{}\"\n", unit.code());
    Finding {
        wearer: first.wearer.clone(),
        file: first.file.clone(),
        line: groups.iter().map(|group| group.line).min(),
        from,
        to,
        size: Some(18.0),
        unit: unit.code(),
        text: format!(
            "{}, {} of `{}`{}: read as {}, but their size is that of {}: every figure made of them is a factor of 18 off",
            first.file,
            count(rows, what),
            first.wearer,
            if sensor.is_empty() {
                String::new()
            } else {
                format!(", sensor `{sensor}`")
            },
            read_as.code(),
            unit.code()
        ),
        todo: match rows_off {
            Rows::Among => "write their unit into these rows: others among them are right",
            _ => "name the unit where the file names none, or paste the lines",
        }
        .to_owned(),
        paste: if rows_off == Rows::Among {
            String::new()
        } else {
            paste
        },
        sensor,
        meter,
        // Some of a meter's fingersticks are left out by themselves.
        leaves_out: of_readings || !rows_off.are_some(),
        ..Finding::new("unit", Severity::Wrong, table)
    }
}

/// Files whose rows are rejected because mg/dL was declared as mmol/L.
fn rejected(log: &Log<'_>, readings: &[Group], checks: &[Group]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for file in log.files.iter().filter(|file| file.rows > 0) {
        let of_checks = file.table == "fingersticks";
        let groups = if of_checks { checks } else { readings };
        let rejects: Vec<_> = log
            .rejects
            .iter()
            .filter(|reject| {
                reject.file == file.name && reject.reason.starts_with("glucose that no body has")
            })
            .filter(|reject| reject.reason.contains(Unit::MmolL.code()))
            .collect();
        let known = groups
            .iter()
            .any(|group| group.file == file.name && group.factor < 1.0);
        let Some(first) = rejects.first() else {
            continue;
        };
        let words = |raw: &str| -> Vec<String> {
            let cells = raw.split([',', ';', '\t']);
            cells
                .map(|cell| cell.trim().trim_matches('"').to_owned())
                .collect()
        };
        // Several sensors of a file may have been declared so, or one.
        let mut by: BTreeMap<(String, String), usize> = BTreeMap::new();
        for reject in &rejects {
            let cells = words(&reject.raw);
            let has = |name: &str| cells.iter().any(|cell| cell == name);
            let inserted = log.events.iter().filter(|event| event.event == "insert");
            let named = |event: &&whereworn_model::rows::WearEvent| has(&event.sensor);
            let own = inserted.clone().filter(named);
            let by_both = own.clone().find(|event| has(&event.wearer));
            let default = own
                .clone()
                .find(|event| event.wearer == log.settings.study.wearer);
            let event = by_both.or(default).or_else(|| own.clone().next());
            let wearer = event.map(|event| event.wearer.to_string()).or_else(|| {
                let mut wearers = log.events.iter().map(|event| &event.wearer);
                let named = wearers.find(|wearer| has(wearer));
                named.map(|wearer| wearer.to_string())
            });
            let wearer = wearer.unwrap_or_else(|| log.settings.study.wearer.clone());
            let sensor = event.filter(|_| file.table == "readings");
            let sensor = sensor.map(|event| event.sensor.to_string());
            let sensor = sensor.unwrap_or_default();
            *by.entry((wearer, sensor)).or_default() += 1;
        }
        let share = rejects.len() as f64 / file.rows as f64;
        if share < REJECTED && !(known && share > 0.0) && by.len() > 1 {
            continue;
        }
        for ((wearer, sensor), rows) in by {
            // A sensor is one in all its files.
            let told = groups
                .iter()
                .filter(|group| group.wearer == wearer && group.sensor == sensor)
                .filter(|group| !sensor.is_empty() || group.file == file.name);
            let accepted: usize = told.clone().map(|group| group.rows).sum();
            let already = told.clone().any(|group| group.factor < 1.0);
            if already || (rows as f64) < REJECTED * (rows + accepted) as f64 || rows < LEAST_ROWS {
                continue;
            }
            let others_are_right = told
                .clone()
                .any(|group| group.tells() && group.factor == 1.0);
            let table = if of_checks { OF_PAIRS } else { OF_GLUCOSE };
            let key = if sensor.is_empty() {
                ("file", file.name.as_str())
            } else {
                ("sensor", sensor.as_str())
            };
            findings.push(Finding {
                text: format!(
                    "{}: {} of `{wearer}` rejected because no body has such glucose in mmol/L; in mg/dL they are plain",
                    file.name,
                    count(rows, "row"),
                ),
                todo: if others_are_right {
                    "write their unit into these rows: the others are right as they are"
                } else {
                    "declare the unit as mg/dL, or paste the lines"
                }
                .to_owned(),
                paste: if others_are_right {
                    String::new()
                } else {
                    format!(
                        "[[corrections]]\nwearer = {}\n{} = {}\nunit = \"mg/dL\"\n",
                        quoted(&wearer),
                        key.0,
                        quoted(key.1)
                    )
                },
                wearer,
                sensor,
                file: file.name.clone(),
                line: Some(first.line),
                size: Some(18.0),
                unit: Unit::MgDl.code(),
                // Fingersticks that were rejected make no pairs, and readings are as good without them.
                leaves_out: !of_checks,
                ..Finding::new("unit", Severity::Wrong, table)
            });
        }
    }
    findings
}
