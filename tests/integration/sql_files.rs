//! The files under `tests/sql`: queries of the program, run on a tiny invented study, and what they give by hand.
//!
//! `CREATE TABLE name (column, ...) AS VALUES (...), ...` puts rows in place of a table of the program for the rest of the
//! file, as a query file of a study does; its other columns are empty. `INSERT INTO file` and lines of CSV below it put a raw
//! file into the study. Numbers are compared by ten significant digits. A file is added or changed without a rebuild.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;

use serde_json::Value;
use sqllogictest::{DB, DBOutput, DefaultColumnType, Runner};
use whereworn_model::header::{CellKind, Header, Role};

use crate::fixture::{LATER, Study, repository};

#[derive(Debug, thiserror::Error)]
#[error("{0}")]
struct Refused(String);

/// The program on a study of its own.
struct Program {
    study: Study,
}

impl Program {
    fn new() -> Self {
        Self {
            study: Study::copy_of(&repository("tests/sql/study")),
        }
    }

    /// A query file that gives these rows under the name of a table of the program.
    fn stand_in(&self, statement: &str) {
        let (table, values) = statement.split_once(" AS ").unwrap();
        let (name, columns) = table.trim_end_matches(')').split_once(" (").unwrap();
        let given: Vec<&str> = columns
            .split(',')
            .map(|name| name.trim().trim_matches('"'))
            .collect();
        let header = header_of(name);
        let others = header
            .columns
            .iter()
            .filter(|(name, _)| !given.contains(&name.as_str()));
        let empty: String = others
            .map(|(name, column)| {
                format!(
                    ", CAST(NULL AS {}) AS \"{name}\"",
                    sql_type(column.declared_kind().unwrap())
                )
            })
            .collect();
        let rows: Vec<String> = given.iter().map(|name| typed(&header, name)).collect();
        let rows = rows.join(", ");
        let sql = format!("SELECT {rows}{empty} FROM ({values}) AS given ({columns})");
        self.study.write(&format!("queries/{name}.sql"), sql);
    }
}

/// The header of a query file of the program.
fn header_of(name: &str) -> Header {
    let folders = ["tables", "intermediate"].map(|folder| format!("queries/{folder}/{name}.sql"));
    let text = folders
        .iter()
        .find_map(|path| fs::read_to_string(repository(path)).ok());
    Header::parse(&text.unwrap_or_else(|| panic!("no query {name}"))).unwrap()
}

/// A column of the rows given. Instants are in microseconds, as the program's are: literals come in nanoseconds.
fn typed(header: &Header, name: &str) -> String {
    let mut columns = header.columns.iter();
    let time = columns.any(|(column, declared)| {
        column == name && declared.declared_kind() == Some(CellKind::Time)
    });
    if time {
        format!("CAST(\"{name}\" AS TIMESTAMP(6)) AS \"{name}\"")
    } else {
        format!("\"{name}\"")
    }
}

fn sql_type(kind: CellKind) -> &'static str {
    match kind {
        CellKind::Text => "TEXT",
        CellKind::Integer => "BIGINT",
        CellKind::Number => "DOUBLE",
        CellKind::Time => "TIMESTAMP",
        CellKind::Date => "DATE",
        CellKind::Boolean => "BOOLEAN",
    }
}

impl DB for Program {
    type Error = Refused;
    type ColumnType = DefaultColumnType;

    fn run(&mut self, sql: &str) -> Result<DBOutput<DefaultColumnType>, Refused> {
        if let Some(rest) = sql.strip_prefix("CREATE TABLE ") {
            self.stand_in(rest);
            return Ok(DBOutput::StatementComplete(0));
        }
        if let Some(raw) = sql.strip_prefix("INSERT INTO ") {
            let (file, lines) = raw.split_once('\n').unwrap();
            self.study.write(file, lines);
            return Ok(DBOutput::StatementComplete(0));
        }
        let run = self.study.run(
            "query",
            &["--as-of", LATER, "--format", "json", "--sql", sql],
        );
        // Rows that were refused as a stand-in would leave the program's own in their place.
        if run.code != 0 || run.err.contains("queries/") {
            return Err(Refused(run.err));
        }
        let table: Value = serde_json::from_str(&run.out).unwrap();
        let rows: Vec<Vec<String>> = table.as_array().unwrap().iter().map(row).collect();
        let columns = rows.first().map_or(0, Vec::len);
        Ok(DBOutput::Rows {
            types: vec![DefaultColumnType::Any; columns],
            rows,
        })
    }
}

fn row(object: &Value) -> Vec<String> {
    object.as_object().unwrap().values().map(cell).collect()
}

fn cell(value: &Value) -> String {
    match value {
        Value::Null => "NULL".to_owned(),
        Value::String(text) if text.is_empty() => "(empty)".to_owned(),
        Value::String(text) => text.clone(),
        Value::Number(number) if number.is_f64() => ten_digits(number.as_f64().unwrap()),
        other => other.to_string(),
    }
}

/// A number rounded to ten significant digits, without an exponent and without trailing zeros.
fn ten_digits(value: f64) -> String {
    let rounded: f64 = format!("{value:.9e}").parse().unwrap();
    rounded.to_string()
}

fn files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(repository("tests/sql"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "slt"))
        .collect();
    files.sort();
    files
}

#[test]
fn every_file_holds() {
    let files = files();
    assert!(files.len() > 3);
    let wrong: Vec<String> = std::thread::scope(|scope| {
        let started: Vec<_> = files
            .iter()
            .map(|file| {
                scope.spawn(move || {
                    let mut runner = Runner::new(|| async { Ok(Program::new()) });
                    runner.run_file(file).map_err(|error| error.to_string())
                })
            })
            .collect();
        started
            .into_iter()
            .filter_map(|one| one.join().unwrap().err())
            .collect()
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

/// A query of the program.
struct BuiltIn {
    table: bool,
    reads: BTreeSet<String>,
}

fn built_in() -> BTreeMap<String, BuiltIn> {
    let folders = ["queries/tables", "queries/intermediate"];
    let files = folders.map(|folder| fs::read_dir(repository(folder)).unwrap());
    let paths = files.into_iter().flatten().map(|file| file.unwrap().path());
    paths
        .map(|path| {
            let text = fs::read_to_string(&path).unwrap();
            let query = BuiltIn {
                table: Header::parse(&text).unwrap().role == Role::Table,
                reads: named(&text),
            };
            let name = path.file_stem().unwrap().to_str().unwrap();
            (name.to_owned(), query)
        })
        .collect()
}

/// What stands after FROM or JOIN.
fn named(sql: &str) -> BTreeSet<String> {
    let code = sql.lines().filter(|line| !line.starts_with("--"));
    let words: Vec<&str> = code.flat_map(str::split_whitespace).collect();
    let after = words
        .windows(2)
        .filter(|pair| pair[0].ends_with("FROM") || pair[0] == "JOIN");
    after
        .map(|pair| pair[1].trim_end_matches(')').to_owned())
        .collect()
}

/// A table has to be asked for by a case; an intermediate result or view asked for, or read by what is, with no rows in its
/// place.
#[test]
fn every_query_has_a_case() {
    let queries = built_in();
    let (mut asked, mut computed) = (BTreeSet::new(), BTreeSet::new());
    for file in files() {
        let text = fs::read_to_string(file).unwrap();
        let mut replaced = BTreeSet::new();
        for record in text.split("\n\n") {
            let code: Vec<&str> = record.lines().filter(|l| !l.starts_with('#')).collect();
            let (Some(kind), sql) = (code.first(), code.join("\n")) else {
                continue;
            };
            if let Some((_, table)) = sql.split_once("CREATE TABLE ") {
                replaced.insert(table.split(' ').next().unwrap().to_owned());
            }
            if !kind.starts_with("query ") || kind.starts_with("query error") {
                continue;
            }
            let mut open: Vec<String> = named(&sql).into_iter().collect();
            asked.extend(open.iter().filter(|n| !replaced.contains(*n)).cloned());
            while let Some(name) = open.pop() {
                if let Some(query) = queries.get(&name)
                    && !replaced.contains(&name)
                    && computed.insert((replaced.clone(), name))
                {
                    open.extend(query.reads.iter().cloned());
                }
            }
        }
    }
    let has_case = |name: &String, query: &BuiltIn| {
        asked.contains(name)
            || (!query.table && computed.iter().any(|(_, computed)| computed == name))
    };
    let lacking: Vec<&String> = queries
        .iter()
        .filter(|(name, query)| !has_case(name, query))
        .map(|(name, _)| name)
        .collect();
    assert!(
        lacking.is_empty(),
        "no case in tests/sql/*.slt asks for {lacking:?}"
    );
}
