//! An aggregate that gathers its rows, puts them into an order of their own and hands them to a statistic.

use std::hash::{Hash, Hasher};
use std::sync::Arc;

use datafusion::arrow::array::{
    Array, ArrayRef, AsArray, Float64Array, StructArray, new_empty_array,
};
use datafusion::arrow::buffer::NullBuffer;
use datafusion::arrow::compute::{
    SortColumn, and, cast, concat, filter, is_not_null, lexsort_to_indices, take,
};
use datafusion::arrow::datatypes::{DataType, Field, FieldRef, Fields, Float64Type};
use datafusion::common::utils::SingleRowListArrayBuilder;
use datafusion::error::Result;
use datafusion::logical_expr::function::{AccumulatorArgs, StateFieldsArgs};
use datafusion::logical_expr::utils::format_state_name;
use datafusion::logical_expr::{
    Accumulator, AggregateUDFImpl, Signature, TypeSignature, Volatility,
};
use datafusion::scalar::ScalarValue;

/// What an argument of a statistic is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A number; flags are 0 and 1.
    Number,
    /// Anything that tells things apart: a site, a sensor, a wearer.
    Label,
}

/// A statistic of many rows.
pub struct Statistic {
    /// Name in SQL.
    pub name: &'static str,
    /// What it takes, in order: name and kind. Rows with a missing argument are left out.
    pub arguments: &'static [(&'static str, Kind)],
    /// The fields of the struct that it gives, all of them numbers.
    pub fields: &'static [&'static str],
    /// One sentence on what it computes.
    pub about: &'static str,
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
    /// The number argument at a position.
    pub fn numbers(&self, position: usize) -> &[f64] {
        self.columns[position]
            .as_primitive::<Float64Type>()
            .values()
    }

    /// The label argument at a position, numbered from 0 in the order of the labels' text.
    pub fn labels(&self, position: usize) -> Vec<usize> {
        let array = self.columns[position].as_string::<i32>();
        let mut names: Vec<&str> = array.iter().flatten().collect();
        names.sort_unstable();
        names.dedup();
        array
            .iter()
            .flatten()
            .map(|name| names.binary_search(&name).unwrap_or(0))
            .collect()
    }

    /// The texts of a label argument.
    pub fn texts(&self, position: usize) -> Vec<&str> {
        self.columns[position]
            .as_string::<i32>()
            .iter()
            .flatten()
            .collect()
    }

    /// The text of a label argument that is the same in all rows: a seed.
    pub fn text(&self, position: usize) -> &str {
        let array = self.columns[position].as_string::<i32>();
        if array.is_empty() { "" } else { array.value(0) }
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
        let count = TypeSignature::Any(statistic.arguments.len());
        Self {
            statistic,
            signature: Signature::new(count, Volatility::Immutable),
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

fn kept_type(kind: Kind) -> DataType {
    match kind {
        Kind::Number => DataType::Float64,
        Kind::Label => DataType::Utf8,
    }
}

impl AggregateUDFImpl for Collect {
    fn name(&self) -> &str {
        self.statistic.name
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn return_type(&self, _: &[DataType]) -> Result<DataType> {
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
        }))
    }

    fn state_fields(&self, args: StateFieldsArgs<'_>) -> Result<Vec<FieldRef>> {
        let field = |(name, kind): &(&str, Kind)| -> FieldRef {
            let item = Arc::new(Field::new_list_field(kept_type(*kind), true));
            Arc::new(Field::new(
                format_state_name(args.name, name),
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
}

impl Collected {
    fn joined(&self) -> Result<Vec<ArrayRef>> {
        let join = |(parts, (_, kind)): (&Vec<ArrayRef>, &(&str, Kind))| -> Result<ArrayRef> {
            if parts.is_empty() {
                return Ok(new_empty_array(&kept_type(*kind)));
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
            let cells = rows.iter().map(|row| row[place].filter(|v| v.is_finite()));
            Arc::new(cells.collect::<Float64Array>())
        };
        let columns = (0..self.fields.len()).map(column).collect();
        Ok(StructArray::try_new(self.fields.clone(), columns, exist)?)
    }

    fn in_order(&self) -> Result<Rows> {
        let columns = self.joined()?;
        let sort: Vec<SortColumn> = columns
            .iter()
            .map(|values| SortColumn {
                values: Arc::clone(values),
                options: None,
            })
            .collect();
        let order = lexsort_to_indices(&sort, None)?;
        let columns = columns
            .iter()
            .map(|column| Ok(take(column, &order, None)?))
            .collect::<Result<_>>()?;
        Ok(Rows { columns })
    }
}

impl Accumulator for Collected {
    fn update_batch(&mut self, values: &[ArrayRef]) -> Result<()> {
        let kinds = self
            .statistic
            .arguments
            .iter()
            .map(|(_, kind)| kept_type(*kind));
        let cells: Vec<ArrayRef> = values
            .iter()
            .zip(kinds)
            .map(|(v, to)| Ok(cast(v, &to)?))
            .collect::<Result<_>>()?;
        let mut whole: Option<datafusion::arrow::array::BooleanArray> = None;
        for cell in cells.iter().filter(|cell| cell.null_count() > 0) {
            let here = is_not_null(cell)?;
            whole = Some(match whole {
                Some(so_far) => and(&so_far, &here)?,
                None => here,
            });
        }
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            column.push(match &whole {
                Some(whole) => filter(&cell, whole)?,
                None => cell,
            });
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
        let arrays = self.columns.iter().flatten();
        size_of_val(self)
            + arrays
                .map(|array| array.get_array_memory_size())
                .sum::<usize>()
    }

    fn state(&mut self) -> Result<Vec<ScalarValue>> {
        let joined = self.joined()?;
        Ok(joined
            .into_iter()
            .map(|array| SingleRowListArrayBuilder::new(array).build_list_scalar())
            .collect())
    }

    fn merge_batch(&mut self, states: &[ArrayRef]) -> Result<()> {
        for (column, state) in self.columns.iter_mut().zip(states) {
            column.extend(state.as_list::<i32>().iter().flatten());
        }
        Ok(())
    }
}
