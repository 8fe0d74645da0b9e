//! What each column of a file means, told one after the other.

use std::collections::BTreeMap;

use whereworn_model::settings::Columns;

use crate::columns::names;
use crate::input::Table;

use super::columns::{self, Look};
use super::kinds::{Kinds, Part, Split};
use super::lines::Lines;
use super::{Known, Mapping};

/// A mapping in the making.
pub(super) struct Guess<'l> {
    pub lines: &'l Lines,
    pub looks: Vec<Look>,
    pub known: &'l Known,
    pub part: Part,
    pub mapping: Mapping,
    /// Columns that have their meaning.
    pub taken: Vec<usize>,
    /// The clock of each row.
    pub seconds: Vec<Option<i64>>,
}

/// Seconds between rows below which they are readings: a person does not check by fingerstick that often.
pub(super) const DENSE_SECONDS: i64 = 20 * 60;

/// The seconds between rows in the middle of them all; `None` of fewer than two.
pub(super) fn usual_spacing(mut seconds: Vec<i64>) -> Option<i64> {
    seconds.sort_unstable();
    let next = seconds.iter().skip(1);
    let mut gaps: Vec<i64> = seconds.iter().zip(next).map(|(a, b)| b - a).collect();
    gaps.sort_unstable();
    gaps.get(gaps.len() / 2).copied()
}

impl<'l> Guess<'l> {
    pub(super) fn new(lines: &'l Lines, known: &'l Known, part: Part, mapping: Mapping) -> Self {
        let columns = 0..lines.titles.len();
        let mut looks: Vec<Look> = columns.map(|index| Look::at(lines, index)).collect();
        columns::mark_codes(&mut looks, &lines.titles, lines.rows.len());
        Self {
            looks,
            lines,
            known,
            part,
            mapping,
            taken: Vec::new(),
            seconds: Vec::new(),
        }
    }

    /// Whether the rows are of several kinds; one part where they are not.
    pub(super) fn split(mut self) -> Result<Split, String> {
        self.time()?;
        let kinds = Kinds {
            lines: self.lines,
            looks: &self.looks,
            known: self.known,
            seconds: &self.seconds,
        };
        Ok(kinds.split().unwrap_or_else(|| Split::of(&BTreeMap::new())))
    }

    /// Gives every column its meaning.
    pub(super) fn finish(mut self) -> Result<Mapping, String> {
        let spacing = self.time()?;
        self.own_names();
        let rows = self.part.rows.keys();
        let of_rows =
            rows.filter_map(|title| self.lines.titles.iter().position(|own| own == title));
        self.taken.extend(of_rows);
        let table = self.known.table.unwrap_or_else(|| self.table(spacing));
        self.mapping.export.table = table.folder().to_owned();
        self.leave_out_constants(table);
        match table {
            Table::Readings => {
                self.glucose();
                self.sensor();
            }
            Table::Fingersticks => {
                self.glucose();
                self.meter();
                self.column_of_words(table, "purpose");
            }
            Table::WearEvents | Table::Judgements => self.events(),
        }
        self.words(table);
        Ok(self.mapping)
    }

    /// Constants for columns that the table does not have would be refused.
    pub(super) fn leave_out_constants(&mut self, table: Table) {
        let (required, optional) = names(table);
        let Mapping { export, told, .. } = &mut self.mapping;
        export.constants.retain(|ours, _| {
            let known = required.contains(&ours.as_str()) || optional.contains(&ours.as_str());
            if !known {
                let table = table.folder();
                told.push(format!("`{ours}` is no column of {table}: it is left out"));
            }
            known
        });
    }

    pub(super) fn title(&self, index: usize) -> &str {
        self.lines.titles.get(index).map_or("", String::as_str)
    }

    pub(super) fn take(&mut self, ours: &str, indexes: &[usize]) {
        let names: Vec<String> = indexes
            .iter()
            .map(|index| self.title(*index).to_owned())
            .collect();
        let columns = match names.as_slice() {
            [one] => Columns::One(one.clone()),
            _ => Columns::Several(names),
        };
        self.mapping.export.columns.insert(ours.to_owned(), columns);
        self.taken.extend(indexes);
    }

    /// Columns that bear our own names need no guess.
    pub(super) fn own_names(&mut self) {
        for index in 0..self.lines.titles.len() {
            let ours = [
                "wearer", "sensor", "glucose", "unit", "status", "meter", "purpose", "event",
                "site", "side", "cause",
            ];
            if ours.contains(&self.title(index)) {
                self.taken.push(index);
            }
        }
    }

    pub(super) fn has(&self, ours: &str) -> bool {
        let export = &self.mapping.export;
        export.columns.contains_key(ours)
            || export.constants.contains_key(ours)
            || self.lines.titles.iter().any(|title| title == ours)
    }

    pub(super) fn free(&self) -> impl Iterator<Item = &Look> {
        self.looks
            .iter()
            .filter(|look| !self.taken.contains(&look.index))
    }

    pub(super) fn best(&self, score: impl Fn(&Look, &str, usize) -> f64) -> Option<usize> {
        let rows = self.lines.rows.len();
        let scored = self
            .free()
            .map(|look| (score(look, self.title(look.index), rows), look.index));
        let best = scored
            .filter(|(score, _)| *score > 0.0)
            .reduce(|best, next| if next.0 > best.0 { next } else { best });
        best.map(|(_, index)| index)
    }

    pub(super) fn table(&mut self, spacing: Option<i64>) -> Table {
        let glucose = self.has("glucose")
            || self.best(Look::glucose_score).is_some()
            || self.called_glucose().is_some();
        let (table, why) = match (glucose, spacing) {
            (false, _) => (Table::WearEvents, "no column looks like glucose".to_owned()),
            (true, Some(seconds @ ..=DENSE_SECONDS)) => {
                (Table::Readings, format!("a value every {seconds} s"))
            }
            (true, Some(_)) => (Table::Fingersticks, "values hours apart".to_owned()),
            (true, None) => {
                self.mapping.open.push(
                    "one row does not tell how far apart they are: say --table readings or --table fingersticks"
                        .to_owned(),
                );
                (Table::Readings, "until somebody says".to_owned())
            }
        };
        self.mapping.told.push(format!(
            "table: {} ({why}); --table says otherwise",
            table.folder()
        ));
        table
    }

    pub(super) fn column_of(&self, ours: &str) -> Option<usize> {
        let named = self
            .mapping
            .export
            .columns
            .get(ours)
            .and_then(|columns| columns.names().first());
        let title = named.map_or(ours, String::as_str);
        self.lines.titles.iter().position(|own| own == title)
    }
}
