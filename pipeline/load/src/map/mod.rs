//! How to read a file of which nothing is known: a mapping of its columns, told from its data.

use std::collections::BTreeMap;
use std::path::Path;

use whereworn_model::settings::{Encoding, Export, Settings};
use whereworn_model::units::Unit;

use crate::error::LoadError;
use crate::input::{InputFile, Table};

mod already;
mod columns;
mod ends;
mod glucose;
mod guess;
mod kinds;
mod lines;
mod log;
mod moment;
mod preview;
mod text;
mod times;
mod unread;
mod words;

use guess::Guess;
use kinds::{Part, Split};
use lines::Lines;
use text::read_text;
use unread::{Unread, unread};

pub use already::mapped_already;
pub use preview::{PreviewRow, preview};
pub use times::DateOrder;

/// What somebody knows of a file beforehand.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// The table that its rows belong to.
    pub table: Option<Table>,
    /// Which of two numbers of a date is the day.
    pub dates: Option<DateOrder>,
    /// The unit of its glucose.
    pub unit: Option<Unit>,
    /// Our columns, and what every row holds.
    pub constants: BTreeMap<String, String>,
    /// Their column and the texts of the rows that are mapped; all rows where there are none.
    pub rows: BTreeMap<String, Vec<String>>,
}

/// A mapping, with what was seen of the file and what could not be told.
#[derive(Clone, Debug, Default)]
pub struct Mapping {
    /// The mapping; `files` is the file's own name.
    pub export: Export,
    /// Mappings of the file's other rows, each with what may be added to the name of the first to name it.
    pub more: Vec<(String, Export)>,
    /// What was told, and from what.
    pub told: Vec<String>,
    /// What somebody has to say before the mapping can be used.
    pub open: Vec<String>,
}

/// Tells from a file's data how to read it. A file with rows of several kinds has a mapping for each kind that is of use.
///
/// # Errors
/// A file that cannot be read, is no table, or has no column of times.
pub fn map(path: &Path, known: &Known) -> Result<Mapping, LoadError> {
    let stop = |message: String| LoadError::File {
        file: path.display().to_string(),
        line: 1,
        message,
    };
    let (text, encoding) = read_text(path)?;
    let lines = Lines::find(&text).map_err(stop)?;
    let mut begun = Mapping::default();
    let name = path.file_name().unwrap_or_default();
    begun.export.files = name.to_string_lossy().into_owned();
    begun.export.skip_lines = lines.skip_lines;
    begun.export.encoding = encoding;
    begun.told = first_told(&lines, encoding);
    if !known.rows.is_empty() {
        let rows = lines.only(&known.rows).map_err(stop)?.rows.len();
        begun
            .told
            .push(format!("{rows} of them are mapped, as --rows says"));
    }
    let scratch = Guess::new(&lines, known, Part::default(), begun.clone());
    let split = match known.rows.is_empty() {
        true => scratch.split().map_err(stop)?,
        false => Split::of(&known.rows),
    };
    in_parts(path, &lines, known, begun, split).map_err(stop)
}

/// What is said of a file before anything is told of its columns.
fn first_told(lines: &Lines, encoding: Option<Encoding>) -> Vec<String> {
    let rows = format!(
        "{} rows of {} columns, separated by {}, their names on line {}",
        lines.rows.len(),
        lines.titles.len(),
        match lines.delimiter {
            b';' => "semicolons",
            b'\t' => "tabs",
            _ => "commas",
        },
        lines.skip_lines + 1
    );
    let encoding = encoding.map(|encoding| format!("encoding: {}", encoding.name()));
    encoding.into_iter().chain([rows]).collect()
}

/// The mapping of the first part of a file, with those of the others.
fn in_parts(
    path: &Path,
    lines: &Lines,
    known: &Known,
    begun: Mapping,
    split: Split,
) -> Result<Mapping, String> {
    let export = begun.export.clone();
    let mut whole = begun;
    whole.told.extend(split.told);
    // The order of day and month, once the first part has told it: the others may have too few rows.
    let mut dates = known.dates;
    for (number, part) in split.parts.into_iter().enumerate() {
        let mut known = Known {
            dates: dates.or(part.dates),
            table: known.table.or(part.table),
            rows: part.rows.clone(),
            ..known.clone()
        };
        known.constants.extend(part.constants.clone());
        let own = Mapping {
            export: Export {
                rows: part.rows.clone(),
                constants: known.constants.clone(),
                ..export.clone()
            },
            ..Mapping::default()
        };
        let suffix = part.suffix.clone();
        // All rows of a large file are not copied.
        let some = match part.rows.is_empty() {
            true => None,
            false => Some(lines.only(&part.rows)?),
        };
        let lines = some.as_ref().unwrap_or(lines);
        let own = Guess::new(lines, &known, part, own).finish()?;
        dates = dates.or(own.export.time_format.as_deref().and_then(times::order_of));
        let told = |text: String| match number {
            0 => text,
            _ => format!("(…-{suffix}) {text}"),
        };
        whole.told.extend(own.told.into_iter().map(told));
        whole.open.extend(own.open);
        match number {
            0 => whole.export = own.export,
            _ => whole.more.push((suffix, own.export)),
        }
    }
    whole.open.extend(split.open);
    whole.open.dedup();
    if whole.open.is_empty() {
        let parts = whole.parts();
        let unread: Vec<Unread> = parts.iter().filter_map(|part| unread(path, part)).collect();
        for rows in unread {
            match rows {
                Unread::Few(told) => whole.told.push(told),
                Unread::Many(open) => whole.open.push(open),
            }
        }
    }
    Ok(whole)
}

impl Mapping {
    /// Each mapping of the file as one of its own, beside the others.
    pub fn parts(&self) -> Vec<Self> {
        let first = (String::new(), self.export.clone());
        let all: Vec<(String, Export)> = [first].into_iter().chain(self.more.clone()).collect();
        let part = |number: usize| {
            let mut others = all.clone();
            let (_, export) = others.remove(number);
            Self {
                export,
                more: others,
                ..Self::default()
            }
        };
        (0..all.len()).map(part).collect()
    }
}

/// The file as an input, and settings under which it is read by a mapping; its times are taken for UTC.
fn alone(path: &Path, mapping: &Mapping) -> Option<(InputFile, Settings)> {
    let name = "map".to_owned();
    let table = Table::ALL
        .into_iter()
        .find(|table| table.folder() == mapping.export.table)?;
    let mut settings = Settings::default();
    settings.study.unit = Some(mapping.export.unit.unwrap_or(Unit::MgDl));
    settings
        .exports
        .insert(name.clone(), mapping.export.clone());
    for (number, (_, export)) in mapping.more.iter().enumerate() {
        let beside = format!("{name}-{}", number + 2);
        settings.exports.insert(beside, export.clone());
    }
    let input = InputFile {
        path: path.to_owned(),
        name: mapping.export.files.clone(),
        table,
        export: Some(name),
        encoding: mapping.export.encoding,
    };
    Some((input, settings))
}
