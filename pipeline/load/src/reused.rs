//! Sensors that were inserted twice: whose readings those are from the second time on, nobody can tell.

use std::collections::BTreeMap;

use whereworn_model::time::{Micros, format_utc};

use crate::error::LoadError;
use crate::parquet_io::each_reading;
use crate::reject::Reject;
use crate::store::Store;

/// A rejected second `insert`, later than the first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct SecondInsert {
    pub wearer: String,
    pub sensor: String,
    pub time: Micros,
    pub file: String,
    pub line: u64,
}

/// Readings of a sensor from its second `insert` on.
pub(crate) struct Reused<'s> {
    /// The store's number of the sensor.
    pub number: i32,
    pub second: &'s SecondInsert,
    pub rows: u64,
    /// The manifest's number of the file of the first of them, and its line there.
    first: Option<(i32, i32)>,
}

impl Store {
    /// Readings of sensors from their second `insert` on, up to an instant; of each sensor once, from the earliest.
    pub(crate) fn readings_of_reused<'s>(
        &self,
        seconds: &'s [SecondInsert],
        as_of: Micros,
    ) -> Result<Vec<Reused<'s>>, LoadError> {
        let mut found: BTreeMap<i32, Reused> = BTreeMap::new();
        for second in seconds {
            let position = self.manifest.sensors.iter().position(|sensor| {
                sensor.wearer == second.wearer && sensor.sensor == second.sensor
            });
            let Some(number) = position.and_then(|number| i32::try_from(number).ok()) else {
                continue;
            };
            let earlier = found.get(&number).map(|other| other.second.time);
            if earlier.is_none_or(|earlier| second.time < earlier) {
                let reused = Reused {
                    number,
                    second,
                    rows: 0,
                    first: None,
                };
                found.insert(number, reused);
            }
        }
        if found.is_empty() {
            return Ok(Vec::new());
        }
        for path in self.files_of_readings() {
            each_reading(&path, |(number, time, file, line)| {
                if let Some(reused) = found.get_mut(&number)
                    && (reused.second.time..=as_of).contains(&time)
                {
                    reused.rows += 1;
                    reused.first.get_or_insert((file, line));
                }
            })?;
        }
        Ok(found.into_values().collect())
    }
}

impl Reused<'_> {
    /// The line for `rejects.csv`; `None` where the sensor has no such readings.
    pub fn reject(&self, store: &Store) -> Option<Reject> {
        let (file, line) = self.first?;
        let second = self.second;
        let readings = if self.rows == 1 {
            "reading"
        } else {
            "readings"
        };
        let reason = format!(
            "{} {readings} of sensor `{}` of `{}` set aside: from {} on, when it was inserted a second time ({}, line {}); give each sensor a name of its own",
            self.rows,
            second.sensor,
            second.wearer,
            format_utc(second.time),
            second.file,
            second.line
        );
        Some(Reject {
            file: store.manifest.file_name(file as u32).to_owned(),
            line: line as u64,
            column: "sensor".to_owned(),
            reason,
            raw: second.sensor.clone(),
        })
    }
}
