//! Readings of a sensor that stand twice, at two times: two exports of it whose clocks differ, or one of which has no seconds.

use std::collections::BTreeMap;

use whereworn_model::rows::{Reading, SensorReadings};
use whereworn_model::time::{MICROS_PER_MINUTE, Micros};

use crate::finding::{Finding, OF_GLUCOSE, Severity};
use crate::log::{Log, Session};
use crate::readings::trace::{median, minutes};
use crate::sessions::of_session;
use crate::words::{clock, first_of, quoted};

/// Two runs of readings interleave where short and long steps take turns: most that a short one is of a long one, and least
/// turns without a break.
const SHORT: f64 = 0.9;
const TURNS: usize = 6;

/// How much steps of every other reading may scatter, of the difference between long and short steps.
const UNSTEADY: f64 = 0.1;

/// Least readings that move and have their like at one distance, the least share of those with a reading there, and of all that
/// move with one. Chance gives one in three the same value beside it.
const LEAST: usize = 50;
const SHARE: f64 = 0.9;
const MATCHED: f64 = 0.7;

/// Values so near are one, written in two units; those further from the last of their run have moved. mg/dL.
const SAME: f64 = 1.0;
const MOVED: f64 = 2.0;

/// Clocks lie no further apart than time zones do.
const APART: Micros = 14 * 60 * MICROS_PER_MINUTE;

/// Readings that stand again some time later.
pub(crate) struct Repeated<'a> {
    rows: usize,
    apart: Micros,
    /// The first and the last that stand again, as they stand for the second time.
    first: &'a Reading,
    last: &'a Reading,
    /// The file in which they stand the first time, where that is another.
    file: Option<usize>,
}

impl<'a> Repeated<'a> {
    /// What stands twice of a sensor, if anything does.
    pub fn of(sensor: &'a SensorReadings) -> Option<Self> {
        let told = |row: &&Reading| row.glucose > 0.0;
        let readings: Vec<&Reading> = sensor.readings.iter().filter(told).collect();
        let moving = moving(&readings);
        if moving.len() < LEAST || !are_two_runs(&readings, &moving) {
            return None;
        }
        let apart = commonest(&readings, &moving)?;
        let found = moving
            .iter()
            .filter_map(|place| is_twice(&readings, *place, apart));
        let found: Vec<bool> = found.collect();
        let twice = found.iter().filter(|twice| **twice).count();
        let (most, some) = (SHARE * found.len() as f64, MATCHED * moving.len() as f64);
        if twice < LEAST || (twice as f64) < most || (found.len() as f64) < some {
            return None;
        }
        let likes = readings.iter().enumerate().filter_map(|(place, reading)| {
            let mut later = near(&readings, place, apart).into_iter();
            let like = later.find(|other| other.time > reading.time && is_same(reading, other))?;
            Some((*reading, like))
        });
        let mut pairs: Vec<(&Reading, &Reading)> = likes.collect();
        // Chance makes some of the second run like later ones of the first.
        let mut by_files: BTreeMap<(usize, usize), usize> = BTreeMap::new();
        for (a, b) in &pairs {
            *by_files.entry((a.file, b.file)).or_default() += 1;
        }
        let (files, _) = by_files.into_iter().max_by_key(|(_, pairs)| *pairs)?;
        pairs.retain(|(a, b)| (a.file, b.file) == files);
        let (first, last) = (pairs.first()?.1, pairs.last()?.1);
        Some(Self {
            rows: pairs.len(),
            apart,
            first,
            last,
            file: (files.0 != files.1).then_some(files.0),
        })
    }

    /// Whether half of the readings are of another time than the others.
    pub fn is_of_two_clocks(&self) -> bool {
        self.apart >= MICROS_PER_MINUTE
    }

    /// What is told of it.
    pub fn told(&self, log: &Log<'_>, session: &Session) -> Told {
        let name = |file: usize| log.files.get(file).map(|file| file.name.clone());
        let kind = match self.is_of_two_clocks() {
            true => "clock-sensor",
            false => "spacing-changed",
        };
        let size = (minutes(self.apart) * 100.0).round() / 100.0;
        Told {
            rows: self.rows,
            other: self.file.and_then(name),
            finding: Finding {
                file: name(self.first.file).unwrap_or_default(),
                line: Some(self.first.line),
                from: Some(self.first.time),
                to: Some(self.last.time),
                size: Some(size),
                unit: "min",
                ..of_session(log, session, kind, Severity::Wrong, OF_GLUCOSE)
            },
        }
    }
}

/// A sensor whose readings stand twice: where, from when to when, and how far apart.
pub(crate) struct Told {
    rows: usize,
    /// The file in which they stand the first time, where that is another.
    other: Option<String>,
    finding: Finding,
}

/// One finding for each wearer and kind, apart from sensors that the settings name alone.
pub(crate) fn findings(log: &Log<'_>, told: Vec<Told>) -> Vec<Finding> {
    let mut by: BTreeMap<(String, &'static str, bool), Vec<Told>> = BTreeMap::new();
    let mut findings = Vec::new();
    for one in told {
        if log.is_seen(&one.finding) {
            findings.push(together(log, &[one]));
            continue;
        }
        let key = (
            one.finding.wearer.clone(),
            one.finding.kind,
            one.other.is_some(),
        );
        by.entry(key).or_default().push(one);
    }
    findings.extend(by.into_values().map(|told| together(log, &told)));
    findings.into_iter().flatten().collect()
}

/// The finding of sensors of one wearer.
fn together(log: &Log<'_>, told: &[Told]) -> Option<Finding> {
    let first = told.first()?;
    let all = || told.iter().map(|one| &one.finding);
    let own = &first.finding;
    let sensors: Vec<&str> = all().map(|one| one.sensor.as_str()).collect();
    let is_one = sensors.len() == 1;
    let one_file = all().all(|one| one.file == own.file);
    let size = median(&mut all().filter_map(|one| one.size).collect::<Vec<_>>())?;
    let about = match all().all(|one| one.size == Some(size)) {
        true => format!("{size} min"),
        false => format!("some {size} min"),
    };
    let harm = match (own.kind, is_one) {
        ("clock-sensor", true) => {
            "half of them are of another time than they say, so that comparisons leave the sensor out"
        }
        ("clock-sensor", false) => {
            "half of them are of another time than they say, so that comparisons leave these sensors out"
        }
        _ => {
            "readings seem to be so close together that nights with all of them count as nights with gaps"
        }
    };
    let more = match one_file {
        true => "",
        false => ", and so on in other files",
    };
    let (file, whence) = match &first.other {
        Some(other) => (
            other,
            format!("in {other} and {about} later in {}{more}", own.file),
        ),
        None => (
            &own.file,
            format!("in {}{more}, the second time {about} later", own.file),
        ),
    };
    let todo = match &first.other {
        Some(other) => format!(
            "look which of the two has the wearer's clock; where it is that of {other}, paste the lines, which leave out what stands again in {}, and if {} has other readings of that clock correct them by `clock_minutes = -{size}`; else leave those of {other} out",
            own.file, own.file
        ),
        None => {
            format!(
                "look which of the two has the wearer's clock, and take the other out of {file}"
            )
        }
    };
    let blocks = told.iter().filter(|one| one.other.is_some());
    let blocks: Vec<String> = blocks.map(|one| block(log, &one.finding)).collect();
    let rows: usize = told.iter().map(|one| one.rows).sum();
    Some(Finding {
        file: match one_file {
            true => own.file.clone(),
            false => String::new(),
        },
        line: all().filter_map(|one| one.line).min().filter(|_| one_file),
        from: all().filter_map(|one| one.from).min(),
        to: all().filter_map(|one| one.to).max(),
        size: Some(size),
        text: format!(
            "{} of `{}`: {rows} readings stand twice, {whence}; {harm}",
            first_of("sensor", &sensors),
            own.wearer
        ),
        todo,
        paste: blocks.join("\n"),
        ..own.clone().of_sensors(&sensors)
    })
}

/// Lines that leave out what stands again of a sensor.
fn block(log: &Log<'_>, told: &Finding) -> String {
    let zone = log.home(&told.wearer);
    let [from, to] = [told.from, told.to.map(|to| to + MICROS_PER_MINUTE)]
        .map(|at| at.map_or(String::new(), |at| clock(at, &zone)));
    format!(
        "[[corrections]]\nwearer = {}\nsensor = {}\nfile = {}\nfrom = \"{from}\"\nto = \"{to}\"\nleave_out = true\n",
        quoted(&told.wearer),
        quoted(&told.sensor),
        quoted(&told.file),
    )
}

/// Places of readings from whose steps to the next and the one after short and long ones take turns, and which differ from the
/// last of their own run.
fn moving(readings: &[&Reading]) -> Vec<usize> {
    let turns = readings.windows(3).map(|three| match three {
        [a, b, c] => {
            let (one, next) = ((b.time - a.time) as f64, (c.time - b.time) as f64);
            let short = one.min(next) <= SHORT * one.max(next);
            let moved = (c.glucose - a.glucose).abs() >= MOVED;
            (short.then_some(one < next), moved)
        }
        _ => (None, false),
    });
    let turns: Vec<(Option<bool>, bool)> = turns.collect();
    let takes_turns = |(a, _): &(Option<bool>, bool), (b, _): &(Option<bool>, bool)| {
        a.is_some() && b.is_some() && a != b
    };
    let mut moving = Vec::new();
    let mut begin = 0;
    for run in turns.chunk_by(takes_turns) {
        if run.len() >= TURNS {
            let moved = run.iter().enumerate().filter(|(_, (_, moved))| *moved);
            moving.extend(moved.map(|(place, _)| begin + place + 2));
        }
        begin += run.len();
    }
    moving
}

/// Whether every other reading is as steady as those of one sensor: where readings of one run come some seconds early or late,
/// steps take turns by chance, and those of every other reading scatter as much.
fn are_two_runs(readings: &[&Reading], places: &[usize]) -> bool {
    let three = places.iter().filter_map(|place| {
        let at = |back: usize| {
            readings
                .get(place.checked_sub(back)?)
                .map(|row| row.time as f64)
        };
        Some([at(2)?, at(1)?, at(0)?])
    });
    let three: Vec<[f64; 3]> = three.collect();
    let mut turns: Vec<f64> = three
        .iter()
        .map(|[a, b, c]| (a + c - 2.0 * b).abs())
        .collect();
    let mut own: Vec<f64> = three.iter().map(|[a, _, c]| c - a).collect();
    let Some((step, turn)) = median(&mut own).zip(median(&mut turns)) else {
        return false;
    };
    let mut off: Vec<f64> = own.iter().map(|own| (own - step).abs()).collect();
    median(&mut off).is_some_and(|off| off <= UNSTEADY * turn)
}

/// How far apart most of these readings and later ones of the same value are.
fn commonest(readings: &[&Reading], places: &[usize]) -> Option<Micros> {
    let mut by_minute: BTreeMap<Micros, Vec<Micros>> = BTreeMap::new();
    for place in places {
        let own = readings.get(*place)?;
        let later = readings.iter().skip(place + 1);
        let later = later.take_while(|other| other.time - own.time <= APART);
        for other in later.filter(|other| is_same(own, other)) {
            let apart = other.time - own.time;
            by_minute
                .entry(apart / MICROS_PER_MINUTE)
                .or_default()
                .push(apart);
        }
    }
    let most = by_minute.into_values().rev().max_by_key(Vec::len);
    let mut apart = most?;
    apart.sort_unstable();
    apart.get(apart.len() / 2).copied()
}

/// Readings so far after one, give or take a minute.
fn near<'a>(readings: &[&'a Reading], place: usize, apart: Micros) -> Vec<&'a Reading> {
    let Some(at) = readings.get(place).map(|own| own.time + apart) else {
        return Vec::new();
    };
    let first = readings.partition_point(|other| other.time <= at - MICROS_PER_MINUTE);
    let from = first..readings.partition_point(|other| other.time < at + MICROS_PER_MINUTE);
    let others = from.filter(|other| *other != place);
    others
        .filter_map(|other| readings.get(other).copied())
        .collect()
}

/// Whether a reading has its like so far before or after it; `None` where there is no reading.
fn is_twice(readings: &[&Reading], place: usize, apart: Micros) -> Option<bool> {
    let own = readings.get(place)?;
    let mut others = near(readings, place, apart);
    others.extend(near(readings, place, -apart));
    (!others.is_empty()).then(|| others.iter().any(|other| is_same(own, other)))
}

fn is_same(a: &Reading, b: &Reading) -> bool {
    (a.glucose - b.glucose).abs() <= SAME
}

#[cfg(test)]
mod tests {
    use super::*;
    use whereworn_model::rows::Status;

    /// Every other reading rises and those between stay as they are: the rising ones alone move.
    #[test]
    fn a_reading_moves_by_the_last_of_its_own_run() {
        let reading = |number: i64| Reading {
            time: (number / 2 * 5 + number % 2) * MICROS_PER_MINUTE,
            glucose: match number % 2 {
                0 => 100.0 + 5.0 * number as f64,
                _ => 90.0,
            },
            status: Status::Ok,
            file: 0,
            line: 1,
        };
        let readings: Vec<Reading> = (0..20).map(reading).collect();
        let places = moving(&readings.iter().collect::<Vec<_>>());
        assert_eq!(places, [2, 4, 6, 8, 10, 12, 14, 16, 18]);
    }
}
