//! Query files: read, checked, and put in the order that their SQL asks for.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use datafusion::sql::parser::{DFParser, Statement};
use datafusion::sql::resolve::resolve_table_references;
use whereworn_model::header::{Header, Role};
use whereworn_model::settings::nearest_word;

use crate::error::EngineError;

/// Query files that come with the program: name and text.
const BUILT_IN: &[(&str, &str)] = include!(concat!(env!("OUT_DIR"), "/queries.rs"));

/// A query file.
#[derive(Clone, Debug, PartialEq)]
pub struct Query {
    /// Name of the file without its extension, and of the table.
    pub name: String,
    /// Where the query comes from, for messages.
    pub file: String,
    /// What its header says.
    pub header: Header,
    /// The whole text.
    pub sql: String,
    /// Tables that the SQL names, other than its own common table expressions.
    pub names: BTreeSet<String>,
    /// Whether the query came with the study and not with the program.
    pub own: bool,
}

/// All queries of a run, in an order in which each comes after those that it names.
#[derive(Clone, Debug, Default)]
pub struct Catalog {
    queries: Vec<Query>,
}

impl Query {
    /// Reads a query's text.
    ///
    /// # Errors
    /// A header or SQL that cannot be parsed, more than one statement, or anything other than a query.
    pub fn parse(name: &str, file: &str, sql: &str, own: bool) -> Result<Self, EngineError> {
        let header = Header::parse(sql).map_err(|error| EngineError::Header {
            file: file.to_owned(),
            message: error.to_string(),
        })?;
        let statements = DFParser::parse_sql(sql).map_err(EngineError::query(file))?;
        let refuse = |message: &str| EngineError::Query {
            file: file.to_owned(),
            message: message.to_owned(),
        };
        let [statement] = statements.iter().collect::<Vec<_>>()[..] else {
            return Err(refuse(
                "a query file holds one query: split it into several files",
            ));
        };
        if !is_query(statement) {
            return Err(refuse(
                "a query file holds a SELECT: tables are not created or changed from it",
            ));
        }
        let (tables, _) =
            resolve_table_references(statement, true).map_err(EngineError::query(file))?;
        Ok(Self {
            name: name.to_owned(),
            file: file.to_owned(),
            header,
            sql: sql.to_owned(),
            names: tables
                .iter()
                .map(|table| table.table().to_owned())
                .collect(),
            own,
        })
    }
}

fn is_query(statement: &Statement) -> bool {
    match statement {
        Statement::Statement(inner) => matches!(
            **inner,
            datafusion::sql::sqlparser::ast::Statement::Query(_)
        ),
        _ => false,
    }
}

impl Catalog {
    /// The program's queries, and those of the given folders: a query in a later folder takes the place of
    /// one of the same name. Folders that do not exist are passed over.
    ///
    /// # Errors
    /// A file that cannot be read or parsed; queries that name each other in a circle.
    pub fn read(folders: &[&Path]) -> Result<Self, EngineError> {
        let mut queries = BTreeMap::new();
        for (name, sql) in BUILT_IN {
            queries.insert(
                (*name).to_owned(),
                Query::parse(name, &format!("{name}.sql"), sql, false)?,
            );
        }
        for folder in folders.iter().filter(|folder| folder.is_dir()) {
            for query in read_folder(folder)? {
                queries.insert(query.name.clone(), query);
            }
        }
        Ok(Self {
            queries: in_order(queries)?,
        })
    }

    /// Adds a query that stands in no file, under a name.
    ///
    /// # Errors
    /// Those of [`Query::parse`].
    pub fn with(mut self, name: &str, sql: &str) -> Result<Self, EngineError> {
        self.queries
            .push(Query::parse(name, "the given SQL", sql, true)?);
        Ok(self)
    }

    /// The queries in order.
    pub fn queries(&self) -> &[Query] {
        &self.queries
    }

    /// Lets a query have a table of its own even where its header makes it an intermediate one.
    pub fn show(&mut self, name: &str) {
        for query in self.queries.iter_mut().filter(|query| query.name == name) {
            query.header.role = Role::Table;
        }
    }

    /// The queries needed for one of them, that one last.
    ///
    /// # Errors
    /// There is no query of this name.
    pub fn needed_for(&self, name: &str) -> Result<Self, EngineError> {
        self.needed_for_all(&[name])
    }

    /// The queries needed for several of them.
    ///
    /// # Errors
    /// There is no query of a name.
    pub fn needed_for_all(&self, names: &[&str]) -> Result<Self, EngineError> {
        let unknown = |name: &&&str| !self.queries.iter().any(|query| query.name == **name);
        if let Some(name) = names.iter().find(unknown) {
            let known = self.queries.iter().map(|query| query.name.as_str());
            let hint = nearest_word(name, known)
                .map_or(String::new(), |word| format!("; did you mean `{word}`?"));
            return Err(EngineError::Unknown {
                name: (*name).to_owned(),
                hint,
            });
        }
        let mut wanted: BTreeSet<String> = names.iter().map(|name| (*name).to_owned()).collect();
        for query in self.queries.iter().rev() {
            if wanted.contains(&query.name) {
                wanted.extend(query.names.iter().cloned());
            }
        }
        let queries = self
            .queries
            .iter()
            .filter(|query| wanted.contains(&query.name))
            .cloned()
            .collect();
        Ok(Self { queries })
    }
}

fn read_folder(folder: &Path) -> Result<Vec<Query>, EngineError> {
    let failed = |source| EngineError::Read {
        file: folder.display().to_string(),
        source,
    };
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        if path.extension().is_some_and(|extension| extension == "sql") {
            paths.push(path);
        }
    }
    paths.sort();
    let mut queries = Vec::new();
    for path in paths {
        let file = path.display().to_string();
        let name = path
            .file_stem()
            .map_or(String::new(), |stem| stem.to_string_lossy().into_owned());
        if !is_plain_name(&name) {
            return Err(EngineError::Query {
                file,
                message:
                    "the file's name becomes the table's: use lower-case letters, digits and _"
                        .to_owned(),
            });
        }
        let sql = std::fs::read_to_string(&path).map_err(|source| EngineError::Read {
            file: file.clone(),
            source,
        })?;
        queries.push(Query::parse(&name, &file, &sql, true)?);
    }
    Ok(queries)
}

fn is_plain_name(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_lowercase())
        && name
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_')
}

/// Queries, each after those that it names; by name where the SQL leaves it open.
fn in_order(mut waiting: BTreeMap<String, Query>) -> Result<Vec<Query>, EngineError> {
    let mut ordered: Vec<Query> = Vec::new();
    while !waiting.is_empty() {
        let ready = waiting
            .values()
            .find(|query| !query.names.iter().any(|name| waiting.contains_key(name)))
            .map(|query| query.name.clone());
        match ready.and_then(|name| waiting.remove(&name)) {
            Some(query) => ordered.push(query),
            None => return Err(EngineError::Circle(circle(&waiting))),
        }
    }
    Ok(ordered)
}

/// A circle among queries that all wait for each other, as `a -> b -> a`.
fn circle(waiting: &BTreeMap<String, Query>) -> String {
    let mut path: Vec<&str> = Vec::new();
    let mut next = waiting.keys().next().map_or("", String::as_str);
    while !path.contains(&next) {
        path.push(next);
        next = waiting
            .get(next)
            .and_then(|query| query.names.iter().find(|name| waiting.contains_key(*name)))
            .map_or("", String::as_str);
    }
    let start = path.iter().position(|name| *name == next).unwrap_or(0);
    path.push(next);
    path[start..].join(" -> ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn queries(files: &[(&str, &str)]) -> BTreeMap<String, Query> {
        files
            .iter()
            .map(|(name, sql)| {
                (
                    (*name).to_owned(),
                    Query::parse(name, name, sql, true).unwrap(),
                )
            })
            .collect()
    }

    #[test]
    fn order_follows_the_sql_and_not_the_names() {
        let ordered = in_order(queries(&[
            (
                "a",
                "WITH c AS (SELECT * FROM readings) SELECT * FROM c JOIN b USING (x)",
            ),
            ("b", "SELECT * FROM (SELECT * FROM c) AS inner_table"),
            (
                "c",
                "SELECT * FROM readings WHERE x IN (SELECT x FROM fingersticks)",
            ),
        ]))
        .unwrap();
        let names: Vec<&str> = ordered.iter().map(|query| query.name.as_str()).collect();
        assert_eq!(names, ["c", "b", "a"]);
        assert_eq!(
            ordered[0].names,
            BTreeSet::from(["readings".into(), "fingersticks".into()])
        );
    }

    #[test]
    fn a_circle_is_named() {
        let error = in_order(queries(&[
            ("a", "SELECT * FROM b"),
            ("b", "SELECT * FROM c"),
            ("c", "SELECT * FROM b"),
        ]))
        .unwrap_err();
        assert!(error.to_string().contains("b -> c -> b"), "{error}");
    }

    #[test]
    fn only_one_select_a_file() {
        for sql in [
            "SELECT 1; SELECT 2",
            "DROP TABLE readings",
            "CREATE TABLE t AS SELECT 1",
            "",
            "SELEC 1",
        ] {
            assert!(Query::parse("q", "q.sql", sql, true).is_err(), "{sql}");
        }
    }

    #[test]
    fn the_built_in_queries_are_in_order() {
        let catalog = Catalog::read(&[]).unwrap();
        assert!(catalog.queries().len() > 10);
        assert!(
            catalog
                .needed_for("site_survivl")
                .unwrap_err()
                .to_string()
                .contains("site_survival")
        );
    }
}
