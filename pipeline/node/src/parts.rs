//! A node of a plan that runs parts of a step: the cluster hands it out, and looks at nothing within it.
//!
//! A scheduler plans anew what it takes apart, and other plans give rows in another order. This one has a table of the parts'
//! numbers below it, a row a partition, and puts the rows of a part in the place of its number, as the engine makes them.

use std::fmt;
use std::sync::Arc;

use ballista_core::serde::BallistaPhysicalExtensionCodec;
use datafusion::arrow::array::{ArrayRef, AsArray, Int32Array, RecordBatch};
use datafusion::arrow::datatypes::{DataType, Field, Int32Type, Schema, SchemaRef};
use datafusion::arrow::ipc::reader::StreamReader;
use datafusion::arrow::ipc::writer::StreamWriter;
use datafusion::catalog::memory::MemorySourceConfig;
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::{SendableRecordBatchStream, TaskContext};
use datafusion::logical_expr::LogicalPlan;
use datafusion::physical_expr::{EquivalenceProperties, PhysicalExpr};
use datafusion::physical_plan::stream::RecordBatchStreamAdapter;
use datafusion::physical_plan::{
    DisplayAs, DisplayFormatType, ExecutionPlan, ExecutionPlanProperties, PlanProperties,
    execute_stream,
};
use datafusion::prelude::SessionContext;
use datafusion_proto::physical_plan::{PhysicalExtensionCodec, PhysicalProtoConverterExtension};
use futures::{StreamExt, TryStreamExt, stream};
use serde::{Deserialize, Serialize};
use whereworn_model::step::Step;

use crate::files::Placed;
use crate::session;

/// Column that says which part a row is of.
pub const PART: &str = "part of the step";

/// What an executor needs for a part.
#[derive(Debug, Serialize, Deserialize)]
pub struct Work {
    pub step: Step,
    pub placed: Placed,
}

impl Work {
    /// The plan of each part, in a session of its own.
    ///
    /// # Errors
    /// A file that is not there; SQL that cannot be planned.
    pub async fn plans(&self, context: &SessionContext) -> Result<Vec<LogicalPlan>> {
        self.placed.register(&self.step, context).await?;
        let plans = whereworn_engine::plans(&self.step, context).await;
        plans.map_err(|error| DataFusionError::Plan(error.to_string()))
    }
}

/// The rows of the parts whose numbers its input has, each with the number of its part.
#[derive(Debug)]
pub struct Parts {
    work: Arc<Work>,
    input: Arc<dyn ExecutionPlan>,
    properties: Arc<PlanProperties>,
}

/// A plan of all parts of a step that gives rows of a schema, a partition for each.
///
/// # Errors
/// Those of the engine.
pub fn of_step(work: Work, rows: &Schema, parts: usize) -> Result<Arc<dyn ExecutionPlan>> {
    let schema = Arc::new(Schema::new(vec![number()]));
    let numbers = (0..parts as i32).map(|part| {
        let column: ArrayRef = Arc::new(Int32Array::from(vec![part]));
        Ok(vec![RecordBatch::try_new(
            Arc::clone(&schema),
            vec![column],
        )?])
    });
    let numbers: Vec<Vec<RecordBatch>> = numbers.collect::<Result<_>>()?;
    let input = MemorySourceConfig::try_new_exec(&numbers, Arc::clone(&schema), None)?;
    let columns = rows.fields().iter().map(|field| field.as_ref().clone());
    let columns: Vec<Field> = columns.chain([number()]).collect();
    let schema = Arc::new(Schema::new(columns));
    Ok(Arc::new(Parts::new(Arc::new(work), input, schema)))
}

fn number() -> Field {
    Field::new(PART, DataType::Int32, false)
}

impl Parts {
    fn new(work: Arc<Work>, input: Arc<dyn ExecutionPlan>, schema: SchemaRef) -> Self {
        let properties = PlanProperties::new(
            EquivalenceProperties::new(schema),
            input.output_partitioning().clone(),
            input.pipeline_behavior(),
            input.boundedness(),
        );
        Self {
            work,
            input,
            properties: Arc::new(properties),
        }
    }
}

/// The rows of one part, as the engine would make them.
async fn rows_of(
    work: Arc<Work>,
    part: i32,
    schema: SchemaRef,
    context: Arc<TaskContext>,
) -> Result<SendableRecordBatchStream> {
    let context = session::context(session::config(), context.runtime_env());
    let plans = work.plans(&context).await?;
    let missing = || DataFusionError::Internal(format!("there is no part {part}"));
    let plan = plans.get(part as usize).ok_or_else(missing)?;
    let plan = context.state().create_physical_plan(plan).await?;
    let rows = execute_stream(plan, context.task_ctx())?;
    let numbered = Arc::clone(&schema);
    let rows = rows.map(move |batch| {
        let batch = batch?;
        let number: ArrayRef = Arc::new(Int32Array::from(vec![part; batch.num_rows()]));
        let columns = batch.columns().iter().cloned().chain([number]).collect();
        Ok(RecordBatch::try_new(Arc::clone(&numbered), columns)?)
    });
    Ok(Box::pin(RecordBatchStreamAdapter::new(schema, rows)))
}

impl DisplayAs for Parts {
    fn fmt_as(&self, _: DisplayFormatType, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "Parts: step={}", self.work.step.name)
    }
}

impl ExecutionPlan for Parts {
    fn name(&self) -> &str {
        "Parts"
    }

    fn properties(&self) -> &Arc<PlanProperties> {
        &self.properties
    }

    fn children(&self) -> Vec<&Arc<dyn ExecutionPlan>> {
        vec![&self.input]
    }

    fn apply_expressions(
        &self,
        _: &mut dyn FnMut(&Arc<dyn PhysicalExpr>) -> Result<TreeNodeRecursion>,
    ) -> Result<TreeNodeRecursion> {
        Ok(TreeNodeRecursion::Continue)
    }

    fn with_new_children(
        self: Arc<Self>,
        children: Vec<Arc<dyn ExecutionPlan>>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let input = children.into_iter().next();
        let input = input.unwrap_or_else(|| Arc::clone(&self.input));
        let work = Arc::clone(&self.work);
        Ok(Arc::new(Self::new(work, input, self.schema())))
    }

    fn execute(
        &self,
        partition: usize,
        context: Arc<TaskContext>,
    ) -> Result<SendableRecordBatchStream> {
        let numbers = self.input.execute(partition, Arc::clone(&context))?;
        let (work, schema) = (Arc::clone(&self.work), self.schema());
        let rows = numbers
            .map_ok(move |batch| {
                let numbers = batch
                    .column(0)
                    .as_primitive::<Int32Type>()
                    .values()
                    .to_vec();
                let (work, schema) = (Arc::clone(&work), Arc::clone(&schema));
                let context = Arc::clone(&context);
                let rows = move |part| {
                    let (work, schema) = (Arc::clone(&work), Arc::clone(&schema));
                    stream::once(rows_of(work, part, schema, Arc::clone(&context))).try_flatten()
                };
                stream::iter(numbers).map(rows).flatten()
            })
            .try_flatten();
        Ok(Box::pin(RecordBatchStreamAdapter::new(self.schema(), rows)))
    }
}

/// How parts go over the network, beside what the cluster knows itself.
#[derive(Debug, Default)]
pub struct Codec(BallistaPhysicalExtensionCodec);

/// What begins a message of ours.
const OURS: &[u8] = b"whereworn parts\n";

impl PhysicalExtensionCodec for Codec {
    fn try_decode(
        &self,
        bytes: &[u8],
        inputs: &[Arc<dyn ExecutionPlan>],
        context: &TaskContext,
        converter: &dyn PhysicalProtoConverterExtension,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let Some(message) = bytes.strip_prefix(OURS) else {
            return self.0.try_decode(bytes, inputs, context, converter);
        };
        let [input] = inputs else {
            return Err(broken("there is no table of parts"));
        };
        let line = message.iter().position(|byte| *byte == b'\n');
        let (work, schema) = message.split_at(line.ok_or_else(|| broken("it has one line"))?);
        let work: Work = serde_json::from_slice(work).map_err(|error| broken(&error))?;
        let schema = StreamReader::try_new(schema.get(1..).unwrap_or_default(), None)?.schema();
        Ok(Arc::new(Parts::new(
            Arc::new(work),
            Arc::clone(input),
            schema,
        )))
    }

    fn try_encode(
        &self,
        node: Arc<dyn ExecutionPlan>,
        out: &mut Vec<u8>,
        converter: &dyn PhysicalProtoConverterExtension,
    ) -> Result<()> {
        let Some(parts) = node.downcast_ref::<Parts>() else {
            return self.0.try_encode(node, out, converter);
        };
        out.extend(OURS);
        serde_json::to_writer(&mut *out, parts.work.as_ref()).map_err(|error| broken(&error))?;
        out.push(b'\n');
        StreamWriter::try_new(out, &parts.schema())?.finish()?;
        Ok(())
    }
}

fn broken(what: &(impl fmt::Display + ?Sized)) -> DataFusionError {
    DataFusionError::Execution(format!("the message of a part cannot be read: {what}"))
}
