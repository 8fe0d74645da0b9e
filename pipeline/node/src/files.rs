//! The files that a step reads, where executors find them.

use std::path::Path;
use std::sync::Arc;

use datafusion::datasource::file_format::parquet::ParquetFormat;
use datafusion::datasource::listing::{
    ListingOptions, ListingTable, ListingTableConfig, ListingTableUrl,
};
use datafusion::error::{DataFusionError, Result};
use datafusion::prelude::{SessionContext, col};
use object_store::path::Path as Key;
use object_store::{ObjectStore, ObjectStoreExt};
use serde::{Deserialize, Serialize};
use url::Url;
use whereworn_model::step::Step;

/// Where executors find the files of a step.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Placed {
    readings: Vec<Url>,
    tables: Vec<(String, Url)>,
}

/// Copies of tables, which go with the step. Those of readings stay for other steps.
#[derive(Default)]
pub struct Copies(Vec<(Arc<dyn ObjectStore>, Key)>);

impl Copies {
    /// Removes them.
    pub async fn remove(self) {
        for (bucket, key) in self.0 {
            // What cannot be removed is told by the list of the bucket.
            let _ = bucket.delete(&key).await;
        }
    }
}

/// Copies a step's files to where executors find them, if they do not see them as they are.
///
/// # Errors
/// A file cannot be read, or a bucket not be written.
pub async fn place(
    step: &Step,
    through: Option<&Url>,
    context: &SessionContext,
    copies: &mut Copies,
) -> Result<Placed> {
    let mut placed = Placed::default();
    let Some(through) = through else {
        for file in step.readings.iter().flat_map(|readings| &readings.files) {
            placed.readings.push(address(file)?);
        }
        for (name, file) in &step.tables {
            placed.tables.push((name.clone(), address(file)?));
        }
        return Ok(placed);
    };
    let bucket = context
        .runtime_env()
        .object_store_registry
        .get_store(through)?;
    let under = |name: &str| {
        let folder = through.as_str().trim_end_matches('/');
        let url = Url::parse(&format!("{folder}/{name}"));
        url.map_err(|error| DataFusionError::External(error.into()))
    };
    if let Some(readings) = &step.readings {
        for (number, file) in readings.files.iter().enumerate() {
            let url = under(&format!("readings-{}/{number:04}.parquet", readings.hash))?;
            let key = Key::from_url_path(url.path())?;
            if bucket.head(&key).await.is_err() {
                bucket.put(&key, std::fs::read(file)?.into()).await?;
            }
            placed.readings.push(url);
        }
    }
    let own = context.session_id();
    for (name, file) in &step.tables {
        let url = under(&format!("step-{own}/{name}.parquet"))?;
        let key = Key::from_url_path(url.path())?;
        bucket.put(&key, std::fs::read(file)?.into()).await?;
        copies.0.push((Arc::clone(&bucket), key));
        placed.tables.push((name.clone(), url));
    }
    Ok(placed)
}

fn address(file: &Path) -> Result<Url> {
    Url::from_file_path(file).map_err(|()| {
        let file = file.display();
        DataFusionError::Plan(format!("{file}: has no address"))
    })
}

impl Placed {
    /// Gives the files to a session as the tables that the step names.
    ///
    /// # Errors
    /// A file is not there, or no Parquet.
    pub async fn register(&self, step: &Step, context: &SessionContext) -> Result<()> {
        if step.readings.is_some() {
            let order = vec![
                col("sensor_no").sort(true, false),
                col("time").sort(true, false),
            ];
            let options = ListingOptions::new(Arc::new(ParquetFormat::default()))
                .with_file_sort_order(vec![order]);
            let readings = listed(&self.readings, options, context).await?;
            context.register_table("readings_all", Arc::new(readings))?;
        }
        for (name, url) in &self.tables {
            // Texts have the type that the engine wrote.
            let format = ParquetFormat::default().with_force_view_types(false);
            let options = ListingOptions::new(Arc::new(format));
            let table = listed(std::slice::from_ref(url), options, context).await?;
            context.register_table(name.as_str(), Arc::new(table))?;
        }
        Ok(())
    }
}

async fn listed(
    urls: &[Url],
    options: ListingOptions,
    context: &SessionContext,
) -> Result<ListingTable> {
    let urls = urls
        .iter()
        .map(|url| ListingTableUrl::try_new(url.clone(), None));
    let urls = urls.collect::<Result<Vec<_>>>()?;
    let config = ListingTableConfig::new_with_multi_paths(urls)
        .with_listing_options(options.with_file_extension(".parquet"))
        .infer_schema(&context.state())
        .await?;
    ListingTable::try_new(config)
}
