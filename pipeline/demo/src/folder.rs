//! All of a study folder or nothing: it is written beside its place and moved there when it is whole.

use std::fs;
use std::path::{Path, PathBuf};

use crate::write::{create_folder, write_all};
use crate::{DemoError, Options, Summary};

/// Writes a synthetic study into a new or empty folder.
///
/// The study ends with 30 September 2026, local time; the last sensor of a wearer is as a rule still on. Memory is
/// that of one wearer's blood glucose, 4 bytes a minute.
///
/// # Errors
///
/// [`DemoError::NotEmpty`] if `dir` holds anything; [`DemoError::OutOfRange`] for options out of range;
/// [`DemoError::Io`] if something cannot be written. In each case `dir` is as it was.
pub fn write_study(dir: &Path, options: &Options) -> Result<Summary, DemoError> {
    write_study_with_progress(dir, options, &mut |_| {})
}

/// As [`write_study`]; calls `progress` with the number of wearers written so far.
///
/// # Errors
///
/// As [`write_study`].
pub fn write_study_with_progress(
    dir: &Path,
    options: &Options,
    progress: &mut dyn FnMut(usize),
) -> Result<Summary, DemoError> {
    options.check()?;
    let partial = partial_path(dir)?;
    let result = write_all(&partial, options, progress).and_then(|summary| {
        if dir.exists() {
            fs::remove_dir(dir).map_err(|source| DemoError::io(dir, source))?;
        }
        fs::rename(&partial, dir).map_err(|source| DemoError::io(dir, source))?;
        Ok(summary)
    });
    if result.is_err() {
        // The first error is the one to report; what cannot be removed is named by the next run.
        let _ = fs::remove_dir_all(&partial);
    }
    result
}

/// Creates the folder for unfinished work, beside the target, once the target proves new or empty.
fn partial_path(dir: &Path) -> Result<PathBuf, DemoError> {
    let name = dir
        .file_name()
        .ok_or_else(|| DemoError::Unnamed(dir.to_owned()))?;
    if dir.exists() {
        let empty = dir.is_dir()
            && fs::read_dir(dir)
                .map_err(|source| DemoError::io(dir, source))?
                .next()
                .is_none();
        if !empty {
            return Err(DemoError::NotEmpty(dir.to_owned()));
        }
    }
    let parent = dir.parent().unwrap_or(Path::new(""));
    if !parent.as_os_str().is_empty() {
        create_folder(parent)?;
    }
    let partial = parent.join(format!(".{}.partial", name.to_string_lossy()));
    if partial.exists() {
        return Err(DemoError::Leftover(partial));
    }
    create_folder(&partial)?;
    Ok(partial)
}
