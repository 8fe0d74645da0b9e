//! Capillary checks from CSV: required `time`, `glucose`; optional `wearer`, `unit`, `meter`, `purpose`.

use whereworn_model::time::Micros;

use crate::fields::{Glucose, glucose, own_unit, text, unit_of, word};
use crate::reject::Fault;
use crate::wear_events::RowReader;

/// Columns in the order of [`crate::columns::names`].
const TIME: usize = 0;
const GLUCOSE: usize = 1;
const WEARER: usize = 2;
const UNIT: usize = 3;
const METER: usize = 4;
const PURPOSE: usize = 5;

pub(crate) const PURPOSES: [&str; 5] = ["routine", "doubt", "alarm", "calibration", "control"];

/// A capillary check.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Fingerstick {
    pub wearer: String,
    pub time: Micros,
    /// mg/dL.
    pub glucose: f64,
    pub meter: String,
    pub purpose: String,
}

/// Parses one row; the owner of its file order is its wearer.
pub(crate) fn parse_fingerstick(reader: &mut RowReader<'_>) -> Result<Fingerstick, Fault> {
    let layout = reader.layout;
    let field = |column| layout.field(reader.record, column);
    let purpose = field(PURPOSE);
    let purpose = if purpose.is_empty() {
        PURPOSES[0]
    } else {
        word(&purpose, &PURPOSES, "purpose")?
    };
    let meter = text(&field(METER));
    let wearer = reader.wearer(WEARER);
    let (time, corrected) = reader.time(TIME, &wearer, "", &meter)?;
    let shown = field(GLUCOSE);
    let (value, own) = own_unit(&shown);
    let named = || unit_of(own, &field(UNIT), layout.default_unit);
    let unit = corrected.map_or_else(named, Ok)?;
    let Glucose::Value(value) = glucose(value, unit, layout.comma)? else {
        let shown = text(&shown);
        let reason = format!(
            "`{shown}` is off the meter's scale: a check without a value pairs with nothing"
        );
        return Err(Fault::new("glucose", reason));
    };
    Ok(Fingerstick {
        wearer,
        time,
        glucose: value,
        meter,
        purpose: purpose.to_owned(),
    })
}
