//! Which files belong to a study.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use whereworn_model::settings::Settings;
use whereworn_model::store;

use crate::error::LoadError;

/// The raw table that a file belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Table {
    /// Sensor readings.
    Readings,
    /// Capillary checks.
    Fingersticks,
    /// What happened to a sensor or its wearer.
    WearEvents,
    /// A person's own verdicts on night artefacts: the file `judgements.csv` beside the folders.
    Judgements,
}

impl Table {
    /// All four.
    pub const ALL: [Self; 4] = [
        Self::Readings,
        Self::Fingersticks,
        Self::WearEvents,
        Self::Judgements,
    ];

    /// Folder of the table inside a study folder; the name of its file for judgements.
    pub fn folder(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Fingersticks => "fingersticks",
            Self::WearEvents => "wear-events",
            Self::Judgements => "judgements",
        }
    }

    /// Name of the table in SQL.
    pub fn sql_name(self) -> &'static str {
        match self {
            Self::Readings => store::READINGS,
            Self::Fingersticks => store::FINGERSTICKS,
            Self::WearEvents => store::WEAR_EVENTS,
            Self::Judgements => store::JUDGEMENTS,
        }
    }
}

/// An input file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputFile {
    /// Where it is.
    pub path: PathBuf,
    /// Its path relative to the study folder, with `/` between the parts.
    pub name: String,
    /// The table that its rows belong to.
    pub table: Table,
    /// The mapping of columns in `[exports]` that it is read through.
    pub export: Option<String>,
}

/// All input files of a study, by the bytes of their names.
pub(crate) fn list_inputs(dir: &Path, settings: &Settings) -> Result<Vec<InputFile>, LoadError> {
    let mut inputs = Vec::new();
    for table in Table::ALL {
        let folder = dir.join(table.folder());
        if !folder.is_dir() {
            continue;
        }
        for path in files_in(&folder)? {
            let name = format!("{}/{}", table.folder(), file_name(&path));
            if is_csv(&name) {
                inputs.push(InputFile {
                    path,
                    name,
                    table,
                    export: None,
                });
            }
        }
    }
    for name in ["judgements.csv", "judgements.csv.gz"] {
        let path = dir.join(name);
        if path.is_file() {
            inputs.push(InputFile {
                path,
                name: name.to_owned(),
                table: Table::Judgements,
                export: None,
            });
        }
    }
    for (export, mapping) in &settings.exports {
        let Some(table) = Table::ALL.into_iter().find(|t| t.folder() == mapping.table) else {
            continue;
        };
        let before = inputs.len();
        for (path, name) in matching(dir, &mapping.files)? {
            inputs.retain(|input: &InputFile| input.name != name || input.export.is_some());
            inputs.push(InputFile {
                path,
                name,
                table,
                export: Some(export.clone()),
            });
        }
        if inputs.len() == before {
            return Err(LoadError::Study(format!(
                "study.toml: exports.{export}: no file matches `{}` in {}: correct `files`, or remove the export",
                mapping.files,
                dir.display()
            )));
        }
    }
    inputs.sort_by(|a, b| a.name.as_bytes().cmp(b.name.as_bytes()));
    if let Some(pair) = inputs.windows(2).find(|pair| pair[0].name == pair[1].name) {
        return Err(LoadError::Study(format!(
            "study.toml: {} is matched by two exports: let `files` of one of them leave it out",
            pair[0].name
        )));
    }
    Ok(inputs)
}

fn is_csv(name: &str) -> bool {
    let name = name.to_ascii_lowercase();
    name.ends_with(".csv") || name.ends_with(".csv.gz")
}

fn files_in(folder: &Path) -> Result<Vec<PathBuf>, LoadError> {
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(LoadError::io(folder, "listing"))? {
        let path = entry.map_err(LoadError::io(folder, "listing"))?.path();
        if path.is_file() {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// Files whose path relative to `dir` matches a pattern, part by part.
fn matching(dir: &Path, pattern: &str) -> Result<Vec<(PathBuf, String)>, LoadError> {
    let mut found = vec![(dir.to_owned(), String::new())];
    let parts: Vec<&str> = pattern.split('/').filter(|part| !part.is_empty()).collect();
    for (index, part) in parts.iter().enumerate() {
        let last = index + 1 == parts.len();
        let mut next = Vec::new();
        for (folder, name) in &found {
            for entry in std::fs::read_dir(folder).map_err(LoadError::io(folder, "listing"))? {
                let path = entry.map_err(LoadError::io(folder, "listing"))?.path();
                let own = file_name(&path);
                let fits = if last { path.is_file() } else { path.is_dir() };
                if fits && matches(part.as_bytes(), own.as_bytes()) {
                    let joined = if name.is_empty() {
                        own
                    } else {
                        format!("{name}/{own}")
                    };
                    next.push((path, joined));
                }
            }
        }
        found = next;
    }
    found.sort();
    Ok(found)
}

/// Whether a file name fits a pattern with `*` and `?`.
fn matches(pattern: &[u8], name: &[u8]) -> bool {
    match (pattern.first(), name.first()) {
        (None, None) => true,
        (Some(b'*'), _) => {
            matches(&pattern[1..], name) || (!name.is_empty() && matches(pattern, &name[1..]))
        }
        (Some(b'?'), Some(_)) => matches(&pattern[1..], &name[1..]),
        (Some(p), Some(n)) if p == n => matches(&pattern[1..], &name[1..]),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns() {
        for (pattern, name, fits) in [
            ("*.csv", "a.csv", true),
            ("*.csv", "a.csv.gz", false),
            ("a?.csv", "ab.csv", true),
            ("a?.csv", "a.csv", false),
            ("*", "", true),
            ("2026-*-x.csv", "2026-01-x.csv", true),
        ] {
            assert_eq!(
                matches(pattern.as_bytes(), name.as_bytes()),
                fits,
                "{pattern} {name}"
            );
        }
    }
}
