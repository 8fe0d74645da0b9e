//! Where each of our columns stands in a file.

use csv::ByteRecord;
use jiff::tz::TimeZone;
use std::borrow::Cow;
use whereworn_model::settings::{Export, Settings, suggestion};
use whereworn_model::units::Unit;

use crate::error::LoadError;
use crate::input::{InputFile, Table};
use crate::times::TimeFormat;

/// How the rows of a file are read.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    table: Table,
    pub delimiter: u8,
    pub fields: usize,
    pub decimal_comma: bool,
    pub default_unit: Unit,
    pub time_format: TimeFormat,
    /// The clock that wrote the times, where it is not the wearer's.
    pub zone: Option<TimeZone>,
    /// For each of our columns, in the order of [`names`], the fields that make it up.
    places: Vec<Vec<usize>>,
    /// Columns of the file that are none of ours.
    unknown: Vec<String>,
}

/// Our columns of a table, those that a file must have first.
pub(crate) fn names(table: Table) -> (&'static [&'static str], &'static [&'static str]) {
    match table {
        Table::Readings => (
            &["sensor", "time", "glucose"],
            &["wearer", "unit", "status"],
        ),
        Table::Fingersticks => (
            &["time", "glucose"],
            &["wearer", "unit", "meter", "purpose"],
        ),
        Table::Judgements => (&["sensor", "start", "verdict"], &["wearer", "note"]),
        Table::WearEvents => (
            &["time", "event"],
            &[
                "wearer",
                "sensor",
                "site",
                "side",
                "cause",
                "tape",
                "model",
                "lot",
                "grade",
                "aspect",
                "score",
                "posture",
                "distance_cm",
                "note",
            ],
        ),
    }
}

impl Layout {
    /// Finds the columns in a header line that stands on `line`.
    pub fn find(
        input: &InputFile,
        settings: &Settings,
        header: &[u8],
        line: u64,
    ) -> Result<Self, LoadError> {
        let export = input
            .export
            .as_ref()
            .and_then(|name| settings.exports.get(name));
        let delimiter = if export.is_some() {
            likeliest_delimiter(header)
        } else {
            b','
        };
        let stop = |message: String| LoadError::File {
            file: input.name.clone(),
            line,
            message,
        };
        let titles = split_header(header, delimiter);
        if titles.iter().all(String::is_empty) {
            return Err(stop(
                "there is no header line: the first line names the columns".to_owned(),
            ));
        }
        for (index, title) in titles.iter().enumerate() {
            if !title.is_empty() && titles[..index].contains(title) {
                return Err(stop(format!(
                    "the header has the column `{title}` twice: rename or remove one"
                )));
            }
        }
        let (required, optional) = names(input.table);
        if let Some(key) =
            export.and_then(|e| e.columns.keys().find(|key| !is_ours(key, input.table)))
        {
            let hint = suggestion(key, required.iter().chain(optional).copied());
            return Err(LoadError::Study(format!(
                "study.toml: exports.{}.columns: `{key}` is no column of {}{hint}",
                input.export.as_deref().unwrap_or_default(),
                input.table.folder()
            )));
        }
        let mut places = Vec::new();
        for &name in required.iter().chain(optional) {
            let found = place_of(name, export, &titles).map_err(&stop)?;
            if found.is_empty() && required.contains(&name) {
                return Err(stop(format!(
                    "there is no column `{name}`: the columns are {}; add it, or map it in study.toml under [exports]",
                    quoted(&titles)
                )));
            }
            places.push(found);
        }
        let unknown = match export {
            Some(_) => Vec::new(),
            None => (0..titles.len())
                .filter(|index| !places.iter().any(|place| place.contains(index)))
                .map(|index| titles[index].clone())
                .collect(),
        };
        Ok(Self {
            table: input.table,
            delimiter,
            fields: titles.len(),
            decimal_comma: delimiter != b',',
            default_unit: export.and_then(|e| e.unit).unwrap_or(settings.unit()),
            zone: export.and_then(Export::zone),
            time_format: TimeFormat::new(export.and_then(|e| e.time_format.as_deref())),
            places,
            unknown,
        })
    }

    /// One warning for all columns that are none of ours.
    pub fn warnings(&self) -> Vec<String> {
        if self.unknown.is_empty() {
            return Vec::new();
        }
        vec![format!(
            "unknown columns ignored: {}",
            quoted(&self.unknown)
        )]
    }

    /// The columns, with their indexes in [`names`], that hold no text of several lines.
    pub fn of_one_line(&self) -> impl Iterator<Item = (&'static str, usize)> {
        let (required, optional) = names(self.table);
        let all = required.iter().chain(optional).copied().zip(0..);
        all.filter(|(name, _)| *name != "note")
    }

    /// The trimmed text of one of our columns (its index in [`names`]); empty where the file has none.
    pub fn field<'r>(&self, record: &'r ByteRecord, column: usize) -> Cow<'r, [u8]> {
        match self.places[column].as_slice() {
            [] => Cow::Borrowed(b""),
            [one] => Cow::Borrowed(trim(record.get(*one).unwrap_or(b""))),
            several => {
                let parts: Vec<&[u8]> = several
                    .iter()
                    .map(|&i| trim(record.get(i).unwrap_or(b"")))
                    .collect();
                Cow::Owned(parts.join(&b' '))
            }
        }
    }
}

fn place_of(name: &str, export: Option<&Export>, titles: &[String]) -> Result<Vec<usize>, String> {
    let position = |title: &str| titles.iter().position(|t| t == title);
    let Some(export) = export else {
        return Ok(position(name).into_iter().collect());
    };
    let mut theirs: Vec<&String> = Vec::new();
    if name == "time" {
        theirs.extend(
            export
                .columns
                .get("date")
                .into_iter()
                .flat_map(|c| c.names()),
        );
    }
    theirs.extend(export.columns.get(name).into_iter().flat_map(|c| c.names()));
    if theirs.is_empty() {
        return Ok(position(name).into_iter().collect());
    }
    theirs
        .into_iter()
        .map(|title| {
            position(title.trim()).ok_or_else(|| {
                format!("there is no column `{title}`, to which study.toml maps `{name}`: the columns are {}", quoted(titles))
            })
        })
        .collect()
}

fn is_ours(key: &str, table: Table) -> bool {
    let (required, optional) = names(table);
    key == "date" || required.contains(&key) || optional.contains(&key)
}

fn quoted(titles: &[String]) -> String {
    let quoted: Vec<String> = titles.iter().map(|title| format!("`{title}`")).collect();
    quoted.join(", ")
}

fn split_header(header: &[u8], delimiter: u8) -> Vec<String> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(header);
    let mut record = ByteRecord::new();
    match reader.read_byte_record(&mut record) {
        Ok(true) => record
            .iter()
            .map(|field| String::from_utf8_lossy(trim(field)).into_owned())
            .collect(),
        _ => Vec::new(),
    }
}

/// The separator that a header uses most: a comma, a semicolon or a tab.
fn likeliest_delimiter(header: &[u8]) -> u8 {
    let count = |byte: &u8| header.iter().filter(|b| *b == byte).count();
    *[b',', b';', b'\t']
        .iter()
        .rev()
        .max_by_key(|byte| count(byte))
        .unwrap_or(&b',')
}

/// A field without blanks around it.
pub(crate) fn trim(field: &[u8]) -> &[u8] {
    field.trim_ascii()
}
