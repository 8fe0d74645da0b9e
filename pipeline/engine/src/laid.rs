//! Where the rows of a result lie until the run ends: in memory, or, where they are many, in a file of the run.

use std::fmt;
use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::Path;
use std::sync::{Arc, PoisonError, RwLock};

use async_trait::async_trait;
use datafusion::arrow::array::RecordBatch;
use datafusion::arrow::datatypes::SchemaRef;
use datafusion::arrow::error::ArrowError;
use datafusion::arrow::ipc::reader::StreamReader;
use datafusion::arrow::ipc::writer::StreamWriter;
use datafusion::catalog::memory::MemorySourceConfig;
use datafusion::catalog::{Session, TableProvider};
use datafusion::common::stats::Precision;
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::common::{ColumnStatistics, Result, Statistics, resources_err};
use datafusion::datasource::TableType;
use datafusion::datasource::source::{DataSource, DataSourceExec};
use datafusion::execution::runtime_env::RuntimeEnv;
use datafusion::execution::{SendableRecordBatchStream, SpillFile, TaskContext};
use datafusion::logical_expr::Expr;
use datafusion::physical_expr::projection::ProjectionExprs;
use datafusion::physical_expr::{EquivalenceProperties, Partitioning, PhysicalExpr};
use datafusion::physical_plan::stream::RecordBatchStreamAdapter;
use datafusion::physical_plan::{DisplayFormatType, ExecutionPlan};
use futures::{StreamExt, stream};

use crate::collect::{bytes, column_bytes};

/// Bytes of a result beyond which its rows lie in a file. It goes by nothing but the rows: what is known of them shapes the
/// plans that read them, and the same rows give the same report under any limit of memory.
pub(crate) const LARGE: usize = 16 << 20;

/// The rows of a result.
#[derive(Clone, Debug)]
pub(crate) enum Laid {
    InMemory(Vec<RecordBatch>),
    InFile(Arc<RowsFile>),
}

impl Laid {
    /// Rows of a result that is done, in a file where they have more bytes than some.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub fn down(
        batches: Vec<RecordBatch>,
        schema: &SchemaRef,
        large: usize,
        environment: &RuntimeEnv,
    ) -> Result<Self> {
        if batches.iter().map(bytes).sum::<usize>() <= large {
            return Ok(Self::InMemory(batches));
        }
        let mut file = RowsWriter::new(schema, environment)?;
        batches.iter().try_for_each(|batch| file.write(batch))?;
        Ok(Self::InFile(file.finish()?))
    }

    /// Bytes of the rows.
    pub fn bytes(&self) -> usize {
        match self {
            Self::InMemory(batches) => batches.iter().map(bytes).sum(),
            Self::InFile(file) => file.columns.iter().map(|(bytes, _)| bytes).sum(),
        }
    }

    /// Those of them that take memory.
    pub fn in_memory(&self) -> usize {
        match self {
            Self::InMemory(_) => self.bytes(),
            Self::InFile(_) => 0,
        }
    }

    pub fn rows(&self) -> usize {
        match self {
            Self::InMemory(batches) => batches.iter().map(RecordBatch::num_rows).sum(),
            Self::InFile(file) => file.rows,
        }
    }

    /// All rows at once.
    ///
    /// # Errors
    /// A file that cannot be read.
    pub fn batches(&self) -> Result<Vec<RecordBatch>> {
        match self {
            Self::InMemory(batches) => Ok(batches.clone()),
            Self::InFile(file) => Ok(file.open(None)?.collect::<Result<_, ArrowError>>()?),
        }
    }
}

/// Rows in a file of the run, a stream of Apache Arrow, which goes with the last that reads it.
pub(crate) struct RowsFile {
    file: Arc<dyn SpillFile>,
    rows: usize,
    /// Bytes and nulls of each column.
    columns: Vec<(usize, usize)>,
}

impl fmt::Debug for RowsFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} rows in a file", self.rows)
    }
}

impl RowsFile {
    fn open(&self, columns: Option<Vec<usize>>) -> Result<StreamReader<BufReader<File>>> {
        let file = File::open(path(self.file.as_ref())?)?;
        Ok(StreamReader::try_new_buffered(file, columns)?)
    }
}

fn path(file: &dyn SpillFile) -> Result<&Path> {
    let Some(path) = file.path() else {
        return resources_err!("files of a run lie in folders");
    };
    Ok(path)
}

/// A file of rows that is being written.
pub(crate) struct RowsWriter {
    rows: RowsFile,
    writer: StreamWriter<BufWriter<File>>,
}

impl RowsWriter {
    /// # Errors
    /// A file that cannot be made.
    pub fn new(schema: &SchemaRef, environment: &RuntimeEnv) -> Result<Self> {
        let file = environment
            .disk_manager
            .create_tmp_file("rows of a result")?;
        let writer = StreamWriter::try_new_buffered(File::create(path(file.as_ref())?)?, schema)?;
        let rows = RowsFile {
            file,
            rows: 0,
            columns: vec![(0, 0); schema.fields().len()],
        };
        Ok(Self { rows, writer })
    }

    /// # Errors
    /// Rows that cannot be written, as on a full disk.
    pub fn write(&mut self, batch: &RecordBatch) -> Result<()> {
        self.rows.rows += batch.num_rows();
        for ((bytes, nulls), column) in self.rows.columns.iter_mut().zip(batch.columns()) {
            *bytes += column_bytes(column.as_ref());
            *nulls += column.logical_null_count();
        }
        Ok(self.writer.write(batch)?)
    }

    /// # Errors
    /// Those of [`RowsWriter::write`].
    pub fn finish(mut self) -> Result<Arc<RowsFile>> {
        self.writer.finish()?;
        Ok(Arc::new(self.rows))
    }
}

/// The table in which the plans of other queries find the rows of a result.
#[derive(Debug)]
pub(crate) struct ResultRows {
    schema: SchemaRef,
    laid: RwLock<Laid>,
}

impl ResultRows {
    /// A table still without rows.
    pub fn new(schema: &SchemaRef) -> Self {
        Self {
            schema: Arc::clone(schema),
            laid: RwLock::new(Laid::InMemory(Vec::new())),
        }
    }

    pub fn fill(&self, rows: Laid) {
        *self.laid.write().unwrap_or_else(PoisonError::into_inner) = rows;
    }
}

#[async_trait]
impl TableProvider for ResultRows {
    fn schema(&self) -> SchemaRef {
        Arc::clone(&self.schema)
    }

    fn table_type(&self) -> TableType {
        TableType::Base
    }

    async fn scan(
        &self,
        _state: &dyn Session,
        projection: Option<&Vec<usize>>,
        _filters: &[Expr],
        _limit: Option<usize>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let laid = self.laid.read();
        let laid = laid.unwrap_or_else(PoisonError::into_inner).clone();
        let file = match laid {
            Laid::InMemory(batches) => {
                let schema = Arc::clone(&self.schema);
                let rows = MemorySourceConfig::try_new(&[batches], schema, projection.cloned())?;
                return Ok(DataSourceExec::from_data_source(rows));
            }
            Laid::InFile(file) => file,
        };
        let all = || (0..self.schema.fields().len()).collect();
        let columns = projection.cloned().unwrap_or_else(all);
        let schema = Arc::new(self.schema.project(&columns)?);
        Ok(DataSourceExec::from_data_source(FileSource {
            file,
            columns,
            schema,
        }))
    }
}

/// Some columns of rows that lie in a file.
#[derive(Clone, Debug)]
struct FileSource {
    file: Arc<RowsFile>,
    columns: Vec<usize>,
    schema: SchemaRef,
}

impl DataSource for FileSource {
    fn open(&self, _: usize, _: Arc<TaskContext>) -> Result<SendableRecordBatchStream> {
        let rows = self.file.open(Some(self.columns.clone()))?;
        let rows = stream::iter(rows).map(|batch| Ok(batch?));
        let rows = RecordBatchStreamAdapter::new(Arc::clone(&self.schema), rows);
        Ok(Box::pin(rows))
    }

    fn fmt_as(&self, _: DisplayFormatType, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.file)
    }

    fn output_partitioning(&self) -> Partitioning {
        Partitioning::UnknownPartitioning(1)
    }

    fn eq_properties(&self) -> EquivalenceProperties {
        EquivalenceProperties::new(Arc::clone(&self.schema))
    }

    fn partition_statistics(&self, _: Option<usize>) -> Result<Arc<Statistics>> {
        let of = |column: &usize| self.file.columns.get(*column).copied().unwrap_or_default();
        let nulls = |column: &usize| {
            let mut said = ColumnStatistics::new_unknown();
            said.null_count = Precision::Exact(of(column).1);
            said
        };
        Ok(Arc::new(Statistics {
            num_rows: Precision::Exact(self.file.rows),
            total_byte_size: Precision::Exact(self.columns.iter().map(|column| of(column).0).sum()),
            column_statistics: self.columns.iter().map(nulls).collect(),
        }))
    }

    fn with_fetch(&self, _: Option<usize>) -> Option<Arc<dyn DataSource>> {
        None
    }

    fn fetch(&self) -> Option<usize> {
        None
    }

    fn try_swapping_with_projection(
        &self,
        _: &ProjectionExprs,
    ) -> Result<Option<Arc<dyn DataSource>>> {
        Ok(None)
    }

    fn apply_expressions(
        &self,
        _: &mut dyn FnMut(&Arc<dyn PhysicalExpr>) -> Result<TreeNodeRecursion>,
    ) -> Result<TreeNodeRecursion> {
        Ok(TreeNodeRecursion::Continue)
    }
}

#[cfg(test)]
mod tests {
    use datafusion::arrow::array::{ArrayRef, AsArray, Int64Array, StringArray};
    use datafusion::arrow::datatypes::Int64Type;
    use datafusion::prelude::SessionContext;

    use super::*;
    use crate::collect::Gathered;
    use crate::session::config;

    /// Rows in pieces of 10,000, the last of them shorter: numbers from 0 on, and a text that every other row lacks.
    fn pieces(rows: i64) -> Vec<RecordBatch> {
        let piece = |from: i64| {
            let numbers = from..rows.min(from + 10_000);
            let texts = numbers.clone();
            let texts = texts.map(|n| (n % 2 == 0).then(|| format!("text {n}")));
            let numbers: ArrayRef = Arc::new(Int64Array::from_iter_values(numbers));
            let texts: ArrayRef = Arc::new(texts.collect::<StringArray>());
            let columns = [("n", numbers, true), ("t", texts, true)];
            RecordBatch::try_from_iter_with_nullable(columns).unwrap()
        };
        (0..rows).step_by(10_000).map(piece).collect()
    }

    fn numbers(batches: &[RecordBatch]) -> Vec<i64> {
        let of = |batch: &RecordBatch| {
            let column = batch.column_by_name("n").unwrap();
            column.as_primitive::<Int64Type>().values().to_vec()
        };
        batches.iter().flat_map(of).collect()
    }

    #[tokio::test]
    async fn rows_are_read_alike_from_memory_and_from_a_file() {
        let context = SessionContext::new_with_config(config());
        for (rows, in_file) in [(25_000, false), (1_500_001, true)] {
            let batches = pieces(rows);
            let schema = batches[0].schema();
            let laid = Laid::down(batches.clone(), &schema, LARGE, &context.runtime_env()).unwrap();
            assert_eq!(matches!(laid, Laid::InFile(_)), in_file);
            assert_eq!(laid.rows(), rows as usize);
            assert_eq!(laid.bytes(), batches.iter().map(bytes).sum::<usize>());
            assert_eq!(laid.in_memory() == 0, in_file);
            assert_eq!(laid.batches().unwrap(), batches);

            let table = ResultRows::new(&schema);
            table.fill(laid);
            context.register_table("r", Arc::new(table)).unwrap();
            let read = context.sql("SELECT n FROM r").await.unwrap();
            assert!(
                numbers(&read.collect().await.unwrap())
                    .into_iter()
                    .eq(0..rows)
            );
            let sql = "SELECT COUNT(t) AS n FROM r WHERE t <> 'text 2'";
            let read = context.sql(sql).await.unwrap().collect().await.unwrap();
            assert_eq!(numbers(&read), [(rows + 1) / 2 - 1]);
            context.deregister_table("r").unwrap();
        }
    }

    #[test]
    fn many_rows_take_no_memory_once_they_are_gathered() {
        let environment = SessionContext::new().runtime_env();
        for (rows, in_file) in [(25_000, false), (1_500_001, true)] {
            let batches = pieces(rows);
            let mut gathered = Gathered::new(&batches[0].schema(), LARGE, &environment, "r");
            for batch in batches {
                gathered.push(batch).unwrap();
            }
            let rows_of = gathered.finish().unwrap();
            assert_eq!(rows_of.memory.size() == 0, in_file);
            assert!(
                numbers(&rows_of.laid.batches().unwrap())
                    .into_iter()
                    .eq(0..rows)
            );
        }
    }

    #[test]
    fn the_file_goes_with_its_last_reader() {
        let environment = SessionContext::new().runtime_env();
        let batches = pieces(1_000_000);
        let laid = Laid::down(batches.clone(), &batches[0].schema(), LARGE, &environment).unwrap();
        let Laid::InFile(file) = &laid else {
            panic!("lies in memory")
        };
        let path = path(file.file.as_ref()).unwrap().to_owned();
        let reader = laid.clone();
        drop(laid);
        assert!(path.exists());
        drop(reader);
        assert!(!path.exists());
    }
}
