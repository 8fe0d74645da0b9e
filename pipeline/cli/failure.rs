//! Why a run failed, in one line.

use std::io;
use std::path::Path;

use whereworn_demo::DemoError;
use whereworn_engine::EngineError;
use whereworn_load::LoadError;
use whereworn_plan::gather::PlanError;
use whereworn_plan::log::LogError;
use whereworn_report::ReportError;

/// Why a run failed.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The input.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// A query.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// The report.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// A plan.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The log of draws.
    #[error(transparent)]
    PlanLog(#[from] LogError),
    /// The synthetic study.
    #[error(transparent)]
    Demo(#[from] DemoError),
    /// One of several studies.
    #[error("{study}: {source}")]
    OfStudy {
        /// What it is called among them.
        study: String,
        /// What is wrong with it.
        source: Box<Failure>,
    },
    /// The request makes no sense with this study.
    #[error("{0}")]
    Request(String),
    /// The operating system refused a file operation.
    #[error("{what}: {source}")]
    Io {
        /// The file and what was tried.
        what: String,
        /// The cause.
        source: io::Error,
    },
    /// The report is written, but query files of the study failed or were refused.
    #[error(
        "the report is written, but {0} of the study's query files failed: their places in it say why"
    )]
    Queries(usize),
    /// Rows were rejected under `--strict`.
    #[error("{0} rows were rejected")]
    Rejected(usize),
}

impl Failure {
    /// Names the file in an I/O error.
    pub fn io(path: &Path, doing: &str) -> impl FnOnce(io::Error) -> Self {
        let what = format!("{}: {doing}", path.display());
        move |source| Self::Io { what, source }
    }
}
