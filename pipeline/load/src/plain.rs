//! What counts up to an instant as plain rows, for a look before any query runs.

use std::collections::HashSet;

use whereworn_model::rows::{
    Check, FileRows, Reading, RejectedRow, SensorReadings, Status, Text, WearEvent,
};
use whereworn_model::time::Micros;

use crate::block::STATUSES;
use crate::error::LoadError;
use crate::fingersticks::Fingerstick;
use crate::parquet_io::{Readings, batches, words};
use crate::reject::Reject;
use crate::settle_small::{same_check, settle_rows, settle_sensor_lives};
use crate::store::Store;
use crate::wear_events::{self, Placed};

impl Store {
    /// The input files, by the bytes of their names; a reading's `file` is a position among them.
    pub fn file_rows(&self) -> Vec<FileRows> {
        let inputs = self.manifest.inputs.iter();
        inputs
            .map(|input| FileRows {
                name: input.name.clone(),
                table: input.table.folder(),
                rows: input.rows,
            })
            .collect()
    }

    /// Capillary checks up to an instant, by wearer and time.
    ///
    /// # Errors
    /// A damaged store.
    pub fn checks(&self, as_of: Micros) -> Result<Vec<Check>, LoadError> {
        let mut checks = Vec::new();
        let mut texts = Texts::default();
        for wearers in self.groups()? {
            let rows = self.rows_of(&wearers)?;
            let settled = settle_rows(&rows, as_of, |f: &Fingerstick| f.time, same_check);
            checks.extend(settled.kept.into_iter().map(|placed| Check {
                wearer: texts.shared(&placed.row.wearer),
                time: placed.row.time,
                glucose: placed.row.glucose,
                meter: texts.shared(&placed.row.meter),
                purpose: texts.shared(&placed.row.purpose),
                file: texts.shared(&placed.file),
                line: placed.line,
            }));
        }
        checks.sort_by(|a, b| (&a.wearer, a.time).cmp(&(&b.wearer, b.time)));
        Ok(checks)
    }

    /// Wear events up to an instant, by wearer and time: those that count, and those rejected because their sensor
    /// was inserted or had ended already.
    ///
    /// # Errors
    /// A damaged store.
    pub fn events(&self, as_of: Micros) -> Result<(Vec<WearEvent>, Vec<WearEvent>), LoadError> {
        let (mut counted, mut refused) = (Vec::new(), Vec::new());
        let mut texts = Texts::default();
        for wearers in self.groups()? {
            let rows: Vec<Placed<wear_events::WearEvent>> = self.rows_of(&wearers)?;
            let settled = settle_rows(&rows, as_of, |e| e.time, |a, b| a == b);
            let (kept, rejected, _) = settle_sensor_lives(settled.kept.clone());
            let is_rejected = |placed: &&&Placed<wear_events::WearEvent>| {
                let mut all = rejected.iter();
                all.any(|reject| reject.line == placed.line && reject.file == placed.file)
            };
            counted.extend(kept.into_iter().map(|placed| texts.plain_event(placed)));
            let rejected = settled.kept.iter().filter(is_rejected);
            refused.extend(rejected.map(|placed| texts.plain_event(placed)));
        }
        let by_time = |a: &WearEvent, b: &WearEvent| (&a.wearer, a.time).cmp(&(&b.wearer, b.time));
        counted.sort_by(by_time);
        refused.sort_by(by_time);
        Ok((counted, refused))
    }

    /// Calls `see` with the readings of each sensor up to an instant, one sensor in memory at a time, by wearer and
    /// sensor.
    ///
    /// # Errors
    /// A damaged store.
    pub fn each_sensor(
        &self,
        as_of: Micros,
        see: &mut dyn FnMut(SensorReadings),
    ) -> Result<(), LoadError> {
        let position: std::collections::BTreeMap<u32, usize> = self
            .manifest
            .inputs
            .iter()
            .enumerate()
            .map(|(position, input)| (input.number, position))
            .collect();
        let mut current: Option<(i32, SensorReadings)> = None;
        for path in self.files_of_readings() {
            for batch in batches(&path)? {
                let batch = batch?;
                let columns = Readings::of(&batch).map_err(LoadError::store(&path))?;
                let words = words(columns.status).map_err(LoadError::store(&path))?;
                for (row, word) in words.enumerate() {
                    let sensor = columns.sensor_no.value(row);
                    if current.as_ref().is_none_or(|(known, _)| *known != sensor) {
                        if let Some((_, done)) = current.take() {
                            see(done);
                        }
                        let record = self.manifest.sensors.get(sensor as usize);
                        let next = SensorReadings {
                            wearer: record.map(|r| r.wearer.clone()).unwrap_or_default(),
                            sensor: record.map(|r| r.sensor.clone()).unwrap_or_default(),
                            readings: Vec::new(),
                        };
                        current = Some((sensor, next));
                    }
                    let time = columns.time.value(row);
                    if time > as_of {
                        continue;
                    }
                    let missing = arrow::array::Array::is_null(columns.glucose, row);
                    let file = columns.file_no.value(row) as u32;
                    if let Some((_, sensor)) = &mut current {
                        sensor.readings.push(Reading {
                            time,
                            glucose: if missing {
                                f64::NAN
                            } else {
                                columns.glucose.value(row)
                            },
                            status: status_of(word),
                            file: position.get(&file).copied().unwrap_or(0),
                            line: columns.line.value(row) as u64,
                        });
                    }
                }
            }
        }
        if let Some((_, done)) = current {
            see(done);
        }
        Ok(())
    }
}

/// Texts that rows share.
#[derive(Default)]
struct Texts(HashSet<Text>);

impl Texts {
    fn shared(&mut self, text: &str) -> Text {
        if let Some(known) = self.0.get(text) {
            return known.clone();
        }
        let new = Text::from(text);
        self.0.insert(new.clone());
        new
    }

    fn plain_event(&mut self, placed: &Placed<wear_events::WearEvent>) -> WearEvent {
        let row = &placed.row;
        WearEvent {
            wearer: self.shared(&row.wearer),
            sensor: self.shared(&row.sensor),
            time: row.time,
            event: self.shared(&row.event),
            site: self.shared(&row.site),
            side: self.shared(&row.side),
            cause: self.shared(&row.cause),
            tape: self.shared(&row.tape),
            model: self.shared(&row.model),
            lot: self.shared(&row.lot),
            grade: row.grade.map(|grade| grade as u8),
            file: self.shared(&placed.file),
            line: placed.line,
        }
    }
}

fn status_of(word: &str) -> Status {
    match STATUSES.iter().position(|known| *known == word) {
        Some(1) => Status::Low,
        Some(2) => Status::High,
        Some(3) => Status::Warmup,
        Some(4) => Status::Error,
        _ => Status::Ok,
    }
}

/// Rejects as plain rows.
pub fn rejected_rows(rejects: &[Reject]) -> Vec<RejectedRow> {
    let plain = |reject: &Reject| RejectedRow {
        file: reject.file.clone(),
        line: reject.line,
        column: reject.column.clone(),
        reason: reject.reason.clone(),
        raw: reject.raw.clone(),
    };
    rejects.iter().map(plain).collect()
}
