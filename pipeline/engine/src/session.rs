//! A session over the tables of one study.

use std::path::PathBuf;
use std::sync::Arc;

use datafusion::arrow::record_batch::RecordBatch;
use datafusion::datasource::MemTable;
use datafusion::datasource::file_format::parquet::ParquetFormat;
use datafusion::datasource::listing::{
    ListingOptions, ListingTable, ListingTableConfig, ListingTableUrl,
};
use datafusion::execution::object_store::ObjectStoreUrl;
use datafusion::object_store::local::LocalFileSystem;
use datafusion::prelude::{SessionConfig, SessionContext, col};
use whereworn_model::settings::Settings;
use whereworn_model::table::ResultTable;
use whereworn_model::time::{Micros, Month};

use crate::base_tables;
use crate::convert::record_batch;
use crate::error::EngineError;
use crate::functions;
use crate::run::Rows;

/// Address under which the engine finds the files of the store.
const STORE: &str = "study://store/";

/// What a study gives to the engine. Instants are microseconds UTC; glucose is mg/dL.
pub struct StudyTables<'a> {
    /// The study's settings.
    pub settings: &'a Settings,
    /// The month of the report.
    pub month: Month,
    /// Nothing later than this is used.
    pub cutoff: Micros,
    /// Parquet files of readings in one folder, sorted by `sensor_no` and `time` over all of them.
    pub readings: Vec<PathBuf>,
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
    /// Tables made outside SQL: `findings` and `left_out`.
    pub made: Vec<ResultTable>,
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

/// A session over the tables of one study.
pub struct Engine {
    pub(crate) context: SessionContext,
    pub(crate) runtime: tokio::runtime::Runtime,
}

impl Engine {
    /// Starts a session and registers the study's tables and our functions.
    ///
    /// Every query runs in one partition, so that sums come out the same on any machine; queries that do
    /// not need each other run side by side.
    ///
    /// # Errors
    /// The engine does not start, or a file of the store cannot be opened.
    pub fn start(study: &StudyTables<'_>) -> Result<Self, EngineError> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .build()
            .map_err(|error| EngineError::Start(error.to_string()))?;
        let mut config = SessionConfig::new()
            .with_target_partitions(1)
            .with_batch_size(8192);
        let options = config.options_mut();
        options.execution.parquet.pushdown_filters = false;
        options.execution.collect_statistics = true;
        options.optimizer.prefer_existing_sort = true;
        options.optimizer.enable_dynamic_filter_pushdown = false;
        options.execution.sort_in_place_threshold_bytes = 64 << 20;
        let context = SessionContext::new_with_config(config);
        functions::register(&context);
        let engine = Self { context, runtime };
        engine.runtime.block_on(engine.register(study))?;
        Ok(engine)
    }

    async fn register(&self, study: &StudyTables<'_>) -> Result<(), EngineError> {
        self.register_readings(study).await?;
        for (name, batch) in [
            ("sensors", study.sensors.clone()),
            ("fingersticks_all", study.fingersticks.clone()),
            ("wear_events_all", study.wear_events.clone()),
            ("judgements_all", study.judgements.clone()),
        ] {
            self.register_batch(name, batch)?;
        }
        for (name, batch) in base_tables::all(study)? {
            self.register_batch(name, batch)?;
        }
        for table in &study.made {
            let batch =
                record_batch(table).map_err(|error| EngineError::Start(error.to_string()))?;
            self.register_batch(&table.name, batch)?;
        }
        let at = format!("to_timestamp_micros({})", study.cutoff);
        let reused = |(sensor, until): &(i32, Micros)| {
            format!(" AND NOT (sensor_no = {sensor} AND time >= to_timestamp_micros({until}))")
        };
        let reused: String = study.used_until.iter().map(reused).collect();
        for (view, sql) in [
            (
                "readings",
                format!(
                    "SELECT sensor_no, wearer, sensor, time, glucose, status FROM readings_all WHERE time <= {at}{reused}"
                ),
            ),
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
        Ok(())
    }

    async fn register_readings(&self, study: &StudyTables<'_>) -> Result<(), EngineError> {
        let Some(folder) = study.readings.first().and_then(|path| path.parent()) else {
            return self.register_batch("readings_all", base_tables::no_readings());
        };
        // Files are named below the store's folder, whose own name may hold what no address can: brackets, stars,
        // bytes that are no text.
        let root = ObjectStoreUrl::parse(STORE)?;
        let files = LocalFileSystem::new_with_prefix(folder)
            .map_err(|error| EngineError::Start(error.to_string()))?;
        self.context
            .register_object_store(root.as_ref(), Arc::new(files));
        let urls = study
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
        self.context
            .register_table("readings_all", Arc::new(ListingTable::try_new(config)?))?;
        Ok(())
    }

    fn register_batch(&self, name: &str, batch: RecordBatch) -> Result<(), EngineError> {
        self.register_rows(
            name,
            Rows {
                schema: batch.schema(),
                batches: vec![batch],
            },
        )
    }

    /// Registers rows as a table.
    pub(crate) fn register_rows(&self, name: &str, rows: Rows) -> Result<(), EngineError> {
        let table = MemTable::try_new(rows.schema, vec![rows.batches])?;
        self.context.deregister_table(name)?;
        self.context.register_table(name, Arc::new(table))?;
        Ok(())
    }

    async fn register_view(&self, name: &str, sql: &str) -> Result<(), EngineError> {
        let frame = self.context.sql(sql).await?;
        self.context.register_table(name, frame.into_view())?;
        Ok(())
    }
}
