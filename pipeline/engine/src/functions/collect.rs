//! An aggregate that gathers its rows, puts them into an order of their own and hands them to a statistic.

use std::collections::HashMap;
use std::hash::{Hash, Hasher};
use std::sync::Arc;

use datafusion::arrow::array::{
    Array, ArrayRef, AsArray, Float64Array, StringArray, StructArray, UInt32Array, new_empty_array,
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

use super::arguments::{Argument, Kind, check_types, read};

/// Bytes that a label takes beside its text.
const NAME: usize = 24;

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
    columns: Vec<Column>,
}

/// Values of one argument.
enum Column {
    Values(ArrayRef),
    /// Places of labels among the different ones, which are in the order of their text.
    Labels(UInt32Array, Vec<String>),
}

impl Column {
    fn array(&self) -> ArrayRef {
        match self {
            Self::Values(values) => Arc::clone(values),
            Self::Labels(places, _) => Arc::new(places.clone()),
        }
    }

    /// The values themselves, of labels their texts.
    fn values(self) -> Result<ArrayRef> {
        Ok(match self {
            Self::Values(values) => values,
            Self::Labels(places, names) => take(&StringArray::from(names), &places, None)?,
        })
    }

    fn in_order(self, order: &UInt32Array) -> Result<Self> {
        Ok(match self {
            Self::Values(values) => Self::Values(take(&values, order, None)?),
            Self::Labels(places, names) => {
                let places = take(&places, order, None)?;
                Self::Labels(places.as_primitive().clone(), names)
            }
        })
    }
}

impl Rows {
    /// The numbers of an argument.
    pub fn numbers(&self, position: usize) -> &[f64] {
        match self.columns.get(position) {
            Some(Column::Values(values)) => values
                .as_primitive_opt::<Float64Type>()
                .map_or(&[], |numbers| numbers.values()),
            _ => &[],
        }
    }

    /// The labels of an argument, numbered from 0 in the order of their text.
    pub fn labels(&self, position: usize) -> Vec<usize> {
        let (places, _) = self.named(position);
        places.iter().map(|place| *place as usize).collect()
    }

    /// Of each row the place of its label among the different ones, and those in the order of their text.
    pub fn named(&self, position: usize) -> (&[u32], &[String]) {
        match self.columns.get(position) {
            Some(Column::Labels(places, names)) => (places.values(), names),
            _ => (&[], &[]),
        }
    }

    /// The text that is the same in all rows: a seed, of which one is kept.
    pub fn text(&self, position: usize) -> &str {
        match self.columns.get(position) {
            Some(Column::Values(values)) => values
                .as_string_opt::<i32>()
                .and_then(|texts| texts.iter().flatten().next())
                .unwrap_or(""),
            _ => "",
        }
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
        let columns = self.statistic.arguments.iter().map(Gathered::new);
        Ok(Box::new(Collected {
            statistic: self.statistic,
            fields: self.fields(),
            columns: columns.collect(),
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

/// Labels of rows: each different text once, and a number a row, since there are many more rows than sensors.
#[derive(Debug, Default)]
struct Labels {
    rows: Vec<u32>,
    numbers: HashMap<String, u32>,
}

impl Labels {
    /// Adds texts; gives the bytes that they take.
    fn add(&mut self, texts: &StringArray) -> usize {
        let mut more = 0;
        for text in texts.iter().flatten() {
            let number = match self.numbers.get(text) {
                Some(number) => *number,
                None => {
                    let next = self.numbers.len() as u32;
                    self.numbers.insert(text.to_owned(), next);
                    more += text.len() + NAME;
                    next
                }
            };
            self.rows.push(number);
            more += size_of::<u32>();
        }
        more
    }

    /// Of each row the place of its text among the different ones in order, and those.
    fn in_order(self) -> (UInt32Array, Vec<String>) {
        let mut names: Vec<(String, u32)> = self.numbers.into_iter().collect();
        names.sort_unstable();
        let mut place_of = vec![0; names.len()];
        for (place, (_, number)) in (0..).zip(&names) {
            place_of[*number as usize] = place;
        }
        let places = self.rows.iter().map(|number| place_of[*number as usize]);
        let names = names.into_iter().map(|(name, _)| name);
        (UInt32Array::from_iter_values(places), names.collect())
    }
}

/// What has come of one argument: an array a batch, or labels.
#[derive(Debug)]
enum Gathered {
    Parts(Vec<ArrayRef>),
    Labels(Labels),
}

impl Gathered {
    fn new(argument: &Argument) -> Self {
        match argument.kind {
            Kind::Label => Self::Labels(Labels::default()),
            _ => Self::Parts(Vec::new()),
        }
    }

    /// Adds values; gives the bytes that they take. Of a seed, the same in all rows, one stays.
    fn add(&mut self, argument: &Argument, part: ArrayRef) -> usize {
        match self {
            Self::Labels(labels) => labels.add(part.as_string()),
            Self::Parts(parts) => {
                let more = bytes(&part);
                parts.push(part);
                if argument.is_seed() {
                    *parts = least(parts);
                    return 0;
                }
                more
            }
        }
    }

    /// Takes all values out as one column: where there are millions they are not there twice.
    fn take(&mut self, argument: &Argument) -> Result<Column> {
        Ok(match self {
            Self::Labels(labels) => {
                let (places, names) = std::mem::take(labels).in_order();
                Column::Labels(places, names)
            }
            Self::Parts(parts) if parts.is_empty() => {
                Column::Values(new_empty_array(&argument.kind.read_as()))
            }
            Self::Parts(parts) => {
                let parts = std::mem::take(parts);
                let parts: Vec<&dyn Array> = parts.iter().map(|part| part.as_ref()).collect();
                Column::Values(concat(&parts)?)
            }
        })
    }

    /// Puts values back that were taken out.
    fn put_back(&mut self, column: &Column) {
        *self = match column {
            Column::Values(values) => Self::Parts(vec![Arc::clone(values)]),
            Column::Labels(places, names) => Self::Labels(Labels {
                rows: places.values().to_vec(),
                numbers: names.iter().cloned().zip(0..).collect(),
            }),
        };
    }
}

/// Rows gathered so far.
#[derive(Debug)]
struct Collected {
    statistic: &'static Statistic,
    fields: Fields,
    columns: Vec<Gathered>,
    /// Bytes of what has come: it is asked after every batch, for every group.
    bytes: usize,
}

impl Collected {
    fn structs(&self, rows: &[Vec<Option<f64>>], exist: Option<NullBuffer>) -> Result<StructArray> {
        let column = |place: usize| -> ArrayRef {
            let cell = |row: &Vec<Option<f64>>| row.get(place).copied().flatten();
            let cells = rows.iter().map(|row| cell(row).filter(|v| v.is_finite()));
            Arc::new(cells.collect::<Float64Array>())
        };
        let columns = (0..self.fields.len()).map(column).collect();
        Ok(StructArray::try_new(self.fields.clone(), columns, exist)?)
    }

    /// Adds values of the argument at a position.
    fn keep(&mut self, position: usize, part: ArrayRef) {
        let argument = self.statistic.arguments.get(position);
        if let (Some(gathered), Some(argument)) = (self.columns.get_mut(position), argument) {
            self.bytes += gathered.add(argument, part);
        }
    }

    fn in_order(&mut self) -> Result<Rows> {
        let arguments = self.statistic.arguments;
        let columns = self.columns.iter_mut().zip(arguments);
        let columns = columns.map(|(gathered, argument)| gathered.take(argument));
        let columns = columns.collect::<Result<Vec<_>>>()?;
        let sort: Vec<SortColumn> = (columns.iter().zip(arguments))
            .filter(|(_, argument)| !argument.is_seed())
            .map(|(column, _)| SortColumn {
                values: column.array(),
                options: None,
            })
            .collect();
        let order = lexsort_to_indices(&sort, None)?;
        drop(sort);
        let sorted = |(column, argument): (Column, &Argument)| match argument.is_seed() {
            true => Ok(column),
            false => column.in_order(&order),
        };
        let columns = columns.into_iter().zip(arguments).map(sorted);
        let columns = columns.collect::<Result<Vec<_>>>()?;
        for (gathered, column) in self.columns.iter_mut().zip(&columns) {
            gathered.put_back(column);
        }
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
            self.keep(position, own(cell)?);
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
        let state = |(gathered, argument): (&mut Gathered, &Argument)| -> Result<ScalarValue> {
            let column = gathered.take(argument)?;
            gathered.put_back(&column);
            Ok(SingleRowListArrayBuilder::new(column.values()?).build_list_scalar())
        };
        let columns = self.columns.iter_mut().zip(self.statistic.arguments);
        columns.map(state).collect()
    }

    fn merge_batch(&mut self, states: &[ArrayRef]) -> Result<()> {
        for (position, state) in states.iter().enumerate() {
            for part in state.as_list::<i32>().iter().flatten() {
                self.keep(position, part);
            }
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
