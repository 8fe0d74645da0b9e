//! Rows of FHIR on their way into what a file gave, by the study's corrections.

use std::collections::BTreeMap;

use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;
use whereworn_model::units::Unit;

use super::FhirFile;
use super::copies::Copy;
use super::found::Path;
use super::worn::Worn;
use crate::block::SensorName;
use crate::corrections::{Corrected, Corrections, OfSubject};
use crate::fingersticks::Fingerstick;
use crate::input::InputFile;
use crate::reject::Fault;
use crate::wear_events::Placed;

/// A row on its way to its file.
pub(super) struct Row<'r> {
    pub wearer: &'r str,
    pub device: Option<&'r str>,
    pub time: Micros,
    pub glucose: f64,
    pub status: u8,
}

/// Fills in what a file gave.
pub(super) struct Writer<'w> {
    input: &'w InputFile,
    file: &'w mut FhirFile,
    path: Path,
    settings: &'w Settings,
    of_readings: Corrections,
    of_fingersticks: Corrections,
    numbers: BTreeMap<(String, String), (u32, OfSubject)>,
}

impl<'w> Writer<'w> {
    pub fn new(
        input: &'w InputFile,
        file: &'w mut FhirFile,
        path: Path,
        settings: &'w Settings,
    ) -> Self {
        let of = |table| {
            let input = InputFile {
                table,
                ..input.clone()
            };
            Corrections::of_file(settings, &input)
        };
        Self {
            of_readings: of(crate::input::Table::Readings),
            of_fingersticks: of(crate::input::Table::Fingersticks),
            input,
            file,
            path,
            settings,
            numbers: BTreeMap::new(),
        }
    }

    pub fn withdrawn(&mut self, copy: &Copy, rows: u64) {
        let seen = if copy.is_fingerstick {
            &mut self.file.seen
        } else {
            &mut self.file.readings.seen
        };
        seen.rows += rows;
        seen.withdrawn += rows;
    }

    pub fn row(&mut self, copy: &Copy, row: &Row<'_>, worn: &Worn) {
        let outcome = if copy.is_fingerstick {
            self.file.seen.rows += 1;
            self.fingerstick(copy, row)
        } else {
            self.file.readings.seen.rows += 1;
            self.reading(copy, row, worn)
        };
        let Err(fault) = outcome else { return };
        let seen = if copy.is_fingerstick {
            &mut self.file.seen
        } else {
            &mut self.file.readings.seen
        };
        if fault.kind == crate::reject::FaultKind::LeftOut {
            seen.left_out += 1;
            return;
        }
        let raw = format!(
            "{} {}",
            row.wearer,
            whereworn_model::time::format_utc(row.time)
        );
        let mut reject = fault.at(&self.input.name, u64::from(copy.line), raw.as_bytes());
        if let Some(path) = self.path.at(copy.line) {
            reject.column = path;
        }
        seen.rejects.push(reject);
    }

    fn fingerstick(&mut self, copy: &Copy, row: &Row<'_>) -> Result<(), Fault> {
        let meter = row.device.unwrap_or_default();
        let zone = self.settings.home_zone(row.wearer);
        let corrected = self
            .of_fingersticks
            .of(row.wearer, meter, &zone)
            .at(row.time);
        let (time, glucose) = correct(copy, row, corrected)?;
        self.file.fingersticks.push(Placed {
            row: Fingerstick {
                wearer: row.wearer.to_owned(),
                time,
                glucose,
                meter: meter.to_owned(),
                purpose: "routine".to_owned(),
            },
            file: self.input.name.clone(),
            line: u64::from(copy.line),
            raw: String::new(),
        });
        Ok(())
    }

    fn reading(&mut self, copy: &Copy, row: &Row<'_>, worn: &Worn) -> Result<(), Fault> {
        let sensor = match row.device {
            Some(device) => device,
            None if self.settings.fhir.sensor.is_some() => worn.sensor(row.wearer, row.time)?,
            None => {
                return Err(Fault::new(
                    "device",
                    "the reading names no device: let the sender name it, or set sensor = \"from wear events\" under [fhir] in study.toml",
                ));
            }
        };
        let block = &mut self.file.readings;
        let last = block
            .sensor
            .last()
            .and_then(|number| Some((*number, block.sensors.get(*number as usize)?)));
        let number = match last {
            Some((number, name)) if name.sensor == sensor && name.wearer == row.wearer => number,
            _ => {
                let key = (row.wearer.to_owned(), sensor.to_owned());
                match self.numbers.get(&key) {
                    Some((number, _)) => *number,
                    None => {
                        let number = block.sensors.len() as u32;
                        block.sensors.push(SensorName {
                            wearer: row.wearer.to_owned(),
                            sensor: sensor.to_owned(),
                        });
                        let zone = self.settings.home_zone(row.wearer);
                        let own = self.of_readings.of(row.wearer, sensor, &zone);
                        self.numbers.insert(key, (number, own));
                        number
                    }
                }
            }
        };
        let corrected = if self.of_readings.is_empty() {
            Corrected::default()
        } else {
            let own = self
                .numbers
                .get(&(row.wearer.to_owned(), sensor.to_owned()));
            own.map_or_else(Corrected::default, |(_, own)| own.at(row.time))
        };
        let (time, glucose) = correct(copy, row, corrected)?;
        self.file
            .readings
            .push(number, time, glucose, row.status, u64::from(copy.line));
        Ok(())
    }
}

/// Time and glucose by what the study's corrections say.
fn correct(copy: &Copy, row: &Row<'_>, corrected: Corrected) -> Result<(Micros, f64), Fault> {
    if corrected.leave_out {
        return Err(Fault::left_out());
    }
    let written = if copy.is_mmol {
        Unit::MmolL
    } else {
        Unit::MgDl
    };
    let glucose = match corrected.unit {
        Some(unit) if unit != written => unit.to_mgdl(written.from_mgdl(row.glucose)),
        _ => row.glucose,
    };
    if !row.glucose.is_nan() && crate::fields::no_body(glucose) {
        return Err(Fault::new(
            "value",
            "glucose that no body has, once its unit is corrected",
        ));
    }
    Ok((row.time + corrected.shift, glucose))
}
