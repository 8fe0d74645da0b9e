//! A function of single rows as the engine knows it.

use std::hash::{Hash, Hasher};

use datafusion::arrow::array::{
    Array, ArrayRef, AsArray, Float64Array, StringArray, TimestampMicrosecondArray,
};
use datafusion::arrow::datatypes::{DataType, Float64Type, TimestampMicrosecondType};
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::{
    ColumnarValue, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility,
};

use datafusion::scalar::ScalarValue;

use super::arguments::{Argument, check_types, read, refused};

/// A function of single rows. It gives no value where an argument has none.
pub struct Scalar {
    /// Name in SQL.
    pub name: &'static str,
    /// What it takes, in order.
    pub arguments: &'static [Argument],
    /// The type that it gives.
    pub gives: fn() -> DataType,
    /// One sentence on what it computes.
    pub about: &'static str,
    /// A call of it, as an expression over columns of `sessions` or `pairs`, or over numbers.
    pub example: &'static str,
    /// The computation.
    pub compute: fn(&Given<'_>) -> Result<ArrayRef>,
}

/// What a function of single rows is given: a column for each argument.
pub struct Given<'a> {
    scalar: &'a Scalar,
    columns: Vec<ArrayRef>,
}

impl Given<'_> {
    fn column(&self, place: usize) -> Result<&dyn Array> {
        let column = self.columns.get(place).map(|column| column.as_ref());
        column.ok_or_else(|| {
            DataFusionError::Internal(format!("{} has no argument {place}", self.scalar.name))
        })
    }

    fn another_type(&self, place: usize) -> DataFusionError {
        DataFusionError::Internal(format!("argument {place} of {}", self.scalar.name))
    }

    /// The numbers at a place.
    pub fn numbers(&self, place: usize) -> Result<&Float64Array> {
        let column = self.column(place)?.as_primitive_opt::<Float64Type>();
        column.ok_or_else(|| self.another_type(place))
    }

    /// The texts at a place.
    pub fn texts(&self, place: usize) -> Result<&StringArray> {
        let column = self.column(place)?.as_string_opt::<i32>();
        column.ok_or_else(|| self.another_type(place))
    }

    /// The instants at a place, microseconds UTC.
    pub fn times(&self, place: usize) -> Result<&TimestampMicrosecondArray> {
        let column = self
            .column(place)?
            .as_primitive_opt::<TimestampMicrosecondType>();
        column.ok_or_else(|| self.another_type(place))
    }

    /// The error of a value that the argument at a place does not allow.
    pub fn refused(&self, place: usize, value: &str, wanted: &str) -> DataFusionError {
        match self.scalar.arguments.get(place) {
            Some(argument) => refused(self.scalar.name, argument, value, wanted),
            None => self.another_type(place),
        }
    }
}

/// A [`Scalar`] with the signature that the engine asks for.
pub(super) struct ScalarFunction {
    scalar: &'static Scalar,
    signature: Signature,
}

impl ScalarFunction {
    pub fn new(scalar: &'static Scalar) -> Self {
        let signature = Signature::variadic_any(Volatility::Immutable);
        Self { scalar, signature }
    }
}

impl std::fmt::Debug for ScalarFunction {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.scalar.name)
    }
}

impl PartialEq for ScalarFunction {
    fn eq(&self, other: &Self) -> bool {
        self.scalar.name == other.scalar.name
    }
}

impl Eq for ScalarFunction {}

impl Hash for ScalarFunction {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.scalar.name.hash(state);
    }
}

impl ScalarUDFImpl for ScalarFunction {
    fn name(&self) -> &str {
        self.scalar.name
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn return_type(&self, given: &[DataType]) -> Result<DataType> {
        check_types(self.scalar.name, self.scalar.arguments, given)?;
        Ok((self.scalar.gives)())
    }

    fn invoke_with_args(&self, args: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let constant = args
            .args
            .iter()
            .all(|argument| matches!(argument, ColumnarValue::Scalar(_)));
        let rows = if constant { 1 } else { args.number_rows };
        let arrays: Vec<ArrayRef> = args
            .args
            .iter()
            .map(|argument| argument.to_array(rows))
            .collect::<Result<_>>()?;
        let columns = read(self.scalar.name, self.scalar.arguments, &arrays)?;
        let computed = (self.scalar.compute)(&Given {
            scalar: self.scalar,
            columns,
        })?;
        Ok(match constant {
            true => ColumnarValue::Scalar(ScalarValue::try_from_array(&computed, 0)?),
            false => ColumnarValue::Array(computed),
        })
    }
}
