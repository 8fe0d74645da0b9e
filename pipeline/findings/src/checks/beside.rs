//! The reading nearest to a fingerstick.

use std::collections::BTreeMap;

use whereworn_model::rows::{Reading, SensorReadings, Status};
use whereworn_model::time::Micros;

use crate::log::Log;

/// A reading so near in time is beside a fingerstick.
const NEAR: Micros = 15 * 60_000_000;

/// Of some fingersticks, by their places in the log: time to the nearest reading so far, and its glucose.
#[derive(Default)]
pub(crate) struct Beside(BTreeMap<usize, Option<(Micros, f64)>>);

impl Beside {
    pub fn new(places: impl Iterator<Item = usize>) -> Self {
        Self(places.map(|place| (place, None)).collect())
    }

    /// Sets a sensor's readings beside its wearer's fingersticks.
    pub fn sensor(&mut self, log: &Log<'_>, readings: &SensorReadings) {
        for (place, nearest) in self.0.range_mut(log.places_of(&readings.wearer)) {
            let Some(check) = log.checks.get(*place) else {
                continue;
            };
            let apart = |reading: &Reading| (reading.time - check.time).abs();
            let all = &readings.readings;
            let from = all.partition_point(|reading| reading.time < check.time - NEAR);
            let near = all.iter().skip(from).take_while(|r| apart(r) <= NEAR);
            let usable = near.filter(|reading| {
                let told = matches!(reading.status, Status::Ok | Status::Low | Status::High);
                told && reading.glucose > 0.0
            });
            for reading in usable {
                if nearest.is_none_or(|(known, _)| apart(reading) < known) {
                    *nearest = Some((apart(reading), reading.glucose));
                }
            }
        }
    }

    /// How far a glucose is from the reading beside a fingerstick, in logarithms.
    pub fn off(&self, place: usize, glucose: f64) -> Option<f64> {
        let (_, reading) = (*self.0.get(&place)?)?;
        Some((glucose / reading).ln().abs())
    }
}
