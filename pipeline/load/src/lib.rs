//! Raw files into the study's Parquet store.
