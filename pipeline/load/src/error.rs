//! Why a study could not be loaded.

use std::io;
use std::path::{Path, PathBuf};

/// Why a study could not be loaded. Each names the file, where there is one the line, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The user's folder or settings cannot be used.
    #[error("{0}")]
    Study(String),
    /// There is a study, and no file of input in it.
    #[error("{0}")]
    NoInput(String),
    /// An input file as a whole cannot be used.
    #[error("{file}, line {line}: {message}")]
    File {
        /// Path relative to the study folder.
        file: String,
        /// Line, from 1.
        line: u64,
        /// What is wrong and what to do.
        message: String,
    },
    /// The operating system refused a file operation.
    #[error("{}: {doing}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// The cause.
        source: io::Error,
    },
    /// A promise of the program's own is broken, whatever the input.
    #[error("a fault in whereworn itself: {0}: nothing was written; please report it")]
    Internal(String),
    /// Another run has the lock.
    #[error(
        "{0} works on this study: wait until it has ended, or say how long to wait with --wait SECONDS"
    )]
    Busy(String),
    /// The store cannot be read or written.
    #[error("{}: {message}; run again: the store is built from the raw files", path.display())]
    Store {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        message: String,
    },
}

impl LoadError {
    /// Turns an I/O error into one that names the file.
    pub(crate) fn io(path: &Path, doing: &'static str) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io {
            path,
            doing,
            source,
        }
    }

    /// Turns any error of the store's format into one that names the file.
    pub(crate) fn store<E: std::fmt::Display>(path: &Path) -> impl FnOnce(E) -> Self {
        let path = path.to_owned();
        move |error| Self::Store {
            path,
            message: error.to_string(),
        }
    }
}
