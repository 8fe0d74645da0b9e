//! Queries planned and held to what their headers declare, before any of them runs.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, channel};

use datafusion::arrow::datatypes::{DataType, SchemaRef, TimeUnit};
use datafusion::common::tree_node::{TreeNode, TreeNodeRecursion};
use datafusion::common::{Column, ParamValues};
use datafusion::datasource::ViewTable;
use datafusion::error::DataFusionError;
use datafusion::execution::context::SQLOptions;
use datafusion::execution::session_state::SessionState;
use datafusion::logical_expr::{Expr, LogicalPlan, LogicalPlanBuilder, Volatility, cast};
use datafusion::physical_plan::ExecutionPlan;
use datafusion::prelude::SessionContext;
use datafusion::scalar::ScalarValue;
use whereworn_model::header::{CellKind, Chart, ColumnHeader, Header, Parameter, Role};
use whereworn_model::time::parse_instant;

use crate::apart::{Apart, at_once};
use crate::base_tables::instant;
use crate::catalog::Query;
use crate::charts::can_be_drawn;
use crate::convert::cell_kind;
use crate::error::EngineError;
use crate::laid::{LARGE, Laid, ResultRows};
use crate::messages;
use crate::session::Engine;

/// A query that can run: its plan, and the table in which its rows will lie.
#[derive(Clone)]
pub(crate) struct Planned {
    /// The optimized plan; or, of a query that runs for some sensors after the other, a plan for each part of them, to be
    /// optimized when it runs.
    pub parts: Vec<LogicalPlan>,
    pub schema: SchemaRef,
    /// Bytes beyond which its rows lie in a file.
    pub large: usize,
    table: Arc<ResultRows>,
}

impl Planned {
    /// How the engine runs a part.
    pub async fn physical(
        &self,
        part: &LogicalPlan,
        state: &SessionState,
    ) -> Result<Arc<dyn ExecutionPlan>, DataFusionError> {
        let optimized = match self.parts.len() {
            1 => None,
            _ => Some(state.optimize(part)?),
        };
        let plan = optimized.as_ref().unwrap_or(part);
        state
            .query_planner()
            .create_physical_plan(plan, state)
            .await
    }

    /// Puts the rows where the plans of other queries look for them.
    pub fn fill(&self, rows: Laid) {
        self.table.fill(rows);
    }

    /// Gives up the rows.
    pub fn empty(&self) {
        self.fill(Laid::InMemory(Vec::new()));
    }
}

/// Functions whose value depends on when they are called.
const OF_THE_CLOCK: [&str; 5] = [
    "now",
    "current_date",
    "current_time",
    "current_timestamp",
    "today",
];

/// What comes of the SQL of a query: its plan as written, and as it will run.
pub(crate) struct Thought {
    pub written: LogicalPlan,
    optimized: LogicalPlan,
}

impl Engine {
    /// Plans a query, checks what it gives, and registers its table, still without rows. A view has none.
    ///
    /// # Errors
    /// SQL that cannot be planned, a function that is not allowed, a column that the header or the query's place among
    /// the program's own demands and that is missing or of another type; planning that takes longer than a query of
    /// the study may.
    pub(crate) fn plan(&self, query: &Query) -> Result<Option<Planned>, EngineError> {
        let thinking = think(self.context.clone(), query.clone(), self.table_names());
        let thought = match query.own {
            true => self.within_limit(query, thinking)?,
            false => self.runtime()?.block_on(thinking)?,
        };
        let schema = Arc::clone(thought.optimized.schema().inner());
        let refused = |message: String| query.source().error(message);
        check_columns(query, &schema).map_err(refused)?;
        let apart = Apart::of(query.role);
        if let Some(apart) = &apart {
            apart.check(&thought.optimized).map_err(refused)?;
        }
        self.context.deregister_table(query.name.as_str())?;
        if query.header.role == Role::View {
            let view = ViewTable::new(thought.written, None);
            self.context
                .register_table(query.name.as_str(), Arc::new(view))?;
            return Ok(None);
        }
        let table = Arc::new(ResultRows::new(&schema));
        self.context
            .register_table(query.name.as_str(), Arc::clone(&table) as _)?;
        let firsts = |apart: &Apart| apart.firsts(&self.worn, self.at_once_for_apart());
        let firsts = apart.as_ref().map(firsts).unwrap_or_default();
        let parts = match apart.filter(|_| !firsts.is_empty()) {
            Some(apart) => apart.parts(&thought.written, &firsts)?,
            None => vec![thought.optimized],
        };
        Ok(Some(Planned {
            parts,
            schema,
            // A query of the study may give rows without end: they fill the memory that it may take, and no disk.
            large: if query.own { usize::MAX } else { LARGE },
            table,
        }))
    }

    /// Sensors that are looked at at a time.
    pub(crate) fn at_once_for_apart(&self) -> usize {
        at_once(self.limits.memory)
    }

    /// Waits for a plan, but no longer than a query may take: planning computes what is constant, and cannot be stopped.
    fn within_limit(
        &self,
        query: &Query,
        thinking: impl Future<Output = Result<Thought, EngineError>> + Send + 'static,
    ) -> Result<Thought, EngineError> {
        let (sender, receiver) = channel();
        let runtime = self.runtime()?;
        let handle = runtime.handle().clone();
        runtime.spawn_blocking(move || {
            // Nobody listens any more where it took too long.
            let _ = sender.send(handle.block_on(thinking));
        });
        match receiver.recv_timeout(self.limits.time) {
            Ok(thought) => thought,
            Err(RecvTimeoutError::Disconnected) => Err(messages::broke(query.source())),
            Err(RecvTimeoutError::Timeout) => {
                Err(messages::too_long(query.source(), self.limits.time))
            }
        }
    }
}

pub(crate) async fn think(
    context: SessionContext,
    query: Query,
    tables: Vec<String>,
) -> Result<Thought, EngineError> {
    let failed = |error: DataFusionError| messages::about(query.source(), &error, &tables);
    let state = context.state();
    let plan = state.create_logical_plan(&query.sql).await;
    let written = with_parameters(plan.map_err(failed)?, &query)?;
    read_only().verify_plan(&written).map_err(failed)?;
    check_functions(&written).map_err(failed)?;
    let written = in_microseconds(written).map_err(failed)?;
    let written = match Apart::of(query.role) {
        Some(apart) => apart.of_someone(written).map_err(failed)?,
        None => written,
    };
    let optimized = state.optimize(&written).map_err(failed)?;
    Ok(Thought { written, optimized })
}

/// Instants of a query in microseconds, as the store has them: a literal has nanoseconds, and other queries reckon with what
/// they read.
fn in_microseconds(plan: LogicalPlan) -> Result<LogicalPlan, DataFusionError> {
    let other = |kind: &DataType| matches!(kind, DataType::Timestamp(unit, _) if *unit != TimeUnit::Microsecond);
    let fields = plan.schema().fields();
    if !fields.iter().any(|field| other(field.data_type())) {
        return Ok(plan);
    }
    let columns: Vec<Expr> = plan
        .schema()
        .iter()
        .map(|(table, field)| {
            let column = Expr::Column(Column::new(table.cloned(), field.name()));
            if other(field.data_type()) {
                cast(column, instant()).alias(field.name())
            } else {
                column
            }
        })
        .collect();
    LogicalPlanBuilder::from(plan).project(columns)?.build()
}

/// What a query file may do: read.
fn read_only() -> SQLOptions {
    SQLOptions::new()
        .with_allow_ddl(false)
        .with_allow_dml(false)
        .with_allow_statements(false)
}

/// Values in place of `$name`.
fn with_parameters(plan: LogicalPlan, query: &Query) -> Result<LogicalPlan, EngineError> {
    let refused = |message: String| query.source().error(message);
    let mut values = HashMap::new();
    for (name, parameter) in &query.header.parameters {
        let value = parameter_value(parameter).ok_or_else(|| {
            refused(format!(
                "the parameter `{name}` wants {}",
                kind_words(parameter.kind)
            ))
        })?;
        values.insert(name.clone(), value.into());
    }
    let unset = |error: DataFusionError| {
        refused(format!(
            "{}: give it under [parameters]",
            error.strip_backtrace()
        ))
    };
    let names = plan.get_parameter_names().map_err(unset)?;
    if let Some(name) = names
        .iter()
        .map(|name| name.trim_start_matches('$'))
        .find(|name| !values.contains_key(*name))
    {
        return Err(refused(format!(
            "there is no parameter `{name}`: give its type and default under [parameters] in the header"
        )));
    }
    plan.with_param_values(ParamValues::Map(values))
        .map_err(|error| messages::about(query.source(), &error, &[]))
}

fn parameter_value(parameter: &Parameter) -> Option<ScalarValue> {
    let given = &parameter.default;
    let text = given.as_str();
    Some(match parameter.kind {
        CellKind::Integer => ScalarValue::Int64(Some(given.as_integer()?)),
        CellKind::Number => {
            let whole = given.as_integer().map(|value| value as f64);
            ScalarValue::Float64(Some(given.as_float().or(whole)?))
        }
        CellKind::Text => ScalarValue::Utf8(Some(text?.to_owned())),
        CellKind::Boolean => ScalarValue::Boolean(Some(given.as_bool()?)),
        CellKind::Time => {
            ScalarValue::TimestampMicrosecond(Some(parse_instant(text?)?), Some("UTC".into()))
        }
        CellKind::Date => {
            let day: jiff::civil::Date = text?.parse().ok()?;
            let since = day.since(jiff::civil::date(1970, 1, 1)).ok()?;
            ScalarValue::Date32(Some(since.get_days()))
        }
    })
}

/// The same input has to give the same bytes: no clock, no dice.
fn check_functions(plan: &LogicalPlan) -> Result<(), DataFusionError> {
    plan.apply_with_subqueries(|node| {
        node.apply_expressions(|expression| {
            expression.apply(|inner| {
                if let Expr::ScalarFunction(call) = inner {
                    let name = call.func.name();
                    let volatile = call.func.signature().volatility == Volatility::Volatile;
                    if volatile || OF_THE_CLOCK.contains(&name) {
                        return Err(DataFusionError::Plan(format!(
                            "{name}() gives another value each time, and the same input has to give the same report: \
                             take instants from `settings` (`cutoff`, `month_start`, `month_end`)"
                        )));
                    }
                }
                Ok(TreeNodeRecursion::Continue)
            })
        })
    })?;
    Ok(())
}

fn check_columns(query: &Query, schema: &SchemaRef) -> Result<(), String> {
    each_name_is_one_column(schema)?;
    named_columns_are_there(&query.header, schema)?;
    for (name, column) in &query.header.columns {
        declared_type_is_given(name, column, schema)?;
    }
    if let Some(chart) = &query.header.chart {
        can_be_drawn(chart, schema)?;
    }
    if query.header.role == Role::Table {
        readable(schema)?;
    }
    match &query.replaces {
        Some(header) => gives_what_others_read(header, schema),
        None if query.own
            || (query.header.columns.is_empty() && query.header.role != Role::Table) =>
        {
            Ok(())
        }
        None => every_column_is_declared(&query.header, schema),
    }
}

/// Of two columns of one name a chart, a header and a reader of JSON would see one alone.
fn each_name_is_one_column(schema: &SchemaRef) -> Result<(), String> {
    let mut seen = HashSet::new();
    let mut names = schema.fields().iter().map(|field| field.name());
    match names.find(|name| !seen.insert(*name)) {
        Some(name) => Err(format!(
            "two of its columns are called `{name}`: give one of them another name with AS"
        )),
        None => Ok(()),
    }
}

/// A header speaks only of columns that the query gives.
fn named_columns_are_there(header: &Header, schema: &SchemaRef) -> Result<(), String> {
    let chart = header.chart.iter().flat_map(Chart::columns);
    let named = header
        .columns
        .keys()
        .chain(chart)
        .chain(header.expect.columns());
    let missing = named
        .into_iter()
        .find(|name| schema.field_with_name(name).is_err());
    let Some(name) = missing else { return Ok(()) };
    Err(format!(
        "its header names the column `{name}`, which the query does not give: the columns are {}",
        names(schema)
    ))
}

fn names(schema: &SchemaRef) -> String {
    let names: Vec<String> = schema
        .fields()
        .iter()
        .map(|field| format!("`{}`", field.name()))
        .collect();
    names.join(", ")
}

/// Whether a type of the engine is what a header declares; whole numbers can stand for numbers.
fn fits(given: &DataType, declared: CellKind) -> bool {
    let kind = cell_kind(given);
    kind == declared || (kind, declared) == (CellKind::Integer, CellKind::Number)
}

fn declared_type_is_given(
    name: &str,
    column: &ColumnHeader,
    schema: &SchemaRef,
) -> Result<(), String> {
    let (Some(declared), Ok(field)) = (column.declared_kind(), schema.field_with_name(name)) else {
        return Ok(());
    };
    if fits(field.data_type(), declared) {
        return Ok(());
    }
    Err(format!(
        "its header declares `{name}` as {}, and the query gives {}",
        kind_words(declared),
        kind_words(cell_kind(field.data_type()))
    ))
}

fn kind_words(kind: CellKind) -> &'static str {
    match kind {
        CellKind::Integer => "whole numbers",
        CellKind::Number => "numbers",
        CellKind::Text => "texts",
        CellKind::Time => "instants",
        CellKind::Date => "dates",
        CellKind::Boolean => "true or false",
    }
}

/// A table of the report has nothing but plain cells.
fn readable(schema: &SchemaRef) -> Result<(), String> {
    for field in schema.fields() {
        let name = field.name();
        match field.data_type() {
            DataType::Struct(fields) => {
                let fields: Vec<&str> = fields.iter().map(|field| field.name().as_str()).collect();
                return Err(format!(
                    "the column `{name}` is a struct of {}: read a field of it with get_field({name}, '{}')",
                    fields.join(", "),
                    fields.first().unwrap_or(&"name")
                ));
            }
            DataType::List(_) | DataType::LargeList(_) | DataType::FixedSizeList(_, _) => {
                return Err(format!(
                    "the column `{name}` is a list: UNNEST({name}) makes rows of it"
                ));
            }
            _ => {}
        }
    }
    Ok(())
}

/// A query of the study that takes the place of one of the program gives every column that this one declares.
fn gives_what_others_read(built_in: &Header, schema: &SchemaRef) -> Result<(), String> {
    let missing: Vec<String> = built_in
        .columns
        .keys()
        .filter(|name| schema.field_with_name(name).is_err())
        .map(|name| format!("`{name}`"))
        .collect();
    if !missing.is_empty() {
        return Err(format!(
            "takes the place of a table of the program, and lacks what others read of it: {}",
            missing.join(", ")
        ));
    }
    for (name, column) in &built_in.columns {
        declared_type_is_given(name, column, schema).map_err(|_| {
            format!(
                "takes the place of a table of the program, whose column `{name}` has another type"
            )
        })?;
    }
    Ok(())
}

fn every_column_is_declared(header: &Header, schema: &SchemaRef) -> Result<(), String> {
    let undeclared = schema
        .fields()
        .iter()
        .map(|field| field.name())
        .find(|name| {
            header
                .columns
                .get(*name)
                .is_none_or(|column| column.declared_kind().is_none())
        });
    match undeclared {
        Some(name) => Err(format!(
            "its header does not declare the column `{name}` with a class"
        )),
        None => Ok(()),
    }
}
