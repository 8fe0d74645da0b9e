//! What each report said of the evidence between sites, kept so that a log corrected later does not rewrite it.

use std::collections::BTreeSet;
use std::fs;

use serde::{Deserialize, Serialize};
use whereworn_model::time::{Micros, format_utc, parse_instant};

use super::Store;
use crate::error::LoadError;

/// File of the store that is not built from the raw files: what was said is kept as it was said.
const FILE: &str = "evidence.csv";

/// Evidence that two sites differ, as a report first gave it.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptEvidence {
    /// Cut-off of the report.
    pub look: Micros,
    /// What was compared.
    pub measure: String,
    /// One site.
    pub site_a: String,
    /// The other.
    pub site_b: String,
    /// Natural logarithm of the e-value.
    pub log_e: f64,
}

#[derive(Serialize, Deserialize)]
struct Line {
    look: String,
    measure: String,
    site_a: String,
    site_b: String,
    log_e: f64,
}

impl KeptEvidence {
    fn key(&self) -> (Micros, &str, &str, &str) {
        (self.look, &self.measure, &self.site_a, &self.site_b)
    }
}

impl Store {
    /// All evidence kept, in order of look, measure and sites.
    ///
    /// # Errors
    /// The file cannot be read, or a line of it is damaged.
    pub fn kept_evidence(&self) -> Result<Vec<KeptEvidence>, LoadError> {
        let path = self.dir.join(FILE);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(LoadError::io(&path, "reading")(error)),
        };
        let damaged = |line: usize, message: &str| LoadError::File {
            file: format!("{}/{FILE}", whereworn_model::store::FOLDER),
            line: line as u64 + 2,
            message: format!(
                "{message}; restore the file from a backup, or delete it: what earlier reports said is then forgotten"
            ),
        };
        csv::Reader::from_reader(bytes.as_slice())
            .deserialize::<Line>()
            .enumerate()
            .map(|(number, line)| {
                let line = line.map_err(|error| damaged(number, &error.to_string()))?;
                let look = parse_instant(&line.look)
                    .ok_or_else(|| damaged(number, "`look` is not an instant"))?;
                Ok(KeptEvidence {
                    look,
                    measure: line.measure,
                    site_a: line.site_a,
                    site_b: line.site_b,
                    log_e: line.log_e,
                })
            })
            .collect()
    }

    /// Keeps evidence that is not kept yet; what is kept of a look, measure and pair of sites stays as it is.
    ///
    /// # Errors
    /// The file cannot be read or replaced; it is then as it was.
    pub fn keep_evidence(&self, rows: &[KeptEvidence]) -> Result<(), LoadError> {
        let mut kept = self.kept_evidence()?;
        let known: BTreeSet<_> = kept.iter().map(KeptEvidence::key).collect();
        let new: Vec<KeptEvidence> = rows
            .iter()
            .filter(|row| !known.contains(&row.key()))
            .cloned()
            .collect();
        if new.is_empty() {
            return Ok(());
        }
        kept.extend(new);
        kept.sort_by(|a, b| a.key().cmp(&b.key()));
        let path = self.dir.join(FILE);
        let mut out = csv::Writer::from_writer(Vec::new());
        for row in kept {
            out.serialize(Line {
                look: format_utc(row.look),
                measure: row.measure,
                site_a: row.site_a,
                site_b: row.site_b,
                log_e: row.log_e,
            })
            .map_err(LoadError::store(&path))?;
        }
        let bytes = out.into_inner().map_err(LoadError::store(&path))?;
        let beside = self.dir.join("evidence-new.csv");
        fs::write(&beside, bytes).map_err(LoadError::io(&beside, "writing"))?;
        fs::rename(&beside, &path).map_err(LoadError::io(&path, "replacing"))
    }
}
