//! Results kept between runs: a query whose text and inputs are as they were is not run again.
//!
//! What a result was made from is known before anything runs: the query's own text and parameters, the rows of the study's
//! tables that it reads, and the same of every query that it names. The hash of all this names the result.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::sync::Arc;

use datafusion::arrow::array::RecordBatch;
use datafusion::arrow::datatypes::SchemaRef;
use datafusion::arrow::error::ArrowError;
use datafusion::arrow::ipc::reader::StreamReader;
use datafusion::arrow::ipc::writer::StreamWriter;
use sha2::{Digest, Sha256};

use crate::catalog::Query;
use crate::collect::bytes;
use crate::laid::Laid;

/// Where results of the same program, built by the same compiler, are kept between runs.
pub trait Results: Send + Sync {
    /// The bytes kept under a name, if they are there and whole.
    fn get(&self, name: &str) -> Option<Vec<u8>>;
    /// Keeps bytes under a name, as far as that is possible.
    fn put(&self, name: &str, bytes: &[u8]);
}

/// Functions that stand where a table can; what they give is in the query's text.
pub(crate) const TABLE_FUNCTIONS: [&str; 2] = ["generate_series", "range"];

/// Most bytes of one result that are kept: beyond it reading costs about what computing does.
const MOST: usize = 64 << 20;

/// The results of earlier runs on the tables of one study.
pub(crate) struct Kept {
    results: Arc<dyn Results>,
    /// What stands for the rows of each of the study's tables.
    tables: BTreeMap<String, String>,
}

impl Kept {
    pub fn new(results: Arc<dyn Results>) -> Self {
        Self {
            results,
            tables: BTreeMap::new(),
        }
    }

    /// Says what stands for the rows of a table of the study.
    pub fn table(&mut self, name: &str, made_from: &[&str]) {
        self.tables.insert(name.to_owned(), hash(made_from));
    }

    /// Says that a table of the study is what SQL makes of another.
    pub fn view(&mut self, name: &str, of: &str, sql: &str) {
        let rows = self.tables.remove(of).unwrap_or_default();
        self.table(name, &[&rows, sql]);
    }

    /// Says which rows a table of the study has.
    pub fn rows(&mut self, name: &str, rows: &RecordBatch) -> Result<(), ArrowError> {
        let bytes = encoded(&rows.schema(), std::slice::from_ref(rows))?;
        self.tables
            .insert(name.to_owned(), hexadecimal(&Sha256::digest(bytes)));
        Ok(())
    }

    /// Names of the results of queries that come in order; none of one that reads what is not known.
    pub fn names(&self, queries: &[&Query]) -> BTreeMap<String, String> {
        let mut names: BTreeMap<String, String> = BTreeMap::new();
        for query in queries {
            let parameters = format!("{:?}", query.header.parameters);
            let mut made_from = vec![query.name.as_str(), query.sql.as_str(), parameters.as_str()];
            let known = query.names.iter().all(|name| {
                let input = names.get(name).or_else(|| self.tables.get(name));
                made_from.push(name);
                made_from.extend(input.map(String::as_str));
                input.is_some() || TABLE_FUNCTIONS.contains(&name.as_str())
            });
            if known {
                let name = hash(&made_from);
                names.insert(query.name.clone(), name);
            }
        }
        names
    }

    /// The rows kept under a name.
    pub fn get(&self, name: &str) -> Option<(SchemaRef, Vec<RecordBatch>)> {
        let bytes = self.results.get(name)?;
        let reader = StreamReader::try_new(bytes.as_slice(), None).ok()?;
        let schema = reader.schema();
        let batches: Result<Vec<RecordBatch>, ArrowError> = reader.collect();
        Some((schema, batches.ok()?))
    }

    /// Keeps rows under a name. What cannot be kept is computed again.
    pub fn put(&self, name: &str, schema: &SchemaRef, rows: &Laid) {
        if rows.bytes() <= MOST
            && let Ok(batches) = rows.batches()
            && let Ok(bytes) = encoded(schema, &batches)
        {
            self.results.put(name, &bytes);
        }
    }
}

fn encoded(schema: &SchemaRef, batches: &[RecordBatch]) -> Result<Vec<u8>, ArrowError> {
    let room = batches.iter().map(bytes).sum();
    let mut writer = StreamWriter::try_new(Vec::with_capacity(room), schema)?;
    batches.iter().try_for_each(|batch| writer.write(batch))?;
    writer.into_inner()
}

/// Hash of texts, each with its length, so that no two lists of texts are one text.
pub(crate) fn hash(texts: &[&str]) -> String {
    let mut hash = Sha256::new();
    for text in texts {
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text.as_bytes());
    }
    hexadecimal(&hash.finalize())
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
