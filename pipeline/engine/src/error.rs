//! What can go wrong between a query file and its table, by who can mend it.

use datafusion::error::DataFusionError;

/// What can go wrong between a query file and its table.
#[derive(Debug, thiserror::Error)]
pub enum EngineError {
    /// A query file cannot be read.
    #[error("{file}: {source}")]
    Read {
        /// The file.
        file: String,
        /// The cause.
        source: std::io::Error,
    },
    /// The header of a query file is no TOML of the known kind.
    #[error("{file}, {message}")]
    Header {
        /// The file.
        file: String,
        /// Line and cause.
        message: String,
    },
    /// A query is not one that can be run.
    #[error("{file}: {message}")]
    Query {
        /// The file, or the query's name.
        file: String,
        /// What is wrong and what to do.
        message: String,
    },
    /// Queries name each other in a circle.
    #[error(
        "queries name each other in a circle: {0}: let one of them name the raw tables instead"
    )]
    Circle(String),
    /// A query file of the study is refused.
    #[error("{0}")]
    Refused(String),
    /// There is no such query.
    #[error("there is no query `{name}`{hint}")]
    Unknown {
        /// The name asked for.
        name: String,
        /// The nearest known name, in words.
        hint: String,
    },
    /// A result cannot be written.
    #[error("{file}: {message}")]
    Write {
        /// The file.
        file: String,
        /// The cause.
        message: String,
    },
    /// The run was stopped from outside.
    #[error("stopped")]
    Stopped,
    /// The engine itself failed to start.
    #[error("the query engine: {0}")]
    Start(String),
}

impl From<DataFusionError> for EngineError {
    fn from(error: DataFusionError) -> Self {
        let text = error.find_root().strip_backtrace();
        Self::Start(text.lines().next().unwrap_or_default().trim().to_owned())
    }
}
