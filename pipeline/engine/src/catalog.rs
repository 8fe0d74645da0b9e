//! Query files: read, checked, and put in the order that their SQL asks for.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use datafusion::sql::parser::{DFParser, Statement};
use datafusion::sql::resolve::resolve_table_references;
use datafusion::sql::sqlparser::dialect::GenericDialect;
use datafusion::sql::sqlparser::keywords::Keyword;
use datafusion::sql::sqlparser::tokenizer::{Token, Tokenizer};
use whereworn_model::header::{CellKind, Header, Role};
use whereworn_model::settings::suggestion;

use crate::base_tables;
use crate::error::EngineError;
use crate::messages::{self, Source};

/// Query files that come with the program: name and text.
const BUILT_IN: &[(&str, &str)] = include!(concat!(env!("OUT_DIR"), "/queries.rs"));

/// Names of the queries that come with the program.
pub(crate) fn built_in_names<'a>() -> impl Iterator<Item = &'a str> {
    BUILT_IN.iter().map(|(name, _)| *name)
}

/// Most operators in one query: with more, planning takes longer than anyone waits, and more stack than there is.
const MOST_OPERATORS: usize = 2000;

/// A query file.
#[derive(Clone, Debug, PartialEq)]
pub struct Query {
    /// Name of the file without its extension, and of the table.
    pub name: String,
    /// Where the query comes from, for messages.
    pub file: String,
    /// What its header says.
    pub header: Header,
    /// The role that its file gives it, which holds where [`Catalog::show`] gives it a table.
    pub role: Role,
    /// The whole text.
    pub sql: String,
    /// Tables that the SQL names, other than its own common table expressions.
    pub names: BTreeSet<String>,
    /// Whether the query came with the study and not with the program.
    pub own: bool,
    /// The header of the program's query whose place it takes.
    pub replaces: Option<Header>,
}

/// A query file of the study that is not run, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Refused {
    /// Name of the table that it should have made.
    pub name: String,
    /// What its header says, as far as it could be read.
    pub header: Header,
    /// The file, what is wrong and what to do.
    pub message: String,
}

/// All queries of a run, in an order in which each comes after those that it names.
#[derive(Clone, Debug, Default)]
pub struct Catalog {
    queries: Vec<Query>,
    refused: Vec<Refused>,
    /// Names of the queries that are asked for; all where there is none.
    asked: Vec<String>,
}

impl Query {
    /// Its file and text, for messages.
    pub(crate) fn source(&self) -> Source<'_> {
        Source {
            file: &self.file,
            sql: &self.sql,
        }
    }

    /// Reads a query's text.
    ///
    /// # Errors
    /// A header or SQL that cannot be parsed, more than one statement, or anything other than a query.
    pub fn parse(name: &str, file: &str, sql: &str, own: bool) -> Result<Self, EngineError> {
        let sql = sql.strip_prefix('\u{feff}').unwrap_or(sql);
        let header = Header::parse(sql).map_err(|error| EngineError::Header {
            file: file.to_owned(),
            message: messages::with_nearest(error.to_string()),
        })?;
        let source = Source { file, sql };
        let refuse = |message: &str| source.error(message.to_owned());
        if sql.trim().is_empty() {
            return Err(refuse("is empty: a query file holds one SELECT"));
        }
        let operators = operators(sql);
        if operators > MOST_OPERATORS {
            return Err(refuse(&format!(
                "has {operators} operators, more than the {MOST_OPERATORS} that can be planned: put lists into `IN (...)` or rows of VALUES"
            )));
        }
        let unreadable = |error| messages::about(source, &error, &[]);
        let statements = DFParser::parse_sql(sql).map_err(unreadable)?;
        let [statement] = statements.iter().collect::<Vec<_>>()[..] else {
            return Err(refuse(match statements.len() {
                0 => "has no SQL in it: a query file holds one SELECT",
                _ => "a query file holds one query: split it into several files",
            }));
        };
        if !is_query(statement) {
            return Err(refuse(
                "a query file holds a SELECT: tables are not created or changed from it",
            ));
        }
        let (tables, _) = resolve_table_references(statement, true).map_err(unreadable)?;
        Ok(Self {
            name: name.to_owned(),
            file: file.to_owned(),
            role: header.role,
            header,
            sql: sql.to_owned(),
            names: tables
                .iter()
                .map(|table| table.table().to_owned())
                .collect(),
            own,
            replaces: None,
        })
    }
}

/// What can stand within itself over and over, as in `a OR b OR c` or a chain of UNION. The engine walks down such chains.
fn operators(sql: &str) -> usize {
    const CHAINS: [Keyword; 8] = [
        Keyword::AND,
        Keyword::OR,
        Keyword::NOT,
        Keyword::UNION,
        Keyword::EXCEPT,
        Keyword::INTERSECT,
        Keyword::JOIN,
        Keyword::WHEN,
    ];
    let dialect = GenericDialect {};
    // What is no token is told by the parser, with its place.
    let tokens = Tokenizer::new(&dialect, sql).tokenize().unwrap_or_default();
    let is_operator = |token: &&Token| match token {
        Token::Word(word) => CHAINS.contains(&word.keyword),
        Token::Plus | Token::Minus | Token::Mul | Token::Div | Token::Mod => true,
        Token::StringConcat | Token::Eq | Token::Neq | Token::DoubleColon => true,
        Token::Lt | Token::Gt | Token::LtEq | Token::GtEq | Token::LBracket => true,
        _ => false,
    };
    tokens.iter().filter(is_operator).count()
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

/// The program's own query of a name.
fn built_in(name: &str) -> Result<Option<Query>, EngineError> {
    let found = BUILT_IN.iter().find(|(known, _)| *known == name);
    found
        .map(|(name, sql)| Query::parse(name, &format!("{name}.sql"), sql, false))
        .transpose()
}

impl Catalog {
    /// The program's queries, and those of the given folders: a query in a later folder takes the place of
    /// one of the same name. Folders that do not exist are passed over. A file that cannot be read or parsed, or that
    /// names itself in a circle, is refused by itself; see [`Self::refused`].
    ///
    /// # Errors
    /// A folder that cannot be read.
    pub fn read(folders: &[&Path]) -> Result<Self, EngineError> {
        let mut queries = BTreeMap::new();
        for (name, _) in BUILT_IN {
            queries.extend(built_in(name)?.map(|query| ((*name).to_owned(), query)));
        }
        let mut refused = Vec::new();
        for folder in folders.iter().filter(|folder| folder.is_dir()) {
            for file in read_folder(folder)? {
                match file {
                    Ok(mut query) => {
                        query.replaces = built_in(&query.name)?.map(|query| query.header);
                        queries.insert(query.name.clone(), query);
                    }
                    Err(file) => refused.push(*file),
                }
            }
        }
        Self {
            refused,
            ..Self::default()
        }
        .ordered(queries)
    }

    /// Puts queries in order; the study's own ones in a circle are refused.
    fn ordered(mut self, mut queries: BTreeMap<String, Query>) -> Result<Self, EngineError> {
        loop {
            let circle = match in_order(queries.clone()) {
                Ok(ordered) => {
                    self.queries = ordered;
                    return Ok(self);
                }
                Err(circle) => circle,
            };
            let own: Vec<String> = circle
                .iter()
                .filter(|name| queries.get(*name).is_some_and(|query| query.own))
                .cloned()
                .collect();
            let error = EngineError::Circle(circle.join(" -> "));
            if own.is_empty() {
                return Err(error);
            }
            for name in own {
                let stands_again = built_in(&name)?;
                if let Some(query) = queries.remove(&name) {
                    let message = query.source().error(error.to_string()).to_string();
                    self.refused.push(Refused {
                        name,
                        header: query.header,
                        message,
                    });
                }
                queries.extend(stands_again.map(|query| (query.name.clone(), query)));
            }
        }
    }

    /// Takes queries of the study out, with what is wrong with each; the program's own stand in their place again.
    ///
    /// # Errors
    /// None that a query of the study can cause.
    pub(crate) fn without(&self, faults: &[(String, String)]) -> Result<Self, EngineError> {
        let mut queries: BTreeMap<String, Query> = self
            .queries
            .iter()
            .map(|query| (query.name.clone(), query.clone()))
            .collect();
        let mut refused = self.refused.clone();
        for (name, message) in faults {
            let header = queries
                .remove(name)
                .map(|query| query.header)
                .unwrap_or_default();
            refused.push(Refused {
                name: name.clone(),
                header,
                message: message.clone(),
            });
            queries.extend(built_in(name)?.map(|query| (name.clone(), query)));
        }
        Self {
            queries: Vec::new(),
            refused,
            asked: self.asked.clone(),
        }
        .ordered(queries)
    }

    /// The query files of the study that are not run.
    pub fn refused(&self) -> &[Refused] {
        &self.refused
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

    /// Gives a parameter of a query another value than its default.
    ///
    /// # Errors
    /// The query's header declares no such parameter, or one of another type.
    pub fn set(&mut self, name: &str, parameter: &str, value: &str) -> Result<(), EngineError> {
        let Some(query) = self.queries.iter_mut().find(|query| query.name == name) else {
            return Ok(());
        };
        let known: Vec<String> = query.header.parameters.keys().cloned().collect();
        let Some(declared) = query.header.parameters.get_mut(parameter) else {
            return Err(EngineError::Query {
                file: query.file.clone(),
                message: format!(
                    "its header declares no parameter `{parameter}`{}",
                    suggestion(parameter, known.iter().map(String::as_str))
                ),
            });
        };
        declared.default = match declared.kind {
            CellKind::Integer => value.parse().map(toml::Value::Integer).ok(),
            CellKind::Number => value.parse().map(toml::Value::Float).ok(),
            CellKind::Boolean => value.parse().map(toml::Value::Boolean).ok(),
            CellKind::Text | CellKind::Time | CellKind::Date => {
                Some(toml::Value::String(value.to_owned()))
            }
        }
        .ok_or_else(|| EngineError::Query {
            file: query.file.clone(),
            message: format!(
                "the parameter `{parameter}` is given `{value}`, which is of another type"
            ),
        })?;
        Ok(())
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
        if let Some(refused) = self
            .refused
            .iter()
            .find(|refused| names.iter().any(|name| refused.name == plain_name(name)))
        {
            return Err(EngineError::Refused(refused.message.clone()));
        }
        let unknown = |name: &&&str| !self.queries.iter().any(|query| query.name == **name);
        if let Some(name) = names.iter().find(unknown) {
            let known = self.queries.iter().map(|query| query.name.as_str());
            let hint = messages::which(name, known);
            return Err(EngineError::Unknown {
                name: (*name).to_owned(),
                hint,
            });
        }
        let asked = names.iter().map(|name| (*name).to_owned()).collect();
        let all = self.clone();
        Ok(Self { asked, ..all })
    }

    /// The queries of a run in order: those asked for, and what they need.
    pub(crate) fn to_run(&self) -> Vec<&Query> {
        let mut wanted: BTreeSet<&String> = self.asked.iter().collect();
        for query in self.queries.iter().rev() {
            if wanted.contains(&query.name) {
                wanted.extend(&query.names);
            }
        }
        let is_wanted = |query: &&Query| self.asked.is_empty() || wanted.contains(&query.name);
        self.queries.iter().filter(is_wanted).collect()
    }
}

/// The query files of a folder, by name: each, or why it is none.
fn read_folder(folder: &Path) -> Result<Vec<Result<Query, Box<Refused>>>, EngineError> {
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
    Ok(paths.iter().map(|path| read_file(path)).collect())
}

/// The name under which a file that is refused for its own name is told.
fn plain_name(stem: &str) -> String {
    let plain = |c: char| match c.is_ascii_alphanumeric() {
        true => c.to_ascii_lowercase(),
        false => '_',
    };
    stem.chars().map(plain).collect()
}

fn read_file(path: &Path) -> Result<Query, Box<Refused>> {
    // Pages show it: the same wherever the study lies.
    let names = [path.parent().and_then(Path::file_name), path.file_name()];
    let file: PathBuf = names.into_iter().flatten().collect();
    let file = file.display().to_string();
    let stem = path
        .file_stem()
        .map_or(String::new(), |stem| stem.to_string_lossy().into_owned());
    let refused = |header: Header, message: String| {
        Box::new(Refused {
            name: plain_name(&stem),
            header,
            message,
        })
    };
    let wrong = |message: &str| refused(Header::default(), format!("{file}: {message}"));
    if !is_plain_name(&stem) {
        return Err(wrong(
            "the file's name becomes the table's: use lower-case letters, digits and _",
        ));
    }
    if base_tables::NAMES.contains(&stem.as_str()) {
        return Err(wrong(
            "this is the name of a table that the program makes from the study: choose another",
        ));
    }
    let bytes = std::fs::read(path).map_err(|error| wrong(&error.to_string()))?;
    let sql = String::from_utf8(bytes).map_err(|error| {
        let line = error
            .as_bytes()
            .iter()
            .take(error.utf8_error().valid_up_to())
            .filter(|b| **b == b'\n')
            .count()
            + 1;
        wrong(&format!("line {line}: is no UTF-8 text: save it as UTF-8"))
    })?;
    let header = || Header::parse(&sql).unwrap_or_default();
    Query::parse(&stem, &file, &sql, true).map_err(|error| refused(header(), error.to_string()))
}

fn is_plain_name(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_lowercase())
        && name
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_')
}

/// Queries, each after those that it names, by name where the SQL leaves it open; else a circle among them.
fn in_order(mut waiting: BTreeMap<String, Query>) -> Result<Vec<Query>, Vec<String>> {
    let mut ordered: Vec<Query> = Vec::new();
    while !waiting.is_empty() {
        let ready = waiting
            .values()
            .find(|query| !query.names.iter().any(|name| waiting.contains_key(name)))
            .map(|query| query.name.clone());
        match ready.and_then(|name| waiting.remove(&name)) {
            Some(query) => ordered.push(query),
            None => return Err(circle(&waiting)),
        }
    }
    Ok(ordered)
}

/// A circle among queries that all wait for each other, its first name again at the end.
fn circle(waiting: &BTreeMap<String, Query>) -> Vec<String> {
    let mut path: Vec<String> = Vec::new();
    let mut next = waiting.keys().next().cloned().unwrap_or_default();
    while !path.contains(&next) {
        let follows = waiting
            .get(&next)
            .and_then(|query| query.names.iter().find(|name| waiting.contains_key(*name)));
        path.push(next);
        next = follows.cloned().unwrap_or_default();
    }
    let start = path.iter().position(|name| *name == next).unwrap_or(0);
    path.push(next);
    path.split_off(start)
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
        assert_eq!(error, ["b", "c", "b"]);
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
    fn the_built_in_queries_declare_what_they_give() {
        for (name, sql) in BUILT_IN {
            let query = Query::parse(name, name, sql, false).unwrap();
            assert!(
                !query.header.columns.is_empty(),
                "{name} declares no column"
            );
            for (column, header) in &query.header.columns {
                assert!(header.class.is_some(), "{name}.{column} has no class");
            }
        }
    }

    /// A name means one thing: what a common table expression is called is called nothing else.
    #[test]
    fn no_common_table_expression_shadows_a_table() {
        let tables: BTreeSet<&str> = BUILT_IN
            .iter()
            .map(|(name, _)| *name)
            .chain(base_tables::NAMES)
            .collect();
        for (name, sql) in BUILT_IN {
            let statements = DFParser::parse_sql(sql).unwrap();
            let (_, expressions) = resolve_table_references(&statements[0], true).unwrap();
            for expression in expressions {
                let shadows = tables.contains(expression.table());
                assert!(
                    !shadows,
                    "{name}: `{}` is the name of a table",
                    expression.table()
                );
            }
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
