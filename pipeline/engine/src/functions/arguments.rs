//! What functions of ours take: checked by type when a query is planned, by value when it runs.

use std::sync::Arc;

use datafusion::arrow::array::{Array, ArrayRef, AsArray};
use datafusion::arrow::compute::cast;
use datafusion::arrow::datatypes::{DataType, Float64Type};
use datafusion::error::{DataFusionError, Result};

use crate::base_tables::instant;

/// What an argument of a function is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A number.
    Number,
    /// A whole number from 0 to 1e9.
    Count,
    /// A whole number from 0 up to this one: 1 makes a flag.
    Code(u8),
    /// A number between 0 and 1, both excluded.
    Level,
    /// A text.
    Text,
    /// Anything that tells things apart: a site, a sensor, a wearer; a text or a whole number.
    Label,
    /// An instant.
    Time,
}

/// The most of anything that is counted: more than a hundred people have readings in a lifetime.
const MOST: f64 = 1e9;

/// An argument of a function.
#[derive(Clone, Copy, Debug)]
pub struct Argument {
    /// Its name.
    pub name: &'static str,
    /// What it is.
    pub kind: Kind,
    /// Its unit, or in a word what it means; empty where the name says all.
    pub unit: &'static str,
}

/// What draws at random starts from.
pub const SEED: Argument = with_unit("seed", Kind::Text, "the same text gives the same draws");

impl Argument {
    /// Whether it is [`SEED`].
    pub fn is_seed(&self) -> bool {
        self.name == SEED.name
    }
}

/// An argument without a unit.
pub const fn plain(name: &'static str, kind: Kind) -> Argument {
    with_unit(name, kind, "")
}

/// An argument with its unit.
pub const fn with_unit(name: &'static str, kind: Kind, unit: &'static str) -> Argument {
    Argument { name, kind, unit }
}

impl Kind {
    /// What is wanted, in words.
    pub fn words(self) -> String {
        match self {
            Self::Number => "a number".to_owned(),
            Self::Count => format!("a whole number from 0 to {MOST:e}"),
            Self::Code(1) => "0 or 1".to_owned(),
            Self::Code(most) => format!("a whole number from 0 to {most}"),
            Self::Level => "a number above 0 and below 1".to_owned(),
            Self::Text => "a text".to_owned(),
            Self::Label => "a text or a whole number".to_owned(),
            Self::Time => "an instant".to_owned(),
        }
    }

    /// The type in which the function reads it.
    pub(super) fn read_as(self) -> DataType {
        match self {
            Self::Number | Self::Count | Self::Code(_) | Self::Level => DataType::Float64,
            Self::Text | Self::Label => DataType::Utf8,
            Self::Time => instant(),
        }
    }

    fn takes(self, given: &DataType) -> bool {
        let given = match given {
            DataType::Dictionary(_, values) => values,
            given => given,
        };
        match self {
            Self::Number | Self::Count | Self::Level => given.is_numeric(),
            Self::Code(_) => given.is_numeric() || *given == DataType::Boolean,
            Self::Text => given.is_string(),
            Self::Label => {
                given.is_string()
                    || given.is_integer()
                    || matches!(given, DataType::Boolean | DataType::Date32)
            }
            Self::Time => matches!(given, DataType::Timestamp(_, _)),
        }
    }

    fn allows(self, value: f64) -> bool {
        let whole = value >= 0.0 && value.fract() == 0.0;
        match self {
            Self::Count => whole && value <= MOST,
            Self::Code(most) => whole && value <= f64::from(most),
            Self::Level => value > 0.0 && value < 1.0,
            Self::Number => value.is_finite(),
            Self::Text | Self::Label | Self::Time => true,
        }
    }
}

impl Argument {
    /// The argument as messages name it: ``the argument `glucose` (mg/dL)``.
    pub(super) fn words(&self) -> String {
        match self.unit {
            "" => format!("the argument `{}`", self.name),
            unit => format!("the argument `{}` ({unit})", self.name),
        }
    }
}

/// A call of a function as messages name it: `log_rank(day, event, site)`.
pub(super) fn call(function: &str, arguments: &[Argument]) -> String {
    let names: Vec<&str> = arguments.iter().map(|argument| argument.name).collect();
    format!("{function}({})", names.join(", "))
}

/// Refuses arguments that are too many, too few or of another type.
///
/// # Errors
/// Names the function, the argument with its unit, what it wants and what it was given.
pub(super) fn check_types(
    function: &str,
    arguments: &[Argument],
    given: &[DataType],
) -> Result<()> {
    if arguments.len() != given.len() {
        return Err(DataFusionError::Plan(format!(
            "{} takes {} arguments, and is given {}",
            call(function, arguments),
            arguments.len(),
            given.len()
        )));
    }
    for (argument, given) in arguments.iter().zip(given) {
        if !argument.kind.takes(given) {
            return Err(DataFusionError::Plan(format!(
                "{}: {} is {}, and wants {}",
                call(function, arguments),
                argument.words(),
                type_words(given),
                argument.kind.words(),
            )));
        }
    }
    Ok(())
}

/// A type in words.
fn type_words(kind: &DataType) -> &'static str {
    match kind {
        DataType::Null => "NULL",
        DataType::Boolean => "true or false",
        kind if kind.is_integer() => "a whole number",
        kind if kind.is_numeric() => "a number",
        kind if kind.is_string() => "a text",
        DataType::Timestamp(_, _) => "an instant",
        DataType::Date32 | DataType::Date64 => "a date",
        DataType::Struct(_) => "a struct (read a field of it with get_field(x, 'name'))",
        DataType::List(_) | DataType::LargeList(_) => "a list (UNNEST makes rows of it)",
        _ => "of another type",
    }
}

/// The arguments in the types in which the function reads them, every value allowed.
///
/// # Errors
/// A value that its argument does not allow, by name.
pub(super) fn read(
    function: &str,
    arguments: &[Argument],
    given: &[ArrayRef],
) -> Result<Vec<ArrayRef>> {
    let one = |(argument, given): (&Argument, &ArrayRef)| -> Result<ArrayRef> {
        let wanted = argument.kind.read_as();
        let array = match *given.data_type() == wanted {
            true => Arc::clone(given),
            false => cast(given, &wanted)?,
        };
        check_values(function, argument, &array)?;
        Ok(array)
    };
    arguments.iter().zip(given).map(one).collect()
}

fn check_values(function: &str, argument: &Argument, array: &dyn Array) -> Result<()> {
    if matches!(argument.kind, Kind::Text | Kind::Label | Kind::Time) {
        return Ok(());
    }
    let Some(numbers) = array.as_primitive_opt::<Float64Type>() else {
        return Ok(());
    };
    match numbers
        .iter()
        .flatten()
        .find(|value| !argument.kind.allows(*value))
    {
        Some(value) => Err(refused(
            function,
            argument,
            &short(value),
            &argument.kind.words(),
        )),
        None => Ok(()),
    }
}

/// A number as messages print it: one of hundreds of digits by its exponent.
fn short(value: f64) -> String {
    match value.abs() {
        size if size >= 1e15 => format!("{value:e}"),
        _ => value.to_string(),
    }
}

/// The error of a value that an argument does not allow.
pub(super) fn refused(
    function: &str,
    argument: &Argument,
    value: &str,
    wanted: &str,
) -> DataFusionError {
    DataFusionError::Execution(format!(
        "{function}: {} is {value}, and wants {wanted}",
        argument.words()
    ))
}
