//! Fingersticks that repeat what the sensor showed: of somebody who wrote down the reading, not a measurement.

use std::collections::BTreeMap;

use whereworn_model::rows::{Check, SensorReadings};
use whereworn_model::time::Micros;

use crate::checks::extremes::shown;
use crate::finding::{Finding, OF_PAIRS, Severity};
use crate::log::Log;
use crate::words::{count, quoted};

/// Least fingersticks, and share of them that have the value shown, to the digit. By chance one in twelve has it where steps are
/// 1 mg/dL and a sensor is within 5 mg/dL; one in seven with steps of 0.1 mmol/L.
const LEAST: usize = 20;
const SHARE: f64 = 0.4;

/// Fingersticks of one meter beside readings.
#[derive(Default)]
struct Beside {
    compared: usize,
    alike: usize,
    /// First and last that is alike, and where the first stands.
    span: Option<(Micros, Micros)>,
    file: String,
    line: u64,
}

/// By wearer and meter.
#[derive(Default)]
pub(crate) struct Copies {
    by: BTreeMap<(String, String), Beside>,
}

impl Copies {
    /// Compares a sensor's readings with the fingersticks taken while it showed them.
    pub fn sensor(&mut self, log: &Log<'_>, readings: &SensorReadings) {
        let checks = log.checks_of(&readings.wearer);
        for (check, shown) in shown(checks, &readings.readings) {
            if !["calibration", "control"].contains(&check.purpose.as_str()) {
                self.count(check, shown.glucose);
            }
        }
    }

    fn count(&mut self, check: &Check, shown: f64) {
        let of = (check.wearer.to_string(), check.meter.to_string());
        let beside = self.by.entry(of).or_default();
        beside.compared += 1;
        if (check.glucose - shown).abs() > 1e-6 * shown {
            return;
        }
        beside.alike += 1;
        let (from, to) = beside.span.unwrap_or((Micros::MAX, Micros::MIN));
        if check.time < from {
            (beside.file, beside.line) = (check.file.to_string(), check.line);
        }
        beside.span = Some((from.min(check.time), to.max(check.time)));
    }

    /// A finding for each meter whose fingersticks are no measurements.
    pub fn findings(&self, log: &Log<'_>) -> Vec<Finding> {
        let copied = self.by.iter().filter(|(_, beside)| {
            beside.compared >= LEAST && beside.alike as f64 >= SHARE * beside.compared as f64
        });
        copied
            .map(|((wearer, meter), beside)| finding(log, wearer, meter, beside))
            .collect()
    }
}

fn finding(log: &Log<'_>, wearer: &str, meter: &str, beside: &Beside) -> Finding {
    let (whose, named) = match meter {
        "" => {
            // A file of readings has them too.
            let mut files = log.files.iter();
            let of_readings =
                files.any(|file| file.name == beside.file && file.table == "readings");
            let file = (!of_readings).then(|| format!("file = {}\n", quoted(&beside.file)));
            ("without a meter".to_owned(), file)
        }
        meter => {
            let named = format!("meter = {}\n", quoted(meter));
            (format!("of meter `{meter}`"), Some(named))
        }
    };
    let paste = named.map(|named| {
        let wearer = quoted(wearer);
        format!("[[corrections]]\nwearer = {wearer}\n{named}leave_out = true\n")
    });
    Finding {
        wearer: wearer.to_owned(),
        meter: meter.to_owned(),
        file: beside.file.clone(),
        line: Some(beside.line),
        from: beside.span.map(|span| span.0),
        to: beside.span.map(|span| span.1),
        text: format!(
            "fingersticks {whose} of `{wearer}`: {} of {} have the value that the sensor showed, to the digit, which chance does not do: they seem to be copied from it and tell nothing of how it reads",
            beside.alike, beside.compared,
        ),
        todo: format!(
            "ask how {} came about; if they were copied, {}",
            count(beside.alike, "fingerstick"),
            match paste {
                Some(_) => "paste the lines, which leave them out",
                None => "name their meter, so that a line can leave them out",
            }
        ),
        paste: paste.unwrap_or_default(),
        ..Finding::new("meter", Severity::Doubtful, OF_PAIRS)
    }
}
