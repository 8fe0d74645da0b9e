//! Which files belong to a study.

use std::ffi::OsStr;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use whereworn_model::settings::{Encoding, Export, Settings};

use crate::error::LoadError;
use crate::fhir::is_fhir;
use crate::taken::{by_event, by_rows};

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
    /// Its encoding; UTF-8 where absent.
    pub encoding: Option<Encoding>,
}

/// Names that systems leave in folders by themselves.
const LEFT_BY_SYSTEMS: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];

/// What is said of a link whose end cannot be reached: without a word its rows would be missing.
const BROKEN_LINK: &str = "it is a link to something that is not there";

/// The most input files of a study.
const MOST_FILES: usize = 100_000;

/// All input files of a study, by the bytes of their names, and in words what lies beside them and is not read.
pub(crate) fn list_inputs(
    dir: &Path,
    settings: &Settings,
) -> Result<(Vec<InputFile>, Vec<String>), LoadError> {
    let mut inputs = Vec::new();
    let mut passed_over = Vec::new();
    for table in Table::ALL {
        let folder = dir.join(table.folder());
        let kind = Kind::of(&folder)?;
        if kind != Kind::Folder {
            let name = table.folder();
            let why = match kind {
                Kind::Nothing if folder.is_symlink() => Some(BROKEN_LINK),
                Kind::File | Kind::Other if table != Table::Judgements => {
                    Some("it is no folder: its rows are read from files in a folder of that name")
                }
                _ => None,
            };
            passed_over.extend(why.map(|why| (name.to_owned(), why.to_owned())));
            continue;
        }
        for entry in entries(&folder)? {
            let name = format!("{}/{}", table.folder(), entry.name);
            match entry.unread() {
                None => inputs.push(InputFile {
                    path: entry.path,
                    name,
                    table,
                    export: None,
                    encoding: None,
                }),
                Some(_)
                    if table == Table::Readings && entry.is_visible_file() && is_fhir(&name) =>
                {
                    let both = [Table::Readings, Table::Fingersticks];
                    inputs.extend(both.map(|table| InputFile {
                        path: entry.path.clone(),
                        name: name.clone(),
                        table,
                        export: None,
                        encoding: None,
                    }));
                }
                Some(why) => passed_over.push((name, why)),
            }
        }
    }
    for name in ["judgements.csv", "judgements.csv.gz"] {
        let path = dir.join(name);
        let kind = Kind::of(&path)?;
        if kind == Kind::Nothing && path.is_symlink() {
            passed_over.push((name.to_owned(), BROKEN_LINK.to_owned()));
        }
        if kind == Kind::File {
            inputs.push(InputFile {
                path,
                name: name.to_owned(),
                table: Table::Judgements,
                export: None,
                encoding: None,
            });
        }
    }
    for (export, mapping) in &settings.exports {
        let Some(table) = Table::ALL.into_iter().find(|t| t.folder() == mapping.table) else {
            continue;
        };
        let found = matching(dir, &mapping.files)?;
        if found.is_empty() {
            return Err(LoadError::Study(format!(
                "study.toml: exports.{export}: no file matches `{}` in {}: correct `files`, or remove the export",
                mapping.files,
                dir.display()
            )));
        }
        for (path, name) in found {
            inputs.retain(|input: &InputFile| input.name != name || input.export.is_some());
            passed_over.retain(|(passed, _)| *passed != name);
            inputs.push(InputFile {
                path,
                name,
                table,
                export: Some(export.clone()),
                encoding: mapping.encoding,
            });
        }
    }
    inputs.sort_by(|a, b| a.name.as_bytes().cmp(b.name.as_bytes()));
    refuse_twice(&inputs, settings)?;
    if inputs.len() > MOST_FILES {
        return Err(LoadError::Study(format!(
            "{}: {} input files, more than {MOST_FILES}: join some",
            dir.display(),
            inputs.len()
        )));
    }
    passed_over.extend(misnamed(dir)?);
    let in_words = passed_over
        .into_iter()
        .map(|(name, why)| format!("{name} is not read: {why}"));
    Ok((inputs, in_words.collect()))
}

/// Refuses a file that two exports read where nothing keeps them from reading its rows twice: a fingerstick that is a reading as
/// well would agree with itself.
fn refuse_twice(inputs: &[InputFile], settings: &Settings) -> Result<(), LoadError> {
    let export = |input: &InputFile| settings.exports.get_key_value(input.export.as_ref()?);
    for same in inputs.chunk_by(|a, b| a.name == b.name) {
        let exports: Vec<(&String, &Export)> = same.iter().filter_map(export).collect();
        let pairs = exports.iter().enumerate();
        let mut pairs =
            pairs.flat_map(|(place, two)| exports.iter().take(place).map(move |one| (one, two)));
        let twice = pairs.find(|((_, a), (_, b))| !(by_rows(a, b) || by_event(a, b)));
        if let (Some(((one, _), (two, _))), Some(input)) = (twice, same.first()) {
            return Err(LoadError::Study(format!(
                "study.toml: {} is matched by two exports, {one} and {two}: let `files` of one of them leave it out, or let each say in `rows` which of its rows it takes",
                input.name
            )));
        }
    }
    Ok(())
}

/// Names of a study folder that are read.
const READ: [&str; 7] = [
    "readings",
    "fingersticks",
    "wear-events",
    "judgements.csv",
    "judgements.csv.gz",
    "study.toml",
    "queries",
];

/// Folders and files whose names differ from those that are read by capitals, a hyphen or a plural.
fn misnamed(dir: &Path) -> Result<Vec<(String, String)>, LoadError> {
    let alike = |name: &str| {
        let name = name.to_ascii_lowercase().replace(['_', ' '], "-");
        let stem = name.split('.').next().unwrap_or_default();
        (stem.trim_end_matches('s').to_owned(), name.contains('.'))
    };
    let entries = entries(dir)?;
    let there = |name: &str| entries.iter().any(|entry| entry.name == name);
    let mut found = Vec::new();
    for entry in entries
        .iter()
        .filter(|entry| !READ.contains(&entry.name.as_str()))
    {
        let Some(meant) = READ
            .into_iter()
            .find(|name| alike(name) == alike(&entry.name))
        else {
            continue;
        };
        // A file system that ignores capitals opens it under the right name all the same.
        if there(meant) || !dir.join(meant).exists() {
            found.push((entry.name.clone(), format!("it would be as `{meant}`")));
        }
    }
    Ok(found)
}

/// What an entry of a folder is, links followed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    File,
    Folder,
    /// A link to nothing that can be found.
    Nothing,
    Other,
}

impl Kind {
    /// A path that cannot be looked at is an error: taken for absent, its rows would be missing without a word.
    fn of(path: &Path) -> Result<Self, LoadError> {
        match std::fs::metadata(path) {
            Ok(meta) if meta.is_file() => Ok(Self::File),
            Ok(meta) if meta.is_dir() => Ok(Self::Folder),
            Ok(_) => Ok(Self::Other),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(Self::Nothing),
            Err(_) if path.is_symlink() => Ok(Self::Nothing),
            Err(error) => Err(LoadError::io(path, "looking at it")(error)),
        }
    }
}

/// An entry of a folder.
struct Entry {
    path: PathBuf,
    kind: Kind,
    /// Its name; bytes that are no UTF-8 stand as `\\xNN`.
    name: String,
}

impl Entry {
    fn is_hidden(&self) -> bool {
        is_hidden(&self.name)
    }

    fn is_visible_file(&self) -> bool {
        self.kind == Kind::File && !self.is_hidden()
    }

    /// Whether a part of a pattern names it; what is hidden has to be named from its first character on (POSIX.1-2017,
    /// Shell and Utilities, 2.13.3).
    fn fits(&self, part: &str) -> bool {
        fits_part(part, &self.name)
    }

    /// Why a file in one of the tables' folders is not read; `None` where it is.
    fn unread(&self) -> Option<String> {
        let why = if self.kind == Kind::Nothing {
            BROKEN_LINK
        } else if self.kind == Kind::Folder {
            "it is a folder: move its files up, or map them in study.toml under [exports]"
        } else if self.kind == Kind::Other {
            "it is no file"
        } else if self.is_hidden() && is_csv(&self.name) {
            "it is hidden, as what programs leave behind is: rename it if it is data"
        } else if is_csv(&self.name) {
            return None;
        } else {
            "its name does not end in .csv or .csv.gz: rename it, or map it in study.toml under [exports]"
        };
        Some(why.to_owned())
    }
}

fn is_csv(name: &str) -> bool {
    let name = name.to_ascii_lowercase();
    name.ends_with(".csv") || name.ends_with(".csv.gz")
}

/// What a folder holds, by name, without what systems leave there.
fn entries(folder: &Path) -> Result<Vec<Entry>, LoadError> {
    let failed = |error| LoadError::io(folder, "listing")(error);
    let mut entries = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        let name = path.file_name().map(shown_name).unwrap_or_default();
        if !LEFT_BY_SYSTEMS.contains(&name.as_str()) {
            let kind = Kind::of(&path)?;
            entries.push(Entry { path, kind, name });
        }
    }
    entries.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(entries)
}

/// A file name as text; bytes that are no UTF-8 stand as `\\xNN`, so that two names stay two.
fn shown_name(name: &OsStr) -> String {
    let mut text = String::new();
    for chunk in name.as_encoded_bytes().utf8_chunks() {
        text.push_str(chunk.valid());
        for byte in chunk.invalid() {
            text.push_str(&format!("\\x{byte:02X}"));
        }
    }
    text
}

/// Files whose path relative to `dir` matches a pattern, part by part.
fn matching(dir: &Path, pattern: &str) -> Result<Vec<(PathBuf, String)>, LoadError> {
    let mut found = vec![(dir.to_owned(), String::new())];
    let parts: Vec<&str> = pattern.split('/').filter(|part| !part.is_empty()).collect();
    for (index, part) in parts.iter().enumerate() {
        let last = index + 1 == parts.len();
        let mut next = Vec::new();
        for (folder, name) in &found {
            for entry in entries(folder)? {
                let wanted = if last { Kind::File } else { Kind::Folder };
                if entry.kind == wanted && entry.fits(part) {
                    let joined = if name.is_empty() {
                        entry.name
                    } else {
                        format!("{name}/{}", entry.name)
                    };
                    next.push((entry.path, joined));
                }
            }
        }
        found = next;
    }
    found.sort();
    Ok(found)
}

fn is_hidden(name: &str) -> bool {
    name.starts_with(['.', '~'])
}

fn fits_part(part: &str, name: &str) -> bool {
    let any = part.starts_with(['*', '?']);
    !(any && is_hidden(name)) && matches(part.as_bytes(), name.as_bytes())
}

/// Whether a file's path relative to the study folder fits a pattern, part by part.
pub(crate) fn fits_path(pattern: &str, name: &str) -> bool {
    let parts = || pattern.split('/').filter(|part| !part.is_empty());
    parts().count() == name.split('/').count()
        && parts()
            .zip(name.split('/'))
            .all(|(part, name)| fits_part(part, name))
}

/// Whether a file name fits a pattern with `*` and `?`, in time that grows with the product of their lengths.
pub(crate) fn matches(pattern: &[u8], name: &[u8]) -> bool {
    let (mut p, mut n) = (0, 0);
    // After the last star: where the pattern goes on, and where in the name it is tried next.
    let mut star: Option<(usize, usize)> = None;
    while n < name.len() {
        match pattern.get(p) {
            Some(b'*') => {
                star = Some((p + 1, n));
                p += 1;
            }
            Some(byte) if *byte == b'?' || Some(byte) == name.get(n) => {
                p += 1;
                n += 1;
            }
            _ => match star {
                Some((after, from)) => {
                    star = Some((after, from + 1));
                    (p, n) = (after, from + 1);
                }
                None => return false,
            },
        }
    }
    pattern
        .get(p..)
        .unwrap_or_default()
        .iter()
        .all(|byte| *byte == b'*')
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
            ("*a*b", "xaxxab", true),
            ("a*b", "ab", true),
            ("*.csv", ".csv", true),
            ("*a*b", "xaxxac", false),
            ("", "a", false),
        ] {
            assert_eq!(
                matches(pattern.as_bytes(), name.as_bytes()),
                fits,
                "{pattern} {name}"
            );
        }
    }

    /// Tried one by one, the ways to share out 60 letters among nine stars would take years.
    #[test]
    fn many_stars_take_no_time() {
        assert!(!matches(b"*a*a*a*a*a*a*a*a*a*b", "a".repeat(60).as_bytes()));
    }

    #[test]
    #[cfg(unix)]
    fn names_that_are_no_text_stay_apart() {
        use std::os::unix::ffi::OsStrExt;
        let shown = |bytes| shown_name(OsStr::from_bytes(bytes));
        assert_eq!(shown(b"a\xff.csv"), "a\\xFF.csv");
        assert_ne!(shown(b"a\xff.csv"), shown(b"a\xfe.csv"));
    }
}
