//! Faults planted in a study, and what has to be found of them.

mod clocks;
mod dates;
mod sessions;
mod sites;
mod units;

use rand::{Rng, RngExt};
use rand_chacha::ChaCha8Rng;
use whereworn_findings::Finding;
use whereworn_model::rows::{SensorReadings, WearEvent};
use whereworn_model::time::Micros;

use super::study::{DAY, Rows};

/// What has to be found.
#[derive(Clone, Debug, Default)]
pub struct Expected {
    pub kind: &'static str,
    pub wearer: Option<String>,
    pub sensor: Option<String>,
    pub meter: Option<String>,
    pub site: Option<String>,
    pub file: Option<String>,
    /// Size and how far it may be off.
    pub size: Option<(f64, f64)>,
    /// From when on, give or take three days: not before the first moment, nor after the second. Between the two there is
    /// no reading that tells.
    pub from: Option<(Micros, Micros)>,
    /// The same of its end.
    pub to: Option<(Micros, Micros)>,
}

impl Expected {
    pub fn is_met_by(&self, found: &Finding) -> bool {
        let same = |want: &Option<String>, own: &str| want.as_ref().is_none_or(|want| want == own);
        let meter = self
            .meter
            .as_ref()
            .is_none_or(|want| found.meter.split(" + ").any(|own| own == want));
        // Of two meters the first is said to read higher or lower than the second: it is the other way round if that one was planted.
        let second = self.kind == "meter"
            && self
                .meter
                .as_ref()
                .is_some_and(|want| found.meter.split(" + ").nth(1) == Some(want));
        let size = self.size.is_none_or(|(size, off)| {
            let size = if second {
                1.0 / (1.0 + size) - 1.0
            } else {
                size
            };
            found
                .size
                .is_some_and(|own| (own - size).abs() <= off + 1e-9)
        });
        let is_near = |(first, last): (Micros, Micros), own: Option<Micros>| {
            let near = first - 3 * DAY..=last + 3 * DAY;
            own.is_some_and(|own| near.contains(&own))
        };
        let from = self.from.is_none_or(|from| is_near(from, found.from));
        let to = self.to.is_none_or(|to| is_near(to, found.to));
        found.kind == self.kind
            && same(&self.wearer, &found.wearer)
            && same(&self.sensor, &found.sensor)
            && same(&self.site, &found.site)
            && same(&self.file, &found.file)
            && meter
            && size
            && from
            && to
    }
}

/// Kinds of faults, each with what it plants.
pub const FAULTS: [&str; 30] = [
    "unit, a sensor",
    "unit, fingersticks",
    "unit, mg/dL as mmol/L",
    "clock-sensor",
    "clock-sensor, at once",
    "clock-sensor, whole hours",
    "clock-sensor, another zone",
    "clock-sensor, jump",
    "clock-sensor, twice",
    "clock-meter",
    "clock-meter, jump",
    "clock-change",
    "clock-change, journey",
    "clock-change, there and back",
    "clock-change, meter there and back",
    "meter",
    "sensor-reused",
    "session-too-long",
    "wrong-wearer",
    "set-aside",
    "set-aside, log swapped",
    "set-aside, log a day off",
    "rejected",
    "site-confounded",
    "checks-by-alarm",
    "no-end",
    "lost",
    "nights-missing",
    "side-never-tried",
    "spacing-changed",
];

/// A sensor's session by its log.
#[derive(Clone, Debug)]
pub struct Worn {
    pub wearer: String,
    pub sensor: String,
    pub site: String,
    pub from: Micros,
    pub to: Micros,
}

impl Worn {
    /// Whether an event of the log is of this sensor.
    pub fn has(&self, event: &WearEvent) -> bool {
        event.wearer == self.wearer && event.sensor == self.sensor
    }
}

pub fn worn(rows: &Rows) -> Vec<Worn> {
    let inserts = rows.events.iter().filter(|event| event.event == "insert");
    inserts
        .filter_map(|insert| {
            let readings = rows
                .readings
                .iter()
                .find(|s| insert.wearer == s.wearer && insert.sensor == s.sensor)?;
            let end = rows.events.iter().find(|event| {
                event.event == "end"
                    && event.wearer == insert.wearer
                    && event.sensor == insert.sensor
            });
            let last = readings.readings.last()?.time;
            Some(Worn {
                wearer: insert.wearer.to_string(),
                sensor: insert.sensor.to_string(),
                site: insert.site.to_string(),
                from: insert.time,
                to: end.map_or(last, |end| end.time),
            })
        })
        .collect()
}

pub fn readings<'r>(rows: &'r mut Rows, one: &Worn) -> Option<&'r mut SensorReadings> {
    rows.readings
        .iter_mut()
        .find(|s| s.wearer == one.wearer && s.sensor == one.sensor)
}

fn checks_of(rows: &Rows, one: &Worn, meter: Option<&str>) -> usize {
    let own = rows
        .checks
        .iter()
        .filter(|check| check.wearer == one.wearer && (one.from..=one.to).contains(&check.time));
    own.filter(|check| meter.is_none_or(|meter| check.meter == meter) && check.purpose == "routine")
        .count()
}

fn pick<T: Clone>(from: &[T], dice: &mut ChaCha8Rng) -> Option<T> {
    (!from.is_empty()).then(|| from[dice.random_range(0..from.len())].clone())
}

pub fn sign(dice: &mut impl Rng) -> f64 {
    if dice.random::<bool>() { 1.0 } else { -1.0 }
}

pub fn between(dice: &mut impl Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * dice.random::<f64>()
}

/// What is planted where.
struct Planting<'a> {
    fault: &'a str,
    kind: &'static str,
    all: &'a [Worn],
}

impl Planting<'_> {
    fn expected(&self) -> Expected {
        Expected {
            kind: self.kind,
            ..Expected::default()
        }
    }

    fn of(&self, one: &Worn) -> Expected {
        Expected {
            wearer: Some(one.wearer.clone()),
            sensor: Some(one.sensor.clone()),
            ..self.expected()
        }
    }

    /// A sensor that was worn for more than so many days.
    fn longer(&self, days: i64, dice: &mut ChaCha8Rng) -> Option<Worn> {
        let long = |one: &&Worn| one.to - one.from > days * DAY;
        pick(
            &self.all.iter().filter(long).cloned().collect::<Vec<_>>(),
            dice,
        )
    }
}

/// Plants a fault; `None` where the study has no place for it.
pub fn plant(fault: &str, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let all = worn(rows);
    let kind = fault.split(',').next().unwrap_or(fault);
    let kind = FAULTS
        .iter()
        .find_map(|known| known.split(',').next().filter(|known| *known == kind))?;
    let planting = Planting {
        fault,
        kind,
        all: &all,
    };
    match kind {
        _ if fault.starts_with("set-aside, log") => dates::plant(&planting, rows, dice),
        "unit" => units::plant(&planting, rows, dice),
        "clock-sensor" | "clock-meter" | "clock-change" | "meter" => {
            clocks::plant(&planting, rows, dice)
        }
        "site-confounded" | "checks-by-alarm" | "side-never-tried" => {
            sites::plant(&planting, rows, dice)
        }
        _ => sessions::plant(&planting, rows, dice),
    }
}
