//! Values that are a factor of 18 off.

use std::collections::BTreeMap;

use whereworn_model::rows::{Check, SensorReadings, Status};
use whereworn_model::time::Micros;
use whereworn_model::units::{MGDL_PER_MMOLL, Unit};

use crate::finding::{DoubtedCheck, Finding, OF_GLUCOSE, OF_PAIRS, Severity};
use crate::log::{Log, Session};
use crate::look::month_of;
use crate::trace::median;
use crate::words::{count, day, quoted};

/// A month's median below this is no glucose in mg/dL, and a plain one in mmol/L.
const LOW: f64 = 30.0;

/// A month's median above this is no glucose in mg/dL, and eighteen times a plain one: a body above 600 mg/dL is in
/// hospital, and sensors end at 400 to 500.
const HIGH: f64 = 600.0;

/// Share of a file's rows rejected for a glucose that no body has, from which on their unit is the cause.
const REJECTED: f64 = 0.3;

/// Least rows of a month that tell of its unit.
const LEAST_ROWS: usize = 5;

/// What values of some rows have to be multiplied by.
fn factor(values: &mut [f64]) -> f64 {
    if values.len() < LEAST_ROWS {
        return 1.0;
    }
    match median(values) {
        Some(low) if low < LOW => MGDL_PER_MMOLL,
        Some(high) if high > HIGH => 1.0 / MGDL_PER_MMOLL,
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
        let mut by: BTreeMap<(usize, String), Vec<usize>> = BTreeMap::new();
        let mut cache = None;
        for (row, reading) in readings.readings.iter().enumerate() {
            by.entry((reading.file, month_of(log, reading.time, &mut cache)))
                .or_default()
                .push(row);
        }
        let mut factors = vec![1.0; readings.readings.len()];
        for ((file, _), rows) in by {
            let own = |row: &usize| readings.readings.get(*row);
            let mut values: Vec<f64> = rows
                .iter()
                .filter_map(own)
                .filter(|reading| reading.status == Status::Ok)
                .map(|reading| reading.glucose)
                .collect();
            let factor = factor(&mut values);
            for row in &rows {
                if let Some(place) = factors.get_mut(*row) {
                    *place = factor;
                }
            }
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
                factor,
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
    by.into_iter()
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
            let rows = if whole { Rows::All } else { Rows::Between };
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
    if rows_off == Rows::Between
        && let (Some(from), Some(to)) = (from, to)
    {
        paste += &format!(
            "from = \"{}\"\nto = \"{}\"\n",
            day(from, &zone),
            day(to, &zone)
        );
    }
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
        todo: "name the unit where the file names none, or paste the lines".to_owned(),
        paste: paste + &format!("unit = \"{}\"\n", unit.code()),
        sensor,
        meter,
        // Some of a meter's fingersticks are left out by themselves.
        leaves_out: of_readings || rows_off != Rows::Between,
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
