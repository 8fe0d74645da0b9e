//! Queries turned into tables.
//!
//! Where every table is kept from an earlier run, none is planned. Else all are planned before any runs, and those are run
//! that are not kept and that a table or a query of the study needs. The program's own then run side by side, with those of the study that they need;
//! the rest of the study's, one after the other. A query of the study that fails is left out with what is wrong, and
//! where it stood in place of one of the program, everything starts again without it.

mod order;

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Instant;

use datafusion::arrow::array::RecordBatch;
use datafusion::arrow::datatypes::SchemaRef;
use datafusion::arrow::error::ArrowError;
use datafusion::error::DataFusionError;
use tokio::task::AbortHandle;
use whereworn_model::header::Role;
use whereworn_model::table::ResultTable;

use crate::catalog::{Catalog, Query};
use crate::collect::{Rows, Spill, collect};
use crate::convert::result_table;
use crate::elsewhere::collect_elsewhere;
use crate::error::EngineError;
use crate::expect;
use crate::laid::Laid;
use crate::messages;
use crate::planning::Planned;
use crate::session::{Engine, TICK};

/// Queries of the study that failed, by name, with what is wrong.
type Faults = BTreeMap<String, String>;

/// Cells of a table of the program that wait as rows, which take a third of the room, until all queries are done.
const LARGE: usize = 1 << 20;

/// How one attempt at all queries ended.
enum Attempt {
    Done(Vec<ResultTable>),
    /// These stood in place of queries of the program, and failed.
    Without(Vec<(String, String)>),
}

impl Engine {
    /// Runs every query of a catalog and gives the tables in its order, intermediate results and views left out.
    ///
    /// A query of the study that cannot be planned or run gives a table without columns that says so
    /// ([`ResultTable::fault`]). `progress` is called with the name of each query that is done.
    ///
    /// # Errors
    /// A query of the program that cannot be planned or run, by its file; a run that was stopped.
    pub fn run_all(
        &self,
        catalog: &Catalog,
        progress: &dyn Fn(&str),
    ) -> Result<Vec<ResultTable>, EngineError> {
        let mut catalog = catalog.clone();
        loop {
            match (Run::new(self, &catalog)).attempt(progress)? {
                Attempt::Done(tables) => return Ok(tables),
                Attempt::Without(faults) => catalog = catalog.without(&faults)?,
            }
        }
    }
}

/// One attempt at all queries of a catalog.
struct Run<'e> {
    engine: &'e Engine,
    catalog: &'e Catalog,
    /// Those of the catalog's queries that are asked for, and what they need.
    queries: Vec<&'e Query>,
    planned: BTreeMap<String, Planned>,
    /// Under which names the results of queries are kept between runs.
    kept: BTreeMap<String, String>,
    /// Results that were read and not yet used.
    read: BTreeMap<String, (SchemaRef, Vec<RecordBatch>)>,
    /// Names of the queries that are not yet done.
    waiting: BTreeSet<String>,
    /// What each query reads, through views too.
    reads: BTreeMap<String, BTreeSet<String>>,
    faults: Faults,
    results: BTreeMap<String, ResultTable>,
    /// Rows of large tables.
    large: BTreeMap<String, Laid>,
    /// Tables that were written for steps that run elsewhere.
    written: BTreeSet<String>,
    sender: Sender<(String, Result<Rows, Stopped>)>,
    receiver: Receiver<(String, Result<Rows, Stopped>)>,
}

/// Why a query gave no rows.
enum Stopped {
    Failed(DataFusionError),
    /// The engine itself gave way, as where a text grew beyond what can be addressed.
    Broke,
}

/// What is heard of the queries that run.
enum Heard<'e> {
    Ended(&'e Query, Result<Rows, EngineError>),
    /// There was too little memory for it, and there may be more later.
    Crowded(&'e Query, Room),
    Nothing,
}

/// A query that is running.
struct Running {
    since: Instant,
    stop: AbortHandle,
    room: Room,
}

/// What a query shares the memory with, beside the results that are still needed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Room {
    /// Other queries.
    Shared,
    /// Nothing; but later there may be fewer results.
    Alone,
    /// Nothing, and there will never be fewer.
    Last,
}

impl<'e> Run<'e> {
    fn new(engine: &'e Engine, catalog: &'e Catalog) -> Self {
        let (sender, receiver) = channel();
        let queries = catalog.to_run();
        let kept = engine.kept.as_ref().map(|kept| kept.names(&queries));
        Self {
            engine,
            catalog,
            queries,
            kept: kept.unwrap_or_default(),
            read: BTreeMap::new(),
            planned: BTreeMap::new(),
            waiting: BTreeSet::new(),
            reads: BTreeMap::new(),
            faults: Faults::new(),
            results: BTreeMap::new(),
            large: BTreeMap::new(),
            written: BTreeSet::new(),
            sender,
            receiver,
        }
    }

    fn attempt(mut self, progress: &dyn Fn(&str)) -> Result<Attempt, EngineError> {
        self.engine.forget_results()?;
        if self.take_all_tables()? {
            return Ok(Attempt::Done(self.tables()));
        }
        if let Some(faults) = self.plan_all()? {
            return Ok(Attempt::Without(faults));
        }
        self.take_kept()?;
        let (needed, others) = self.phases();
        if let Some(faults) = self.run_side_by_side(needed, progress)? {
            return Ok(Attempt::Without(faults));
        }
        for query in others {
            if let Some(faults) = self.run_side_by_side(vec![query], progress)? {
                return Ok(Attempt::Without(faults));
            }
        }
        self.note_large()?;
        Ok(Attempt::Done(self.tables()))
    }

    /// The rows of a query as an earlier run made them from the same.
    fn kept_rows(&mut self, query: &Query) -> Option<(SchemaRef, Vec<RecordBatch>)> {
        let read = self.read.remove(&query.name);
        read.or_else(|| {
            let kept = self.engine.kept.as_ref()?;
            kept.get(self.kept.get(&query.name)?)
        })
    }

    /// Takes every table from earlier runs, where all of them can be; gives whether they could.
    fn take_all_tables(&mut self) -> Result<bool, EngineError> {
        let is_table = |query: &&Query| query.header.role == Role::Table;
        // What is wrong with another query of the study is told when it is planned.
        if self
            .queries
            .iter()
            .any(|query| query.own && !is_table(query))
        {
            return Ok(false);
        }
        let tables: Vec<&Query> = self.queries.iter().copied().filter(is_table).collect();
        for query in &tables {
            let Some(rows) = self.kept_rows(query) else {
                return Ok(false);
            };
            self.read.insert(query.name.clone(), rows);
        }
        for query in tables {
            if let Some((schema, batches)) = self.read.remove(&query.name) {
                self.note_table(query, &schema, &batches)?;
            }
        }
        Ok(true)
    }

    /// Fills the tables of planned queries with the rows that are kept of them; those that nothing needs then are not run.
    fn take_kept(&mut self) -> Result<(), EngineError> {
        if self.kept.is_empty() {
            return Ok(());
        }
        let mut needed: BTreeSet<String> = BTreeSet::new();
        for query in self.queries.clone().into_iter().rev() {
            let name = &query.name;
            let shown = query.own || query.header.role == Role::Table;
            if !self.planned.contains_key(name) {
                continue;
            }
            if shown || needed.contains(name) {
                let Some((_, batches)) = self.kept_rows(query) else {
                    needed.extend(self.reads.get(name).into_iter().flatten().cloned());
                    continue;
                };
                let Some(planned) = self.planned.get(name) else {
                    continue;
                };
                let state = self.engine.context.state();
                let laid = Laid::down(batches, &planned.schema, planned.large, state.runtime_env());
                let rows = laid.and_then(|laid| Rows::new(&state, laid, name));
                let rows = rows.map_err(|error| messages::about(query.source(), &error, &[]))?;
                self.finish(query, rows)?;
            }
            self.waiting.remove(name);
        }
        Ok(())
    }

    /// Plans all queries; gives those in place of the program's own that cannot be.
    fn plan_all(&mut self) -> Result<Option<Vec<(String, String)>>, EngineError> {
        for query in self.queries.clone() {
            self.note_what_it_reads(query);
            if let Some(message) = self.lacks_input(query) {
                self.faults.insert(query.name.clone(), message);
                continue;
            }
            match self.engine.plan(query) {
                Ok(Some(planned)) => {
                    self.planned.insert(query.name.clone(), planned);
                    self.waiting.insert(query.name.clone());
                }
                Ok(None) => {}
                Err(error) => {
                    if let Some(faults) = self.fail(query, error)? {
                        return Ok(Some(faults));
                    }
                }
            }
        }
        Ok(None)
    }

    /// A query failed: what this means for the run.
    fn fail(
        &mut self,
        query: &Query,
        error: EngineError,
    ) -> Result<Option<Vec<(String, String)>>, EngineError> {
        if query.replaces.is_some() {
            return Ok(Some(vec![(query.name.clone(), error.to_string())]));
        }
        if query.own {
            self.faults.insert(query.name.clone(), error.to_string());
            self.engine.forget(&query.name)?;
            return Ok(None);
        }
        let replaced = self.queries.iter().filter(|other| other.replaces.is_some());
        let blame = |other: &&Query| {
            let (file, name) = (&other.file, &query.name);
            let said = "with it in place of the program's own";
            let message = format!("{file}: {said}, `{name}` failed: {error}");
            (other.name.clone(), message)
        };
        let blamed: Vec<(String, String)> = replaced.map(blame).collect();
        if blamed.is_empty() {
            Err(error)
        } else {
            Ok(Some(blamed))
        }
    }

    fn run_side_by_side(
        &mut self,
        mut queries: Vec<&'e Query>,
        progress: &dyn Fn(&str),
    ) -> Result<Option<Vec<(String, String)>>, EngineError> {
        let mut running: BTreeMap<String, Running> = BTreeMap::new();
        // Where there was too little memory beside others a query runs alone, before any other begins; where it is still
        // too little it waits until nothing else can run.
        let mut crowded: Vec<&'e Query> = Vec::new();
        let mut postponed: Vec<&'e Query> = Vec::new();
        let mut failed_since = 0;
        while queries.len() + running.len() + crowded.len() + postponed.len() > 0 {
            if crowded.is_empty() {
                let (mut ready, later): (Vec<_>, Vec<_>) =
                    queries.into_iter().partition(|query| !self.waits(query));
                queries = later;
                if !ready.is_empty() && running.len() < self.engine.at_once {
                    let gives = self.gives_back();
                    ready.sort_by_key(|query| Reverse(gives.get(query.name.as_str()).copied()));
                }
                for query in ready {
                    match self.lacks_input(query) {
                        Some(message) => {
                            self.faults.insert(query.name.clone(), message);
                            self.waiting.remove(&query.name);
                        }
                        None if running.len() < self.engine.at_once => {
                            running.insert(query.name.clone(), self.spawn(query, Room::Shared)?);
                        }
                        None => queries.push(query),
                    }
                }
            }
            if running.is_empty() {
                let others = queries.len() + crowded.len() + postponed.len() > 1;
                let (query, room) = match (crowded.last(), postponed.last()) {
                    (Some(query), _) if others => (query, Room::Alone),
                    (None, Some(query)) if failed_since < postponed.len() => (query, Room::Alone),
                    (Some(query), _) | (None, Some(query)) => (query, Room::Last),
                    (None, None) => continue,
                };
                self.engine.wait_for_memory();
                running.insert(query.name.clone(), self.spawn(query, room)?);
            }
            let (query, outcome) = match self.next(&mut running)? {
                Heard::Nothing => continue,
                Heard::Crowded(query, Room::Shared) => {
                    crowded.push(query);
                    continue;
                }
                Heard::Crowded(query, _) => {
                    crowded.retain(|other| other.name != query.name);
                    postponed.retain(|other| other.name != query.name);
                    postponed.insert(0, query);
                    failed_since += 1;
                    continue;
                }
                Heard::Ended(query, outcome) => (query, outcome),
            };
            failed_since = 0;
            crowded.retain(|other| other.name != query.name);
            postponed.retain(|other| other.name != query.name);
            self.waiting.remove(&query.name);
            let finished = outcome.and_then(|rows| {
                self.keep(query, &rows);
                self.finish(query, rows)
            });
            if let Err(error) = finished
                && let Some(faults) = self.fail(query, error)?
            {
                running.values().for_each(|other| other.stop.abort());
                return Ok(Some(faults));
            }
            self.release()?;
            progress(&query.name);
        }
        Ok(None)
    }

    fn spawn(&mut self, query: &Query, room: Room) -> Result<Running, EngineError> {
        let name = query.name.clone();
        let planned = self.planned.get(&name).cloned();
        let planned = planned.ok_or_else(|| EngineError::Start(format!("`{name}` has no plan")))?;
        let runtime = self.engine.runtime()?;
        let spill = match room {
            Room::Last => Spill::IfNeeded,
            Room::Shared | Room::Alone => Spill::Never,
        };
        let state = self.engine.context.state();
        let step = self.engine.step(query, &self.queries);
        let task = match self.engine.elsewhere.clone().zip(step) {
            Some((elsewhere, step)) => {
                for (table, file) in &step.tables {
                    if self.written.insert(table.clone()) {
                        runtime.block_on(self.engine.write_for_steps(table, file))?;
                    }
                }
                runtime.spawn(collect_elsewhere(elsewhere, step, planned, state))
            }
            None => runtime.spawn(collect(state, planned, name.clone(), spill)),
        };
        let stop = task.abort_handle();
        let sender = self.sender.clone();
        runtime.spawn(async move {
            let outcome = match task.await {
                Ok(outcome) => outcome.map_err(Stopped::Failed),
                Err(_) => Err(Stopped::Broke),
            };
            // Nobody listens any more where the run has ended.
            let _ = sender.send((name, outcome));
        });
        Ok(Running {
            since: Instant::now(),
            stop,
            room,
        })
    }

    /// The next query that is done or has taken too long, and its rows; nothing where none is yet.
    fn next(&self, running: &mut BTreeMap<String, Running>) -> Result<Heard<'e>, EngineError> {
        let limit = self.engine.limits.time;
        let query_of = |name: &str| {
            self.queries
                .iter()
                .copied()
                .find(|query| query.name == name)
        };
        match self.receiver.recv_timeout(TICK) {
            Ok((name, outcome)) => {
                let (Some(ended), Some(query)) = (running.remove(&name), query_of(&name)) else {
                    return Ok(Heard::Nothing);
                };
                if ended.room != Room::Last
                    && matches!(&outcome, Err(Stopped::Failed(error)) if messages::is_memory(error))
                {
                    return Ok(Heard::Crowded(query, ended.room));
                }
                let outcome = outcome.map_err(|stopped| self.explained(query, &stopped));
                Ok(Heard::Ended(query, outcome))
            }
            Err(RecvTimeoutError::Timeout) => {
                let late = running.iter().find(|(name, running)| {
                    running.since.elapsed() > limit && query_of(name).is_some_and(|query| query.own)
                });
                let Some(name) = late.map(|(name, _)| name.clone()) else {
                    return Ok(Heard::Nothing);
                };
                let (Some(late), Some(query)) = (running.remove(&name), query_of(&name)) else {
                    return Ok(Heard::Nothing);
                };
                late.stop.abort();
                let error = messages::too_long(query.source(), limit);
                Ok(Heard::Ended(query, Err(error)))
            }
            Err(RecvTimeoutError::Disconnected) => Err(EngineError::Stopped),
        }
    }

    fn explained(&self, query: &Query, stopped: &Stopped) -> EngineError {
        match stopped {
            Stopped::Failed(error) => {
                messages::about(query.source(), error, &self.engine.table_names())
            }
            Stopped::Broke => messages::broke(query.source()),
        }
    }

    /// Keeps the rows of a query for others, and as a table.
    fn finish(&mut self, query: &Query, rows: Rows) -> Result<(), EngineError> {
        let Some(planned) = self.planned.get(&query.name) else {
            return Ok(());
        };
        let failed = |error: DataFusionError| messages::about(query.source(), &error, &[]);
        let planned = planned.clone();
        if query.header.role == Role::Table {
            let columns = planned.schema.fields().len();
            if query.own || rows.cells(columns) < LARGE {
                let batches = rows.all(columns).map_err(failed)?;
                self.note_table(query, &planned.schema, &batches)?;
            } else {
                self.large.insert(query.name.clone(), rows.laid.clone());
            }
        }
        planned.fill(rows.laid);
        self.engine.hold(&query.name, rows.memory);
        Ok(())
    }

    /// Gives back the rows of intermediate results that no query needs any more.
    fn release(&self) -> Result<(), EngineError> {
        let waiting = self.waiting.iter();
        let needed: BTreeSet<&String> = waiting
            .filter_map(|name| self.reads.get(name))
            .flatten()
            .collect();
        for query in &self.queries {
            if query.header.role != Role::Table
                && !self.waiting.contains(&query.name)
                && !needed.contains(&query.name)
                && let Some(planned) = self.planned.get(&query.name)
                && self.engine.release(&query.name)
            {
                planned.empty();
            }
        }
        Ok(())
    }

    /// Makes tables of the rows that waited, one after the other; nothing reads the rows any more.
    fn note_large(&mut self) -> Result<(), EngineError> {
        for query in self.queries.clone() {
            let (Some(laid), Some(planned)) = (
                self.large.remove(&query.name),
                self.planned.get(&query.name),
            ) else {
                continue;
            };
            planned.empty();
            self.engine.release(&query.name);
            let schema = Arc::clone(&planned.schema);
            let columns = schema.fields().len();
            let rows = Rows::new(&self.engine.context.state(), laid, &query.name);
            let rows = rows.and_then(|rows| Ok((rows.all(columns)?, rows)));
            let (batches, rows) =
                rows.map_err(|error| messages::about(query.source(), &error, &[]))?;
            self.note_table(query, &schema, &batches)?;
            self.engine.hold(&query.name, rows.only_cells(columns));
        }
        Ok(())
    }

    fn note_table(
        &mut self,
        query: &Query,
        schema: &SchemaRef,
        batches: &[RecordBatch],
    ) -> Result<(), EngineError> {
        let failed = |error: ArrowError| messages::about(query.source(), &error.into(), &[]);
        let mut table = result_table(query, schema, batches).map_err(failed)?;
        table.fault = expect::broken(&table).map(|broken| query.source().error(broken).to_string());
        self.results.insert(query.name.clone(), table);
        Ok(())
    }

    /// Keeps rows for later runs.
    fn keep(&self, query: &Query, rows: &Rows) {
        if let (Some(kept), Some(name), Some(planned)) = (
            &self.engine.kept,
            self.kept.get(&query.name),
            self.planned.get(&query.name),
        ) {
            kept.put(name, &planned.schema, &rows.laid);
        }
    }

    /// The tables in the order of the catalog, then those that could not be made.
    fn tables(mut self) -> Vec<ResultTable> {
        let mut tables = Vec::new();
        for query in &self.queries {
            tables.extend(self.results.remove(&query.name));
            if let Some(fault) = self.faults.remove(&query.name) {
                tables.push(faulty(&query.name, query.header.clone(), fault));
            }
        }
        let asked_for = |name: &str| self.queries.iter().any(|query| query.name == name);
        let all = self.catalog.queries().len() == self.queries.len();
        let refused = self.catalog.refused().iter();
        for refused in refused.filter(|refused| all || asked_for(&refused.name)) {
            match tables.iter_mut().find(|table| table.name == refused.name) {
                Some(table) => table.fault = Some(refused.message.clone()),
                None => tables.push(faulty(
                    &refused.name,
                    refused.header.clone(),
                    refused.message.clone(),
                )),
            }
        }
        tables
    }
}

/// What stands in place of a table that could not be made.
fn faulty(name: &str, header: whereworn_model::header::Header, fault: String) -> ResultTable {
    ResultTable {
        name: name.to_owned(),
        header,
        columns: Vec::new(),
        own_query: true,
        fault: Some(fault),
    }
}
