//! What went wrong in a query, in words about the file that its author wrote: where, what, and what was perhaps meant.

use std::time::Duration;

use datafusion::common::SchemaError;
use datafusion::error::DataFusionError;
use whereworn_model::settings::nearest_word;

use crate::catalog::built_in_names;
use crate::error::EngineError;
use crate::functions;
use crate::session::TOO_LARGE;

/// The file of a query and its text, for messages.
#[derive(Clone, Copy)]
pub(crate) struct Source<'q> {
    pub file: &'q str,
    pub sql: &'q str,
}

/// An error of the engine as one about a file.
///
/// `tables` are the names that the query could have used.
pub(crate) fn about(source: Source<'_>, error: &DataFusionError, tables: &[String]) -> EngineError {
    let text = text(error);
    let (message, at) = match position_in(&text) {
        Some((before, at)) => (before.to_owned(), Some(at)),
        None => (text.clone(), position(error)),
    };
    let message = explained(error, &message, tables);
    match at.filter(|(line, _)| *line > 0) {
        Some((line, column)) => EngineError::Query {
            file: format!("{}, line {line}, column {column}", source.file),
            message,
        },
        None => source.error(message),
    }
}

/// A query of the study that took longer than it may.
pub(crate) fn too_long(source: Source<'_>, limit: Duration) -> EngineError {
    let seconds = limit.as_secs();
    source.error(format!(
        "takes longer than {seconds} s: ask for less, or allow more with --limit"
    ))
}

/// A query that the engine itself gave way under, as where a text grew beyond what can be addressed.
pub(crate) fn broke(source: Source<'_>) -> EngineError {
    source.error("grew beyond what the engine can hold in one value".to_owned())
}

impl Source<'_> {
    /// An error about what stands in the query, or about all of it.
    pub fn error(&self, message: String) -> EngineError {
        EngineError::Query {
            file: format!("{}, line {}", self.file, self.line(&message)),
            message,
        }
    }

    /// The line, from 1, in which a name stands that the message quotes; else the one in which the SQL begins.
    fn line(&self, message: &str) -> usize {
        let is_sql = |line: &str| !(line.trim().is_empty() || line.trim_start().starts_with("--"));
        let start = match message.contains("header") {
            true => 0,
            false => self.sql.lines().position(is_sql).unwrap_or(0),
        };
        let name = |quoted: &str| {
            let name = quoted.split(['(', ' ']).next().unwrap_or("");
            name.rsplit('.').next().unwrap_or("").to_owned()
        };
        let place = |name: String| {
            let mut lines = self.sql.lines().skip(start);
            lines.position(|line| !name.is_empty() && words(line).any(|word| word == name))
        };
        let quoted = message.split('`').skip(1).step_by(2);
        start + 1 + quoted.map(name).find_map(place).unwrap_or(0)
    }
}

fn words(line: &str) -> impl Iterator<Item = &str> {
    line.split(|c: char| !(c.is_alphanumeric() || c == '_'))
}

/// The innermost cause, on one line, without the engine's own layers around it.
fn text(error: &DataFusionError) -> String {
    let text = error.find_root().strip_backtrace();
    let mut text = text.lines().map(str::trim).collect::<Vec<_>>().join(" ");
    for prefix in [
        "Error during planning: ",
        "Execution error: ",
        "Arrow error: ",
        "Schema error: ",
        "SQL error: ",
        "This feature is not implemented: ",
        "Internal error: ",
        "Optimizer rule ",
        "Compute error: ",
        "Parser error: ",
        "Cast error: ",
        "Invalid argument error: ",
    ] {
        if let Some(rest) = text.strip_prefix(prefix) {
            text = rest.to_owned();
        }
    }
    let ours_to_say = text.split(" This issue was likely caused by").next();
    let text = ours_to_say
        .unwrap_or(&text)
        .replace("datafusion.public.", "")
        .replace("'datafusion.", "'");
    match text
        .strip_prefix("failed to call '")
        .and_then(|rest| rest.split_once("' "))
    {
        Some((_, cause)) => cause.trim_start_matches("Compute error: ").to_owned(),
        None => text,
    }
}

/// Where the planner found the fault.
fn position(error: &DataFusionError) -> Option<(u64, u64)> {
    let start = error.diagnostic()?.span?.start;
    Some((start.line, start.column))
}

/// Where the parser found the fault, which stands at the end of its message, and what stands before.
fn position_in(text: &str) -> Option<(&str, (u64, u64))> {
    let (before, after) = text.rsplit_once(" at Line: ")?;
    let (line, column) = after.split_once(", Column: ")?;
    let digits: String = column.chars().take_while(char::is_ascii_digit).collect();
    Some((before, (line.trim().parse().ok()?, digits.parse().ok()?)))
}

/// Whether there was too little memory.
pub(crate) fn is_memory(error: &DataFusionError) -> bool {
    matches!(error.find_root(), DataFusionError::ResourcesExhausted(_))
}

fn explained(error: &DataFusionError, message: &str, tables: &[String]) -> String {
    if is_memory(error) {
        return "needs more memory than is allowed: ask for fewer rows or columns, aggregate sooner, or allow more with --memory".to_owned();
    }
    if let DataFusionError::SchemaError(schema, _) = error.find_root()
        && let Some(message) = of_names(schema)
    {
        return message;
    }
    named(message, tables)
        .or_else(|| in_our_words(message))
        .unwrap_or_else(|| message.to_owned())
}

/// Errors about columns that are not there, or not told apart.
fn of_names(error: &SchemaError) -> Option<String> {
    match error {
        SchemaError::FieldNotFound {
            field,
            valid_fields,
        } => {
            let relations = || {
                valid_fields
                    .iter()
                    .filter_map(|field| field.relation.as_ref())
            };
            if let Some(of) = &field.relation
                && !relations().any(|relation| relation.table() == of.table())
            {
                let (of, name) = (of.table(), field.name());
                return Some(format!(
                    "there is no table or alias `{of}` here, of which `{name}` could be"
                ));
            }
            let known: Vec<&str> = valid_fields.iter().map(|field| field.name()).collect();
            Some(unknown_column(field.name(), &known))
        }
        SchemaError::AmbiguousReference { field } => {
            let name = field.name();
            Some(format!(
                "`{name}` could be of several tables here: say of which, as in s.{name}"
            ))
        }
        SchemaError::DuplicateUnqualifiedField { name } => Some(twice(name)),
        SchemaError::DuplicateQualifiedField { name, .. } => Some(twice(name)),
    }
}

fn twice(name: &str) -> String {
    format!("two columns are called `{name}`: give one another name with AS")
}

/// Errors that name a table or a function that is not there.
fn named(message: &str, tables: &[String]) -> Option<String> {
    if let Some(name) = between(message, "table function '", "' not found") {
        return Some(format!(
            "there is no table function `{name}`: a query reads the tables of the study, and no files"
        ));
    }
    if let Some(name) = between(message, "table '", "' not found") {
        let known = tables.iter().map(String::as_str).chain(built_in_names());
        let hint = nearest_word(name, known).map_or(String::new(), meant);
        return Some(format!("there is no table `{name}`{hint}"));
    }
    let name = between(message, "Invalid function '", "'")?;
    if TOO_LARGE.contains(&name) {
        return Some(format!(
            "`{name}` is not to be had: it can fill the memory from a single row"
        ));
    }
    if name == functions::holm::NAME {
        return Some(format!("`{name}` wants a window: write {name}(p) OVER ()"));
    }
    if let Some((_, here)) = ELSEWHERE.iter().find(|(other, _)| *other == name) {
        return Some(format!("there is no function `{name}`: write {here}"));
    }
    let ours = functions::descriptions();
    let ours = nearest_word(name, ours.iter().map(|function| function.name)).map(meant);
    let theirs = between(message, "Did you mean '", "'").map(meant);
    Some(format!(
        "there is no function `{name}`{}",
        ours.or(theirs).unwrap_or_default()
    ))
}

/// Functions of other dialects of SQL, and what does their work here.
const ELSEWHERE: [(&str, &str); 12] = [
    ("iif", "CASE WHEN a THEN b ELSE c END"),
    ("if", "CASE WHEN a THEN b ELSE c END"),
    ("isnull", "COALESCE(a, b), or a IS NULL"),
    ("strftime", "to_char(time, '%Y-%m-%d')"),
    ("date_format", "to_char(time, '%Y-%m-%d')"),
    ("year", "DATE_PART('year', time)"),
    ("month", "DATE_PART('month', time)"),
    ("day", "DATE_PART('day', time)"),
    ("hour", "DATE_PART('hour', time)"),
    (
        "datediff",
        "days_between(from, to) or minutes_between(from, to)",
    ),
    ("julianday", "days_between(from, to)"),
    ("group_concat", "STRING_AGG(a, ', ' ORDER BY a)"),
];

/// The engine's types as a reader knows them, the longer names first.
const TYPES: [(&str, &str); 12] = [
    ("Timestamp(µs, \"UTC\")", "instant"),
    ("Timestamp(µs)", "instant"),
    ("Timestamp(ns)", "instant"),
    ("Interval(MonthDayNano)", "interval"),
    ("Utf8View", "text"),
    ("Utf8", "text"),
    ("Boolean", "truth value"),
    ("Float64", "number"),
    ("UInt64", "whole number"),
    ("Int64", "whole number"),
    ("Int32", "whole number"),
    ("Date32", "date"),
];

fn with_types_in_words(text: &str) -> String {
    let plain = |text: String, (theirs, ours): &(&str, &str)| text.replace(theirs, ours);
    TYPES.iter().fold(text.to_owned(), plain)
}

/// What the engine says of types, columns and words that it has another use for.
fn of_dialects(message: &str) -> Option<String> {
    if let Some(what) = between(message, "arithmetic expression ", " to valid types") {
        let hint = match what {
            "Utf8 + Utf8" | "Utf8View + Utf8View" => ": texts are joined with ||",
            _ if what.contains("Interval") => {
                ": write an instant as TIMESTAMP '2026-09-01T00:00:00Z'"
            }
            _ => ": CAST one of them",
        };
        return Some(format!("cannot reckon {}{hint}", with_types_in_words(what)));
    }
    let compared = message.split_once("type for comparison operation ");
    if let Some((_, what)) = compared.filter(|(_, what)| !what.contains("Struct(")) {
        let what = with_types_in_words(what);
        return Some(format!(
            "compares what cannot be compared, {what}: CAST one side, or leave a truth value alone"
        ));
    }
    if let Some(name) = between(message, "Function '", "' failed to match any signature") {
        let hint = match name {
            "date_trunc" | "date_part" => {
                format!("its first is the part, as in {name}('day', time)")
            }
            _ => "they are of another kind, or in another order".to_owned(),
        };
        return Some(format!("`{name}` does not take these arguments: {hint}"));
    }
    if let Some(column) = between(message, "column \"", "\" must appear in the GROUP BY") {
        let name = column.rsplit('.').next().unwrap_or(column);
        return Some(format!(
            "`{name}` stands beside an aggregate: add it to GROUP BY, or aggregate it too"
        ));
    }
    if message.contains("nested_expressions") || message.contains("array literal") {
        return Some(
            "square brackets are no names here: those with blanks stand in \"double quotes\""
                .to_owned(),
        );
    }
    (message == "TOP").then(|| "TOP is not known here: write LIMIT at the end".to_owned())
}

/// What a reader should know of a character that is no SQL.
fn of_characters(message: &str) -> &'static str {
    match message.contains(['‘', '’', '“', '”', '„', '´']) {
        true => {
            "; this is a typographic quote: a text stands in straight 'single quotes', a name in straight \"double quotes\""
        }
        false => "",
    }
}

/// What the engine says in words of its own.
fn in_our_words(message: &str) -> Option<String> {
    if let Some(rest) = message.strip_prefix("sql parser error: ") {
        let hint = of_characters(rest);
        return Some(format!("is no SQL that can be read: {rest}{hint}"));
    }
    if let Some(message) = of_dialects(message) {
        return Some(message);
    }
    for wrapped in ["ParserError(\"", "TokenizerError(\""] {
        if let Some(rest) = message.strip_prefix(wrapped) {
            let rest = rest.trim_end_matches(['"', ')']);
            let hint = of_characters(rest);
            return Some(format!("is no SQL that can be read: {rest}{hint}"));
        }
    }
    if let Some(name) = between(message, " AS ", "\" at position") {
        return Some(twice(name));
    }
    let get_field = "read a field of it with get_field(x, 'name')";
    Some(match message {
        _ if message.starts_with("RecursionLimitExceeded") => {
            "has brackets within each other too deep to be read".to_owned()
        }
        _ if message.starts_with("Divide by zero") => {
            "divides by zero: write `NULLIF(x, 0)` below the division".to_owned()
        }
        _ if message.starts_with("Dot access not supported") => {
            format!("a struct is followed by a dot: {get_field}")
        }
        _ if message.contains("Struct(") => {
            format!("a struct stands where a number or a text is wanted: {get_field}")
        }
        _ if message.starts_with("DDL not supported") || message.contains("INSERT INTO") => {
            "a query file holds a SELECT: tables are not created or changed from it".to_owned()
        }
        _ => return None,
    })
}

fn unknown_column(name: &str, known: &[&str]) -> String {
    let nearest = nearest_word(name, known.iter().copied()).map(meant);
    let hint = nearest.unwrap_or_else(|| "; a text stands in 'single quotes'".to_owned());
    let mut names: Vec<&str> = Vec::new();
    for name in known {
        if !names.contains(name) {
            names.push(name);
        }
    }
    format!(
        "there is no column `{name}`{hint}; the columns here are {}",
        names.join(", ")
    )
}

/// A message on an unknown key of a header, with the nearest of those that it lists, where one is near.
pub(crate) fn with_nearest(message: String) -> String {
    let mut quoted = message.split('`').skip(1).step_by(2);
    let unknown = quoted.next().filter(|_| message.contains("unknown key"));
    let nearest = unknown.and_then(|unknown| nearest_word(unknown, quoted));
    let hint = nearest.map_or(String::new(), meant);
    message + &hint
}

/// What to do about a table that is not there; there are too many to name them all.
pub(crate) fn which<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> String {
    let all = || "; `--tables` lists what there is".to_owned();
    nearest_word(name, known).map_or_else(all, meant)
}

fn meant(word: &str) -> String {
    format!("; did you mean `{word}`?")
}

fn between<'t>(text: &'t str, before: &str, after: &str) -> Option<&'t str> {
    let rest = text.split_once(before)?.1;
    Some(rest.split_once(after)?.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(error: &DataFusionError) -> String {
        let sql = "-- title = \"session\"\nSELECT a\nFROM session";
        let tables = ["sessions".to_owned(), "pairs".to_owned()];
        about(Source { file: "q.sql", sql }, error, &tables).to_string()
    }

    #[test]
    fn names_are_those_of_the_author() {
        let error = DataFusionError::Plan("table 'datafusion.public.session' not found".to_owned());
        assert_eq!(
            message(&error),
            "q.sql, line 3: there is no table `session`; did you mean `sessions`?"
        );
        let error =
            DataFusionError::Plan("table 'datafusion.public.elsewhere' not found".to_owned());
        assert_eq!(
            message(&error),
            "q.sql, line 2: there is no table `elsewhere`"
        );
    }

    #[test]
    fn the_place_stands_beside_the_file() {
        let error = DataFusionError::Plan(
            "sql parser error: Expected: an expression, found: FROM at Line: 3, Column: 8"
                .to_owned(),
        );
        assert_eq!(
            message(&error),
            "q.sql, line 3, column 8: is no SQL that can be read: Expected: an expression, found: FROM"
        );
    }
}
