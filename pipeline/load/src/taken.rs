//! Which rows of a file an export takes, where a column tells kinds of rows apart.

use std::collections::BTreeMap;

use csv::ByteRecord;
use whereworn_model::settings::{Export, Settings};

use crate::columns::{quoted, trim};
use crate::input::{InputFile, fits_path};
use crate::reject::Fault;

/// Whether two exports both say which rows they take.
pub(crate) fn by_rows(one: &Export, other: &Export) -> bool {
    !one.rows.is_empty() && !other.rows.is_empty()
}

/// Whether two exports make another event of a row each, as of one that holds when a sensor was put on and when it was taken off.
pub(crate) fn by_event(one: &Export, other: &Export) -> bool {
    let event = |export: &Export| {
        export
            .constants
            .get(EVENT)
            .map(|text| text.trim().to_owned())
    };
    let both = event(one).zip(event(other));
    one.table == other.table && both.is_some_and(|(one, other)| one != other)
}

const EVENT: &str = "event";

/// Whether two exports take a row's values from the same columns.
fn same_values(one: &Export, other: &Export) -> bool {
    let glucose = |export: &Export| -> Vec<String> {
        let columns = export.columns.get("glucose");
        let names = columns.map_or(&[][..], |columns| columns.names());
        names.iter().map(|name| name.trim().to_owned()).collect()
    };
    one.table == other.table || glucose(one) == glucose(other)
}

/// Columns and the texts that a row has in each of them to be taken; without any, every row is.
#[derive(Clone, Debug, Default)]
struct Pick(Vec<(usize, Vec<String>)>);

impl Pick {
    /// Finds the columns among the titles of a file; else the title that is not there.
    fn find(export: &Export, titles: &[String]) -> Result<Self, String> {
        let column = |(title, texts): (&String, &Vec<String>)| {
            let place = titles.iter().position(|own| own == title.trim());
            let texts = texts.iter().map(|text| text.trim().to_owned());
            place
                .map(|place| (place, texts.collect()))
                .ok_or_else(|| title.clone())
        };
        let columns: Result<_, String> = export.rows.iter().map(column).collect();
        columns.map(Self)
    }

    /// A row too short to have the column is taken: as a row of the file it is rejected.
    fn takes(&self, record: &ByteRecord) -> bool {
        let fits = |(place, texts): &(usize, Vec<String>)| {
            let text = record.get(*place).map(trim);
            text.is_none_or(|text| texts.iter().any(|own| own.as_bytes() == text))
        };
        self.0.iter().all(fits)
    }
}

/// Another export that reads the file.
#[derive(Clone, Debug)]
struct Other {
    name: String,
    /// Whether a row that both take would count twice.
    rival: bool,
    pick: Pick,
}

/// Which rows of a file an export takes, and what the others take.
#[derive(Clone, Debug, Default)]
pub(crate) struct Taken {
    own: Pick,
    /// The columns of the time of an event that an export finds in each row beside another's: a row without a time there
    /// holds no such event.
    event_time: Vec<usize>,
    name: String,
    others: Vec<Other>,
}

impl Taken {
    /// For a file with these columns; all rows of a file that is read without an export.
    ///
    /// # Errors
    /// In words: a column of `rows` that the file lacks.
    pub fn find(input: &InputFile, settings: &Settings, titles: &[String]) -> Result<Self, String> {
        let own = input.export.as_ref();
        let Some((name, export)) = own.and_then(|name| settings.exports.get_key_value(name)) else {
            return Ok(Self::default());
        };
        let pick = Pick::find(export, titles).map_err(|title| {
            format!(
                "there is no column {}, by which exports.{name} in study.toml takes its `rows`",
                quoted(&[title])
            )
        })?;
        let others = settings
            .exports
            .iter()
            .filter(|(other, another)| *other != name && fits_path(&another.files, &input.name));
        let beside = |(_, another): (&String, &Export)| by_event(export, another);
        // A sensor that was put on was so at some time: a row without it is a fault.
        let put_on = export
            .constants
            .get(EVENT)
            .is_some_and(|event| event.trim() == "insert");
        let event_time = match !put_on && others.clone().any(beside) {
            true => time_columns(export, titles),
            false => Vec::new(),
        };
        if export.rows.is_empty() && event_time.is_empty() {
            return Ok(Self::default());
        }
        let others = others.filter_map(|(other, another)| {
            let twice = same_values(export, another) && !by_event(export, another);
            Some(Other {
                name: other.clone(),
                rival: twice && by_rows(export, another),
                pick: Pick::find(another, titles).ok()?,
            })
        });
        Ok(Self {
            own: pick,
            event_time,
            name: name.clone(),
            others: others.collect(),
        })
    }

    /// Whether the row is the export's.
    ///
    /// # Errors
    /// It is left to others; another export of the same table takes it too, for which the file is refused.
    pub fn look(&self, record: &ByteRecord) -> Result<(), Fault> {
        if self.own.0.is_empty() && self.event_time.is_empty() {
            return Ok(());
        }
        let empty = |place: &usize| record.get(*place).is_some_and(|text| trim(text).is_empty());
        if !self.event_time.is_empty() && self.event_time.iter().all(empty) {
            return Err(Fault::untaken("without a time of their event".to_owned()));
        }
        let too_short = record.len() <= self.last_column();
        if let Some(first) = self
            .others
            .first()
            .filter(|other| too_short && other.name < self.name)
        {
            return Err(Fault::untaken(format!("that exports.{} reads", first.name)));
        }
        let mut takers = self.others.iter().filter(|other| other.pick.takes(record));
        if !self.own.takes(record) {
            return Err(Fault::untaken(self.untaken(record, takers.next())));
        }
        match takers.find(|other| other.rival && !too_short) {
            None => Ok(()),
            Some(other) => Err(Fault::stop(
                "",
                format!(
                    "exports.{} and exports.{} in study.toml both take the row: let their `rows` differ",
                    self.name, other.name
                ),
            )),
        }
    }

    fn last_column(&self) -> usize {
        self.own
            .0
            .iter()
            .map(|(place, _)| *place)
            .max()
            .unwrap_or(0)
    }

    /// Who reads a row that is left out; its texts where nobody does.
    fn untaken(&self, record: &ByteRecord, taker: Option<&Other>) -> String {
        if let Some(other) = taker {
            return format!("that exports.{} reads", other.name);
        }
        let columns = self.own.0.iter();
        let texts = columns.filter_map(|(place, _)| record.get(*place));
        let texts: Vec<String> = texts
            .map(|text| match trim(text) {
                b"" => "nothing".to_owned(),
                text => short(&String::from_utf8_lossy(text)),
            })
            .collect();
        format!("that no export reads, with {}", texts.join(" and "))
    }
}

/// The columns that an export takes the time from.
fn time_columns(export: &Export, titles: &[String]) -> Vec<usize> {
    let mapped = ["date", "time"]
        .iter()
        .filter_map(|ours| export.columns.get(*ours));
    let places = mapped.flat_map(|columns| columns.names());
    let places = places.filter_map(|title| titles.iter().position(|own| own == title.trim()));
    places.collect()
}

/// Characters of a text that are shown.
const SHOWN: usize = 40;

fn short(text: &str) -> String {
    let text = text.replace(char::is_control, " ");
    match text.char_indices().nth(SHOWN) {
        None => format!("`{text}`"),
        Some((end, _)) => format!("`{}…`", text.get(..end).unwrap_or_default()),
    }
}

/// Rows that an export leaves out: how many, and by who reads them.
#[derive(Debug, Default)]
pub(crate) struct Untaken {
    pub rows: u64,
    by_text: BTreeMap<String, u64>,
}

/// Kinds of rows that are told one by one.
const KINDS: usize = 8;

impl Untaken {
    /// Counts a row, in words.
    pub fn add(&mut self, text: String) {
        self.note(text, 1);
    }

    fn note(&mut self, text: String, rows: u64) {
        self.rows += rows;
        if self.by_text.len() < KINDS || self.by_text.contains_key(&text) {
            *self.by_text.entry(text).or_default() += rows;
        }
    }

    /// Adds those of the part of the file that follows.
    pub fn append(&mut self, next: Self) {
        let told: u64 = next.by_text.values().sum();
        self.rows += next.rows - told;
        for (text, rows) in next.by_text {
            self.note(text, rows);
        }
    }

    /// What to say of them; `None` where there are none.
    pub fn in_words(&self, export: &str) -> Option<String> {
        if self.rows == 0 {
            return None;
        }
        let kinds = self.by_text.iter();
        let mut kinds: Vec<String> = kinds.map(|(text, rows)| format!("{rows} {text}")).collect();
        let more = self.rows - self.by_text.values().sum::<u64>();
        if more > 0 {
            kinds.push(format!("{more} with other texts that no export reads"));
        }
        let (rows, be) = match self.rows {
            1 => ("row", "is"),
            _ => ("rows", "are"),
        };
        Some(format!(
            "{} {rows} {be} left out by exports.{export} in study.toml: {}",
            self.rows,
            kinds.join("; ")
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: of 21 rows of 16 kinds eight kinds are told one by one, with 11 rows, however the file was cut into parts.
    #[test]
    fn rows_of_many_kinds_are_all_counted() {
        let part = |kinds: std::ops::Range<u8>| {
            let mut part = Untaken::default();
            kinds.for_each(|kind| part.add(format!("of kind {kind}")));
            part
        };
        let mut all = part(0..10);
        all.append(part(5..16));
        assert_eq!(
            all.in_words("a").as_deref(),
            Some(
                "21 rows are left out by exports.a in study.toml: 1 of kind 0; 1 of kind 1; 1 of kind 2; 1 of kind 3; \
                 1 of kind 4; 2 of kind 5; 2 of kind 6; 2 of kind 7; 10 with other texts that no export reads"
            )
        );
    }
}
