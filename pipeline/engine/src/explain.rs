//! What a query costs, one after the other.

use std::time::Instant;

use datafusion::physical_plan::displayable;

use crate::catalog::Catalog;
use crate::collect::{Spill, collect};
use crate::error::EngineError;
use crate::messages;
use crate::session::Engine;

impl Engine {
    /// Runs the queries of a catalog one after the other and tells of each its rows and time, and how the last is run.
    ///
    /// # Errors
    /// A query that cannot be planned or run.
    pub fn explain(&self, catalog: &Catalog) -> Result<String, EngineError> {
        self.forget_results()?;
        let queries = catalog.to_run();
        let width = queries
            .iter()
            .map(|query| query.name.len())
            .max()
            .unwrap_or(0);
        let mut out = String::new();
        let mut plan = String::new();
        for query in queries {
            let since = Instant::now();
            let runtime = self.runtime()?;
            let Some(planned) = self.plan(query)? else {
                out += &format!(
                    "{:width$}  view: computed as a part of what names it\n",
                    query.name
                );
                continue;
            };
            let failed = |error| messages::about(query.source(), &error, &self.table_names());
            let state = self.context.state();
            if let Some(part) = planned.parts.first() {
                let physical = runtime.block_on(planned.physical(part, &state));
                let physical = physical.map_err(failed)?;
                plan = displayable(physical.as_ref()).indent(false).to_string();
            }
            let rows = collect(state, planned.clone(), query.name.clone(), Spill::IfNeeded);
            let rows = runtime.block_on(rows).map_err(failed)?;
            let count = rows.laid.rows();
            let took = since.elapsed().as_secs_f64() * 1000.0;
            out += &format!("{:width$}  {count:>9} rows  {took:>9.1} ms\n", query.name);
            planned.fill(rows.laid);
            self.hold(&query.name, rows.memory);
        }
        Ok(format!("{out}\n{plan}"))
    }
}
