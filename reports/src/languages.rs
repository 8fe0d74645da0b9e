//! The catalogue of a language, read for one edition.

use toml::{Table, Value};
use whereworn_model::settings::Language;
use whereworn_model::table::ResultTable;
use whereworn_model::units::Unit;

use crate::catalogue::Catalogue;
use crate::edition::Edition;
use crate::error::ReportError;
use crate::levels::in_unit;

fn source(language: Language) -> &'static str {
    match language {
        Language::English => include_str!("text/en.toml"),
        Language::German => include_str!("text/de.toml"),
    }
}

/// The file of a language as it stands.
fn parse(language: Language) -> Result<Table, ReportError> {
    source(language)
        .parse()
        .map_err(|error: toml::de::Error| ReportError::Catalogue(error.to_string()))
}

impl Catalogue {
    /// The words of a language for one edition: those under the edition's name take the place of the others.
    pub fn read(language: Language, edition: Edition) -> Result<Self, ReportError> {
        let mut words = parse(language)?;
        for other in Edition::ALL {
            if let Some(Value::Table(own)) = words.remove(other.name())
                && other == edition
            {
                lay_over(&mut words, own);
            }
        }
        words
            .try_into()
            .map_err(|error: toml::de::Error| ReportError::Catalogue(error.to_string()))
    }

    /// Gives the program's own tables the catalogue's titles, remarks and headings, where it has any, and their levels the
    /// study's unit.
    pub fn localise(&self, tables: &mut [ResultTable], unit: Unit) {
        for table in tables.iter_mut().filter(|table| !table.own_query) {
            self.translate(table);
            self.convert(table, unit);
        }
    }

    fn translate(&self, table: &mut ResultTable) {
        if let Some(words) = self.tables.get(&table.name) {
            let take = |to: &mut Option<String>, from: &Option<String>| {
                if from.is_some() {
                    to.clone_from(from);
                }
            };
            take(&mut table.header.title, &words.title);
            take(&mut table.header.row, &words.row);
            take(&mut table.header.note, &words.note);
            for column in &mut table.columns {
                take(
                    &mut column.header.label,
                    &words.columns.get(&column.name).cloned(),
                );
            }
        }
    }

    fn convert(&self, table: &mut ResultTable, unit: Unit) {
        let header = &mut table.header;
        let labels = table.columns.iter_mut().map(|c| &mut c.header.label);
        let texts = [&mut header.title, &mut header.row, &mut header.note];
        for text in texts.into_iter().chain(labels).flatten() {
            *text = in_unit(text, unit, &self.decimal);
        }
    }
}

fn lay_over(words: &mut Table, over: Table) {
    for (key, value) in over {
        match (words.get_mut(&key), value) {
            (Some(Value::Table(below)), Value::Table(above)) => lay_over(below, above),
            (_, value) => {
                words.insert(key, value);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;

    use whereworn_model::header::{Header, Role};

    use super::*;

    const LANGUAGES: [Language; 2] = [Language::English, Language::German];

    fn keys(table: &Table, path: &str, out: &mut BTreeSet<String>) {
        for (key, value) in table {
            let full = format!("{path}/{key}");
            match value {
                Value::Table(inner) if full != "/tables" => keys(inner, &full, out),
                Value::Array(items) => {
                    out.insert(format!("{full} × {}", items.len()));
                }
                _ => {
                    out.insert(full);
                }
            }
        }
    }

    #[test]
    fn every_language_is_read_for_every_edition() {
        for language in LANGUAGES {
            for edition in Edition::ALL {
                let text = Catalogue::read(language, edition).unwrap();
                assert_eq!((text.months.len(), text.months_short.len()), (12, 12));
            }
        }
    }

    /// English titles of tables stand in the query files; all else is in both files.
    #[test]
    fn german_has_every_text_of_english() {
        let [english, german] = LANGUAGES.map(|language| {
            let mut out = BTreeSet::new();
            keys(&parse(language).unwrap(), "", &mut out);
            out
        });
        let missing: Vec<_> = english.difference(&german).collect();
        let extra: Vec<_> = german.difference(&english).collect();
        assert!(
            missing.is_empty() && extra.iter().all(|key| *key == "/tables"),
            "missing: {missing:#?}\nin German alone: {extra:#?}"
        );
    }

    /// Names in braces are the same in both languages.
    #[test]
    fn what_is_filled_in_is_the_same() {
        let names = |language| {
            let mut out = Vec::new();
            placeholders(&Value::Table(parse(language).unwrap()), "", &mut out);
            out
        };
        assert_eq!(names(Language::English), names(Language::German));
    }

    fn placeholders(value: &Value, path: &str, out: &mut Vec<(String, Vec<String>)>) {
        match value {
            Value::Table(table) => {
                let inner = table
                    .iter()
                    .filter(|(key, _)| !path.is_empty() || *key != "tables");
                let mut inner: Vec<_> = inner.collect();
                inner.sort_by_key(|(key, _)| *key);
                for (key, value) in inner {
                    placeholders(value, &format!("{path}/{key}"), out);
                }
            }
            Value::Array(items) => {
                for (at, item) in items.iter().enumerate() {
                    placeholders(item, &format!("{path}/{at}"), out);
                }
            }
            Value::String(text) => {
                let mut found: Vec<String> = text
                    .split('{')
                    .skip(1)
                    .filter_map(|rest| Some(rest.split_once('}')?.0.to_owned()))
                    .collect();
                found.sort();
                found.dedup();
                if !found.is_empty() {
                    out.push((path.to_owned(), found));
                }
            }
            _ => {}
        }
    }

    fn headers() -> Vec<(String, Header)> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../queries/tables");
        let mut out = Vec::new();
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let header = Header::parse(&std::fs::read_to_string(&path).unwrap()).unwrap();
            if header.role == Role::Table {
                out.push((name, header));
            }
        }
        out.sort_by(|a, b| a.0.cmp(&b.0));
        assert!(out.len() > 15);
        out
    }

    /// Every title, row, note and heading of every query file has its German, and none is left over.
    #[test]
    fn german_has_every_text_of_the_query_files() {
        let german = Catalogue::read(Language::German, Edition::Clinician).unwrap();
        let mut missing = Vec::new();
        for (name, header) in headers() {
            let words = german.tables.get(&name).cloned().unwrap_or_default();
            for (part, there, here) in [
                ("title", header.title.is_some(), words.title.is_some()),
                ("row", header.row.is_some(), words.row.is_some()),
                ("note", header.note.is_some(), words.note.is_some()),
            ] {
                if there != here {
                    missing.push(format!("{name}.{part}"));
                }
            }
            let shown = header
                .columns
                .iter()
                .filter(|(_, column)| column.label.is_some());
            for (column, _) in shown {
                if !words.columns.contains_key(column) {
                    missing.push(format!("{name}.columns.{column}"));
                }
            }
            for unit in header.columns.values().filter_map(|c| c.unit.as_deref()) {
                let glucose = ["mg/dL", "mg/dL/min", "share", "%"];
                if !glucose.contains(&unit) && !german.units.contains_key(unit) {
                    missing.push(format!("{name}: unit {unit}"));
                }
            }
        }
        assert!(missing.is_empty(), "{missing:#?}");
        let mut known: Vec<String> = headers().into_iter().map(|(name, _)| name).collect();
        // The program makes these itself.
        known.extend(
            ["pooled_studies", "findings", "left_out", "doubted_checks"].map(str::to_owned),
        );
        for name in german.tables.keys() {
            assert!(known.contains(name), "{name} is no table");
        }
    }

    /// The wearer's edition has one word for what lying on a sensor does, in every title of a table that it links.
    #[test]
    fn a_wearer_reads_one_word_for_a_night_drop() {
        for language in LANGUAGES {
            let text = Catalogue::read(language, Edition::Wearer).unwrap();
            for (name, header) in headers() {
                let linked = ["nights", "people", "spread", "skin", "comfort", "quality"];
                let section = header.section.as_deref();
                if !section.is_some_and(|section| linked.contains(&section)) {
                    continue;
                }
                let own = text.tables.get(&name).and_then(|words| words.title.clone());
                let title = own.or(header.title).unwrap_or_default();
                assert!(!title.to_lowercase().contains("artef"), "{name}: {title}");
                assert!(!title.contains("rtefakt"), "{name}: {title}");
            }
        }
    }
}
