//! Raw files into the study's Parquet store.
//!
//! [`Study::open`] reads the settings and lists the input files, [`load`] parses what is new or changed and
//! brings the store up to date, [`Store::settle`] gives the rows that count up to an instant together with
//! every row set aside.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

mod block;
mod bytes;
mod columns;
mod computed;
mod corrections;
mod encoding;
mod error;
mod evidence;
mod fhir;
mod fields;
pub mod files;
mod fingersticks;
mod folds;
mod input;
mod judgements;
pub mod map;
mod parquet_io;
mod plain;
mod pooled;
mod readings;
mod records;
mod reject;
mod reused;
mod settle;
mod settle_readings;
mod settle_small;
mod source;
mod store;
mod study;
mod taken;
mod times;
mod wear_events;

pub use computed::Computed;
pub use error::LoadError;
pub use evidence::{Evidence, Said};
pub use input::{InputFile, Table};
pub use plain::rejected_rows;
pub use reject::Reject;
pub use settle::{RowCounts, Settled};
pub use store::{Holder, InputRecord, LoadOptions, Loaded, Store, load};
pub use study::Study;
