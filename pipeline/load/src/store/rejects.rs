//! Rejected rows in the store: a Parquet table, since there may be many.

use std::path::Path;
use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, RecordBatch, StringArray, UInt64Array};
use arrow::error::ArrowError;

use super::manifest::{Kind, Manifest};
use super::small_tables::batch_of;
use crate::error::LoadError;
use crate::parquet_io::{batches, typed};
use crate::reject::Reject;

pub(super) fn rejects_batch(rejects: &[Reject]) -> Result<RecordBatch, ArrowError> {
    let texts = |of: fn(&Reject) -> &str| -> ArrayRef {
        let texts = rejects.iter().map(of);
        let texts = texts.map(|text| Some(text).filter(|text| !text.is_empty()));
        Arc::new(texts.collect::<StringArray>())
    };
    let lines = UInt64Array::from_iter_values(rejects.iter().map(|reject| reject.line));
    batch_of(vec![
        ("file", texts(|reject| &reject.file)),
        ("line", Arc::new(lines)),
        ("column", texts(|reject| &reject.column)),
        ("reason", texts(|reject| &reject.reason)),
        ("raw", texts(|reject| &reject.raw)),
    ])
}

/// The rejected rows of a kind that the store keeps.
pub(super) fn read_rejects(
    dir: &Path,
    manifest: &Manifest,
    kind: Kind,
) -> Result<Vec<Reject>, LoadError> {
    let mut rejects = Vec::new();
    for file in manifest.files(kind) {
        let path = dir.join(file);
        for batch in batches(&path)? {
            rejects.extend(rejects_of(&batch?).map_err(LoadError::store(&path))?);
        }
    }
    Ok(rejects)
}

fn rejects_of(batch: &RecordBatch) -> Result<Vec<Reject>, String> {
    let texts = |name| typed(batch, name, |a| a.as_string_opt::<i32>());
    let lines: &UInt64Array = typed(batch, "line", |a| a.as_primitive_opt())?;
    let (file, column) = (texts("file")?, texts("column")?);
    let (reason, raw) = (texts("reason")?, texts("raw")?);
    let own = |text: Option<&str>| text.unwrap_or_default().to_owned();
    let rows = file
        .iter()
        .zip(lines.values())
        .zip(column)
        .zip(reason)
        .zip(raw);
    Ok(rows
        .map(|((((file, line), column), reason), raw)| Reject {
            file: own(file),
            line: *line,
            column: own(column),
            reason: own(reason),
            raw: own(raw),
        })
        .collect())
}
