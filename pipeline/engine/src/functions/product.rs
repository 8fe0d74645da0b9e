//! `product(x)`: the product of a column, also as a running product over a window.

use std::sync::Arc;

use datafusion::arrow::array::{ArrayRef, AsArray};
use datafusion::arrow::datatypes::{DataType, Float64Type};
use datafusion::error::Result;
use datafusion::logical_expr::{Accumulator, AggregateUDF, Volatility, create_udaf};
use datafusion::scalar::ScalarValue;

use super::arguments::{Argument, Kind, plain};

/// Its name in SQL.
pub const NAME: &str = "product";

/// What it takes.
pub const ARGUMENTS: [Argument; 1] = [plain("x", Kind::Number)];

/// `product(x)`: the product of all values that are not missing; 1 for none. A sum of logarithms would miss
/// zero, and survival of exactly one half.
pub fn product() -> AggregateUDF {
    create_udaf(
        NAME,
        vec![DataType::Float64],
        Arc::new(DataType::Float64),
        Volatility::Immutable,
        Arc::new(|_| Ok(Box::new(Product(1.0)))),
        Arc::new(vec![DataType::Float64]),
    )
}

#[derive(Debug)]
struct Product(f64);

impl Accumulator for Product {
    fn update_batch(&mut self, values: &[ArrayRef]) -> Result<()> {
        for value in values[0].as_primitive::<Float64Type>().iter().flatten() {
            self.0 *= value;
        }
        Ok(())
    }

    fn evaluate(&mut self) -> Result<ScalarValue> {
        Ok(ScalarValue::Float64(Some(self.0)))
    }

    fn size(&self) -> usize {
        size_of_val(self)
    }

    fn state(&mut self) -> Result<Vec<ScalarValue>> {
        Ok(vec![self.evaluate()?])
    }

    fn merge_batch(&mut self, states: &[ArrayRef]) -> Result<()> {
        self.update_batch(states)
    }
}
