//! A session over the tables of one study.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use datafusion::arrow::record_batch::RecordBatch;
use datafusion::catalog::TableProvider;
use datafusion::datasource::MemTable;
use datafusion::datasource::file_format::parquet::ParquetFormat;
use datafusion::datasource::listing::{
    ListingOptions, ListingTable, ListingTableConfig, ListingTableUrl,
};
use datafusion::execution::memory_pool::{FairSpillPool, MemoryReservation};
use datafusion::execution::object_store::ObjectStoreUrl;
use datafusion::execution::runtime_env::RuntimeEnvBuilder;
use datafusion::object_store::local::LocalFileSystem;
use datafusion::prelude::{SessionConfig, SessionContext, col};
use tokio::runtime::Runtime;
use whereworn_model::settings::Settings;
use whereworn_model::step::StepReadings;
use whereworn_model::table::ResultTable;
use whereworn_model::time::{Micros, Month};

use crate::apart::Worn;
use crate::base_tables;
use crate::elsewhere::Elsewhere;
use crate::error::EngineError;
use crate::functions;
use crate::kept::{self, Kept, Results};
use crate::parquet::batch;
use crate::pooled::PooledReadings;

/// Address under which the engine finds the files of the store.
const STORE: &str = "study://store/";

/// Bytes that a thread may use for calls within each other; only what is touched is taken. Deep expressions need it.
const STACK: usize = 64 << 20;

/// How often a run looks at the clock, and whether it has been stopped.
pub(crate) const TICK: Duration = Duration::from_millis(20);

/// Longest wait for a query that ended to give back its memory, which its parts do a moment after its end is heard.
const GIVING_BACK: Duration = Duration::from_secs(1);

/// The study itself, or one of several that are pooled.
pub struct Member<'a> {
    /// Stands before the names of its wearers and sensors in all tables: nothing, or the study's name and a slash.
    pub prefix: String,
    /// Its settings, by which its wearers' rows are judged.
    pub settings: &'a Settings,
    /// Number of its first sensor in [`StudyTables::sensors`].
    pub first_sensor: i32,
    /// Parquet files of its readings in one folder, sorted by `sensor_no`, counted from 0, and `time` over all of them.
    pub readings: Vec<PathBuf>,
    /// Text that stands for the rows in these files: others have another.
    pub readings_hash: String,
}

/// What a study, or several pooled, give to the engine. Instants are microseconds UTC; glucose is mg/dL.
pub struct StudyTables<'a> {
    /// What holds for the report as a whole; of several studies those of the first, with the sites of all.
    pub settings: &'a Settings,
    /// The study, or several by the bytes of their prefixes.
    pub members: Vec<Member<'a>>,
    /// The month of the report.
    pub month: Month,
    /// Nothing later than this is used.
    pub cutoff: Micros,
    /// `sensor_no`, `wearer`, `sensor` of the sensors that have readings.
    pub sensors: RecordBatch,
    /// Sensors by number whose readings from an instant on are not used.
    pub used_until: Vec<(i32, Micros)>,
    /// Capillary checks.
    pub fingersticks: RecordBatch,
    /// Wear events.
    pub wear_events: RecordBatch,
    /// Judgements of night artefacts.
    pub judgements: RecordBatch,
    /// What became of the rows: step, table, rows.
    pub row_counts: Vec<(String, String, u64)>,
    /// What earlier reports said of the evidence between sites.
    pub kept_evidence: Vec<KeptEvidence<'a>>,
    /// Cut-off of the first report that used the plan as it stands.
    pub planned_since: Option<Micros>,
    /// Tables made outside SQL: `findings`, `left_out` and `doubted_checks`.
    pub made: Vec<ResultTable>,
    /// Where results are kept between runs, if anywhere.
    pub results: Option<Arc<dyn Results>>,
}

impl<'a> StudyTables<'a> {
    /// The settings that a wearer's rows are judged by, and the wearer's name there.
    pub(crate) fn settings_of<'w>(&self, wearer: &'w str) -> (&'a Settings, &'w str) {
        let mut own = self
            .members
            .iter()
            .filter_map(|member| Some((member.settings, wearer.strip_prefix(&member.prefix)?)));
        own.next().unwrap_or((self.settings, wearer))
    }
}

/// What a report said of two sites.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeptEvidence<'a> {
    /// Cut-off of the report, microseconds UTC.
    pub look: Micros,
    /// What was compared.
    pub measure: &'a str,
    /// One site.
    pub site: &'a str,
    /// The other.
    pub against: &'a str,
    /// Capital of a bet against "no difference".
    pub evidence: f64,
    /// What was concluded; empty for reports made before conclusions had names.
    pub verdict: &'a str,
}

/// What a run may take.
#[derive(Clone, Debug)]
pub struct Limits {
    /// Bytes for all queries together; what sorts and groups beyond it goes to files for as long as it is needed. Three
    /// quarters are granted: the rest is for what they copy on their way, which the engine does not count.
    pub memory: usize,
    /// Folder of those files; the system's place for such files where there is none.
    pub spill: Option<PathBuf>,
    /// Time for one query of the study's own.
    pub time: Duration,
}

/// Functions that can fill the memory from a single row.
pub(crate) const TOO_LARGE: [&str; 3] = ["repeat", "lpad", "rpad"];

/// A session over the tables of one study.
pub struct Engine {
    pub(crate) context: SessionContext,
    pub(crate) limits: Limits,
    runtime: Option<Runtime>,
    /// Most queries that run side by side.
    pub(crate) at_once: usize,
    /// Who wore how many sensors that have readings.
    pub(crate) worn: Worn,
    /// Names of the tables that the study itself gives.
    of_study: Vec<String>,
    /// The results of earlier runs.
    pub(crate) kept: Option<Kept>,
    /// The readings of a study that stands alone, for steps that run elsewhere.
    pub(crate) readings: Option<StepReadings>,
    /// Another process that runs steps.
    pub(crate) elsewhere: Option<Arc<Elsewhere>>,
    /// Memory of the results that lie in tables.
    held: Mutex<BTreeMap<String, MemoryReservation>>,
}

impl Drop for Engine {
    /// A query that was told to stop and has not yet is not waited for.
    fn drop(&mut self) {
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}

impl Engine {
    /// Starts a session and registers the study's tables and our functions.
    ///
    /// Every query runs in one partition, so that sums come out the same on any machine; queries that do
    /// not need each other run side by side.
    ///
    /// # Errors
    /// The engine does not start, or a file of the store cannot be opened.
    pub fn start(study: &StudyTables<'_>, limits: Limits) -> Result<Self, EngineError> {
        let at_once = std::thread::available_parallelism().map_or(1, usize::from) + 1;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(at_once)
            .thread_stack_size(STACK)
            .build()
            .map_err(|error| EngineError::Start(error.to_string()))?;
        let granted = FairSpillPool::new(limits.memory / 4 * 3);
        let mut environment = RuntimeEnvBuilder::new().with_memory_pool(Arc::new(granted));
        if let Some(folder) = &limits.spill {
            environment = environment.with_temp_file_path(folder);
        }
        let environment = environment.build_arc()?;
        let context = SessionContext::new_with_config_rt(config(), environment);
        functions::register(&context);
        for name in TOO_LARGE {
            context.deregister_udf(name);
        }
        let mut engine = Self {
            context,
            limits,
            runtime: Some(runtime),
            at_once,
            worn: Worn::new(&study.sensors)?,
            of_study: Vec::new(),
            kept: None,
            readings: readings_for_steps(study),
            elsewhere: None,
            held: Mutex::default(),
        };
        let kept = study.results.clone().map(Kept::new);
        engine.kept = engine.runtime()?.block_on(engine.register(study, kept))?;
        engine.of_study = engine.table_names();
        Ok(engine)
    }

    pub(crate) fn runtime(&self) -> Result<&Runtime, EngineError> {
        self.runtime.as_ref().ok_or(EngineError::Stopped)
    }

    /// Names of all tables that a query could use now.
    pub(crate) fn table_names(&self) -> Vec<String> {
        let catalog = self.context.catalog("datafusion");
        let schema = catalog.and_then(|catalog| catalog.schema("public"));
        let mut names = schema.map_or(Vec::new(), |schema| schema.table_names());
        names.sort();
        names
    }

    /// Takes a result out of the session.
    pub(crate) fn forget(&self, name: &str) -> Result<(), EngineError> {
        self.context.deregister_table(name)?;
        Ok(())
    }

    /// Takes all results out of the session, and gives back their memory.
    pub(crate) fn forget_results(&self) -> Result<(), EngineError> {
        for name in self
            .table_names()
            .iter()
            .filter(|name| !self.of_study.contains(name))
        {
            self.forget(name)?;
        }
        if let Ok(mut held) = self.held.lock() {
            held.clear();
        }
        Ok(())
    }

    /// Keeps the memory of a result until it is released.
    pub(crate) fn hold(&self, name: &str, memory: MemoryReservation) {
        if let Ok(mut held) = self.held.lock() {
            held.insert(name.to_owned(), memory);
        }
    }

    /// Bytes of a result that lies in a table.
    pub(crate) fn held(&self, name: &str) -> usize {
        let held = self.held.lock();
        held.map_or(0, |held| held.get(name).map_or(0, MemoryReservation::size))
    }

    /// Gives back the memory of a result; gives whether it had any.
    pub(crate) fn release(&self, name: &str) -> bool {
        self.held
            .lock()
            .is_ok_and(|mut held| held.remove(name).is_some())
    }

    /// Waits, while no query runs, until nothing but results takes memory.
    pub(crate) fn wait_for_memory(&self) {
        let results = self.held.lock().map_or(0, |held| {
            held.values().map(MemoryReservation::size).sum::<usize>()
        });
        let pool = &self.context.runtime_env().memory_pool;
        let since = Instant::now();
        while pool.reserved() > results && since.elapsed() < GIVING_BACK {
            std::thread::sleep(TICK);
        }
    }

    /// Gives the study's tables to the session, and says what their rows are by which kept results are told.
    async fn register(
        &self,
        study: &StudyTables<'_>,
        mut kept: Option<Kept>,
    ) -> Result<Option<Kept>, EngineError> {
        self.register_readings(study).await?;
        let mut batches = vec![
            ("sensors", study.sensors.clone()),
            ("fingersticks_all", study.fingersticks.clone()),
            ("wear_events_all", study.wear_events.clone()),
            ("judgements_all", study.judgements.clone()),
        ];
        batches.extend(base_tables::all(study)?);
        for table in &study.made {
            let batch = batch(table).map_err(|error| EngineError::Start(error.to_string()))?;
            batches.push((&table.name, batch));
        }
        for (name, batch) in batches {
            if let Some(kept) = &mut kept {
                kept.rows(name, &batch)
                    .map_err(|error| EngineError::Start(error.to_string()))?;
            }
            self.register_batch(name, batch)?;
        }
        if let Some(kept) = &mut kept {
            let of = |member: &Member<'_>| {
                format!(
                    "{} {} {}",
                    member.prefix, member.first_sensor, member.readings_hash
                )
            };
            let stores: Vec<String> = study.members.iter().map(of).collect();
            kept.table(
                "readings_all",
                &stores.iter().map(String::as_str).collect::<Vec<_>>(),
            );
        }
        let at = format!("to_timestamp_micros({})", study.cutoff);
        for (view, sql) in [
            ("readings", readings_sql(study)),
            (
                "fingersticks",
                format!("SELECT * FROM fingersticks_all WHERE time <= {at}"),
            ),
            (
                "wear_events",
                format!("SELECT * FROM wear_events_all WHERE time <= {at}"),
            ),
            (
                "judgements",
                format!("SELECT * FROM judgements_all WHERE start <= {at}"),
            ),
        ] {
            if let Some(kept) = &mut kept {
                kept.view(view, &format!("{view}_all"), &sql);
            }
            self.register_view(view, &sql).await?;
        }
        // The views hold them; no query names what is later than the cut-off.
        for name in [
            "readings_all",
            "fingersticks_all",
            "wear_events_all",
            "judgements_all",
        ] {
            self.context.deregister_table(name)?;
        }
        Ok(kept)
    }

    async fn register_readings(&self, study: &StudyTables<'_>) -> Result<(), EngineError> {
        let table: Option<Arc<dyn TableProvider>> = match study.members.as_slice() {
            [alone] if alone.prefix.is_empty() => match self.readings_of(alone).await? {
                Some(readings) => Some(Arc::new(readings)),
                None => None,
            },
            several => {
                let sensors = study.sensors.num_rows();
                match PooledReadings::open(&self.context, several, sensors).await? {
                    Some(readings) => Some(Arc::new(readings)),
                    None => None,
                }
            }
        };
        let Some(table) = table else {
            return self.register_batch("readings_all", base_tables::no_readings());
        };
        self.context.register_table("readings_all", table)?;
        Ok(())
    }

    /// The readings of one study under the names that they have there.
    async fn readings_of(&self, alone: &Member<'_>) -> Result<Option<ListingTable>, EngineError> {
        let Some(folder) = alone.readings.first().and_then(|path| path.parent()) else {
            return Ok(None);
        };
        // Files are named below the store's folder, whose own name may hold what no address can: brackets, stars,
        // bytes that are no text.
        let root = ObjectStoreUrl::parse(STORE)?;
        let files = LocalFileSystem::new_with_prefix(folder)
            .map_err(|error| EngineError::Start(error.to_string()))?;
        self.context
            .register_object_store(root.as_ref(), Arc::new(files));
        let urls = alone
            .readings
            .iter()
            .filter_map(|path| path.file_name()?.to_str())
            .map(|name| ListingTableUrl::parse(format!("{STORE}{name}")))
            .collect::<Result<Vec<_>, _>>()?;
        let sorted = vec![
            col("sensor_no").sort(true, false),
            col("time").sort(true, false),
        ];
        let options = ListingOptions::new(Arc::new(ParquetFormat::default()))
            .with_file_extension(".parquet")
            .with_file_sort_order(vec![sorted]);
        let config = ListingTableConfig::new_with_multi_paths(urls)
            .with_listing_options(options)
            .infer_schema(&self.context.state())
            .await?;
        Ok(Some(ListingTable::try_new(config)?))
    }

    fn register_batch(&self, name: &str, batch: RecordBatch) -> Result<(), EngineError> {
        let table = MemTable::try_new(batch.schema(), vec![vec![batch]])?;
        self.context.register_table(name, Arc::new(table))?;
        Ok(())
    }

    async fn register_view(&self, name: &str, sql: &str) -> Result<(), EngineError> {
        let frame = self.context.sql(sql).await?;
        self.context.register_table(name, frame.into_view())?;
        Ok(())
    }
}

/// What of all readings counts.
fn readings_sql(study: &StudyTables<'_>) -> String {
    let reused = |(sensor, until): &(i32, Micros)| {
        format!(" AND NOT (sensor_no = {sensor} AND time >= to_timestamp_micros({until}))")
    };
    let reused: String = study.used_until.iter().map(reused).collect();
    let at = study.cutoff;
    format!(
        "SELECT sensor_no, wearer, sensor, time, glucose, status FROM readings_all WHERE time <= to_timestamp_micros({at}){reused}"
    )
}

fn readings_for_steps(study: &StudyTables<'_>) -> Option<StepReadings> {
    let [alone] = study.members.as_slice() else {
        return None;
    };
    if !alone.prefix.is_empty() || alone.readings.is_empty() {
        return None;
    }
    let files: std::io::Result<_> = alone.readings.iter().map(std::fs::canonicalize).collect();
    Some(StepReadings {
        files: files.ok()?,
        hash: kept::hash(&[&alone.readings_hash]),
        sql: readings_sql(study),
    })
}

/// Every query runs in one partition, so that sums come out the same on any machine.
pub(crate) fn config() -> SessionConfig {
    let mut config = SessionConfig::new()
        .with_target_partitions(1)
        .with_batch_size(8192);
    let options = config.options_mut();
    options.execution.parquet.pushdown_filters = false;
    options.execution.collect_statistics = true;
    options.optimizer.prefer_existing_sort = true;
    options.optimizer.enable_dynamic_filter_pushdown = false;
    options.execution.sort_in_place_threshold_bytes = 64 << 20;
    options.sql_parser.collect_spans = true;
    config
}
