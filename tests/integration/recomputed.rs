//! Sessions, pairs and counted nights of a synthetic study, computed again from its accepted rows the plain way.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::date;
use jiff::tz::TimeZone;

use crate::fixture::{Output, Study, Table};

const SECOND: i64 = 1_000_000;
const MINUTE: i64 = 60 * SECOND;
const DAY: i64 = 1440 * MINUTE;

/// Wearer and sensor.
type Key = (String, String);

fn micros(text: &str) -> i64 {
    text.parse::<jiff::Timestamp>().unwrap().as_microsecond()
}

struct Reading {
    at: i64,
    glucose: f64,
    status: String,
}

struct Worn {
    site: String,
    inserted: i64,
    ended: Option<i64>,
    /// Readings from insertion to end, by time.
    readings: Vec<Reading>,
}

struct Whole {
    output: Output,
    worn: BTreeMap<Key, Worn>,
    fingersticks: Table,
    events: Table,
    cutoff: i64,
}

/// A study of 60 sensors, a change of clocks among their nights.
fn whole() -> Whole {
    let study = Study::demo("3", "20", "10", "11");
    let output = study.report_with(&["--as-of", "2026-11-01T00:00:00Z"]);
    let cutoff = micros(output.json()["cutoff"].as_str().unwrap());
    let events = study.sql("SELECT wearer, sensor, time, event, site FROM wear_events");
    let key = |row: &crate::fixture::Row<'_>| {
        (row.text("wearer").to_owned(), row.text("sensor").to_owned())
    };

    let mut worn: BTreeMap<Key, Worn> = BTreeMap::new();
    for row in events.rows_where(&[("event", "insert")]) {
        let entry = Worn {
            site: row.text("site").to_owned(),
            inserted: micros(row.text("time")),
            ended: None,
            readings: Vec::new(),
        };
        assert!(worn.insert(key(&row), entry).is_none());
    }
    for row in events.rows_where(&[("event", "end")]) {
        worn.get_mut(&key(&row)).unwrap().ended = Some(micros(row.text("time")));
    }
    let readings = study.sql("SELECT wearer, sensor, time, glucose, status FROM readings");
    for row in readings.rows() {
        let Some(own) = worn.get_mut(&key(&row)) else {
            continue;
        };
        let at = micros(row.text("time"));
        if at >= own.inserted && at <= own.ended.unwrap_or(cutoff) {
            let (glucose, status) = (row.number("glucose"), row.text("status").to_owned());
            own.readings.push(Reading {
                at,
                glucose,
                status,
            });
        }
    }
    for own in worn.values_mut() {
        own.readings.sort_by_key(|reading| reading.at);
    }
    let fingersticks = study.sql("SELECT wearer, time, glucose, purpose FROM fingersticks");
    Whole {
        output,
        worn,
        fingersticks,
        events,
        cutoff,
    }
}

impl Whole {
    fn assert_sessions(&self) {
        let sessions = self.output.table("sessions");
        assert_eq!(sessions.lines.len(), self.worn.len());
        for ((wearer, sensor), own) in &self.worn {
            let row = sessions.row(&[("wearer", wearer), ("sensor", sensor)]);
            assert_eq!(row.text("site"), own.site);
            let last = own
                .readings
                .last()
                .map_or(own.inserted, |reading| reading.at);
            let days = (own.ended.unwrap_or(last) - own.inserted) as f64 / DAY as f64;
            assert!(
                (row.number("days") - days).abs() < 1e-9,
                "{wearer} {sensor}"
            );
            assert_eq!(row.text("ended").is_empty(), own.ended.is_none());
        }
    }

    fn assert_pairs(&self) {
        let mut expected = BTreeSet::new();
        for row in self.fingersticks.rows() {
            if ["control", "calibration"].contains(&row.text("purpose")) {
                continue;
            }
            let at = micros(row.text("time"));
            for ((wearer, sensor), own) in &self.worn {
                if wearer != row.text("wearer")
                    || at < own.inserted
                    || at > own.ended.unwrap_or(self.cutoff)
                {
                    continue;
                }
                let nearest = own
                    .readings
                    .iter()
                    .filter(|reading| {
                        reading.status == "ok" && reading.at >= own.inserted + 60 * MINUTE
                    })
                    .min_by_key(|reading| ((reading.at - at).abs(), reading.at));
                if let Some(reading) =
                    nearest.filter(|reading| (reading.at - at).abs() <= 5 * MINUTE)
                {
                    let glucose = (reading.glucose.to_bits(), row.number("glucose").to_bits());
                    expected.insert((wearer.clone(), sensor.clone(), at, reading.at, glucose));
                }
            }
        }
        let found: BTreeSet<_> = self
            .output
            .table("pairs")
            .rows()
            .map(|row| {
                let glucose = (
                    row.number("reading").to_bits(),
                    row.number("fingerstick").to_bits(),
                );
                let times = (
                    micros(row.text("fingerstick_time")),
                    micros(row.text("reading_time")),
                );
                (
                    row.text("wearer").to_owned(),
                    row.text("sensor").to_owned(),
                    times.0,
                    times.1,
                    glucose,
                )
            })
            .collect();
        assert!(expected.len() > 1000);
        assert!(found == expected, "{} and {}", found.len(), expected.len());
    }

    /// Begin and end of each night of a wearer, recorded ones in the place of the clock's.
    fn nights(&self, wearer: &str) -> Vec<(i64, i64)> {
        let mut moves: Vec<(i64, &str)> = Vec::new();
        let rows = self.events.rows_where(&[("wearer", wearer)]);
        for event in ["bed", "rise"] {
            let own = rows.iter().filter(|row| row.text("event") == event);
            moves.extend(own.map(|row| (micros(row.text("time")), event)));
        }
        moves.sort_unstable();
        let spells: Vec<(i64, i64)> = moves
            .windows(2)
            .filter(|pair| {
                pair[0].1 == "bed" && pair[1].1 == "rise" && pair[1].0 - pair[0].0 <= DAY
            })
            .map(|pair| (pair[0].0, pair[1].0))
            .collect();
        let zone = TimeZone::get("Atlantic/Azores").unwrap();
        let at = |day: jiff::civil::Date, hour| {
            day.at(hour, 0, 0, 0)
                .to_zoned_datetime(zone.clone())
                .unwrap()
                .timestamp()
                .as_microsecond()
        };
        let mut day = date(2025, 1, 1);
        let mut nights = Vec::new();
        while day < date(2027, 1, 1) {
            let next = day.tomorrow().unwrap();
            let (start, end) = (at(day, 23), at(next, 7));
            let own: Vec<&(i64, i64)> = spells
                .iter()
                .filter(|(bed, rise)| *bed < end && *rise > start)
                .collect();
            match (own.first(), own.last()) {
                (Some(first), Some(last)) => nights.push((first.0, last.1)),
                _ => nights.push((start, end)),
            }
            day = next;
        }
        nights
    }

    fn assert_nights(&self) {
        let mut counted: BTreeMap<&str, (u32, BTreeSet<&Key>)> = BTreeMap::new();
        for (key, own) in &self.worn {
            let mut steps: Vec<i64> = own
                .readings
                .windows(2)
                .map(|pair| pair[1].at - pair[0].at)
                .collect();
            if steps.is_empty() {
                continue;
            }
            steps.sort_unstable();
            let middle = (steps[(steps.len() - 1) / 2] + steps[steps.len() / 2]) as f64 / 2.0;
            for (start, end) in self.nights(&key.0) {
                let seen = own.readings.iter().filter(|reading| {
                    reading.at >= start
                        && reading.at < end
                        && ["ok", "low", "high"].contains(&reading.status.as_str())
                });
                let coverage = seen.count() as f64 * middle / (end - start) as f64;
                if coverage >= 0.7 * (1.0 - 1e-9) {
                    let entry = counted.entry(&own.site).or_default();
                    entry.0 += 1;
                    entry.1.insert(key);
                }
            }
        }
        let table = self.output.table("site_nights");
        assert!(counted.values().map(|(nights, _)| nights).sum::<u32>() > 300);
        for row in table.rows() {
            let (nights, sensors) = counted
                .get(row.text("site"))
                .map_or((0, 0), |(n, s)| (*n, s.len()));
            assert_eq!(
                row.number("nights"),
                f64::from(nights),
                "{}",
                row.text("site")
            );
            assert_eq!(
                row.number("sensors"),
                sensors as f64,
                "{}",
                row.text("site")
            );
        }
    }
}

#[test]
fn sessions_pairs_and_nights() {
    let whole = whole();
    whole.assert_sessions();
    whole.assert_pairs();
    whole.assert_nights();
}
