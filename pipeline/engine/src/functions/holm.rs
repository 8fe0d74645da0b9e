//! `holm(p) OVER (...)`: p values adjusted for each other.

use std::sync::Arc;

use datafusion::arrow::array::{ArrayRef, AsArray, Float64Array};
use datafusion::arrow::datatypes::{DataType, Field, FieldRef, Float64Type};
use datafusion::error::Result;
use datafusion::logical_expr::function::{PartitionEvaluatorArgs, WindowUDFFieldArgs};
use datafusion::logical_expr::{PartitionEvaluator, Signature, Volatility, WindowUDFImpl};
use whereworn_stats::multiplicity::holm;

use super::arguments::{Argument, Kind, check_types, plain, read};

/// Its name in SQL.
pub const NAME: &str = "holm";

/// What it takes.
pub const ARGUMENTS: [Argument; 1] = [plain("p", Kind::Number)];

/// A window function: Holm's adjustment of each p value for all of its partition; a missing one stays missing and
/// counts for nothing.
#[derive(Debug, PartialEq, Eq, Hash)]
pub(super) struct Holm {
    signature: Signature,
}

impl Holm {
    pub fn new() -> Self {
        Self {
            signature: Signature::variadic_any(Volatility::Immutable),
        }
    }
}

impl WindowUDFImpl for Holm {
    fn name(&self) -> &str {
        NAME
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn field(&self, args: WindowUDFFieldArgs<'_>) -> Result<FieldRef> {
        let given: Vec<DataType> = args
            .input_fields()
            .iter()
            .map(|field| field.data_type().clone())
            .collect();
        check_types(NAME, &ARGUMENTS, &given)?;
        Ok(Arc::new(Field::new(args.name(), DataType::Float64, true)))
    }

    fn partition_evaluator(
        &self,
        _: PartitionEvaluatorArgs<'_>,
    ) -> Result<Box<dyn PartitionEvaluator>> {
        Ok(Box::new(Adjust))
    }
}

#[derive(Debug)]
struct Adjust;

impl PartitionEvaluator for Adjust {
    fn evaluate_all(&mut self, values: &[ArrayRef], _: usize) -> Result<ArrayRef> {
        let columns = read(NAME, &ARGUMENTS, values)?;
        let p_values: Vec<Option<f64>> = columns
            .iter()
            .flat_map(|column| column.as_primitive::<Float64Type>().iter())
            .collect();
        let known: Vec<f64> = p_values.iter().copied().flatten().collect();
        let mut adjusted = holm(&known).into_iter();
        let cells = p_values.iter().map(|p| p.and_then(|_| adjusted.next()));
        Ok(Arc::new(cells.collect::<Float64Array>()))
    }
}
