//! An aggregate that gathers its rows, puts them into an order of their own and hands them to a statistic.

use std::hash::{Hash, Hasher};
use std::sync::Arc;

use datafusion::arrow::array::{
    Array, ArrayRef, AsArray, Float64Array, StringArray, StructArray, new_empty_array,
};
use datafusion::arrow::buffer::NullBuffer;
use datafusion::arrow::compute::{
    SortColumn, and, concat, filter, is_not_null, lexsort_to_indices, min_string, take,
};
use datafusion::arrow::datatypes::{DataType, Field, FieldRef, Fields, Float64Type};
use datafusion::common::utils::SingleRowListArrayBuilder;
use datafusion::error::Result;
use datafusion::logical_expr::function::{AccumulatorArgs, StateFieldsArgs};
use datafusion::logical_expr::utils::format_state_name;
use datafusion::logical_expr::{Accumulator, AggregateUDFImpl, Signature, Volatility};
use datafusion::scalar::ScalarValue;

use super::arguments::{Argument, check_types, read};

/// A statistic of many rows.
pub struct Statistic {
    /// Name in SQL.
    pub name: &'static str,
    /// What it takes, in order. Rows with a missing argument are left out.
    pub arguments: &'static [Argument],
    /// The fields of the struct that it gives, all of them numbers.
    pub fields: &'static [&'static str],
    /// One sentence on what it computes.
    pub about: &'static str,
    /// A query that calls it.
    pub example: &'static str,
    /// The computation.
    pub evaluate: Evaluate,
}

/// What a statistic gives.
#[derive(Clone, Copy)]
pub enum Evaluate {
    /// One struct; `None` where nothing can be computed.
    One(fn(&Rows) -> Option<Vec<Option<f64>>>),
    /// A list of structs, of which `UNNEST` makes rows.
    Many(fn(&Rows) -> Vec<Vec<Option<f64>>>),
}

/// The rows of a group in an order that does not depend on how they arrived.
pub struct Rows {
    columns: Vec<ArrayRef>,
}

impl Rows {
    fn column(&self, position: usize) -> Option<&ArrayRef> {
        self.columns.get(position)
    }

    /// The numbers of an argument.
    pub fn numbers(&self, position: usize) -> &[f64] {
        let numbers = self
            .column(position)
            .and_then(|column| column.as_primitive_opt::<Float64Type>());
        numbers.map_or(&[], |numbers| numbers.values())
    }

    /// The labels of an argument, numbered from 0 in the order of their text.
    pub fn labels(&self, position: usize) -> Vec<usize> {
        let texts = self.texts(position);
        let mut names = texts.clone();
        names.sort_unstable();
        names.dedup();
        let number = |name: &&str| names.binary_search(name).unwrap_or(0);
        texts.iter().map(number).collect()
    }

    /// The texts of an argument.
    pub fn texts(&self, position: usize) -> Vec<&str> {
        let texts = self
            .column(position)
            .and_then(|column| column.as_string_opt::<i32>());
        texts
            .iter()
            .flat_map(|texts| texts.iter().flatten())
            .collect()
    }

    /// The text that is the same in all rows: a seed, of which one is kept.
    pub fn text(&self, position: usize) -> &str {
        self.texts(position).first().copied().unwrap_or("")
    }
}

/// A [`Statistic`] as the engine knows it.
#[derive(Debug)]
pub(crate) struct Collect {
    statistic: &'static Statistic,
    signature: Signature,
}

impl std::fmt::Debug for Statistic {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

impl PartialEq for Collect {
    fn eq(&self, other: &Self) -> bool {
        self.statistic.name == other.statistic.name
    }
}

impl Eq for Collect {}

impl Hash for Collect {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.statistic.name.hash(state);
    }
}

impl Collect {
    pub fn new(statistic: &'static Statistic) -> Self {
        Self {
            statistic,
            signature: Signature::variadic_any(Volatility::Immutable),
        }
    }

    fn fields(&self) -> Fields {
        self.statistic
            .fields
            .iter()
            .map(|name| Field::new(*name, DataType::Float64, true))
            .collect()
    }
}

impl AggregateUDFImpl for Collect {
    fn name(&self) -> &str {
        self.statistic.name
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn return_type(&self, given: &[DataType]) -> Result<DataType> {
        check_types(self.statistic.name, self.statistic.arguments, given)?;
        let one = DataType::Struct(self.fields());
        Ok(match self.statistic.evaluate {
            Evaluate::One(_) => one,
            Evaluate::Many(_) => DataType::List(Arc::new(Field::new_list_field(one, true))),
        })
    }

    fn accumulator(&self, _: AccumulatorArgs<'_>) -> Result<Box<dyn Accumulator>> {
        let columns = vec![Vec::new(); self.statistic.arguments.len()];
        Ok(Box::new(Collected {
            statistic: self.statistic,
            fields: self.fields(),
            columns,
            bytes: 0,
        }))
    }

    fn state_fields(&self, args: StateFieldsArgs<'_>) -> Result<Vec<FieldRef>> {
        let field = |argument: &Argument| -> FieldRef {
            let item = Arc::new(Field::new_list_field(argument.kind.read_as(), true));
            Arc::new(Field::new(
                format_state_name(args.name, argument.name),
                DataType::List(item),
                true,
            ))
        };
        Ok(self.statistic.arguments.iter().map(field).collect())
    }
}

/// Rows gathered so far, an array a batch and argument.
#[derive(Debug)]
struct Collected {
    statistic: &'static Statistic,
    fields: Fields,
    columns: Vec<Vec<ArrayRef>>,
    /// Bytes of the arrays that have come: it is asked after every batch, for every group.
    bytes: usize,
}

impl Collected {
    fn joined(&self) -> Result<Vec<ArrayRef>> {
        let join = |(parts, argument): (&Vec<ArrayRef>, &Argument)| -> Result<ArrayRef> {
            if parts.is_empty() {
                return Ok(new_empty_array(&argument.kind.read_as()));
            }
            let parts: Vec<&dyn Array> = parts.iter().map(|part| part.as_ref()).collect();
            Ok(concat(&parts)?)
        };
        self.columns
            .iter()
            .zip(self.statistic.arguments)
            .map(join)
            .collect()
    }

    fn structs(&self, rows: &[Vec<Option<f64>>], exist: Option<NullBuffer>) -> Result<StructArray> {
        let column = |place: usize| -> ArrayRef {
            let cell = |row: &Vec<Option<f64>>| row.get(place).copied().flatten();
            let cells = rows.iter().map(|row| cell(row).filter(|v| v.is_finite()));
            Arc::new(cells.collect::<Float64Array>())
        };
        let columns = (0..self.fields.len()).map(column).collect();
        Ok(StructArray::try_new(self.fields.clone(), columns, exist)?)
    }

    /// Adds values of the argument at a position; of a seed, the same in all rows, one stays.
    fn keep(&mut self, position: usize, parts: impl IntoIterator<Item = ArrayRef>) {
        let argument = self.statistic.arguments.get(position);
        let (Some(column), Some(argument)) = (self.columns.get_mut(position), argument) else {
            return;
        };
        for part in parts {
            if !argument.is_seed() {
                self.bytes += bytes(&part);
            }
            column.push(part);
        }
        if argument.is_seed() {
            *column = least(column);
        }
    }

    fn in_order(&self) -> Result<Rows> {
        let columns = self.joined()?;
        let of_rows = |argument: &Argument| !argument.is_seed();
        let sort: Vec<SortColumn> = (columns.iter().zip(self.statistic.arguments))
            .filter(|(_, argument)| of_rows(argument))
            .map(|(values, _)| SortColumn {
                values: Arc::clone(values),
                options: None,
            })
            .collect();
        let order = lexsort_to_indices(&sort, None)?;
        let sorted = |(column, argument): (&ArrayRef, &Argument)| -> Result<ArrayRef> {
            match of_rows(argument) {
                true => Ok(take(column, &order, None)?),
                false => Ok(Arc::clone(column)),
            }
        };
        let columns = columns.iter().zip(self.statistic.arguments).map(sorted);
        let columns = columns.collect::<Result<_>>()?;
        Ok(Rows { columns })
    }
}

impl Accumulator for Collected {
    fn update_batch(&mut self, values: &[ArrayRef]) -> Result<()> {
        let cells = read(self.statistic.name, self.statistic.arguments, values)?;
        let mut whole: Option<datafusion::arrow::array::BooleanArray> = None;
        for cell in cells.iter().filter(|cell| cell.null_count() > 0) {
            let here = is_not_null(cell)?;
            whole = Some(match whole {
                Some(so_far) => and(&so_far, &here)?,
                None => here,
            });
        }
        let own = |cell: ArrayRef| match &whole {
            Some(whole) => filter(&cell, whole),
            None => Ok(cell),
        };
        for (position, cell) in cells.into_iter().enumerate() {
            self.keep(position, [own(cell)?]);
        }
        Ok(())
    }

    fn evaluate(&mut self) -> Result<ScalarValue> {
        let rows = self.in_order()?;
        Ok(match self.statistic.evaluate {
            Evaluate::One(compute) => {
                let values = compute(&rows);
                let exists = NullBuffer::from(vec![values.is_some()]);
                let values = values.unwrap_or_else(|| vec![None; self.fields.len()]);
                ScalarValue::Struct(Arc::new(self.structs(&[values], Some(exists))?))
            }
            Evaluate::Many(compute) => {
                let structs = self.structs(&compute(&rows), None)?;
                SingleRowListArrayBuilder::new(Arc::new(structs)).build_list_scalar()
            }
        })
    }

    fn size(&self) -> usize {
        size_of_val(self) + self.bytes
    }

    fn state(&mut self) -> Result<Vec<ScalarValue>> {
        let joined = self.joined()?;
        Ok(joined
            .into_iter()
            .map(|array| SingleRowListArrayBuilder::new(array).build_list_scalar())
            .collect())
    }

    fn merge_batch(&mut self, states: &[ArrayRef]) -> Result<()> {
        for (position, state) in states.iter().enumerate() {
            self.keep(position, state.as_list::<i32>().iter().flatten());
        }
        Ok(())
    }
}

fn bytes(array: &ArrayRef) -> usize {
    array.to_data().get_slice_memory_size().unwrap_or_default()
}

/// The least of some texts, by itself. A seed is the same in all rows, and rows may be millions.
fn least(texts: &[ArrayRef]) -> Vec<ArrayRef> {
    let least = texts
        .iter()
        .filter_map(|part| min_string(part.as_string_opt::<i32>()?))
        .min();
    least.map_or(Vec::new(), |text| {
        vec![Arc::new(StringArray::from(vec![text]))]
    })
}
