//! Readings of several studies as one table. Each study's store is read where it lies, one file after the other, so that
//! no more is in memory than of one study alone.

use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use async_trait::async_trait;
use datafusion::arrow::array::{
    Array, ArrayRef, AsArray, Int32Array, RecordBatch, StringBuilder, StringViewBuilder,
};
use datafusion::arrow::compute::SortOptions;
use datafusion::arrow::datatypes::{DataType, Int32Type, SchemaRef};
use datafusion::catalog::{Session, TableProvider};
use datafusion::common::stats::Precision;
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::common::{Result, ScalarValue, Statistics};
use datafusion::datasource::TableType;
use datafusion::datasource::file_format::FileFormat;
use datafusion::datasource::file_format::parquet::ParquetFormat;
use datafusion::datasource::listing::PartitionedFile;
use datafusion::datasource::physical_plan::{FileGroup, FileScanConfigBuilder, ParquetSource};
use datafusion::datasource::source::DataSourceExec;
use datafusion::execution::object_store::ObjectStoreUrl;
use datafusion::execution::{SendableRecordBatchStream, TaskContext};
use datafusion::logical_expr::{BinaryExpr, Expr, Operator, TableProviderFilterPushDown};
use datafusion::object_store::local::LocalFileSystem;
use datafusion::object_store::path::Path as StorePath;
use datafusion::object_store::{ObjectStore, ObjectStoreExt};
use datafusion::physical_expr::expressions::Column;
use datafusion::physical_expr::{
    EquivalenceProperties, LexOrdering, Partitioning, PhysicalExpr, PhysicalSortExpr,
};
use datafusion::physical_plan::execution_plan::{Boundedness, EmissionType};
use datafusion::physical_plan::statistics::StatisticsArgs;
use datafusion::physical_plan::stream::RecordBatchStreamAdapter;
use datafusion::physical_plan::{DisplayAs, DisplayFormatType, ExecutionPlan, PlanProperties};
use datafusion::prelude::SessionContext;
use futures::{StreamExt, TryStreamExt, stream};

use crate::error::EngineError;
use crate::session::Member;

/// Address under which the engine finds the stores.
const STORES: &str = "study://stores/";

/// What the rows of a reading's table are sorted by.
const ORDER: [&str; 2] = ["sensor_no", "time"];

/// One study's part of the readings.
#[derive(Debug)]
struct Part {
    /// Stands before the names of its wearers and sensors.
    prefix: String,
    /// Number of its first sensor among those of all.
    first_sensor: i32,
    files: Vec<PartitionedFile>,
}

/// Whether a filter leaves out all sensors from one number up to another, as far as can be told.
fn leaves_out(filter: &Expr, first: i32, until: i32) -> bool {
    let Expr::BinaryExpr(BinaryExpr { left, op, right }) = filter else {
        return false;
    };
    match (left.as_ref(), op, right.as_ref()) {
        (_, Operator::And, _) => leaves_out(left, first, until) || leaves_out(right, first, until),
        (Expr::Column(column), op, Expr::Literal(ScalarValue::Int32(Some(bound)), _))
            if column.name == "sensor_no" =>
        {
            match op {
                Operator::GtEq => until <= *bound,
                Operator::Lt => first >= *bound,
                _ => false,
            }
        }
        _ => false,
    }
}

/// The readings of several studies, by sensor and time.
#[derive(Debug)]
pub(crate) struct PooledReadings {
    parts: Arc<Vec<Part>>,
    /// Columns as they stand in the files.
    schema: SchemaRef,
    statistics: Statistics,
}

impl PooledReadings {
    /// Opens the files of members that come by their sensors' numbers. `None` where none has readings.
    pub async fn open(
        context: &SessionContext,
        members: &[Member<'_>],
        sensors: usize,
    ) -> Result<Option<Self>, EngineError> {
        let files = members.iter().flat_map(|member| &member.readings);
        let Some(root) = common_folder(files) else {
            return Ok(None);
        };
        let store = LocalFileSystem::new_with_prefix(&root)
            .map_err(|error| EngineError::Start(error.to_string()))?;
        let store: Arc<dyn ObjectStore> = Arc::new(store);
        let url = ObjectStoreUrl::parse(STORES)?;
        context.register_object_store(url.as_ref(), Arc::clone(&store));
        let state = context.state();
        let format = ParquetFormat::default();
        let mut parts = Vec::new();
        let mut schema: Option<SchemaRef> = None;
        let mut statistics = Vec::new();
        for member in members {
            let mut files = Vec::new();
            for path in &member.readings {
                let place = StorePath::from_iter(parts_below(&root, path));
                let meta = store
                    .head(&place)
                    .await
                    .map_err(|error| EngineError::Start(format!("{}: {error}", path.display())))?;
                let schema = match &schema {
                    Some(schema) => Arc::clone(schema),
                    None => {
                        let first = std::slice::from_ref(&meta);
                        let inferred = format.infer_schema(&state, &store, first).await?;
                        Arc::clone(schema.insert(inferred))
                    }
                };
                let of_file = format.infer_stats(&state, &store, schema, &meta);
                statistics.push(of_file.await?);
                files.push(PartitionedFile::new_from_meta(meta));
            }
            parts.push(Part {
                prefix: member.prefix.clone(),
                first_sensor: member.first_sensor,
                files,
            });
        }
        let Some(schema) = schema else {
            return Ok(None);
        };
        let statistics = of_all(&statistics, &schema, sensors)?;
        Ok(Some(Self {
            parts: Arc::new(parts),
            schema,
            statistics,
        }))
    }
}

/// What the planner knows of the rows of all files: as much as of one study's, so that it plans the same.
fn of_all(files: &[Statistics], schema: &SchemaRef, sensors: usize) -> Result<Statistics> {
    let mut all = Statistics::try_merge_iter(files, schema)?;
    for (field, column) in schema.fields().iter().zip(&mut all.column_statistics) {
        match field.name().as_str() {
            // Files number their sensors from 0.
            "sensor_no" => {
                let last = i32::try_from(sensors).unwrap_or(i32::MAX).saturating_sub(1);
                column.min_value = Precision::Exact(ScalarValue::Int32(Some(0)));
                column.max_value = Precision::Exact(ScalarValue::Int32(Some(last.max(0))));
            }
            "wearer" | "sensor" => {
                column.min_value = Precision::Absent;
                column.max_value = Precision::Absent;
            }
            _ => {}
        }
    }
    Ok(all)
}

/// The folder that all files lie below.
fn common_folder<'p>(mut files: impl Iterator<Item = &'p PathBuf>) -> Option<PathBuf> {
    let first = files.next()?.parent()?.to_owned();
    Some(files.fold(first, |mut common, file| {
        while !file.starts_with(&common) {
            if !common.pop() {
                break;
            }
        }
        common
    }))
}

fn parts_below(root: &Path, file: &Path) -> Vec<String> {
    let below = file.strip_prefix(root).unwrap_or(file);
    let parts = below.components();
    parts
        .map(|part| part.as_os_str().to_string_lossy().into_owned())
        .collect()
}

#[async_trait]
impl TableProvider for PooledReadings {
    fn schema(&self) -> SchemaRef {
        Arc::clone(&self.schema)
    }

    fn table_type(&self) -> TableType {
        TableType::Base
    }

    /// Whole studies are passed over; the rows of the others are filtered again.
    fn supports_filters_pushdown(
        &self,
        filters: &[&Expr],
    ) -> Result<Vec<TableProviderFilterPushDown>> {
        Ok(vec![TableProviderFilterPushDown::Inexact; filters.len()])
    }

    async fn scan(
        &self,
        _state: &dyn Session,
        projection: Option<&Vec<usize>>,
        filters: &[Expr],
        _limit: Option<usize>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let all = || (0..self.schema.fields().len()).collect();
        let columns: Vec<usize> = projection.cloned().unwrap_or_else(all);
        let schema = Arc::new(self.schema.project(&columns)?);
        let sorted = ORDER.iter().map_while(|name| {
            let column = Column::new_with_schema(name, &schema).ok()?;
            let ascending = SortOptions {
                descending: false,
                nulls_first: false,
            };
            Some(PhysicalSortExpr::new(Arc::new(column), ascending))
        });
        let properties = PlanProperties::new(
            EquivalenceProperties::new_with_orderings(
                Arc::clone(&schema),
                LexOrdering::new(sorted),
            ),
            Partitioning::UnknownPartitioning(1),
            EmissionType::Incremental,
            Boundedness::Bounded,
        );
        let nexts = self.parts.iter().skip(1).map(|part| part.first_sensor);
        let parts = self.parts.iter().zip(nexts.chain([i32::MAX]));
        let read = parts.enumerate().filter(|(_, (part, until))| {
            let first = part.first_sensor;
            !filters
                .iter()
                .any(|filter| leaves_out(filter, first, *until))
        });
        Ok(Arc::new(Scan {
            read: read.map(|(place, _)| place).collect(),
            parts: Arc::clone(&self.parts),
            file_schema: Arc::clone(&self.schema),
            statistics: Arc::new(self.statistics.clone().project(Some(&columns))),
            columns,
            schema,
            properties: Arc::new(properties),
        }))
    }
}

/// Reads some columns of some parts, one part after the other.
#[derive(Clone, Debug)]
struct Scan {
    parts: Arc<Vec<Part>>,
    /// Places of the parts that are read.
    read: Vec<usize>,
    file_schema: SchemaRef,
    columns: Vec<usize>,
    schema: SchemaRef,
    statistics: Arc<Statistics>,
    properties: Arc<PlanProperties>,
}

impl Scan {
    /// The rows of one part under their names and numbers among those of all.
    fn part(&self, part: usize, context: Arc<TaskContext>) -> Result<SendableRecordBatchStream> {
        let Some(of) = self.parts.get(part) else {
            let none = stream::empty();
            let none = RecordBatchStreamAdapter::new(Arc::clone(&self.schema), none);
            return Ok(Box::pin(none));
        };
        let source = Arc::new(ParquetSource::new(Arc::clone(&self.file_schema)));
        let config = FileScanConfigBuilder::new(ObjectStoreUrl::parse(STORES)?, source)
            .with_file_group(FileGroup::new(of.files.clone()))
            .with_projection_indices(Some(self.columns.clone()))?
            .with_preserve_order(true)
            .build();
        let rows = DataSourceExec::from_data_source(config).execute(0, context)?;
        let scan = self.clone();
        let named = rows.map(move |batch| scan.named(&batch?, part));
        let named = RecordBatchStreamAdapter::new(Arc::clone(&self.schema), named);
        Ok(Box::pin(named))
    }

    fn named(&self, batch: &RecordBatch, part: usize) -> Result<RecordBatch> {
        let Some(of) = self.parts.get(part) else {
            return Ok(batch.clone());
        };
        let columns = self.schema.fields().iter().zip(batch.columns());
        let columns = columns.map(|(field, column)| match field.name().as_str() {
            "sensor_no" => numbered(column, of.first_sensor),
            "wearer" | "sensor" => prefixed(column, &of.prefix),
            _ => Arc::clone(column),
        });
        let columns: Vec<ArrayRef> = columns.collect();
        Ok(RecordBatch::try_new(Arc::clone(&self.schema), columns)?)
    }
}

fn numbered(column: &ArrayRef, first: i32) -> ArrayRef {
    match column.as_primitive_opt::<Int32Type>() {
        Some(numbers) => Arc::new(numbers.unary::<_, Int32Type>(|n| n + first)) as Arc<Int32Array>,
        None => Arc::clone(column),
    }
}

fn prefixed(column: &ArrayRef, prefix: &str) -> ArrayRef {
    let name = |text: &str| format!("{prefix}{text}");
    match column.data_type() {
        DataType::Utf8View => {
            // Names repeat for thousands of rows.
            let mut names = StringViewBuilder::new().with_deduplicate_strings();
            let texts = column.as_string_view();
            texts
                .iter()
                .for_each(|text| names.append_option(text.map(name)));
            Arc::new(names.finish())
        }
        DataType::Utf8 => {
            let mut names = StringBuilder::new();
            let texts = column.as_string::<i32>();
            texts
                .iter()
                .for_each(|text| names.append_option(text.map(name)));
            Arc::new(names.finish())
        }
        _ => match column.as_any_dictionary_opt() {
            Some(names) => names.with_values(prefixed(names.values(), prefix)),
            None => Arc::clone(column),
        },
    }
}

impl DisplayAs for Scan {
    fn fmt_as(&self, _: DisplayFormatType, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "readings of {} studies", self.read.len())
    }
}

impl ExecutionPlan for Scan {
    fn name(&self) -> &'static str {
        "PooledReadings"
    }

    fn properties(&self) -> &Arc<PlanProperties> {
        &self.properties
    }

    fn children(&self) -> Vec<&Arc<dyn ExecutionPlan>> {
        Vec::new()
    }

    fn apply_expressions(
        &self,
        _: &mut dyn FnMut(&Arc<dyn PhysicalExpr>) -> Result<TreeNodeRecursion>,
    ) -> Result<TreeNodeRecursion> {
        Ok(TreeNodeRecursion::Continue)
    }

    fn with_new_children(
        self: Arc<Self>,
        _: Vec<Arc<dyn ExecutionPlan>>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        Ok(self)
    }

    fn execute(
        &self,
        _partition: usize,
        context: Arc<TaskContext>,
    ) -> Result<SendableRecordBatchStream> {
        let scan = self.clone();
        let parts = stream::iter(self.read.clone());
        let rows = parts.map(move |part| scan.part(part, Arc::clone(&context)));
        let rows = RecordBatchStreamAdapter::new(Arc::clone(&self.schema), rows.try_flatten());
        Ok(Box::pin(rows))
    }

    fn statistics_from_inputs(
        &self,
        _: &[Arc<Statistics>],
        _: &StatisticsArgs,
    ) -> Result<Arc<Statistics>> {
        Ok(Arc::clone(&self.statistics))
    }
}

#[cfg(test)]
mod tests {
    use datafusion::prelude::{col, lit};

    use super::*;

    #[test]
    fn a_study_is_passed_over_only_where_none_of_its_sensors_is_asked_for() {
        let asked = |from: i32, until: i32| {
            let number = || col("sensor_no");
            number().gt_eq(lit(from)).and(number().lt(lit(until)))
        };
        for (from, until, left_out) in [
            (0, 10, true),
            (0, 11, false),
            (19, 40, false),
            (20, 40, true),
            (12, 13, false),
        ] {
            assert_eq!(
                leaves_out(&asked(from, until), 10, 20),
                left_out,
                "{from} to {until}"
            );
        }
        assert!(!leaves_out(&col("time").lt(lit(5)), 10, 20));
        assert!(!leaves_out(&col("sensor_no").gt(lit(40)), 10, 20));
    }
}
