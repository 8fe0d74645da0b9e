//! The program from outside: study folders go in, exit status, messages and written files come out.
#![allow(
    clippy::print_stderr,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic
)]

mod agreement_limits;
mod agreement_tables;
mod bad_input;
mod clumsy_queries;
mod comparisons;
mod demo;
mod determinism;
mod edges_nights;
mod edges_wear;
mod editions;
mod elsewhere;
mod evidence;
mod faults;
mod fhir;
mod fixture;
mod guide;
mod judgements;
mod kept_evidence;
mod kept_results;
mod layout;
mod load_files;
mod load_odd;
mod load_rows;
mod load_times;
mod log_tables;
mod messy;
mod next_sensor;
mod night_study;
mod night_tables;
mod out_folder;
mod own_queries;
mod plan;
mod planted;
mod privacy;
mod public;
mod published_accuracy;
mod published_wear;
mod queries;
mod queries_apart;
mod recomputed;
mod simultaneous;
mod since_last_month;
mod small_study;
mod sql_files;
mod studies;
mod survival_tables;
mod two_routes;
