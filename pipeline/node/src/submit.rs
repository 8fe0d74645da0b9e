//! `submit`: has a step run, and writes its rows.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use ballista_core::execution_plans::execute_physical_plan;
use ballista_core::extension::SessionConfigExt;
use clap::Args;
use datafusion::arrow::array::{AsArray, RecordBatch};
use datafusion::arrow::compute::cast;
use datafusion::arrow::datatypes::{Int32Type, Schema, SchemaRef};
use datafusion::arrow::error::ArrowError;
use datafusion::arrow::ipc::writer::StreamWriter;
use datafusion::error::{DataFusionError, Result as Done};
use datafusion::physical_plan::ExecutionPlan;
use datafusion::prelude::SessionContext;
use datafusion_proto::protobuf::PhysicalPlanNode;
use futures::TryStreamExt;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use whereworn_model::step::{Step, VERSION};

use crate::executor::host_and_port;
use crate::files::{Copies, place};
use crate::parts::{self, Codec, PART, Work};
use crate::{session, stores};

/// How long a scheduler may take to answer.
const ANSWER: Duration = Duration::from_secs(3);

/// How long an executor is waited for.
const COMES: Duration = Duration::from_secs(30);

/// Times that a step is tried: an executor may go with rows that were not yet fetched.
const TRIES: usize = 3;

/// Arguments of `submit`.
#[derive(Args)]
pub struct Submit {
    /// Host and port of the scheduler
    #[arg(long, value_name = "HOST:PORT", value_parser = host_and_port)]
    at: (String, u16),
    /// The step, as `whereworn report` wrote it
    #[arg(long, value_name = "FILE")]
    step: PathBuf,
    /// File to write its rows to, a stream of Apache Arrow
    #[arg(long, value_name = "FILE")]
    rows: PathBuf,
    /// Bucket and folder through which executors read the step's files, where they do not see them under the same name
    #[arg(long, value_name = "s3://BUCKET/FOLDER")]
    through: Option<url::Url>,
}

impl Submit {
    /// Has the step run, and writes its rows.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub async fn run(self) -> Result<(), String> {
        let step = read(&self.step)?;
        self.ready().await?;
        let failed = |error: DataFusionError| in_short(&error);
        let environment = stores::environment(None).map_err(failed)?;
        let context = session::context(session::config(), environment);
        let mut copies = Copies::default();
        let rows = self.rows_of(step, &context, &mut copies).await;
        copies.remove().await;
        let (schema, batches) = rows?;
        write(&self.rows, &schema, &batches).map_err(failed)
    }

    async fn rows_of(
        &self,
        step: Step,
        context: &SessionContext,
        copies: &mut Copies,
    ) -> Result<(SchemaRef, Vec<RecordBatch>), String> {
        let failed = |error: DataFusionError| in_short(&error);
        let placed = place(&step, self.through.as_ref(), context, copies).await;
        let placed = placed.map_err(failed)?;
        let work = Work { step, placed };
        let plans = work.plans(context).await.map_err(failed)?;
        let rows = plans.first().map(|plan| Arc::clone(plan.schema().inner()));
        let schema = rows.unwrap_or_else(|| Arc::new(Schema::empty()));
        let plan = parts::of_step(work, &schema, plans.len()).map_err(failed)?;
        let mut tries = 1;
        let batches = loop {
            match self.batches(&plan, context).await {
                Ok(batches) => break batches,
                Err(error) if tries == TRIES => return Err(in_short(&error)),
                Err(_) => tries += 1,
            }
            self.ready().await?;
        };
        let batches = in_order(batches, &schema).map_err(failed)?;
        Ok((schema, batches))
    }

    /// Waits until there is an executor: without one a step would wait for ever.
    ///
    /// # Errors
    /// No scheduler, or none that has an executor.
    async fn ready(&self) -> Result<(), String> {
        let (host, port) = &self.at;
        for _ in 0..COMES.as_secs() {
            let answer = tokio::time::timeout(ANSWER, self.answer()).await;
            let Ok(Ok(status)) = answer else {
                return Err(format!("{host}:{port}: no scheduler answers there"));
            };
            if status.starts_with("HTTP/1.1 200") {
                return Ok(());
            }
            tokio::time::sleep(Duration::from_secs(1)).await;
        }
        let seconds = COMES.as_secs();
        Err(format!(
            "{host}:{port}: for {seconds} s no executor was there: start one with `whereworn-node executor`"
        ))
    }

    /// What the scheduler says when asked whether it has an executor.
    async fn answer(&self) -> std::io::Result<String> {
        let (host, port) = &self.at;
        let mut stream = TcpStream::connect((host.trim_matches(['[', ']']), *port)).await?;
        let question = format!("GET /readyz HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
        stream.write_all(question.as_bytes()).await?;
        let mut status = vec![0; "HTTP/1.1 200".len()];
        stream.read_exact(&mut status).await?;
        Ok(String::from_utf8_lossy(&status).into_owned())
    }

    /// The rows of all parts, as they come in.
    async fn batches(
        &self,
        plan: &Arc<dyn ExecutionPlan>,
        context: &SessionContext,
    ) -> Done<Vec<RecordBatch>> {
        let (host, port) = &self.at;
        let config = context.copied_config();
        let rows = execute_physical_plan::<PhysicalPlanNode>(
            format!("http://{host}:{port}"),
            &config.ballista_config(),
            Arc::clone(plan),
            &Codec::default(),
            context.session_id(),
            config,
        )
        .await?;
        rows.try_collect().await
    }
}

fn read(file: &Path) -> Result<Step, String> {
    let at = |what: String| format!("{}: {what}", file.display());
    let bytes = std::fs::read(file).map_err(|error| at(error.to_string()))?;
    let step: Step = serde_json::from_slice(&bytes).map_err(|error| at(error.to_string()))?;
    if step.version != VERSION {
        let (theirs, ours) = (step.version, VERSION);
        return Err(at(format!(
            "is of version {theirs}, and this program knows {ours}: install whereworn and whereworn-node of one version"
        )));
    }
    Ok(step)
}

/// Rows in the order of their parts, without the column that tells them.
fn in_order(batches: Vec<RecordBatch>, schema: &SchemaRef) -> Done<Vec<RecordBatch>> {
    let part = |batch: &RecordBatch| {
        let column = batch
            .column_by_name(PART)?
            .as_primitive_opt::<Int32Type>()?;
        column.values().first().copied()
    };
    let mut parts: Vec<(Option<i32>, RecordBatch)> = batches
        .into_iter()
        .map(|batch| (part(&batch), batch))
        .collect();
    parts.sort_by_key(|(part, _)| *part);
    // Dictionaries come over the network as the texts that they stand for.
    let columns = |batch: RecordBatch| {
        let columns = batch.columns().iter().zip(schema.fields());
        let columns = columns.map(|(column, field)| cast(column, field.data_type()));
        let columns = columns.collect::<Result<_, ArrowError>>()?;
        Ok(RecordBatch::try_new(Arc::clone(schema), columns)?)
    };
    let filled = parts.into_iter().filter(|(part, _)| part.is_some());
    filled.map(|(_, batch)| columns(batch)).collect()
}

fn write(file: &Path, schema: &SchemaRef, batches: &[RecordBatch]) -> Done<()> {
    let mut writer = StreamWriter::try_new(File::create(file)?, schema)?;
    for batch in batches {
        writer.write(batch)?;
    }
    writer.finish()?;
    Ok(())
}

/// The innermost cause, on one line.
fn in_short(error: &DataFusionError) -> String {
    let text = error.find_root().strip_backtrace();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
