//! The rows of one query, within the memory that is allowed.

use std::sync::Arc;

use datafusion::arrow::array::{Array, RecordBatch, RecordBatchOptions};
use datafusion::arrow::compute::concat_batches;
use datafusion::arrow::datatypes::SchemaRef;
use datafusion::error::Result;
use datafusion::execution::TaskContext;
use datafusion::execution::disk_manager::{DiskManagerBuilder, DiskManagerMode};
use datafusion::execution::memory_pool::{MemoryConsumer, MemoryReservation};
use datafusion::execution::runtime_env::RuntimeEnv;
use datafusion::execution::session_state::SessionState;
use datafusion::physical_plan::execute_stream;
use futures::StreamExt;
use whereworn_model::table::Cell;

use crate::laid::{Laid, RowsWriter};
use crate::planning::Planned;

/// Rows of a result held together: a sort of thousands of tiny batches costs more than all else.
pub(crate) const BATCH_ROWS: usize = 1 << 16;

/// Bytes of a cell of a result table, texts apart.
const CELL: usize = size_of::<Cell>();

/// Rows of a query, and the memory that they have been granted.
pub(crate) struct Rows {
    pub laid: Laid,
    pub memory: MemoryReservation,
}

impl Rows {
    /// # Errors
    /// More than the memory allows.
    pub fn new(state: &SessionState, laid: Laid, name: &str) -> Result<Self> {
        let memory = MemoryConsumer::new(name).register(&state.runtime_env().memory_pool);
        memory.try_grow(laid.in_memory())?;
        Ok(Self { laid, memory })
    }

    /// All rows at once, with the memory of the cells of a result table beside them.
    ///
    /// # Errors
    /// There is not so much left; a file that cannot be read.
    pub fn all(&self, columns: usize) -> Result<Vec<RecordBatch>> {
        let from_file = self.laid.bytes() - self.laid.in_memory();
        self.memory
            .try_grow(from_file + self.cells(columns) * CELL)?;
        self.laid.batches()
    }

    /// Cells that a result table of so many columns has.
    pub fn cells(&self, columns: usize) -> usize {
        self.laid.rows() * columns
    }

    /// Gives up the rows; the memory of the cells made of them stays granted.
    pub fn only_cells(self, columns: usize) -> MemoryReservation {
        self.memory.resize(self.cells(columns) * CELL);
        self.memory
    }
}

/// Whether a query may put rows into files where the memory does not hold them. Sums of numbers then come in another order,
/// so that their last digits depend on the memory, and what is gathered is there twice on its way.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Spill {
    Never,
    IfNeeded,
}

/// Runs a plan to its end, one part after the other.
///
/// # Errors
/// Those of the engine; more rows than the memory allows.
pub(crate) async fn collect(
    state: SessionState,
    planned: Planned,
    name: String,
    spill: Spill,
) -> Result<Rows> {
    let schema = &planned.schema;
    let context = match spill {
        Spill::IfNeeded => state.task_ctx(),
        Spill::Never => Arc::new(without_files(&state)?),
    };
    let mut gathered = Gathered::new(schema, planned.large, state.runtime_env(), &name);
    for part in &planned.parts {
        let physical = planned.physical(part, &state).await?;
        let mut stream = execute_stream(physical, Arc::clone(&context))?;
        while let Some(batch) = stream.next().await {
            gathered.push(batch?)?;
        }
    }
    gathered.finish()
}

/// Rows as they come in, held together; once they are many, in a file.
pub(crate) struct Gathered {
    schema: SchemaRef,
    large: usize,
    environment: Arc<RuntimeEnv>,
    memory: MemoryReservation,
    batches: Vec<RecordBatch>,
    file: Option<RowsWriter>,
    waiting: Vec<RecordBatch>,
    rows: usize,
}

impl Gathered {
    /// Of more bytes than `large` they go to a file.
    pub fn new(
        schema: &SchemaRef,
        large: usize,
        environment: &Arc<RuntimeEnv>,
        name: &str,
    ) -> Self {
        Self {
            schema: Arc::clone(schema),
            large,
            environment: Arc::clone(environment),
            memory: MemoryConsumer::new(name).register(&environment.memory_pool),
            batches: Vec::new(),
            file: None,
            waiting: Vec::new(),
            rows: 0,
        }
    }

    /// # Errors
    /// More rows than the memory allows; rows that are not of the schema; a file that cannot be written.
    pub fn push(&mut self, batch: RecordBatch) -> Result<()> {
        self.memory.try_grow(bytes(&batch))?;
        self.rows += batch.num_rows();
        self.waiting.push(as_planned(batch, &self.schema)?);
        if self.rows >= BATCH_ROWS {
            self.together()?;
        }
        Ok(())
    }

    fn together(&mut self) -> Result<()> {
        let waiting = std::mem::take(&mut self.waiting);
        self.batches.push(concat_batches(&self.schema, &waiting)?);
        self.rows = 0;
        if self.file.is_some() || self.memory.size() > self.large {
            self.write()?;
        }
        Ok(())
    }

    fn write(&mut self) -> Result<()> {
        let file = match &mut self.file {
            Some(file) => file,
            none => none.insert(RowsWriter::new(&self.schema, &self.environment)?),
        };
        for batch in self.batches.drain(..) {
            file.write(&batch)?;
        }
        self.memory.free();
        Ok(())
    }

    /// # Errors
    /// Those of [`Gathered::push`].
    pub fn finish(mut self) -> Result<Rows> {
        if !self.waiting.is_empty() {
            self.together()?;
        }
        let laid = match self.file {
            Some(file) => Laid::InFile(file.finish()?),
            None => Laid::InMemory(self.batches),
        };
        Ok(Rows {
            laid,
            memory: self.memory,
        })
    }
}

/// What a query runs in that may write no files.
fn without_files(state: &SessionState) -> Result<TaskContext> {
    let mut environment = state.runtime_env().as_ref().clone();
    let none = DiskManagerBuilder::default().with_mode(DiskManagerMode::Disabled);
    environment.disk_manager = Arc::new(none.build()?);
    Ok(TaskContext::from(state).with_runtime(Arc::new(environment)))
}

/// Rows under the schema of the plan, which other plans were made with; what ran may have narrowed it.
fn as_planned(batch: RecordBatch, schema: &SchemaRef) -> Result<RecordBatch> {
    let options = RecordBatchOptions::new().with_row_count(Some(batch.num_rows()));
    Ok(RecordBatch::try_new_with_options(
        Arc::clone(schema),
        batch.columns().to_vec(),
        &options,
    )?)
}

/// Bytes that the cells of a batch take.
pub(crate) fn bytes(batch: &RecordBatch) -> usize {
    let columns = batch.columns().iter();
    columns.map(|column| column_bytes(column.as_ref())).sum()
}

/// Bytes that the cells of a column take.
pub(crate) fn column_bytes(column: &dyn Array) -> usize {
    column.to_data().get_slice_memory_size().unwrap_or_default()
}
