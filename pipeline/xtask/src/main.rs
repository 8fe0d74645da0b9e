//! Checks that contributors and CI run.
fn main() {}
