//! `night_artefacts_of(time, glucose, status)`: the detector of night artefacts, over the readings of one sensor.

use std::sync::Arc;

use datafusion::arrow::array::{
    Array, ArrayRef, AsArray, Float64Array, Int64Array, StructArray, TimestampMicrosecondArray,
    new_empty_array,
};
use datafusion::arrow::datatypes::{
    DataType, Field, FieldRef, Fields, Float64Type, Int64Type, TimestampMicrosecondType,
};
use datafusion::common::utils::SingleRowListArrayBuilder;
use datafusion::error::Result;
use datafusion::logical_expr::function::{AccumulatorArgs, StateFieldsArgs};
use datafusion::logical_expr::utils::format_state_name;
use datafusion::logical_expr::{Accumulator, AggregateUDFImpl, Signature, Volatility};
use datafusion::scalar::ScalarValue;
use whereworn_stats::nights::{Artefact, Preset, Settings, detect};

use super::arguments::{Argument, Kind, check_types, plain, read, with_unit};
use crate::base_tables::instant;

/// An aggregate over the readings of one sensor that gives a list of structs, one a run of readings held down;
/// `UNNEST` makes rows of it. Fields: `artefact_start`, `artefact_end`, `nadir_time` (instants), `nadir` and `drop`
/// (mg/dL, the latter from the expected trace at the nadir), `height` (mg/dL, of the fitted fall), `fall_minutes`,
/// `recovery_minutes`, `probability`, and `strictness`, the strictest setting of the detector that reports it: 1 looser,
/// 2 standard, 3 stricter.
///
/// `GROUP BY sensor_no` over `readings` holds one sensor in memory at a time, since the store is in that order.
#[derive(Debug, PartialEq, Eq, Hash)]
pub struct NightArtefacts {
    signature: Signature,
}

impl NightArtefacts {
    /// The function.
    pub fn new() -> Self {
        Self {
            signature: Signature::variadic_any(Volatility::Immutable),
        }
    }
}

impl Default for NightArtefacts {
    fn default() -> Self {
        Self::new()
    }
}

/// Its name in SQL.
pub const NAME: &str = "night_artefacts_of";

/// What it takes; a reading without one of them is left out.
pub const ARGUMENTS: [Argument; 3] = [
    plain("time", Kind::Time),
    with_unit("glucose", Kind::Number, "mg/dL"),
    with_unit(
        "status",
        Kind::Text,
        "`ok`, or `low` or `high` at a limit of the range",
    ),
];

const INSTANTS: [&str; 3] = ["artefact_start", "artefact_end", "nadir_time"];
const NUMBERS: [&str; 7] = [
    "nadir",
    "drop",
    "height",
    "fall_minutes",
    "recovery_minutes",
    "probability",
    "strictness",
];

/// The fields of each struct that it gives.
pub fn field_names() -> Vec<&'static str> {
    INSTANTS.into_iter().chain(NUMBERS).collect()
}

fn fields() -> Fields {
    let instants = INSTANTS.map(|name| Field::new(name, instant(), true));
    let numbers = NUMBERS.map(|name| Field::new(name, DataType::Float64, true));
    instants.into_iter().chain(numbers).collect()
}

fn list_of(item: DataType) -> DataType {
    DataType::List(Arc::new(Field::new_list_field(item, true)))
}

impl AggregateUDFImpl for NightArtefacts {
    fn name(&self) -> &str {
        NAME
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn return_type(&self, given: &[DataType]) -> Result<DataType> {
        check_types(NAME, &ARGUMENTS, given)?;
        Ok(list_of(DataType::Struct(fields())))
    }

    fn accumulator(&self, _: AccumulatorArgs<'_>) -> Result<Box<dyn Accumulator>> {
        Ok(Box::new(OneSensor::default()))
    }

    fn state_fields(&self, args: StateFieldsArgs<'_>) -> Result<Vec<FieldRef>> {
        let field = |(name, kind): (&str, DataType)| -> FieldRef {
            Arc::new(Field::new(
                format_state_name(args.name, name),
                list_of(kind),
                true,
            ))
        };
        let states = [
            ("time", DataType::Int64),
            ("glucose", DataType::Float64),
            ("held", DataType::Int64),
        ];
        Ok(states.into_iter().map(field).collect())
    }
}

/// Readings of a sensor as they came; `held` is 1 at the limit of the measuring range.
#[derive(Debug, Default)]
struct OneSensor {
    time: Vec<i64>,
    glucose: Vec<f64>,
    held: Vec<i64>,
}

impl OneSensor {
    fn sort(&mut self) {
        if self.time.is_sorted() {
            return;
        }
        let mut order: Vec<usize> = (0..self.time.len()).collect();
        order.sort_by_key(|&row| self.time[row]);
        self.time = order.iter().map(|&row| self.time[row]).collect();
        self.glucose = order.iter().map(|&row| self.glucose[row]).collect();
        self.held = order.iter().map(|&row| self.held[row]).collect();
    }

    fn structs(&self, found: &[Artefact]) -> Result<StructArray> {
        let instants = |of: fn(&Artefact) -> usize| -> ArrayRef {
            let values = found.iter().map(|artefact| self.time[of(artefact)]);
            Arc::new(TimestampMicrosecondArray::from_iter_values(values).with_timezone("UTC"))
        };
        let numbers = |of: &dyn Fn(&Artefact) -> f64| -> ArrayRef {
            Arc::new(Float64Array::from_iter_values(found.iter().map(of)))
        };
        let columns = vec![
            instants(|a| a.start),
            instants(|a| a.end),
            instants(|a| a.nadir),
            numbers(&|a| self.glucose[a.nadir]),
            numbers(&|a| a.drop),
            numbers(&|a| a.height),
            numbers(&|a| a.fall_minutes),
            numbers(&|a| a.recovery_minutes),
            numbers(&|a| a.probability),
            numbers(&|a| match a.strictest {
                Preset::Looser => 1.0,
                Preset::Standard => 2.0,
                Preset::Stricter => 3.0,
            }),
        ];
        Ok(StructArray::try_new(fields(), columns, None)?)
    }
}

impl Accumulator for OneSensor {
    fn update_batch(&mut self, values: &[ArrayRef]) -> Result<()> {
        let columns = read(NAME, &ARGUMENTS, values)?;
        let [time, glucose, status] = columns.as_slice() else {
            return Ok(());
        };
        let times = time.as_primitive::<TimestampMicrosecondType>();
        let readings = times.iter().zip(glucose.as_primitive::<Float64Type>());
        for ((time, glucose), status) in readings.zip(status.as_string::<i32>()) {
            if let (Some(time), Some(glucose), Some(status)) = (time, glucose, status) {
                self.time.push(time);
                self.glucose.push(glucose);
                self.held.push(i64::from(status != "ok"));
            }
        }
        Ok(())
    }

    fn evaluate(&mut self) -> Result<ScalarValue> {
        self.sort();
        let first = self.time.first().copied().unwrap_or(0);
        let minutes: Vec<f64> = self
            .time
            .iter()
            .map(|at| (at - first) as f64 / 60e6)
            .collect();
        let held: Vec<bool> = self.held.iter().map(|held| *held != 0).collect();
        let found = detect(&minutes, &self.glucose, &held, &Settings::looser());
        let structs: ArrayRef = if found.is_empty() {
            new_empty_array(&DataType::Struct(fields()))
        } else {
            Arc::new(self.structs(&found)?)
        };
        Ok(SingleRowListArrayBuilder::new(structs).build_list_scalar())
    }

    fn size(&self) -> usize {
        size_of_val(self)
            + 8 * (self.time.capacity() + self.glucose.capacity() + self.held.capacity())
    }

    fn state(&mut self) -> Result<Vec<ScalarValue>> {
        let arrays: [ArrayRef; 3] = [
            Arc::new(Int64Array::from(std::mem::take(&mut self.time))),
            Arc::new(Float64Array::from(std::mem::take(&mut self.glucose))),
            Arc::new(Int64Array::from(std::mem::take(&mut self.held))),
        ];
        Ok(arrays
            .map(|array| SingleRowListArrayBuilder::new(array).build_list_scalar())
            .to_vec())
    }

    fn merge_batch(&mut self, states: &[ArrayRef]) -> Result<()> {
        for row in (0..states[0].len()).filter(|&row| states[0].is_valid(row)) {
            let part = |position: usize| states[position].as_list::<i32>().value(row);
            self.time
                .extend_from_slice(part(0).as_primitive::<Int64Type>().values());
            self.glucose
                .extend_from_slice(part(1).as_primitive::<Float64Type>().values());
            self.held
                .extend_from_slice(part(2).as_primitive::<Int64Type>().values());
        }
        Ok(())
    }
}
