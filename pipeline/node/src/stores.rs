//! Where files lie: on this machine's folders, or in buckets.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use datafusion::error::{DataFusionError, Result};
use datafusion::execution::object_store::{DefaultObjectStoreRegistry, ObjectStoreRegistry};
use datafusion::execution::runtime_env::{RuntimeEnv, RuntimeEnvBuilder};
use object_store::ObjectStore;
use object_store::aws::AmazonS3Builder;
use url::Url;

/// Scheme of buckets with the S3 interface.
pub const BUCKETS: &str = "s3";

/// Folders, and the buckets that the environment gives access to.
#[derive(Debug, Default)]
struct Stores {
    folders: DefaultObjectStoreRegistry,
    buckets: Mutex<BTreeMap<String, Arc<dyn ObjectStore>>>,
}

impl ObjectStoreRegistry for Stores {
    fn register_store(
        &self,
        url: &Url,
        store: Arc<dyn ObjectStore>,
    ) -> Option<Arc<dyn ObjectStore>> {
        self.folders.register_store(url, store)
    }

    fn get_store(&self, url: &Url) -> Result<Arc<dyn ObjectStore>> {
        let Some(name) = url.host_str().filter(|_| url.scheme() == BUCKETS) else {
            return self.folders.get_store(url);
        };
        let mut buckets = self.buckets.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = buckets.get(name) {
            return Ok(Arc::clone(known));
        }
        let bucket = AmazonS3Builder::from_env()
            .with_bucket_name(name)
            .build()
            .map_err(|error| DataFusionError::ObjectStore(Box::new(error)))?;
        let bucket: Arc<dyn ObjectStore> = Arc::new(bucket);
        buckets.insert(name.to_owned(), Arc::clone(&bucket));
        Ok(bucket)
    }
}

/// An environment that finds folders and buckets.
///
/// # Errors
/// Those of the engine.
pub fn environment(files: Option<&str>) -> Result<Arc<RuntimeEnv>> {
    let builder = RuntimeEnvBuilder::new().with_object_store_registry(Arc::new(Stores::default()));
    match files {
        Some(folder) => builder.with_temp_file_path(folder).build_arc(),
        None => builder.build_arc(),
    }
}
