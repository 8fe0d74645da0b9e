//! Rows of several studies brought together. What names a person or a thing of one study gets that study's name before it,
//! so that the same word in two studies is two people, two sensors, two meters.

use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, Int32Array, RecordBatch, StringArray};
use arrow::compute::concat_batches;
use arrow::datatypes::Int32Type;
use arrow::error::ArrowError;

use crate::error::LoadError;
use crate::settle::Settled;

/// Columns that name a person or a thing of one study.
const NAMES: [&str; 3] = ["wearer", "sensor", "meter"];

impl Settled {
    /// The same rows as those of the study called `study`, its sensors numbered from `first_sensor` on: `s01` is `study/s01`,
    /// and so are wearers, meters and files. Nothing else changes.
    ///
    /// # Errors
    /// A damaged store.
    pub fn named(mut self, study: &str, first_sensor: i32) -> Result<Self, LoadError> {
        let named = |batch: &RecordBatch| {
            let batch = named_batch(batch, study, first_sensor);
            batch.map_err(|error| LoadError::Internal(error.to_string()))
        };
        self.sensors = named(&self.sensors)?;
        self.fingersticks = named(&self.fingersticks)?;
        self.wear_events = named(&self.wear_events)?;
        self.judgements = named(&self.judgements)?;
        for (sensor, _) in &mut self.used_until {
            *sensor += first_sensor;
        }
        for reject in &mut self.rejects {
            reject.file = in_study(study, &reject.file);
        }
        for input in &mut self.inputs {
            input.name = in_study(study, &input.name);
        }
        for warning in &mut self.warnings {
            *warning = in_study(study, warning);
        }
        Ok(self)
    }

    /// Takes its tables away; all else stays here too.
    pub fn take_tables(&mut self) -> Self {
        let whole = self.clone();
        for table in [
            &mut self.sensors,
            &mut self.fingersticks,
            &mut self.wear_events,
            &mut self.judgements,
        ] {
            *table = RecordBatch::new_empty(table.schema());
        }
        whole
    }

    /// The rows of several studies, each under its own name, in the order of these names' bytes. Nothing where there is none.
    ///
    /// # Errors
    /// A damaged store.
    pub fn joined(studies: Vec<Self>) -> Result<Option<Self>, LoadError> {
        let all = |of: fn(&Self) -> &RecordBatch| -> Result<Option<RecordBatch>, LoadError> {
            let batches: Vec<&RecordBatch> = studies.iter().map(of).collect();
            let joined = batches
                .first()
                .map(|first| concat_batches(&first.schema(), batches.iter().copied()));
            let joined = joined.transpose();
            joined.map_err(|error| LoadError::Internal(error.to_string()))
        };
        let tables = (
            all(|study| &study.sensors)?,
            all(|study| &study.fingersticks)?,
            all(|study| &study.wear_events)?,
            all(|study| &study.judgements)?,
        );
        let rest = studies.into_iter().reduce(Self::with_small);
        Ok(rest.map(|mut joined| {
            if let (Some(sensors), Some(checks), Some(events), Some(judgements)) = tables {
                joined.sensors = sensors;
                joined.fingersticks = checks;
                joined.wear_events = events;
                joined.judgements = judgements;
            }
            joined
        }))
    }

    /// Adds all of another study but its tables.
    fn with_small(mut self, other: Self) -> Self {
        self.readings.extend(other.readings);
        self.used_until.extend(other.used_until);
        self.rejects.extend(other.rejects);
        for (table, counts) in other.counts {
            self.counts.entry(table).or_default().add(&counts);
        }
        let spans = self.span.into_iter().chain(other.span);
        self.span = spans.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)));
        self.months.extend(other.months);
        self.late |= other.late;
        self.inputs.extend(other.inputs);
        self.warnings.extend(other.warnings);
        self
    }
}

/// A name of one study among those of several.
fn in_study(study: &str, name: &str) -> String {
    format!("{study}/{name}")
}

fn named_batch(
    batch: &RecordBatch,
    study: &str,
    first_sensor: i32,
) -> Result<RecordBatch, ArrowError> {
    let schema = batch.schema();
    let columns = schema.fields().iter().zip(batch.columns());
    let columns = columns.map(|(field, column)| -> ArrayRef {
        let name = field.name().as_str();
        match (
            column.as_string_opt::<i32>(),
            column.as_primitive_opt::<Int32Type>(),
        ) {
            (Some(texts), _) if NAMES.contains(&name) => {
                let named = texts.iter().map(|text| match text {
                    // Where nobody or nothing is named, nobody is.
                    None | Some("") => text.map(str::to_owned),
                    Some(text) => Some(in_study(study, text)),
                });
                Arc::new(named.collect::<StringArray>())
            }
            (_, Some(numbers)) if name == "sensor_no" => {
                Arc::new(numbers.unary::<_, Int32Type>(|number| number + first_sensor))
                    as Arc<Int32Array>
            }
            _ => Arc::clone(column),
        }
    });
    RecordBatch::try_new(Arc::clone(&schema), columns.collect())
}
