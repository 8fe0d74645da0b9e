//! What went wrong in a query, in words about the file that its author wrote: where, what, and what was perhaps meant.

use std::time::Duration;

use datafusion::common::SchemaError;
use datafusion::error::DataFusionError;
use whereworn_model::settings::nearest_word;

use crate::error::EngineError;

/// An error of the engine as one about a file.
///
/// `tables` are the names that the query could have used.
pub(crate) fn about(file: &str, error: &DataFusionError, tables: &[String]) -> EngineError {
    let text = text(error);
    let (message, at) = match position_in(&text) {
        Some((before, at)) => (before.to_owned(), Some(at)),
        None => (text.clone(), position(error)),
    };
    EngineError::Query {
        file: located(file, at),
        message: explained(error, &message, tables),
    }
}

/// A query of the study that took longer than it may.
pub(crate) fn too_long(file: &str, limit: Duration) -> EngineError {
    EngineError::Query {
        file: file.to_owned(),
        message: format!(
            "takes longer than {} s: ask for less, or allow more with --limit",
            limit.as_secs()
        ),
    }
}

/// A query that the engine itself gave way under, as where a text grew beyond what can be addressed.
pub(crate) fn broke(file: &str) -> EngineError {
    EngineError::Query {
        file: file.to_owned(),
        message: "grew beyond what the engine can hold in one value".to_owned(),
    }
}

/// A file, and the line and column in it, from 1.
fn located(file: &str, at: Option<(u64, u64)>) -> String {
    match at {
        Some((line, column)) if line > 0 => format!("{file}, line {line}, column {column}"),
        _ => file.to_owned(),
    }
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
        "Optimizer rule ",
    ] {
        if let Some(rest) = text.strip_prefix(prefix) {
            text = rest.to_owned();
        }
    }
    text.replace("datafusion.public.", "")
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

fn explained(error: &DataFusionError, message: &str, tables: &[String]) -> String {
    match error.find_root() {
        DataFusionError::SchemaError(schema, _) => {
            if let SchemaError::FieldNotFound {
                field,
                valid_fields,
            } = schema.as_ref()
            {
                let known: Vec<&str> = valid_fields.iter().map(|field| field.name()).collect();
                return unknown_column(field.name(), &known);
            }
        }
        DataFusionError::ResourcesExhausted(_) => {
            return "needs more memory than is allowed: ask for fewer rows or columns, aggregate sooner, or allow more with --memory".to_owned();
        }
        _ => {}
    }
    if let Some(name) = between(message, "table '", "' not found") {
        return unknown_table(name, tables);
    }
    if let Some(rest) = message
        .strip_prefix("sql parser error: ")
        .or(message.strip_prefix("ParserError(\""))
    {
        return format!(
            "is no SQL that can be read: {}",
            rest.trim_end_matches(['"', ')'])
        );
    }
    if let Some(name) = between(message, "Invalid function '", "'") {
        let hint = between(message, "Did you mean '", "'");
        return format!(
            "there is no function `{name}`{}",
            hint.map_or(String::new(), meant)
        );
    }
    if message.starts_with("Divide by zero") {
        return "divides by zero: write `NULLIF(x, 0)` below the division".to_owned();
    }
    if message.contains("Struct(") {
        return "a struct stands where a number or a text is wanted: read a field of it with get_field(x, 'name')".to_owned();
    }
    message.to_owned()
}

fn unknown_column(name: &str, known: &[&str]) -> String {
    let hint = nearest_word(name, known.iter().copied()).map_or(String::new(), meant);
    let mut names = known.to_vec();
    names.dedup();
    format!(
        "there is no column `{name}`{hint}; the columns here are {}",
        names.join(", ")
    )
}

fn unknown_table(name: &str, tables: &[String]) -> String {
    let name = name.rsplit('.').next().unwrap_or(name);
    let hint = nearest_word(name, tables.iter().map(String::as_str)).map_or(String::new(), meant);
    format!("there is no table `{name}`{hint}")
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
        about("q.sql", error, &["sessions".to_owned(), "pairs".to_owned()]).to_string()
    }

    #[test]
    fn names_are_those_of_the_author() {
        let error = DataFusionError::Plan("table 'datafusion.public.session' not found".to_owned());
        assert_eq!(
            message(&error),
            "q.sql: there is no table `session`; did you mean `sessions`?"
        );
        let error =
            DataFusionError::Plan("table 'datafusion.public.elsewhere' not found".to_owned());
        assert_eq!(message(&error), "q.sql: there is no table `elsewhere`");
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
