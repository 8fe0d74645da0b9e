//! A person's own verdicts on night artefacts from CSV: required `sensor`, `start`, `verdict`; optional `wearer`, `note`.

use std::collections::BTreeMap;

use whereworn_model::time::Micros;

use crate::fields::{text, word};
use crate::reject::{Fault, Reject};
use crate::wear_events::{Placed, RowReader};

/// Columns in the order of [`crate::columns::names`].
const SENSOR: usize = 0;
const START: usize = 1;
const VERDICT: usize = 2;
const WEARER: usize = 3;
const NOTE: usize = 4;

const VERDICTS: [&str; 3] = ["artefact", "true-low", "unsure"];

/// What somebody makes of the run of readings that begins at an instant.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Judgement {
    pub wearer: String,
    pub sensor: String,
    pub start: Micros,
    pub verdict: String,
    pub note: String,
}

impl Judgement {
    /// What is judged.
    pub fn subject(&self) -> (&str, &str, Micros) {
        (&self.wearer, &self.sensor, self.start)
    }
}

/// Parses one row.
pub(crate) fn parse_judgement(reader: &mut RowReader<'_>) -> Result<Judgement, Fault> {
    let layout = reader.layout;
    let field = |column| layout.field(reader.record, column);
    let sensor = text(&field(SENSOR));
    if sensor.is_empty() {
        return Err(Fault::new("sensor", "the sensor is not named"));
    }
    let verdict = word(&field(VERDICT), &VERDICTS, "verdict")?;
    let note = text(&field(NOTE));
    let wearer = reader.wearer(WEARER);
    let (start, _) = reader
        .time(START, &wearer, &sensor, &sensor)
        .map_err(|fault| Fault {
            column: "start",
            ..fault
        })?;
    Ok(Judgement {
        wearer,
        sensor,
        start,
        verdict: verdict.to_owned(),
        note,
    })
}

/// The same verdict on the same run; notes may differ.
pub(crate) fn same_judgement(a: &Judgement, b: &Judgement) -> bool {
    a.subject() == b.subject() && a.verdict == b.verdict
}

/// Of different verdicts on one run the first stays. Rows come by file and line.
pub(crate) fn settle_verdicts(
    rows: Vec<&Placed<Judgement>>,
) -> (Vec<&Placed<Judgement>>, Vec<Reject>) {
    let mut first: BTreeMap<(&str, &str, Micros), &Placed<Judgement>> = BTreeMap::new();
    let mut rejects = Vec::new();
    for placed in rows {
        match first.get(&placed.row.subject()) {
            None => {
                first.insert(placed.row.subject(), placed);
            }
            Some(other) => rejects.push(Reject {
                file: placed.file.clone(),
                line: placed.line,
                column: "verdict".to_owned(),
                reason: format!(
                    "contradicts {}, line {}: same sensor and start, another verdict; the first stays",
                    other.file, other.line
                ),
                raw: placed.raw.clone(),
            }),
        }
    }
    (first.into_values().collect(), rejects)
}
