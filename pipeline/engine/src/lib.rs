//! SQL over the store: the only crate that names DataFusion.
