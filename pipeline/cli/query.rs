//! `query`: one table on standard output, or what tables and functions there are.

use std::io::{IsTerminal, Read, stdin};

use whereworn_engine::Catalog;

use crate::args::QueryArguments;
use crate::failure::Failure;
use crate::month::{StudyMonth, Unasked};
use crate::print::print;
use crate::terminal::{emit, say};
use whereworn_model::text::plain;

/// Name under which SQL from the command line runs.
const GIVEN: &str = "given_sql";

/// Runs a query and prints its table, or lists what there is.
pub fn run(arguments: &QueryArguments) -> Result<(), Failure> {
    if let Some(name) = &arguments.functions {
        return emit(functions(name)?.as_bytes());
    }
    let given = given_sql(arguments)?;
    let open = StudyMonth::open(&arguments.scope, Unasked::LastOver)?;
    if let Some(name) = &arguments.tables {
        return emit(tables(&open.catalog, name)?.as_bytes());
    }
    let (mut catalog, name) = match (given, arguments.name.as_deref()) {
        (Some(sql), _) => (open.catalog.clone().with(GIVEN, &sql)?, GIVEN),
        (None, Some(name)) if whereworn_engine::is_base_table(name) => {
            let sql = format!("SELECT * FROM {name}");
            (open.catalog.clone().with(GIVEN, &sql)?, GIVEN)
        }
        (None, Some(name)) => (open.catalog.clone(), name),
        (None, None) => return emit(tables(&open.catalog, "")?.as_bytes()),
    };
    for (parameter, value) in &arguments.set {
        catalog.set(name, parameter, value)?;
    }
    let mut needed = catalog.needed_for(name)?;
    needed.show(name);
    let engine = open.engine()?;
    if arguments.explain {
        let explained = engine.explain(&needed)?;
        open.progress.clear();
        return emit(explained.as_bytes());
    }
    let results = engine.run_all(&needed, &|query| {
        open.progress.say(&format!("computed {query}"))
    })?;
    open.progress.clear();
    for fault in results
        .iter()
        .filter(|table| table.name != name)
        .filter_map(|table| table.fault.as_ref())
    {
        say(&format!("warning: {}", plain(fault)));
    }
    let result = results.into_iter().find(|table| table.name == name);
    let result =
        result.ok_or_else(|| Failure::Request(format!("the query `{name}` gave no table")))?;
    match &result.fault {
        Some(fault) => Err(Failure::Request(fault.clone())),
        None => print(&result, arguments.format),
    }
}

/// The SQL of `--sql`, else what comes on standard input where nothing else is asked for.
fn given_sql(arguments: &QueryArguments) -> Result<Option<String>, Failure> {
    let asked = arguments.name.is_some() || arguments.tables.is_some();
    if arguments.sql.is_some() || asked || stdin().is_terminal() {
        return Ok(arguments.sql.clone());
    }
    let mut text = String::new();
    let read = stdin().lock().read_to_string(&mut text);
    read.map_err(|source| Failure::Io {
        what: "standard input".to_owned(),
        source,
    })?;
    Ok(Some(text).filter(|text| !text.trim().is_empty()))
}

/// All tables with what a row of each is, or the columns and the SQL of one.
fn tables(catalog: &Catalog, name: &str) -> Result<String, Failure> {
    if name.is_empty() {
        let tables = catalog.tables();
        let width = tables
            .iter()
            .map(|table| table.name.len())
            .max()
            .unwrap_or(0);
        let line = |table: &whereworn_engine::TableDescription| {
            format!("{:width$}  {}\n", table.name, table.title())
        };
        return Ok(tables.iter().map(line).collect());
    }
    let table = catalog.table(name)?;
    let mut out = format!("{}: {}\n", table.name, table.title());
    if let Some(row) = &table.header.row {
        out += &format!("A row is {row}.\n");
    }
    out.push('\n');
    let columns = table.columns();
    let width = columns
        .iter()
        .map(|column| column.name.len())
        .max()
        .unwrap_or(0);
    for column in &columns {
        out += &format!(
            "  {:width$}  {:12}  {}\n",
            column.name, column.kind, column.meaning
        );
    }
    if let Some(sql) = &table.sql {
        out += &format!("\n{}\n", sql.trim_end());
    }
    Ok(out)
}

/// All functions of ours with what they compute, or everything about one.
fn functions(name: &str) -> Result<String, Failure> {
    let all = whereworn_engine::functions::descriptions();
    if name.is_empty() {
        let line = |function: &whereworn_engine::functions::Description| {
            format!("{}\n    {}\n", function.call(), function.about)
        };
        return Ok(all.iter().map(line).collect());
    }
    let found = all.iter().find(|function| function.name == name);
    let Some(function) = found else {
        let known = all.iter().map(|function| function.name);
        let hint = whereworn_model::settings::suggestion(name, known);
        return Err(Failure::Request(format!(
            "there is no function `{name}` of ours{hint}"
        )));
    };
    let mut out = format!("{}\n{}\n\n", function.call(), function.about);
    let width = function
        .arguments
        .iter()
        .map(|argument| argument.name.len())
        .max()
        .unwrap_or(0);
    for argument in function.arguments {
        let unit = if argument.unit.is_empty() {
            String::new()
        } else {
            format!(" ({})", argument.unit)
        };
        out += &format!(
            "  {:width$}  {}{unit}\n",
            argument.name,
            argument.kind.words()
        );
    }
    out += &format!(
        "\nIt gives {}.\n\nFor example:\n\n{}\n",
        function.gives, function.example
    );
    Ok(out)
}
