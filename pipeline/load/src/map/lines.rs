//! The rows of a file of which nothing is known: what separates its fields, and where its header is.

use csv::ByteRecord;
use std::collections::{BTreeMap, BTreeSet};

use crate::columns::quoted;

use super::times::looks_like_time;

/// A file cut into fields.
#[derive(Debug)]
pub(super) struct Lines {
    /// What separates the fields.
    pub delimiter: u8,
    /// Lines before the header.
    pub skip_lines: usize,
    /// The columns' names.
    pub titles: Vec<String>,
    /// Rows with as many fields as the header, trimmed.
    pub rows: Vec<Vec<String>>,
}

/// Rows looked at to find separator and header.
const LOOKED_AT: usize = 2000;

/// A row as it stands in the text: its fields and the line it begins on, from 0.
type Row = (Vec<String>, usize);

fn split(text: &str, delimiter: u8) -> impl Iterator<Item = Row> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut record = ByteRecord::new();
    std::iter::from_fn(move || match reader.read_byte_record(&mut record) {
        Ok(true) => {
            let start = record.position().map_or(0, |place| place.byte() as usize);
            let rest = text.as_bytes().get(start..).unwrap_or_default();
            let blank = rest.len() - rest.trim_ascii_start().len();
            let before = text.as_bytes().get(..start + blank).unwrap_or_default();
            let line = memchr::memchr_iter(b'\n', before).count();
            let fields = record
                .iter()
                .map(|field| String::from_utf8_lossy(field.trim_ascii()).into_owned());
            Some((fields.collect(), line))
        }
        _ => None,
    })
}

impl Lines {
    /// Cuts a text into fields. The separator is the one by which most rows have the same number of fields, more than
    /// one; the header is the first of them, if it holds no number and no time.
    ///
    /// # Errors
    /// In words: no such separator, no header.
    pub fn find(text: &str) -> Result<Self, String> {
        let beginning = beginning(text);
        let fit = |delimiter: u8| -> (usize, usize, u8) {
            let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
            for (fields, _) in split(beginning, delimiter) {
                *counts.entry(fields.len()).or_default() += 1;
            }
            let several = counts.into_iter().filter(|(fields, _)| *fields > 1);
            let (fields, rows) = several
                .max_by_key(|(fields, rows)| (*rows, *fields))
                .unwrap_or((0, 0));
            (rows, fields, delimiter)
        };
        let best = [b'\t', b';', b','].map(fit).into_iter().max();
        if text.trim().is_empty() {
            return Err("the file is empty".to_owned());
        }
        let Some((2.., width, delimiter)) = best else {
            let only = split(text, best.map_or(b',', |best| best.2)).map(|(fields, _)| fields);
            let mut only = only.filter(|fields| fields.iter().any(|field| !field.is_empty()));
            if let (Some(titles), None) = (only.next(), only.next())
                && titles.len() > 1
            {
                return Err("the file has one line, and no rows after it".to_owned());
            }
            return Err("no two rows have the same number of fields, whether commas, semicolons or tabs separate them: is this a table?".to_owned());
        };
        let is_header = |fields: &[String]| {
            let named: BTreeSet<&String> =
                fields.iter().filter(|title| !title.is_empty()).collect();
            named.len() * 2 > width
        };
        let rows = split(text, delimiter).filter(|(fields, _)| fields.len() == width);
        let mut rows = rows.skip_while(|(fields, _)| !is_header(fields));
        let (titles, skip_lines) = rows.next().unwrap_or_default();
        if let Some(value) = titles.iter().find(|title| is_value(title)) {
            if let Some(message) = too_many(beginning, delimiter, width) {
                return Err(message);
            }
            return Err(format!(
                "line {} should name the columns, and holds the value `{value}`: add a line with names before it",
                skip_lines + 1
            ));
        }
        Ok(Self {
            delimiter,
            skip_lines,
            titles,
            rows: rows.map(|(fields, _)| fields).collect(),
        })
    }

    /// The rows that have one of some texts in each of some columns.
    ///
    /// # Errors
    /// In words: a column that the file lacks, no such rows.
    pub fn only(&self, rows: &BTreeMap<String, Vec<String>>) -> Result<Self, String> {
        let mut wanted = Vec::new();
        for (title, texts) in rows {
            let place = self.titles.iter().position(|own| own == title);
            wanted.push((
                place.ok_or_else(|| {
                    format!(
                        "there is no column `{title}`, which --rows names; the columns are {}",
                        quoted(&self.titles)
                    )
                })?,
                texts,
            ));
        }
        let fits = |row: &&Vec<String>| {
            let mut wanted = wanted.iter();
            wanted.all(|(place, texts)| row.get(*place).is_some_and(|text| texts.contains(text)))
        };
        let kept: Vec<Vec<String>> = self.rows.iter().filter(fits).cloned().collect();
        if kept.is_empty() {
            return Err("no row has the texts that --rows names".to_owned());
        }
        Ok(Self {
            titles: self.titles.clone(),
            rows: kept,
            ..*self
        })
    }

    /// Every value of a column, with the empty ones.
    pub fn column(&self, index: usize) -> impl Iterator<Item = &str> {
        self.rows
            .iter()
            .filter_map(move |row| row.get(index))
            .map(String::as_str)
    }
}

/// What to say where the line of names has one field less than the rows: of a decimal comma that nothing sets apart.
fn too_many(text: &str, delimiter: u8, width: usize) -> Option<String> {
    let mut rows = split(text, delimiter);
    let (titles, line) = rows.find(|(fields, _)| fields.len() > 1)?;
    if titles.len() + 1 != width
        || titles
            .iter()
            .any(|title| title.is_empty() || is_value(title))
    {
        return None;
    }
    let decimals = match delimiter {
        b',' => {
            " If their numbers have decimal commas, as 6,8, these have to be in quotation marks, or the fields separated by semicolons: export the file again like that."
        }
        _ => "",
    };
    Some(format!(
        "line {} names {} columns, and the rows have {width} fields, one too many.{decimals}",
        line + 1,
        titles.len()
    ))
}

/// The first lines of a text.
fn beginning(text: &str) -> &str {
    match memchr::memchr_iter(b'\n', text.as_bytes()).nth(LOOKED_AT) {
        Some(end) => text.get(..=end).unwrap_or(text),
        None => text,
    }
}

fn is_value(text: &str) -> bool {
    text.replacen(',', ".", 1)
        .parse::<f64>()
        .is_ok_and(f64::is_finite)
        || looks_like_time(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separator_and_header() {
        for (text, delimiter, skip, titles) in [
            ("a,b\n1,2\n3,4\n", b',', 0, ["a", "b"]),
            (
                "Made by hand, 2026\n\na;b\n1,5;2\n3,5;4\n",
                b';',
                2,
                ["a", "b"],
            ),
            (
                "Exported 2026-03-20;\n\na;b\n1,5;2\n3,5;4\n",
                b';',
                2,
                ["a", "b"],
            ),
            ("a\tb\n1,5\t2\n3,5\t4\n", b'\t', 0, ["a", "b"]),
            ("\"a, b\",c\n1,2\n", b',', 0, ["a, b", "c"]),
        ] {
            let lines = Lines::find(text).unwrap();
            assert_eq!(
                (lines.delimiter, lines.skip_lines),
                (delimiter, skip),
                "{text}"
            );
            assert_eq!(lines.titles, titles, "{text}");
        }
        assert!(Lines::find("only\none\ncolumn\n").is_err());
        assert!(
            Lines::find("2026-01-01T10:00,5\n2026-01-01T10:05,6\n")
                .unwrap_err()
                .contains("line 1")
        );
    }
}
