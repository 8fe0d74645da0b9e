//! Gives the program a name that changes with all that decides what it computes, by which results that another program
//! kept are told from its own.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fs, io};

use sha2::{Digest, Sha256};

/// Sources, query files and the versions of all that is built in.
const PARTS: [&str; 3] = ["pipeline", "queries", "Cargo.lock"];

fn main() -> io::Result<()> {
    let root = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let mut files = Vec::new();
    for part in PARTS {
        println!("cargo::rerun-if-changed={}", root.join(part).display());
        collect(&root.join(part), &mut files)?;
    }
    files.sort();
    let mut hash = Sha256::new();
    for file in files {
        let bytes = fs::read(file)?;
        hash.update((bytes.len() as u64).to_le_bytes());
        hash.update(bytes);
    }
    let compiler = env::var_os("RUSTC").unwrap_or("rustc".into());
    hash.update(Command::new(compiler).arg("-vV").output()?.stdout);
    hash.update(env::var("TARGET").unwrap_or_default());
    let digits: String = hash
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    println!("cargo::rustc-env=WHEREWORN_SOURCES={digits}");
    Ok(())
}

/// The file, or the source and query files of a folder.
fn collect(path: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    if !path.is_dir() {
        files.push(path.to_owned());
        return Ok(());
    }
    for entry in fs::read_dir(path)? {
        let path = entry?.path();
        let ending = path.extension().unwrap_or_default();
        if path.is_dir() || ending == "rs" || ending == "sql" {
            collect(&path, files)?;
        }
    }
    Ok(())
}
