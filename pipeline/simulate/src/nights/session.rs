//! One sensor's nights as they were made: what every generator gives.

/// A pressure event as it was made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// Begin of the rectangular input, min.
    pub start: f64,
    /// End of the rectangular input, min.
    pub end: f64,
    /// Height of the input, mg/dL.
    pub drop: f64,
}

/// One sensor's readings with what is true about them.
#[derive(Debug, Clone, Default)]
pub struct Session {
    /// Times of the readings, min from midnight before the first night.
    pub minutes: Vec<f64>,
    /// Readings, mg/dL, whole numbers.
    pub glucose: Vec<f64>,
    /// Whether a reading is held at the measuring range's limit.
    pub held: Vec<bool>,
    /// Pressure events in order of start.
    pub events: Vec<Event>,
    /// True lows: begin of the fall and end of the recovery, min.
    pub lows: Vec<(f64, f64)>,
    /// Begin and end of each night, min.
    pub nights: Vec<(f64, f64)>,
}

/// Minutes of a day.
pub(super) const DAY: f64 = 1440.0;
/// Begin and end of a night, min from the midnight before it.
pub(super) const NIGHT: (f64, f64) = (1380.0, 1860.0);
/// Measuring range of the invented sensor, mg/dL.
const RANGE: (f64, f64) = (40.0, 400.0);

impl Session {
    /// Adds the night that begins on a day, counted from 0; gives its begin and end.
    pub(super) fn add_night(&mut self, day: usize) -> (f64, f64) {
        let offset = day as f64 * DAY;
        let night = (offset + NIGHT.0, offset + NIGHT.1);
        self.nights.push(night);
        night
    }

    /// Adds a reading: in whole mg/dL, held at the limits of the measuring range.
    pub(super) fn read(&mut self, minute: f64, glucose: f64) {
        let reading = glucose.round();
        self.minutes.push(minute);
        self.held.push(reading < RANGE.0 || reading > RANGE.1);
        self.glucose.push(reading.clamp(RANGE.0, RANGE.1));
    }

    /// Whether a time lies in a night.
    pub(super) fn at_night(&self, minute: f64) -> bool {
        self.nights.iter().any(|n| n.0 <= minute && minute < n.1)
    }
}
