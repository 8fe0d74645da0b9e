//! What is printed: text that cannot steer a terminal, and no panic where nobody reads it.

use std::io::{Write, stderr, stdout};

use whereworn_model::text::plain;

use crate::failure::Failure;

/// Writes lines on standard error; where they cannot be written nobody is there to be told.
pub fn say(text: &str) {
    let mut out = stderr().lock();
    for line in text.lines() {
        let _ = writeln!(out, "{}", plain(line));
    }
}

/// Writes on standard output.
pub fn emit(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = stdout().lock();
    out.write_all(bytes)
        .and_then(|()| out.flush())
        .map_err(|source| Failure::Io {
            what: "standard output".to_owned(),
            source,
        })
}
