//! Lists the query files of the top folder `queries`, so that adding one takes no other change.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let root =
        Path::new(&env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default()).join("../../queries");
    println!("cargo::rerun-if-changed={}", root.display());
    let mut files = Vec::new();
    collect(&root, &mut files)?;
    files.sort();
    let mut list = String::from("&[\n");
    for path in files {
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        let _ = writeln!(
            list,
            "    ({name:?}, include_str!({:?})),",
            path.canonicalize()?
        );
    }
    list.push_str("]\n");
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    fs::write(out.join("queries.rs"), list)
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    println!("cargo::rerun-if-changed={}", folder.display());
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            collect(&path, files)?;
        } else if path.extension().is_some_and(|extension| extension == "sql") {
            files.push(path);
        }
    }
    Ok(())
}
