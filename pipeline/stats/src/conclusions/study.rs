//! What is known of the sensors of a study, as plain numbers.
//!
//! Times are days since any one origin. Labels (wearer, model, lot, tape, meter) are numbers that tell things apart; sites are
//! numbered by their place in the report.

use crate::delay::SensorDelay;

/// How a sensor's time on the skin ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ending {
    /// It came off: by itself, knocked, or taken off as it was coming loose.
    CameOff,
    /// Something else ended it first: fault, reaction, failed start.
    Competing,
    /// Nothing of the kind: completed, taken off by choice, lost track of, or still on.
    #[default]
    Censored,
}

/// One reading against one fingerstick.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Pair {
    /// When the fingerstick was taken.
    pub time: f64,
    /// Reading minus fingerstick, mg/dL.
    pub difference: f64,
    /// The same over the fingerstick, a fraction.
    pub relative: f64,
    /// Whether it was taken as a matter of routine, not on doubt or an alarm.
    pub routine: bool,
    /// Days since insertion.
    pub age: f64,
    /// Share of its sensor's readings that are lower than the reading.
    pub rank: f64,
    /// Meter.
    pub meter: usize,
    /// How fast the sensor's readings were moving, mg/dL a minute, where that can be told.
    pub rate: Option<f64>,
}

/// Half of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BodySide {
    /// Left.
    Left,
    /// Right.
    Right,
}

/// One counted night.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Night {
    /// When it ended.
    pub end: f64,
    /// Artefacts in it that no fingerstick refuted.
    pub artefacts: f64,
    /// Days since insertion when it began.
    pub age: f64,
}

/// One sensor; by default of the first wearer, site and model, with nothing known of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sensor {
    /// Who wore it.
    pub wearer: usize,
    /// Place of its site in the report.
    pub site: usize,
    /// Model.
    pub model: usize,
    /// Lot.
    pub lot: usize,
    /// Tape.
    pub tape: usize,
    /// Half of the body; `None` in its middle, or where nobody noted it.
    pub side: Option<BodySide>,
    /// Whether its clock is in doubt.
    pub clock_doubted: bool,
    /// Whether its unit is in doubt.
    pub unit_doubted: bool,
    /// When it was inserted.
    pub inserted: f64,
    /// Calendar quarter of the insertion: year times four and quarter, or any number that grows by one a quarter.
    pub quarter: i32,
    /// Rated wear, days.
    pub rated_days: f64,
    /// Until when it is known whether it was on: its end, its last reading, or the cut-off for one that is still on.
    pub known_until: f64,
    /// What happened then.
    pub ending: Ending,
    /// Its pairs, by time.
    pub pairs: Vec<Pair>,
    /// Its counted nights, by time.
    pub nights: Vec<Night>,
    /// Ends of the nights that it was worn for and that cannot be counted, as too few readings came, by time.
    pub lost_nights: Vec<f64>,
    /// Its delay, where it can be told.
    pub delay: Option<SensorDelay>,
    /// The chance that each site of the study had, where its site was drawn by lot; empty where it was chosen.
    pub chances: Vec<f64>,
}

/// A study up to its cut-off.
#[derive(Debug, Clone, PartialEq)]
pub struct Study<'a> {
    /// Keys of the sites, in the order of the report.
    pub sites: Vec<&'a str>,
    /// The sensors, in any order.
    pub sensors: Vec<Sensor>,
    /// Instants at which the evidence is reckoned: the month ends before the cut-off, in order, and the cut-off.
    pub looks: Vec<f64>,
}

impl Study<'_> {
    /// Sensors inserted at each site up to an instant.
    #[must_use]
    pub fn worn(&self, now: f64) -> Vec<usize> {
        let mut worn = vec![0; self.sites.len()];
        for sensor in self.sensors.iter().filter(|sensor| sensor.inserted <= now) {
            if let Some(count) = worn.get_mut(sensor.site) {
                *count += 1;
            }
        }
        worn
    }
}
