//! `night_artefact(time, glucose, status) OVER (PARTITION BY sensor ORDER BY time)`: the detector of night
//! artefacts as a window function.

use std::sync::Arc;

use datafusion::arrow::array::{
    ArrayRef, AsArray, Float64Array, StructArray, TimestampMicrosecondArray,
};
use datafusion::arrow::buffer::NullBuffer;
use datafusion::arrow::compute::cast;
use datafusion::arrow::datatypes::{
    DataType, Field, FieldRef, Fields, Float64Type, TimestampMicrosecondType,
};
use datafusion::error::Result;
use datafusion::logical_expr::function::{PartitionEvaluatorArgs, WindowUDFFieldArgs};
use datafusion::logical_expr::{
    LimitEffect, PartitionEvaluator, Signature, TypeSignature, Volatility, WindowUDFImpl,
};
use datafusion::physical_plan::PhysicalExpr;
use whereworn_stats::nights::{Artefact, Settings, detect};

use crate::base_tables::instant;

/// Gives, on the reading with which an artefact begins, a struct that describes it, and nothing on every other
/// reading. Fields: `artefact_end` and `nadir_time` (instants), `nadir` and `drop` (mg/dL, the latter from the
/// expected trace at the nadir), `fall_minutes`, `recovery_minutes`, `probability`.
#[derive(Debug, PartialEq, Eq, Hash)]
pub struct NightArtefact {
    signature: Signature,
}

impl NightArtefact {
    /// The function.
    pub fn new() -> Self {
        Self {
            signature: Signature::new(TypeSignature::Any(3), Volatility::Immutable),
        }
    }
}

impl Default for NightArtefact {
    fn default() -> Self {
        Self::new()
    }
}

const NUMBERS: [&str; 5] = [
    "nadir",
    "drop",
    "fall_minutes",
    "recovery_minutes",
    "probability",
];

fn fields() -> Fields {
    let instants = ["artefact_end", "nadir_time"].map(|name| Field::new(name, instant(), true));
    let numbers = NUMBERS.map(|name| Field::new(name, DataType::Float64, true));
    instants.into_iter().chain(numbers).collect()
}

impl WindowUDFImpl for NightArtefact {
    fn name(&self) -> &str {
        "night_artefact"
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn partition_evaluator(
        &self,
        _: PartitionEvaluatorArgs<'_>,
    ) -> Result<Box<dyn PartitionEvaluator>> {
        Ok(Box::new(OneSensor))
    }

    fn field(&self, args: WindowUDFFieldArgs<'_>) -> Result<FieldRef> {
        Ok(Arc::new(Field::new(
            args.name(),
            DataType::Struct(fields()),
            true,
        )))
    }

    fn limit_effect(&self, _: &[Arc<dyn PhysicalExpr>]) -> LimitEffect {
        LimitEffect::Unknown
    }
}

#[derive(Debug)]
struct OneSensor;

impl PartitionEvaluator for OneSensor {
    fn evaluate_all(&mut self, values: &[ArrayRef], rows: usize) -> Result<ArrayRef> {
        let time = cast(&values[0], &instant())?;
        let time = time.as_primitive::<TimestampMicrosecondType>();
        let glucose = cast(&values[1], &DataType::Float64)?;
        let glucose = glucose.as_primitive::<Float64Type>();
        let status = cast(&values[2], &DataType::Utf8)?;
        let held: Vec<bool> = status
            .as_string::<i32>()
            .iter()
            .map(|s| s != Some("ok"))
            .collect();
        let first = time.values().first().copied().unwrap_or(0);
        let minutes: Vec<f64> = time
            .values()
            .iter()
            .map(|at| (at - first) as f64 / 60e6)
            .collect();
        let found = detect(&minutes, glucose.values(), &held, &Settings::default());
        Ok(Arc::new(marked(&found, time, glucose, rows)?))
    }
}

fn marked(
    found: &[Artefact],
    time: &TimestampMicrosecondArray,
    glucose: &Float64Array,
    rows: usize,
) -> Result<StructArray> {
    let mut at: Vec<Option<&Artefact>> = vec![None; rows];
    for artefact in found {
        at[artefact.start] = Some(artefact);
    }
    let instants = |of: fn(&Artefact) -> usize| -> ArrayRef {
        let values = at
            .iter()
            .map(|artefact| artefact.map(|a| time.value(of(a))));
        let array: TimestampMicrosecondArray = values.collect();
        Arc::new(array.with_timezone("UTC"))
    };
    let numbers = |of: &dyn Fn(&Artefact) -> f64| -> ArrayRef {
        Arc::new(
            at.iter()
                .map(|artefact| artefact.map(of))
                .collect::<Float64Array>(),
        )
    };
    let columns = vec![
        instants(|a| a.end),
        instants(|a| a.nadir),
        numbers(&|a| glucose.value(a.nadir)),
        numbers(&|a| a.drop),
        numbers(&|a| a.fall_minutes),
        numbers(&|a| a.recovery_minutes),
        numbers(&|a| a.probability),
    ];
    let exists = NullBuffer::from(at.iter().map(Option::is_some).collect::<Vec<bool>>());
    Ok(StructArray::try_new(fields(), columns, Some(exists))?)
}
