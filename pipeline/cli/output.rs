//! A folder written all or nothing.

use std::collections::BTreeSet;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::failure::Failure;

/// A folder being written beside the place where it will stand.
pub struct Output {
    target: PathBuf,
    partial: PathBuf,
    previous: PathBuf,
    written: BTreeSet<String>,
}

impl Output {
    /// Begins a folder. One that stands there already must be ours whole: `run.json` lists what we wrote.
    pub fn begin(target: &Path) -> Result<Self, Failure> {
        let name = target.file_name().ok_or_else(|| {
            Failure::Request(format!(
                "{}: --out needs the name of a folder",
                target.display()
            ))
        })?;
        let name = name.to_string_lossy();
        let parent = target
            .parent()
            .filter(|p| !p.as_os_str().is_empty())
            .unwrap_or(Path::new("."));
        let output = Self {
            target: target.to_owned(),
            partial: parent.join(format!(".{name}.partial")),
            previous: parent.join(format!(".{name}.previous")),
            written: BTreeSet::new(),
        };
        fs::create_dir_all(parent).map_err(Failure::io(parent, "creating"))?;
        output.recover()?;
        refuse_foreign(target)?;
        if output.partial.exists() {
            fs::remove_dir_all(&output.partial)
                .map_err(Failure::io(&output.partial, "removing"))?;
        }
        for folder in ["figures", "tables"] {
            let path = output.partial.join(folder);
            fs::create_dir_all(&path).map_err(Failure::io(&path, "creating"))?;
        }
        Ok(output)
    }

    /// Mends a swap that was cut off between its two steps.
    fn recover(&self) -> Result<(), Failure> {
        if !self.previous.exists() {
            return Ok(());
        }
        if self.target.exists() {
            fs::remove_dir_all(&self.previous).map_err(Failure::io(&self.previous, "removing"))
        } else {
            fs::rename(&self.previous, &self.target).map_err(Failure::io(&self.target, "restoring"))
        }
    }

    /// Creates a file in the folder; `name` has `/` between its parts.
    pub fn create(&mut self, name: &str) -> Result<(fs::File, PathBuf), Failure> {
        let path = self.partial.join(name);
        let file = fs::File::create(&path).map_err(Failure::io(&path, "creating"))?;
        self.written.insert(name.to_owned());
        Ok((file, path))
    }

    /// Writes a whole file.
    pub fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let (mut file, path) = self.create(name)?;
        file.write_all(bytes).map_err(Failure::io(&path, "writing"))
    }

    /// Names of the files written so far.
    pub fn written(&self) -> &BTreeSet<String> {
        &self.written
    }

    /// Puts the folder in its place.
    pub fn finish(self) -> Result<(), Failure> {
        if self.target.exists() {
            fs::rename(&self.target, &self.previous)
                .map_err(Failure::io(&self.target, "replacing"))?;
        }
        fs::rename(&self.partial, &self.target).map_err(Failure::io(&self.target, "writing"))?;
        if self.previous.exists() {
            fs::remove_dir_all(&self.previous).map_err(Failure::io(&self.previous, "removing"))?;
        }
        Ok(())
    }
}

/// Refuses a folder that holds anything that we did not write.
fn refuse_foreign(target: &Path) -> Result<(), Failure> {
    if !target.exists() {
        return Ok(());
    }
    let ours: BTreeSet<String> = fs::read(target.join("run.json"))
        .ok()
        .and_then(|bytes| serde_json::from_slice::<serde_json::Value>(&bytes).ok())
        .and_then(|run| serde_json::from_value(run.get("files")?.clone()).ok())
        .unwrap_or_default();
    match first_foreign(target, "", &ours)? {
        None => Ok(()),
        Some(name) => Err(Failure::Request(format!(
            "{}: holds `{name}`, which whereworn did not write: name another folder with --out, or empty this one",
            target.display()
        ))),
    }
}

fn first_foreign(
    folder: &Path,
    prefix: &str,
    ours: &BTreeSet<String>,
) -> Result<Option<String>, Failure> {
    if !folder.is_dir() {
        return Ok(Some(prefix.trim_end_matches('/').to_owned()));
    }
    for entry in fs::read_dir(folder).map_err(Failure::io(folder, "listing"))? {
        let entry = entry.map_err(Failure::io(folder, "listing"))?;
        let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
        let known_folder = prefix.is_empty() && ["figures", "tables"].contains(&name.as_str());
        let foreign = if known_folder && entry.path().is_dir() {
            first_foreign(&entry.path(), &format!("{name}/"), ours)?
        } else {
            (!ours.contains(&name)).then_some(name)
        };
        if foreign.is_some() {
            return Ok(foreign);
        }
    }
    Ok(None)
}
