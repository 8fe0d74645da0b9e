//! Parsed readings, column by column.

use std::collections::HashMap;

use whereworn_model::time::Micros;

use crate::records::Seen;

/// What a sensor can say of a reading, by code.
pub(crate) const STATUSES: [&str; 5] = ["ok", "low", "high", "warmup", "error"];

/// One physical sensor.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct SensorName {
    pub wearer: String,
    pub sensor: String,
}

/// Accepted readings in file order and the rows rejected, of a file or a part of one.
#[derive(Default)]
pub(crate) struct Block {
    /// Names by the numbers used in `sensor`.
    pub sensors: Vec<SensorName>,
    pub sensor: Vec<u32>,
    pub time: Vec<Micros>,
    pub glucose: Vec<f64>,
    pub status: Vec<u8>,
    pub line: Vec<u32>,
    /// What was seen of the rows.
    pub seen: Seen,
}

impl Block {
    pub fn push(&mut self, sensor: u32, time: Micros, glucose: f64, status: u8, line: u64) {
        self.sensor.push(sensor);
        self.time.push(time);
        self.glucose.push(glucose);
        self.status.push(status);
        self.line.push(line as u32);
    }

    /// Gives back memory that no row takes.
    pub fn shrink(&mut self) {
        self.sensor.shrink_to_fit();
        self.time.shrink_to_fit();
        self.glucose.shrink_to_fit();
        self.status.shrink_to_fit();
        self.line.shrink_to_fit();
    }

    /// Adds the rows of the part of the file that follows.
    pub fn append(&mut self, mut next: Self) {
        let known: HashMap<SensorName, u32> = self.sensors.iter().cloned().zip(0..).collect();
        let numbers: Vec<u32> = next
            .sensors
            .into_iter()
            .map(|name| match known.get(&name) {
                Some(number) => *number,
                None => {
                    self.sensors.push(name);
                    (self.sensors.len() - 1) as u32
                }
            })
            .collect();
        self.sensor
            .extend(next.sensor.iter().map(|&s| numbers[s as usize]));
        self.time.append(&mut next.time);
        self.glucose.append(&mut next.glucose);
        self.status.append(&mut next.status);
        self.line.append(&mut next.line);
        self.seen.append(next.seen);
    }
}
