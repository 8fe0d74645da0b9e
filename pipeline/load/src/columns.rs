//! Where each of our columns stands in a file.

use csv::ByteRecord;
use jiff::tz::TimeZone;
use std::borrow::Cow;
use std::collections::BTreeMap;
use whereworn_model::settings::{Export, Settings, suggestion};
use whereworn_model::units::Unit;

use crate::corrections::Corrections;
use crate::error::LoadError;
use crate::fields::Comma;
use crate::input::{InputFile, Table};
use crate::taken::Taken;
use crate::times::TimeFormat;

/// How the rows of a file are read.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    table: Table,
    pub delimiter: u8,
    pub fields: usize,
    pub comma: Comma,
    /// Unit of rows that name none; `None` where the study names none either.
    pub default_unit: Option<Unit>,
    pub time_format: TimeFormat,
    /// The clock that wrote the times, where it is not the wearer's.
    pub zone: Option<TimeZone>,
    pub corrections: Corrections,
    /// Which of the file's rows are read.
    pub taken: Taken,
    /// Where each of our columns comes from, in the order of [`names`].
    places: Vec<Place>,
    /// Columns of the file that are none of ours.
    unknown: Vec<String>,
}

/// Where one of our columns comes from.
#[derive(Clone, Debug, Default)]
struct Place {
    /// Fields of the row, joined with a blank.
    fields: Vec<usize>,
    /// What every row holds.
    constant: Option<Vec<u8>>,
    /// Their words and what those mean among ours.
    words: BTreeMap<Vec<u8>, Vec<u8>>,
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

/// Words that one of our columns may hold, by default for sites; and whether another word rejects its row.
pub(crate) fn allowed_words(table: Table, column: &str) -> (Vec<String>, bool) {
    use crate::{block, fingersticks, wear_events};
    let words: &[&str] = match (table, column) {
        (Table::Readings, "status") => &block::STATUSES,
        (Table::Fingersticks, "purpose") => &fingersticks::PURPOSES,
        (Table::WearEvents, "event") => &wear_events::EVENTS,
        (Table::WearEvents, "cause") => &wear_events::CAUSES,
        (Table::WearEvents, "side") => &wear_events::SIDES,
        (Table::WearEvents, "tape") => &wear_events::TAPES,
        (Table::WearEvents, "site") => {
            let sites = Settings::default().all_sites();
            return (sites.into_iter().map(|site| site.key).collect(), true);
        }
        _ => &[],
    };
    let needed = !matches!(column, "side" | "tape");
    (
        words.iter().map(|word| (*word).to_owned()).collect(),
        needed,
    )
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
        let delimiter = likeliest_delimiter(header);
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
        if let Some(export) = export {
            refuse_unknown(export, input)?;
        }
        let taken = Taken::find(input, settings, &titles)
            .map_err(|message| stop(format!("{message}: {}", listed(&titles, delimiter))))?;
        let mut places = Vec::new();
        for &name in required.iter().chain(optional) {
            let found = place_of(name, export, &titles, delimiter).map_err(&stop)?;
            if found.fields.is_empty() && found.constant.is_none() && required.contains(&name) {
                return Err(stop(format!(
                    "there is no column `{name}`: {}; add it, or map it in study.toml under [exports]: `whereworn map` shows how",
                    listed(&titles, delimiter)
                )));
            }
            places.push(found);
        }
        let unknown = match export {
            Some(_) => Vec::new(),
            None => (0..titles.len())
                .filter(|index| !places.iter().any(|place| place.fields.contains(index)))
                .map(|index| titles[index].clone())
                .collect(),
        };
        Ok(Self {
            table: input.table,
            delimiter,
            fields: titles.len(),
            comma: match delimiter {
                b',' => Comma::Quoted,
                _ => Comma::Decimal,
            },
            default_unit: export.and_then(|e| e.unit).or(settings.study.unit),
            zone: export.and_then(Export::zone),
            corrections: Corrections::of_file(settings, input),
            taken,
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
    pub fn field<'r>(&'r self, record: &'r ByteRecord, column: usize) -> Cow<'r, [u8]> {
        let Some(place) = self.places.get(column) else {
            return Cow::Borrowed(b"");
        };
        let written = match (&place.constant, place.fields.as_slice()) {
            (Some(constant), _) => Cow::Borrowed(constant.as_slice()),
            (None, []) => Cow::Borrowed(b"".as_slice()),
            (None, [one]) => Cow::Borrowed(trim(record.get(*one).unwrap_or(b""))),
            (None, several) => {
                let parts: Vec<&[u8]> = several
                    .iter()
                    .map(|&i| trim(record.get(i).unwrap_or(b"")))
                    .collect();
                Cow::Owned(parts.join(&b' '))
            }
        };
        match place.words.get(&*written) {
            Some(meant) => Cow::Borrowed(meant),
            None => written,
        }
    }
}

/// Refuses names that are no columns of ours in what an export maps.
fn refuse_unknown(export: &Export, input: &InputFile) -> Result<(), LoadError> {
    let (required, optional) = names(input.table);
    let ours = || required.iter().chain(optional).copied();
    let mapped = [
        ("columns", export.columns.keys().collect::<Vec<_>>()),
        ("constants", export.constants.keys().collect()),
        ("values", export.values.keys().collect()),
    ];
    for (part, keys) in mapped {
        let date = |key: &str| part == "columns" && key == "date";
        if let Some(key) = keys
            .into_iter()
            .find(|key| !ours().any(|name| name == *key) && !date(key))
        {
            return Err(LoadError::Study(format!(
                "study.toml: exports.{}.{part}: `{key}` is no column of {}{}",
                input.export.as_deref().unwrap_or_default(),
                input.table.folder(),
                suggestion(key, ours())
            )));
        }
    }
    Ok(())
}

fn place_of(
    name: &str,
    export: Option<&Export>,
    titles: &[String],
    delimiter: u8,
) -> Result<Place, String> {
    let position = |title: &str| titles.iter().position(|t| t == title);
    let own = || Place {
        fields: position(name).into_iter().collect(),
        ..Place::default()
    };
    let Some(export) = export else {
        return Ok(own());
    };
    let words = export.values.get(name).into_iter().flatten();
    let words = words.map(|(theirs, ours)| (theirs.trim().into(), ours.trim().into()));
    let place = Place {
        constant: export.constants.get(name).map(|text| text.trim().into()),
        words: words.collect(),
        ..own()
    };
    if place.constant.is_some() {
        return Ok(place);
    }
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
        return Ok(place);
    }
    let found: Result<Vec<usize>, String> = theirs
        .into_iter()
        .map(|title| {
            position(title.trim()).ok_or_else(|| {
                let columns = listed(titles, delimiter);
                format!(
                    "there is no column `{title}`, to which study.toml maps `{name}`: {columns}"
                )
            })
        })
        .collect();
    Ok(Place {
        fields: found?,
        ..place
    })
}

/// The columns of a header, and what was taken to separate them.
fn listed(titles: &[String], delimiter: u8) -> String {
    let separator = match delimiter {
        b';' => "semicolons",
        b'\t' => "tabs",
        _ => "commas",
    };
    match titles {
        [only] => format!(
            "the line is one column, `{only}`, where commas, semicolons or tabs may separate several"
        ),
        _ => format!(
            "the columns, separated by {separator}, are {}",
            quoted(titles)
        ),
    }
}

/// Most titles that a message names, and most characters of each.
const TITLES: usize = 10;
const TITLE_CHARACTERS: usize = 40;

/// Titles as a message names them. A first line that is no header may hold data: numbers and times are not shown.
pub(crate) fn quoted(titles: &[String]) -> String {
    let shown = |title: &String| {
        let title = title.replace(char::is_control, " ");
        if title.starts_with(|first: char| first.is_ascii_digit()) {
            return "(a number or time)".to_owned();
        }
        match title.char_indices().nth(TITLE_CHARACTERS) {
            None => format!("`{title}`"),
            Some((end, _)) => format!("`{}…`", title.get(..end).unwrap_or_default()),
        }
    };
    let mut quoted: Vec<String> = titles.iter().take(TITLES).map(shown).collect();
    if titles.len() > TITLES {
        quoted.push(format!("and {} more", titles.len() - TITLES));
    }
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

/// The separator that a header uses most outside quotation marks: a comma, a semicolon or a tab.
pub(crate) fn likeliest_delimiter(header: &[u8]) -> u8 {
    let outside = header.split(|byte| *byte == b'"').step_by(2);
    let outside: Vec<u8> = outside.flatten().copied().collect();
    let count = |byte: &u8| outside.iter().filter(|b| *b == byte).count();
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
