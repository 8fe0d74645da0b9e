//! Queries turned into tables, those that do not need each other side by side.

use std::collections::BTreeSet;
use std::sync::Arc;

use datafusion::arrow::compute::concat_batches;
use datafusion::arrow::datatypes::SchemaRef;
use datafusion::arrow::error::ArrowError;
use datafusion::arrow::record_batch::RecordBatch;
use datafusion::execution::context::SQLOptions;
use datafusion::prelude::SessionContext;
use tokio::task::JoinSet;
use whereworn_model::header::{Chart, Role};
use whereworn_model::table::ResultTable;

use crate::catalog::{Catalog, Query};
use crate::convert::result_table;
use crate::error::EngineError;
use crate::session::Engine;

/// Rows of a result held together.
const BATCH_ROWS: usize = 1 << 16;

/// Rows as the engine gives them.
#[derive(Clone)]
pub(crate) struct Rows {
    pub schema: SchemaRef,
    pub batches: Vec<RecordBatch>,
}

impl Engine {
    /// Runs every query of a catalog and gives the tables in its order, intermediate results and views left out.
    ///
    /// `progress` is called with the name of each query that is done.
    ///
    /// # Errors
    /// A query that cannot be planned or run, by its file.
    pub fn run_all(
        &self,
        catalog: &Catalog,
        progress: &dyn Fn(&str),
    ) -> Result<Vec<ResultTable>, EngineError> {
        self.runtime
            .block_on(self.run_side_by_side(catalog.queries(), progress))
    }

    async fn run_side_by_side(
        &self,
        queries: &[Query],
        progress: &dyn Fn(&str),
    ) -> Result<Vec<ResultTable>, EngineError> {
        let mut waiting: BTreeSet<usize> = (0..queries.len()).collect();
        let mut unfinished: BTreeSet<&str> =
            queries.iter().map(|query| query.name.as_str()).collect();
        let mut running: JoinSet<Result<(usize, Rows), EngineError>> = JoinSet::new();
        let mut results: Vec<Option<ResultTable>> = queries.iter().map(|_| None).collect();
        loop {
            let ready: Vec<usize> = waiting
                .iter()
                .copied()
                .filter(|&index| {
                    !queries[index]
                        .names
                        .iter()
                        .any(|name| unfinished.contains(name.as_str()))
                })
                .collect();
            let mut new_view = false;
            for index in ready {
                waiting.remove(&index);
                let query = &queries[index];
                if query.header.role == Role::View {
                    self.register_query_view(query).await?;
                    unfinished.remove(query.name.as_str());
                    new_view = true;
                    continue;
                }
                let (context, query) = (self.context.clone(), query.clone());
                running.spawn(async move { Ok((index, run_one(&context, &query).await?)) });
            }
            if new_view {
                continue;
            }
            let Some(done) = running.join_next().await else {
                break;
            };
            let (index, rows) = done.map_err(|error| EngineError::Start(error.to_string()))??;
            let query = &queries[index];
            if query.header.role == Role::Table {
                results[index] = Some(table_of(query, &rows)?);
            }
            self.register_rows(&query.name, rows)?;
            unfinished.remove(query.name.as_str());
            progress(&query.name);
        }
        Ok(results.into_iter().flatten().collect())
    }

    async fn register_query_view(&self, query: &Query) -> Result<(), EngineError> {
        let failed = EngineError::query(&query.file);
        let frame = self
            .context
            .sql_with_options(&query.sql, read_only())
            .await
            .map_err(&failed)?;
        self.context
            .register_table(query.name.as_str(), frame.into_view())
            .map_err(&failed)?;
        Ok(())
    }
}

fn table_of(query: &Query, rows: &Rows) -> Result<ResultTable, EngineError> {
    check_header(query, &rows.schema)?;
    result_table(query, rows).map_err(|error| EngineError::Query {
        file: query.file.clone(),
        message: error.to_string(),
    })
}

/// What a query file may do: read.
fn read_only() -> SQLOptions {
    SQLOptions::new()
        .with_allow_ddl(false)
        .with_allow_dml(false)
        .with_allow_statements(false)
}

async fn run_one(context: &SessionContext, query: &Query) -> Result<Rows, EngineError> {
    let failed = EngineError::query(&query.file);
    let frame = context
        .sql_with_options(&query.sql, read_only())
        .await
        .map_err(&failed)?;
    let planned = Arc::clone(frame.schema().inner());
    let batches = frame.collect().await.map_err(&failed)?;
    let schema = batches.first().map_or(planned, RecordBatch::schema);
    let batches = joined(&schema, batches).map_err(|error| failed(error.into()))?;
    Ok(Rows { schema, batches })
}

/// A header speaks only of columns that the query gives.
fn check_header(query: &Query, schema: &SchemaRef) -> Result<(), EngineError> {
    let chart = query.header.chart.iter().flat_map(Chart::columns);
    let missing = query
        .header
        .columns
        .keys()
        .chain(chart)
        .find(|name| schema.field_with_name(name).is_err());
    let Some(name) = missing else { return Ok(()) };
    let columns: Vec<String> = schema
        .fields()
        .iter()
        .map(|field| format!("`{}`", field.name()))
        .collect();
    Err(EngineError::Query {
        file: query.file.clone(),
        message: format!(
            "its header names the column `{name}`, which the query does not give: the columns are {}",
            columns.join(", ")
        ),
    })
}

/// Joins batches into larger ones: a sort of thousands of tiny ones costs more than all else.
fn joined(schema: &SchemaRef, batches: Vec<RecordBatch>) -> Result<Vec<RecordBatch>, ArrowError> {
    let mut out = Vec::new();
    let (mut waiting, mut rows) = (Vec::new(), 0);
    for batch in batches {
        rows += batch.num_rows();
        waiting.push(batch);
        if rows >= BATCH_ROWS {
            out.push(concat_batches(schema, &std::mem::take(&mut waiting))?);
            rows = 0;
        }
    }
    if !waiting.is_empty() {
        out.push(concat_batches(schema, &waiting)?);
    }
    Ok(out)
}
