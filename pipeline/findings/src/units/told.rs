//! What is told of values that are a factor of 18 off.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use whereworn_model::time::{MICROS_PER_MINUTE, Micros, local_date};
use whereworn_model::units::Unit;

use super::Group;
use crate::finding::{Finding, OF_GLUCOSE, OF_PAIRS, Severity};
use crate::log::Log;
use crate::words::{clock, count, day, first_of, quoted};

/// Seconds are not written: a minute after the last row is after it.
/// Which rows of some groups' sensor, meter or file have the other unit.
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
        let Some((from, to)) = span(off).filter(|_| off.iter().all(|off| off.times.is_some()))
        else {
            return Self::Among;
        };
        let zone = off
            .first()
            .map_or(TimeZone::UTC, |first| log.home(&first.wearer));
        let days = [from, to].map(|at| local_date(at, &zone));
        let same_day = |(first, last): (Micros, Micros)| {
            local_date(first, &zone) == days[1] || local_date(last, &zone) == days[0]
        };
        let mut times = right.clone().filter_map(|group| group.times);
        match (
            right.clone().any(|group| group.meets(from, to)),
            times.any(same_day),
        ) {
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

/// First and last time of some groups.
fn span(groups: &[&Group]) -> Option<(Micros, Micros)> {
    let times = || groups.iter().filter_map(|group| group.times);
    let from = times().map(|(from, _)| from).min();
    from.zip(times().map(|(_, to)| to).max())
}

/// Groups of one wearer and file that the same lines cure.
struct Part<'a> {
    groups: Vec<&'a Group>,
    rows: Rows,
}

impl Part<'_> {
    /// The name that all groups share; empty where they do not.
    fn name(&self, of: fn(&Group) -> &String) -> &str {
        common(&self.groups, of)
    }

    /// Lines for the settings; none of rows among right ones.
    fn block(&self, log: &Log<'_>, unit: Unit) -> String {
        let Some(first) = self.groups.first().filter(|_| self.rows != Rows::Among) else {
            return String::new();
        };
        let (sensor, meter) = (self.name(|g| &g.sensor), self.name(|g| &g.meter));
        let (key, name) = match (sensor, meter) {
            _ if self.rows == Rows::OfFile => ("file", first.file.as_str()),
            ("", "") => ("file", first.file.as_str()),
            ("", meter) => ("meter", meter),
            (sensor, _) => ("sensor", sensor),
        };
        let mut block = format!(
            "[[corrections]]\nwearer = {}\n{key} = {}\n",
            quoted(&first.wearer),
            quoted(name)
        );
        if let Some((from, to)) = span(&self.groups).filter(|_| self.rows.are_some()) {
            let zone = log.home(&first.wearer);
            let [from, to] = match self.rows {
                Rows::BetweenMinutes => [clock(from, &zone), clock(to + MICROS_PER_MINUTE, &zone)],
                _ => [day(from, &zone), day(to, &zone)],
            };
            block += &format!("from = \"{from}\"\nto = \"{to}\"\n");
        }
        block + &format!("unit = \"{}\"\n", unit.code())
    }
}

fn common<'a>(groups: &[&'a Group], of: fn(&Group) -> &String) -> &'a str {
    let first = groups.first().map_or("", |first| of(first));
    let same = groups.iter().all(|group| of(group) == first);
    if same { first } else { "" }
}

/// One finding for each wearer, apart from what the settings name alone and what no lines would cure.
pub(super) fn findings<'a>(log: &Log<'_>, groups: &'a [Group]) -> Vec<(Finding, Vec<&'a Group>)> {
    let mut findings = Vec::new();
    let mut joined: BTreeMap<(&str, bool, bool), Vec<Part<'_>>> = BTreeMap::new();
    for part in parts(log, groups) {
        let Some(first) = part.groups.first() else {
            continue;
        };
        let of = (first.wearer.as_str(), first.factor > 1.0);
        let finding = told(log, std::slice::from_ref(&part));
        if part.rows == Rows::Among || log.is_seen(&finding) {
            findings.push((finding, part.groups));
        } else {
            let key = (of.0, of.1, finding.leaves_out);
            joined.entry(key).or_default().push(part);
        }
    }
    findings.extend(joined.into_values().map(|parts| {
        let finding = told(log, &parts);
        let groups = parts.into_iter().flat_map(|part| part.groups);
        (finding, groups.collect())
    }));
    findings
}

/// By file and wearer all groups that are off, where they are all that there are of a time; else those of each sensor or meter.
fn parts<'a>(log: &Log<'_>, groups: &'a [Group]) -> Vec<Part<'a>> {
    let mut by: BTreeMap<(&str, &str, bool), Vec<&Group>> = BTreeMap::new();
    for group in groups.iter().filter(|group| group.factor != 1.0) {
        let of = (
            group.file.as_str(),
            group.wearer.as_str(),
            group.factor > 1.0,
        );
        by.entry(of).or_default().push(group);
    }
    let is_right = |group: &&Group| group.tells() && group.factor == 1.0;
    let mut parts = Vec::new();
    for ((file, wearer, _), mut off) in by {
        let here = |group: &&Group| group.file == file && group.wearer == wearer;
        let right_here = groups.iter().filter(is_right).filter(here);
        if right_here.clone().next().is_none() {
            // Named by its file where the same sensor or meter is right in another.
            let elsewhere = groups
                .iter()
                .filter(is_right)
                .any(|group| off.iter().any(|off| off.is_of(group)));
            let rows = if elsewhere { Rows::OfFile } else { Rows::All };
            parts.push(Part { groups: off, rows });
            continue;
        }
        let one = off.first().copied();
        if one.is_some_and(|one| off.iter().any(|group| !group.is_of(one))) {
            let rows = Rows::between(log, &off, right_here);
            if rows != Rows::Among {
                parts.push(Part { groups: off, rows });
                continue;
            }
        }
        while let Some(first) = off.first().copied() {
            let (own, others): (Vec<&Group>, Vec<&Group>) =
                off.into_iter().partition(|group| group.is_of(first));
            off = others;
            let of_it = |group: &&Group| group.factor == 1.0 && group.is_of(first);
            let right = groups.iter().filter(of_it);
            let rows = match right.clone().any(Group::tells) {
                false => Rows::All,
                true => Rows::between(log, &own, right),
            };
            parts.push(Part { groups: own, rows });
        }
    }
    parts
}

/// The finding of parts of one wearer and unit.
fn told(log: &Log<'_>, parts: &[Part<'_>]) -> Finding {
    let groups = || parts.iter().flat_map(|part| part.groups.iter().copied());
    let all: Vec<&Group> = groups().collect();
    let Some(first) = all.first() else {
        return Finding::new("unit", Severity::Wrong, OF_GLUCOSE);
    };
    let (unit, read_as) = match first.factor > 1.0 {
        true => (Unit::MmolL, Unit::MgDl),
        false => (Unit::MgDl, Unit::MmolL),
    };
    let of_readings = !first.sensor.is_empty();
    let (what, table) = match of_readings {
        true => ("reading", OF_GLUCOSE),
        false => ("fingerstick", OF_PAIRS),
    };
    let names = |of: fn(&Group) -> &String| {
        let mut names: Vec<&str> = groups().map(|group| of(group).as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names
    };
    let (files, sensors) = (names(|group| &group.file), names(|group| &group.sensor));
    let many = of_readings && sensors.len() > 1;
    let are_some = parts.iter().any(|part| part.rows.are_some());
    let whole_file = parts.len() == 1 && !are_some && many;
    let mut blocks: Vec<String> = parts.iter().map(|part| part.block(log, unit)).collect();
    blocks.sort_unstable();
    blocks.dedup();
    let rows = |rejected: bool| {
        let own = groups().filter(|group| group.is_rejected() == rejected);
        own.map(|group| group.rows).sum::<usize>()
    };
    let (read, rejected) = (rows(false), rows(true));
    let times = span(&all);
    let of = match (whole_file || !of_readings, times.filter(|_| many)) {
        (true, _) => String::new(),
        (false, None) => format!(", {}", first_of("sensor", &sensors)),
        (false, Some((from, to))) => {
            let days = [from, to].map(|at| day(at, &log.home(&first.wearer)));
            let sensors = first_of("sensor", &sensors);
            format!(", {sensors} from {} to {}", days[0], days[1])
        }
    };
    Finding {
        wearer: first.wearer.clone(),
        meter: common(&all, |group| &group.meter).to_owned(),
        file: common(&all, |group| &group.file).to_owned(),
        line: match files.len() {
            1 => groups().map(|group| group.line).min(),
            _ => None,
        },
        from: times.map(|(from, _)| from),
        to: times.map(|(_, to)| to),
        size: Some(18.0),
        unit: unit.code(),
        text: format!(
            "{}, {} of `{}`{of}: {}",
            match files.as_slice() {
                [file] => (*file).to_owned(),
                _ => format!("{} and {} more", files[0], count(files.len() - 1, "file")),
            },
            count(read + rejected, what),
            first.wearer,
            harm(read, rejected, read_as, unit)
        ),
        todo: match blocks.first().is_none_or(String::is_empty) {
            true => "write their unit into these rows: others among them are right".to_owned(),
            false if rejected > 0 => {
                format!("declare the unit as {}, or paste the lines", unit.code())
            }
            false => "name the unit where the file names none, or paste the lines".to_owned(),
        },
        paste: blocks.join("\n"),
        // Some of a meter's fingersticks are left out by themselves, and rejected ones make no pairs.
        leaves_out: of_readings || (!are_some && read > 0),
        ..Finding::new("unit", Severity::Wrong, table).of_sensors(&sensors)
    }
}

/// What became of the rows.
fn harm(read: usize, rejected: usize, read_as: Unit, unit: Unit) -> String {
    let (read_as, unit) = (read_as.code(), unit.code());
    let why = format!("because no body has such glucose in {read_as}; in {unit} it is plain");
    match (read, rejected) {
        (_, 0) => format!(
            "read as {read_as}, but their size is that of {unit}: every figure made of them is a factor of 18 off"
        ),
        (0, _) => format!("rejected {why}"),
        _ => format!(
            "{rejected} rejected {why}, and every figure made of the other {read} is a factor of 18 off"
        ),
    }
}
