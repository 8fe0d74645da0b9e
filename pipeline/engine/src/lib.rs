//! SQL over the store: the only crate that names DataFusion.
//!
//! [`Catalog`] holds the query files and their order, [`Engine`] holds the tables of a study and the functions
//! of ours, [`Engine::run_all`] turns one into result tables with the help of the other.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

mod apart;
mod base_tables;
mod catalog;
mod charts;
mod collect;
mod convert;
mod describe;
mod elsewhere;
mod error;
mod expect;
mod explain;
pub mod functions;
mod kept;
mod laid;
mod messages;
mod parquet;
mod plan;
mod planning;
mod pooled;
mod run;
mod session;

pub use catalog::{Catalog, Query, Refused};
pub use describe::{ColumnDescription, TableDescription, is_base_table};
pub use elsewhere::{Elsewhere, RunStep, plans, register_functions, session_config};
pub use error::EngineError;
pub use kept::Results;
pub use parquet::{write_arrow, write_parquet};
pub use plan::plan_of;
pub use session::{Engine, KeptEvidence, Limits, Member, StudyTables};
