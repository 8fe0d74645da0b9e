//! Steps that another process runs, as one that hands them out to several machines.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use datafusion::arrow::ipc::reader::StreamReader;
use datafusion::datasource::ViewTable;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::session_state::SessionState;
use datafusion::logical_expr::LogicalPlan;
use datafusion::parquet::arrow::ArrowWriter;
use datafusion::prelude::{SessionConfig, SessionContext};
use futures::StreamExt;
use whereworn_model::header::Role;
use whereworn_model::step::{Step, VERSION};

use crate::apart::Apart;
use crate::catalog::Query;
use crate::collect::{Gathered, Rows};
use crate::error::EngineError;
use crate::functions;
use crate::kept::TABLE_FUNCTIONS;
use crate::planning::{Planned, think};
use crate::session::{Engine, config};

/// Most sensors to a part of a step: a process that fails costs no more than one part.
const MOST_SENSORS: usize = 64;

/// Parts that a step has at least, where there are so many sensors.
const FEWEST_PARTS: usize = 8;

/// Has a step run, and gives the file of its rows, a stream of Apache Arrow; else says what is wrong.
pub type RunStep = dyn Fn(&Step) -> Result<PathBuf, String> + Send + Sync;

/// Another process that runs steps.
pub struct Elsewhere {
    /// Folder for what steps read and give, which the process sees under the same name.
    pub folder: PathBuf,
    /// How it is told to.
    pub run: Box<RunStep>,
}

impl Engine {
    /// Has the steps that look at each sensor, or at each wearer, by itself run by another process.
    pub fn run_elsewhere(&mut self, elsewhere: Elsewhere) {
        self.elsewhere = Some(Arc::new(elsewhere));
    }

    /// What another process needs to run a query, if one is to.
    pub(crate) fn step(&self, query: &Query, queries: &[&Query]) -> Option<Step> {
        let elsewhere = self.elsewhere.as_ref()?;
        let apart = Apart::of(query.role).filter(|_| query.header.parameters.is_empty())?;
        let sensors = self.worn.sensors().div_ceil(FEWEST_PARTS);
        let at_once = self.at_once_for_apart().min(MOST_SENSORS).min(sensors);
        let mut step = Step {
            version: VERSION,
            name: query.name.clone(),
            sql: query.sql.clone(),
            role: query.role,
            firsts: apart.firsts(&self.worn, at_once.max(1)),
            readings: None,
            views: Vec::new(),
            tables: BTreeMap::new(),
        };
        let view = |name: &String| {
            let mut views = queries
                .iter()
                .filter(|query| query.header.role == Role::View);
            views.find(|query| query.name == *name)
        };
        let mut reads: BTreeSet<&String> = BTreeSet::new();
        let mut open: Vec<&String> = query.names.iter().collect();
        while let Some(name) = open.pop() {
            if reads.insert(name) {
                open.extend(view(name).into_iter().flat_map(|view| &view.names));
            }
        }
        for name in reads.iter().copied().filter(|name| view(name).is_none()) {
            match &self.readings {
                Some(readings) if name == "readings" => step.readings = Some(readings.clone()),
                _ if TABLE_FUNCTIONS.contains(&name.as_str()) => {}
                _ => {
                    let file = elsewhere.folder.join(format!("{name}.parquet"));
                    step.tables.insert(name.clone(), file);
                }
            }
        }
        let views = queries.iter().filter(|query| reads.contains(&query.name));
        step.views = views
            .filter(|query| query.header.role == Role::View)
            .map(|view| (view.name.clone(), view.sql.clone()))
            .collect();
        Some(step)
    }

    /// Writes the rows of a table for steps that read it.
    ///
    /// # Errors
    /// The table is not there, or its file cannot be written.
    pub(crate) async fn write_for_steps(&self, name: &str, file: &Path) -> Result<()> {
        let table = self.context.table(name).await?;
        let schema = Arc::clone(table.schema().inner());
        let mut rows = table.execute_stream().await?;
        let mut writer = ArrowWriter::try_new(File::create(file)?, schema, None)?;
        while let Some(batch) = rows.next().await {
            writer.write(&batch?)?;
        }
        writer.close()?;
        Ok(())
    }
}

/// Has a step run, and reads its rows.
///
/// # Errors
/// What the other process says; more rows than the memory allows.
pub(crate) async fn collect_elsewhere(
    elsewhere: Arc<Elsewhere>,
    step: Step,
    planned: Planned,
    state: SessionState,
) -> Result<Rows> {
    let name = step.name.clone();
    let run = tokio::task::spawn_blocking(move || (elsewhere.run)(&step));
    let file = run
        .await
        .map_err(|error| DataFusionError::External(error.into()))?
        .map_err(DataFusionError::Execution)?;
    let mut gathered = Gathered::new(&planned.schema, planned.large, state.runtime_env(), &name);
    for batch in StreamReader::try_new(BufReader::new(File::open(&file)?), None)? {
        gathered.push(batch?)?;
    }
    // The folder goes at the end of the run at the latest.
    let _ = std::fs::remove_file(file);
    gathered.finish()
}

/// What a session needs that plans or runs steps: it plans them as the engine does.
pub fn session_config() -> SessionConfig {
    config()
}

/// Puts the functions that steps call into a session.
pub fn register_functions(context: &SessionContext) {
    functions::register(context);
}

/// The plan of each part of a step, in a session that has the tables that the step names, and `readings_all`.
///
/// # Errors
/// SQL that cannot be planned there.
pub async fn plans(step: &Step, context: &SessionContext) -> Result<Vec<LogicalPlan>, EngineError> {
    if let Some(readings) = &step.readings {
        let readings = context.sql(&readings.sql).await?;
        context.register_table("readings", readings.into_view())?;
    }
    let thought = async |name: &str, sql: &str| {
        let query = Query::parse(name, name, sql, false)?;
        think(context.clone(), query, Vec::new()).await
    };
    for (name, sql) in &step.views {
        let view = ViewTable::new(thought(name, sql).await?.written, None);
        context.register_table(name.as_str(), Arc::new(view))?;
    }
    let plan = thought(&step.name, &step.sql).await?.written;
    match Apart::of(step.role) {
        Some(apart) => Ok(apart.parts(&plan, &step.firsts)?),
        None => Ok(vec![plan]),
    }
}
