//! A study folder: its settings and its input files.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::Duration;

use whereworn_model::settings::Settings;
use whereworn_model::store::FOLDER;

use crate::error::LoadError;
use crate::files::{Access, read_if_there};
use crate::input::{InputFile, list_inputs};
use crate::store::{Holder, exclusive};

/// A study folder whose settings have been read.
#[derive(Debug)]
pub struct Study {
    /// The folder.
    pub dir: PathBuf,
    /// Its settings, defaults filled in.
    pub settings: Settings,
    /// Input files, by their names' bytes.
    pub inputs: Vec<InputFile>,
    /// What a reader of the results should know about the settings.
    pub warnings: Vec<String>,
    /// The file in the folder that keeps what reports said of the evidence between sites.
    pub evidence: String,
}

/// Adding lines takes no time: whoever finds the files locked waits at least so long.
const LEAST_WAIT: Duration = Duration::from_secs(10);

impl Study {
    /// The right to add to the files beside `study.toml` that are not built from anything; it lasts as long as what is
    /// returned.
    ///
    /// # Errors
    /// Another run has it for longer than a moment or than the holder waits; the lock cannot be made.
    pub fn lock_kept(&self, holder: &Holder) -> Result<File, LoadError> {
        let wait = holder.wait.max(LEAST_WAIT);
        exclusive(&self.dir.join(FOLDER), "evidence-lock", wait, self.access())
    }

    /// Who may read what is written into the folder.
    pub fn access(&self) -> Access {
        if self.settings.study.shared {
            Access::Shared
        } else {
            Access::Owner
        }
    }

    /// The settings of a study folder, which needs no input yet.
    ///
    /// # Errors
    /// No such folder, settings that cannot be used.
    pub fn settings(dir: &Path) -> Result<Settings, LoadError> {
        read_settings(dir).map(|(settings, _)| settings)
    }

    /// Opens a study folder: reads `study.toml` (defaults where there is none) and lists the input files.
    ///
    /// # Errors
    /// No such folder, a folder without anything of a study in it, settings that cannot be used.
    pub fn open(dir: &Path) -> Result<Self, LoadError> {
        let (settings, written) = read_settings(dir)?;
        let (inputs, passed_over) = list_inputs(dir, &settings)?;
        if inputs.is_empty() {
            let aside = passed_over
                .first()
                .map_or(String::new(), |first| format!(" ({first})"));
            return Err(LoadError::NoInput(format!(
                "{}: no input: put CSV files into readings/, fingersticks/ and wear-events/, or map an export in study.toml{aside}",
                dir.display()
            )));
        }
        let mut warnings = passed_over;
        if !written {
            warnings.push("there is no study.toml: every setting has its default".to_owned());
        }
        if settings.study.timezone.is_none() {
            warnings.push(
                "study.toml names no time zone: local times, nights and months are taken as UTC; set [study] timezone"
                    .to_owned(),
            );
        }
        Ok(Self {
            dir: dir.to_owned(),
            settings,
            inputs,
            warnings,
            evidence: crate::evidence::FILE.to_owned(),
        })
    }
}

/// The settings of a study folder, and whether it has a `study.toml`.
fn read_settings(dir: &Path) -> Result<(Settings, bool), LoadError> {
    if !dir.is_dir() {
        return Err(LoadError::Study(format!(
            "{}: no such folder: name the study's folder, or begin one with `whereworn start DIR`; `whereworn demo DIR` writes one to look at",
            dir.display()
        )));
    }
    let path = dir.join("study.toml");
    let bytes = read_if_there(&path).map_err(LoadError::io(&path, "reading"))?;
    let text = bytes.map(String::from_utf8).transpose().map_err(|_| {
        LoadError::Study("study.toml, line 1: not UTF-8: save it as UTF-8".to_owned())
    })?;
    let settings = Settings::parse(text.as_deref().unwrap_or(""))
        .map_err(|error| LoadError::Study(format!("study.toml, {error}")))?;
    Ok((settings, text.is_some()))
}
