//! Results kept between runs beside the store of the first study.

use whereworn_engine::Results;
use whereworn_findings::Outcome;
use whereworn_load::files::sha256;
use whereworn_load::{Computed, LoadError};

/// What tells this program from others that may have kept results: a hash of its sources, of the versions of all that it is
/// built from, and of the compiler.
const PROGRAM: &str = env!("WHEREWORN_SOURCES");

/// Results of this program beside a store.
pub struct KeptResults(pub Computed);

fn named(name: &str) -> String {
    sha256(format!("{PROGRAM} {name}").as_bytes())
}

impl Results for KeptResults {
    fn get(&self, name: &str) -> Option<Vec<u8>> {
        self.0.get(&named(name))
    }

    fn put(&self, name: &str, bytes: &[u8]) {
        self.0.put(&named(name), bytes);
    }
}

impl KeptResults {
    /// What an earlier run found by a look at the same, else what one finds now.
    pub fn outcome(
        &self,
        made_from: &str,
        look: impl FnOnce() -> Result<Outcome, LoadError>,
    ) -> Result<Outcome, LoadError> {
        let kept = self.get(made_from);
        if let Some(found) = kept.and_then(|bytes| Outcome::from_bytes(&bytes)) {
            return Ok(found);
        }
        let found = look()?;
        if let Some(bytes) = found.to_bytes() {
            self.put(made_from, &bytes);
        }
        Ok(found)
    }
}
