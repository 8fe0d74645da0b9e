//! What each table holds, for those who ask.

use std::collections::BTreeMap;

use crate::messages::which;
use whereworn_model::header::{CellKind, Class, ColumnHeader, Header};

use crate::catalog::Catalog;
use crate::error::EngineError;

/// The tables that are made from the study itself, each with a header as a query file has it.
const BASE_TABLES: &str = include_str!("../../../queries/base_tables.toml");

/// A table that queries can name.
#[derive(Clone, Debug)]
pub struct TableDescription {
    /// Its name.
    pub name: String,
    /// What its file says of it.
    pub header: Header,
    /// The query behind it, header included; none for a table made from the study itself.
    pub sql: Option<String>,
}

/// A column of such a table.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnDescription {
    /// Its name.
    pub name: String,
    /// What its cells are, in a word.
    pub kind: &'static str,
    /// What it means, with its unit.
    pub meaning: String,
}

impl TableDescription {
    /// Its title, else its name.
    pub fn title(&self) -> &str {
        self.header.title.as_deref().unwrap_or(&self.name)
    }

    /// Its columns as far as they are declared, by name.
    pub fn columns(&self) -> Vec<ColumnDescription> {
        let columns = self.header.columns.iter();
        columns
            .map(|(name, column)| ColumnDescription {
                name: name.clone(),
                kind: column.declared_kind().map_or("", word),
                meaning: meaning(name, &self.header),
            })
            .collect()
    }
}

fn word(kind: CellKind) -> &'static str {
    match kind {
        CellKind::Integer => "whole number",
        CellKind::Number => "number",
        CellKind::Text => "text",
        CellKind::Time => "instant",
        CellKind::Date => "date",
        CellKind::Boolean => "boolean",
    }
}

/// What a column means: its label and unit; the ends of an interval, by what they are the ends of.
pub(crate) fn meaning(name: &str, header: &Header) -> String {
    let Some(column) = header.columns.get(name) else {
        return String::new();
    };
    let base = |end: &str| {
        let of = name.strip_suffix(end)?.strip_suffix('_')?;
        header.columns.get(of).map(|column| label(of, column))
    };
    let text = match (&column.label, column.class) {
        (None, Some(Class::Lower)) => base("lower").map(|of| format!("lower end of: {of}")),
        (None, Some(Class::Upper)) => base("upper").map(|of| format!("upper end of: {of}")),
        _ => None,
    };
    let text = text.unwrap_or_else(|| label(name, column));
    match column.unit.as_deref() {
        Some("share") => format!("{text} (a fraction)"),
        Some(unit) => format!("{text} ({unit})"),
        None => text,
    }
}

fn label(name: &str, column: &ColumnHeader) -> String {
    column
        .label
        .clone()
        .unwrap_or_else(|| name.replace('_', " "))
}

/// Whether a name is that of a table made from the study itself.
pub fn is_base_table(name: &str) -> bool {
    crate::base_tables::NAMES.contains(&name)
}

fn base_tables() -> BTreeMap<String, Header> {
    toml::from_str(BASE_TABLES).unwrap_or_default()
}

impl Catalog {
    /// Every table that a query can name: those of the study first, then the queries in their order.
    pub fn tables(&self) -> Vec<TableDescription> {
        let base = base_tables()
            .into_iter()
            .map(|(name, header)| TableDescription {
                name,
                header,
                sql: None,
            });
        let queries = self.queries().iter().map(|query| TableDescription {
            name: query.name.clone(),
            header: query.header.clone(),
            sql: Some(query.sql.clone()),
        });
        base.chain(queries).collect()
    }

    /// One of them.
    ///
    /// # Errors
    /// There is none of this name.
    pub fn table(&self, name: &str) -> Result<TableDescription, EngineError> {
        let tables = self.tables();
        let known = tables.iter().map(|table| table.name.as_str());
        let hint = which(name, known);
        tables
            .into_iter()
            .find(|table| table.name == name)
            .ok_or(EngineError::Unknown {
                name: name.to_owned(),
                hint,
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_base_table_is_described() {
        let described = base_tables();
        assert!(described.len() > 10);
        for (name, header) in &described {
            assert!(is_base_table(name), "{name}");
            assert!(header.title.is_some() && header.row.is_some(), "{name}");
            for (column, of) in &header.columns {
                assert!(
                    of.label.is_some() && of.declared_kind().is_some(),
                    "{name}.{column}"
                );
            }
        }
    }

    #[test]
    fn ends_of_an_interval_say_of_what() {
        let catalog = Catalog::read(&[]).unwrap();
        let columns = catalog.table("site_comparison").unwrap().columns();
        let meaning = |name: &str| &columns.iter().find(|c| c.name == name).unwrap().meaning;
        assert_eq!(
            meaning("came_off"),
            "Came off by the rated day (a fraction)"
        );
        assert_eq!(
            meaning("came_off_lower"),
            "lower end of: Came off by the rated day (a fraction)"
        );
        assert!(
            catalog
                .table("site_comparson")
                .unwrap_err()
                .to_string()
                .contains("`site_comparison`")
        );
    }
}
