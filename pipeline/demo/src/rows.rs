//! How readings and glucose are written.

use crate::DemoError;
use crate::clock::{Clock, Stamp};
use crate::plan::Session;
use crate::scenario::{MGDL_PER_MMOLL, Wearer};
use crate::sensors::Reading;
use crate::table::push_whole;

/// The first wearer is the study's default and needs no column; one in mmol/L names the unit.
pub(crate) fn readings_columns(wearer: &Wearer) -> Vec<&'static str> {
    let mut columns = vec!["sensor", "time", "glucose", "status"];
    if wearer.index > 0 {
        columns.insert(0, "wearer");
    }
    if wearer.mmoll {
        columns.push("unit");
    }
    columns
}

/// Builds the rows of one sensor's readings.
pub(crate) struct ReadingRow<'a> {
    wearer: &'a Wearer,
    /// The cells before the time.
    head: String,
    stamp: Stamp<'a>,
}

impl<'a> ReadingRow<'a> {
    pub(crate) fn new(wearer: &'a Wearer, session: &Session, clock: &'a Clock) -> Self {
        let head = match wearer.index {
            0 => format!("{},", session.label),
            _ => format!("{},{},", wearer.handle, session.label),
        };
        Self {
            wearer,
            head,
            stamp: Stamp::new(clock, wearer.style),
        }
    }

    /// Appends one row, without its line end.
    pub(crate) fn build(&mut self, reading: Reading, row: &mut Vec<u8>) -> Result<(), DemoError> {
        row.extend_from_slice(self.head.as_bytes());
        self.stamp.write(reading.minute, row)?;
        row.push(b',');
        let unit = push_glucose(reading.glucose, self.wearer, row);
        row.push(b',');
        row.extend_from_slice(reading.status.word());
        if self.wearer.mmoll {
            row.push(b',');
            row.extend_from_slice(unit.as_bytes());
        }
        Ok(())
    }
}

/// Appends glucose (given in mg/dL) in the wearer's unit, to 1 mg/dL or 0.1 mmol/L, and names the unit.
pub(crate) fn push_glucose(mgdl: f64, wearer: &Wearer, row: &mut Vec<u8>) -> &'static str {
    if !wearer.mmoll {
        push_whole((mgdl + 0.5) as u32, row);
        return "mg/dL";
    }
    let tenths = (mgdl / MGDL_PER_MMOLL * 10.0 + 0.5) as u32;
    push_whole(tenths / 10, row);
    row.push(b'.');
    push_whole(tenths % 10, row);
    "mmol/L"
}
