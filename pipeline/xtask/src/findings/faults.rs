//! Faults planted in a study, and what has to be found of them.

use rand::{Rng, RngExt};
use rand_chacha::ChaCha8Rng;
use whereworn_findings::Finding;
use whereworn_model::rows::{SensorReadings, Status};
use whereworn_model::time::Micros;

use super::study::{DAY, MINUTE, Rows};

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
    /// From when on, give or take three days.
    pub from: Option<Micros>,
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
        let from = self
            .from
            .is_none_or(|from| found.from.is_some_and(|own| (own - from).abs() <= 3 * DAY));
        found.kind == self.kind
            && same(&self.wearer, &found.wearer)
            && same(&self.sensor, &found.sensor)
            && same(&self.site, &found.site)
            && same(&self.file, &found.file)
            && meter
            && size
            && from
    }
}

/// Kinds of faults, each with what it plants.
pub const FAULTS: [&str; 24] = [
    "unit, a sensor",
    "unit, fingersticks",
    "unit, mg/dL as mmol/L",
    "clock-sensor",
    "clock-sensor, at once",
    "clock-sensor, whole hours",
    "clock-sensor, jump",
    "clock-meter",
    "clock-meter, jump",
    "clock-change",
    "clock-change, journey",
    "meter",
    "sensor-reused",
    "session-too-long",
    "wrong-wearer",
    "set-aside",
    "rejected",
    "site-confounded",
    "checks-by-alarm",
    "no-end",
    "lost",
    "nights-missing",
    "side-never-tried",
    "spacing-changed",
];

/// Fingersticks of a sensor from which on minutes of its clock can be told to 8 min; with fewer the finding says how far
/// it may be off.
const ENOUGH_CHECKS: usize = 40;

/// A sensor's session by its log.
#[derive(Clone, Debug)]
struct Worn {
    wearer: String,
    sensor: String,
    site: String,
    from: Micros,
    to: Micros,
}

fn worn(rows: &Rows) -> Vec<Worn> {
    let inserts = rows.events.iter().filter(|event| event.event == "insert");
    inserts
        .filter_map(|insert| {
            let readings = rows
                .readings
                .iter()
                .find(|s| s.wearer == insert.wearer && s.sensor == insert.sensor)?;
            let end = rows.events.iter().find(|event| {
                event.event == "end"
                    && event.wearer == insert.wearer
                    && event.sensor == insert.sensor
            });
            let last = readings.readings.last()?.time;
            Some(Worn {
                wearer: insert.wearer.clone(),
                sensor: insert.sensor.clone(),
                site: insert.site.clone(),
                from: insert.time,
                to: end.map_or(last, |end| end.time),
            })
        })
        .collect()
}

fn readings<'r>(rows: &'r mut Rows, one: &Worn) -> Option<&'r mut SensorReadings> {
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

fn sign(dice: &mut impl Rng) -> f64 {
    if dice.random::<bool>() { 1.0 } else { -1.0 }
}

fn between(dice: &mut impl Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * dice.random::<f64>()
}

fn shift(sensor: &mut SensorReadings, from: Micros, minutes: f64) {
    for reading in sensor
        .readings
        .iter_mut()
        .filter(|reading| reading.time >= from)
    {
        reading.time += (minutes * MINUTE as f64) as Micros;
    }
}

/// Plants a fault; `None` where the study has no place for it.
pub fn plant(fault: &str, rows: &mut Rows, dice: &mut ChaCha8Rng) -> Option<Expected> {
    let all = worn(rows);
    let kind = fault.split(',').next().unwrap_or(fault);
    let kind = FAULTS
        .iter()
        .find_map(|known| known.split(',').next().filter(|known| *known == kind))?;
    let of = |one: &Worn| Expected {
        kind,
        wearer: Some(one.wearer.clone()),
        sensor: Some(one.sensor.clone()),
        ..Expected::default()
    };
    let long: Vec<Worn> = all
        .iter()
        .filter(|one| one.to - one.from >= 6 * DAY && checks_of(rows, one, None) >= ENOUGH_CHECKS)
        .cloned()
        .collect();
    match fault {
        "unit, a sensor" => {
            let one = pick(
                &all.iter()
                    .filter(|one| one.to - one.from > 2 * DAY)
                    .cloned()
                    .collect::<Vec<_>>(),
                dice,
            )?;
            rows.units.push((
                one.wearer.clone(),
                one.sensor.clone(),
                1.0 / 18.0156,
                "mg/dL",
            ));
            Some(Expected {
                size: Some((18.0, 0.1)),
                ..of(&one)
            })
        }
        "unit, fingersticks" => {
            let check = pick(&rows.checks, dice)?;
            let meters: Vec<String> = rows
                .checks
                .iter()
                .filter(|c| c.wearer == check.wearer)
                .map(|c| c.meter.clone())
                .collect();
            for meter in meters {
                if !rows
                    .units
                    .iter()
                    .any(|unit| unit.0 == check.wearer && unit.1 == meter)
                {
                    rows.units
                        .push((check.wearer.clone(), meter, 1.0 / 18.0156, "mg/dL"));
                }
            }
            Some(Expected {
                kind,
                wearer: Some(check.wearer),
                size: Some((18.0, 0.1)),
                ..Expected::default()
            })
        }
        "unit, mg/dL as mmol/L" => {
            let one = pick(
                &all.iter()
                    .filter(|one| one.to - one.from > 2 * DAY)
                    .cloned()
                    .collect::<Vec<_>>(),
                dice,
            )?;
            rows.units
                .push((one.wearer.clone(), one.sensor.clone(), 1.0, "mmol/L"));
            Some(Expected {
                size: Some((18.0, 0.1)),
                ..of(&one)
            })
        }
        "clock-sensor" | "clock-sensor, whole hours" => {
            let one = pick(&long, dice)?;
            let (minutes, off) = if fault == "clock-sensor" {
                (
                    if dice.random::<f64>() < 0.6 {
                        between(dice, 25.0, 150.0)
                    } else {
                        -between(dice, 28.0, 150.0)
                    },
                    8.0,
                )
            } else {
                (60.0 * f64::from(dice.random_range(1..10)) * sign(dice), 0.0)
            };
            shift(readings(rows, &one)?, 0, minutes.round());
            let hours = 60.0 * (minutes / 60.0).round();
            Some(Expected {
                size: Some((if off == 0.0 { hours } else { minutes.round() }, off)),
                ..of(&one)
            })
        }
        "clock-sensor, at once" => {
            let pairs: Vec<Worn> = all
                .iter()
                .filter(|one| {
                    all.iter().any(|other| {
                        other.wearer == one.wearer
                            && other.sensor != one.sensor
                            && other.to.min(one.to) - other.from.max(one.from) >= 3 * DAY
                    })
                })
                .cloned()
                .collect();
            let one = pick(&pairs, dice)?;
            let minutes = (sign(dice) * between(dice, 28.0, 90.0)).round();
            shift(readings(rows, &one)?, 0, minutes);
            Some(Expected {
                size: Some((minutes, 8.0)),
                ..of(&one)
            })
        }
        "clock-sensor, jump" => {
            let long: Vec<Worn> = long
                .into_iter()
                .filter(|one| one.to - one.from >= 10 * DAY + DAY / 10)
                .collect();
            let one = pick(&long, dice)?;
            let at = one.from
                + 5 * DAY
                + (dice.random::<f64>() * (one.to - one.from - 10 * DAY) as f64) as Micros;
            let minutes = (sign(dice) * between(dice, 15.0, 50.0)).round();
            shift(readings(rows, &one)?, at, minutes);
            Some(Expected {
                size: Some((minutes, 4.0)),
                from: Some(at),
                ..of(&one)
            })
        }
        "clock-meter" | "meter" => {
            let mut meters: Vec<(String, String)> = rows
                .checks
                .iter()
                .map(|c| (c.wearer.clone(), c.meter.clone()))
                .collect();
            meters.sort();
            meters.dedup();
            let enough: Vec<(String, String)> = meters
                .iter()
                .filter(|(wearer, meter)| {
                    let with = |meter: &str| {
                        let own: Vec<usize> = all
                            .iter()
                            .filter(|one| one.wearer == *wearer)
                            .map(|one| checks_of(rows, one, Some(meter)))
                            .filter(|n| *n > 0)
                            .collect();
                        own.len() >= 4 && own.iter().sum::<usize>() >= 34
                    };
                    with(meter)
                        && meters
                            .iter()
                            .any(|(w, m)| w == wearer && m != meter && with(m))
                })
                .cloned()
                .collect();
            let (wearer, meter) = pick(&enough, dice)?;
            let own = rows
                .checks
                .iter_mut()
                .filter(|check| check.wearer == wearer && check.meter == meter);
            let size = if fault == "meter" {
                let size = sign(dice) * between(dice, 0.12, 0.30);
                own.for_each(|check| check.glucose = (check.glucose * (1.0 + size)).round());
                (size, 0.03)
            } else {
                let minutes = (sign(dice) * between(dice, 15.0, 120.0)).round();
                own.for_each(|check| check.time += (minutes * MINUTE as f64) as Micros);
                rows.checks
                    .sort_by(|a, b| (&a.wearer, a.time).cmp(&(&b.wearer, b.time)));
                (minutes, 8.0)
            };
            Some(Expected {
                kind,
                wearer: Some(wearer),
                meter: Some(meter),
                size: Some(size),
                ..Expected::default()
            })
        }
        "clock-meter, jump" => {
            // With one meter, from somewhere in the middle on, with three sensors and more on either side.
            let (wearer, at) = middle(&all, dice)?;
            let mut own: Vec<&mut _> = rows
                .checks
                .iter_mut()
                .filter(|check| check.wearer == wearer)
                .collect();
            let minutes = (sign(dice) * between(dice, 15.0, 50.0)).round();
            for check in &mut own {
                check.meter = "m0".to_owned();
                if check.time >= at {
                    check.time += (minutes * MINUTE as f64) as Micros;
                }
            }
            rows.checks
                .sort_by(|a, b| (&a.wearer, a.time).cmp(&(&b.wearer, b.time)));
            Some(Expected {
                kind,
                wearer: Some(wearer),
                meter: Some("m0".to_owned()),
                size: Some((minutes, 8.0)),
                ..Expected::default()
            })
        }
        "clock-change" | "clock-change, journey" => {
            let (wearer, mut at) = middle(&all, dice)?;
            let mut minutes = 60.0 * sign(dice);
            if fault == "clock-change" {
                // Clocks of Lisbon and the Azores go back on 25 October 2026 at 01:00 UTC, forward on 29 March 2026.
                let put = [(1_792_890_000, 60.0), (1_774_746_000, -60.0)];
                let spans: Vec<&Worn> = all.iter().filter(|one| one.wearer == wearer).collect();
                let inside = put.iter().find(|(second, _)| {
                    let at = second * 1_000_000;
                    spans.iter().filter(|one| one.to < at).count() >= 2
                        && spans.iter().filter(|one| one.from > at).count() >= 1
                });
                (at, minutes) = inside.map(|(second, minutes)| (second * 1_000_000, *minutes))?;
            }
            for sensor in rows
                .readings
                .iter_mut()
                .filter(|sensor| sensor.wearer == wearer)
            {
                shift(sensor, at, minutes);
            }
            Some(Expected {
                kind,
                wearer: Some(wearer),
                size: Some((minutes, 0.0)),
                from: Some(at),
                ..Expected::default()
            })
        }
        "sensor-reused" | "session-too-long" => {
            let pairs: Vec<(Worn, Worn)> = all
                .iter()
                .zip(all.iter().skip(1))
                .filter(|(a, b)| a.wearer == b.wearer && b.from > a.to && b.to - a.from > 17 * DAY)
                .map(|(a, b)| (a.clone(), b.clone()))
                .collect();
            let (a, b) = pick(&pairs, dice)?;
            let mut moved = readings(rows, &b)?.readings.drain(..).collect::<Vec<_>>();
            readings(rows, &a)?.readings.append(&mut moved);
            rows.readings.retain(|sensor| !sensor.readings.is_empty());
            if fault == "sensor-reused" {
                rows.events
                    .iter_mut()
                    .filter(|e| e.wearer == b.wearer && e.sensor == b.sensor)
                    .for_each(|e| e.sensor.clone_from(&a.sensor));
                return Some(of(&a));
            }
            rows.events
                .retain(|e| !(e.wearer == a.wearer && e.sensor == a.sensor && e.event == "end"));
            rows.events
                .retain(|e| !(e.wearer == b.wearer && e.sensor == b.sensor && e.event == "insert"));
            rows.events
                .iter_mut()
                .filter(|e| e.wearer == b.wearer && e.sensor == b.sensor)
                .for_each(|e| e.sensor.clone_from(&a.sensor));
            Some(of(&a))
        }
        "wrong-wearer" => {
            let one = pick(&all, dice)?;
            let other = pick(
                &all.iter()
                    .filter(|w| w.wearer != one.wearer)
                    .cloned()
                    .collect::<Vec<_>>(),
                dice,
            )?;
            let name = "moved-1".to_owned();
            rows.events
                .iter_mut()
                .filter(|e| e.wearer == one.wearer && e.sensor == one.sensor)
                .for_each(|e| e.sensor.clone_from(&name));
            let own = readings(rows, &one)?;
            own.sensor.clone_from(&name);
            own.wearer.clone_from(&other.wearer);
            Some(Expected {
                wearer: Some(other.wearer),
                sensor: Some(name),
                ..of(&one)
            })
        }
        "set-aside" => {
            let one = pick(
                &all.iter()
                    .filter(|one| one.to - one.from > 8 * DAY)
                    .cloned()
                    .collect::<Vec<_>>(),
                dice,
            )?;
            rows.events
                .retain(|e| !(e.wearer == one.wearer && e.sensor == one.sensor));
            Some(Expected {
                kind,
                file: Some(format!("readings/{}.csv", one.wearer)),
                ..Expected::default()
            })
        }
        "rejected" => {
            let one = pick(&all, dice)?;
            let every = dice.random_range(2..=9);
            rows.broken = Some((one.wearer.clone(), every));
            Some(Expected {
                kind,
                file: Some(format!("readings/{}.csv", one.wearer)),
                size: Some((1.0 / every as f64, 0.02)),
                ..Expected::default()
            })
        }
        "site-confounded" => {
            let sites = with_sensors(&all, 4, None);
            let (site, _) = pick(&sites, dice)?;
            for event in rows
                .events
                .iter_mut()
                .filter(|e| e.event == "insert" && e.site == site)
            {
                event.model = "model Z".to_owned();
            }
            Some(Expected {
                kind,
                site: Some(site),
                ..Expected::default()
            })
        }
        "checks-by-alarm" => {
            let sites: Vec<(String, Vec<Worn>)> = with_sensors(&all, 2, None)
                .into_iter()
                .filter(|(_, own)| {
                    own.iter()
                        .map(|one| checks_of(rows, one, None))
                        .sum::<usize>()
                        >= 20
                })
                .collect();
            let (site, own) = pick(&sites, dice)?;
            let share = between(dice, 0.65, 0.95);
            for check in &mut rows.checks {
                let worn = own.iter().any(|one| {
                    one.wearer == check.wearer && (one.from..=one.to).contains(&check.time)
                });
                if worn && dice.random::<f64>() < share {
                    check.purpose = ["alarm", "doubt"][dice.random_range(0..2)].to_owned();
                }
            }
            Some(Expected {
                kind,
                site: Some(site),
                ..Expected::default()
            })
        }
        "no-end" | "lost" => {
            let latest = all.iter().map(|one| one.to).max()?;
            let early: Vec<Worn> = all
                .iter()
                .filter(|one| one.to < latest - 3 * DAY && one.to - one.from > 3 * DAY)
                .cloned()
                .collect();
            let one = pick(&early, dice)?;
            rows.events.retain(|e| {
                !(e.wearer == one.wearer && e.sensor == one.sensor && e.event == "end")
            });
            if fault == "lost" {
                let stop = one.from + (one.to - one.from) / 2;
                readings(rows, &one)?
                    .readings
                    .retain(|reading| reading.time < stop);
            }
            Some(of(&one))
        }
        "nights-missing" => {
            let one = pick(
                &all.iter()
                    .filter(|one| one.to - one.from > 7 * DAY)
                    .cloned()
                    .collect::<Vec<_>>(),
                dice,
            )?;
            readings(rows, &one)?.readings.retain(|reading| {
                let hour = reading.time.rem_euclid(DAY) / (60 * MINUTE);
                !(1..=4).contains(&hour) || (reading.time / DAY) % 3 == 0
            });
            Some(of(&one))
        }
        "side-never-tried" => {
            let wearer = pick(&all, dice)?.wearer;
            let (site, _) = pick(&with_sensors(&all, 3, Some(&wearer)), dice)?;
            for event in rows
                .events
                .iter_mut()
                .filter(|e| e.event == "insert" && e.site == site && e.wearer == wearer)
            {
                event.side = "left".to_owned();
            }
            Some(Expected {
                kind,
                site: Some(site),
                wearer: Some(wearer),
                ..Expected::default()
            })
        }
        "spacing-changed" => {
            let later: Vec<Worn> = all
                .iter()
                .zip(all.iter().skip(1))
                .filter(|(a, b)| a.wearer == b.wearer && b.to - b.from > DAY && a.to - a.from > DAY)
                .map(|(_, b)| b.clone())
                .collect();
            let one = pick(&later, dice)?;
            let mut count = 0;
            readings(rows, &one)?.readings.retain(|reading| {
                count += 1;
                count % 3 == 0 || reading.status == Status::Warmup
            });
            Some(of(&one))
        }
        _ => None,
    }
}

/// Sites with so many sensors, of one wearer or of all.
fn with_sensors(all: &[Worn], least: usize, wearer: Option<&str>) -> Vec<(String, Vec<Worn>)> {
    let mut sites: Vec<String> = all.iter().map(|one| one.site.clone()).collect();
    sites.sort();
    sites.dedup();
    sites
        .into_iter()
        .map(|site| {
            let own = all
                .iter()
                .filter(|one| one.site == site && wearer.is_none_or(|w| one.wearer == w));
            let own: Vec<Worn> = own.cloned().collect();
            (site, own)
        })
        .filter(|(_, own)| own.len() >= least)
        .collect()
}

/// A wearer with three sensors and more on either side of a moment.
fn middle(all: &[Worn], dice: &mut ChaCha8Rng) -> Option<(String, Micros)> {
    let wearers: Vec<String> = all.iter().map(|one| one.wearer.clone()).collect();
    for _ in 0..20 {
        let wearer = pick(&wearers, dice)?;
        let own: Vec<&Worn> = all.iter().filter(|one| one.wearer == wearer).collect();
        if own.len() < 6 {
            continue;
        }
        let (first, last) = (own[2].to, own[own.len() - 3].from);
        if first < last {
            return Some((
                wearer,
                first + (dice.random::<f64>() * (last - first) as f64) as Micros,
            ));
        }
    }
    None
}
