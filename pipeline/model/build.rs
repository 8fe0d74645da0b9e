//! Makes accessors for the tables of the query files in the top folder `queries`, from the headers of these.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::{env, fs};

use header::{CellKind, ColumnHeader, Header, Role};

#[allow(dead_code, missing_docs)]
#[path = "src/header.rs"]
mod header;
#[path = "src/readable.rs"]
mod readable;

type Columns = BTreeMap<String, ColumnHeader>;

fn main() -> Result<(), String> {
    let manifest = env::var_os("CARGO_MANIFEST_DIR").ok_or("run by cargo")?;
    let out = env::var_os("OUT_DIR").ok_or("run by cargo")?;
    let mut files = Vec::new();
    collect(&Path::new(&manifest).join("../../queries"), &mut files).map_err(|e| e.to_string())?;
    files.sort();
    let mut code = String::new();
    let mut names = Vec::new();
    for path in files {
        let failed = |message: String| format!("{}: {message}", path.display());
        let sql = fs::read_to_string(&path).map_err(|e| failed(e.to_string()))?;
        let header = Header::parse(&sql).map_err(|e| failed(e.to_string()))?;
        if header.role != Role::Table {
            continue;
        }
        let name = path
            .file_stem()
            .map_or(String::new(), |n| n.to_string_lossy().into_owned());
        code.push_str(&module(&name, &header).map_err(failed)?);
        names.push(name);
    }
    let _ = writeln!(
        code,
        "/// Every table that a query file of the program declares, by name."
    );
    let _ = writeln!(code, "pub const ALL: &[Declaration] = &[");
    for name in &names {
        let _ = writeln!(
            code,
            "    Declaration {{ name: {name}::NAME, columns: &{name}::COLUMNS }},"
        );
    }
    code.push_str("];\n");
    fs::write(PathBuf::from(out).join("tables.rs"), code).map_err(|e| e.to_string())
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    println!("cargo::rerun-if-changed={}", folder.display());
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            collect(&path, files)?;
        } else if path.extension().is_some_and(|extension| extension == "sql") {
            files.push(path);
        }
    }
    Ok(())
}

/// The module of one table.
fn module(name: &str, header: &Header) -> Result<String, String> {
    let columns = &header.columns;
    let title = header.title.as_deref().unwrap_or(name);
    let row = header.row.as_deref().unwrap_or("one row");
    let count = columns.len();
    let mut code = format!(
        "/// {title}; a row is {row}.\n\
         pub mod {name} {{\n\
         use super::*;\n\
         /// Name of the table.\npub const NAME: &str = \"{name}\";\n\
         /// Its columns, by name.\npub const COLUMNS: [DeclaredColumn; {count}] = [\n"
    );
    for (column, declared) in columns {
        let kind = kind_of(column, declared)?;
        let class = declared
            .class
            .ok_or_else(|| format!("the column `{column}` has no class"))?;
        let _ = writeln!(
            code,
            "DeclaredColumn {{ name: {column:?}, kind: CellKind::{kind:?}, class: Class::{class:?} }},"
        );
    }
    let _ = write!(
        code,
        "];\n\
         /// The table, all declared columns being there.\n#[derive(Clone, Copy, Debug)]\n\
         pub struct Table<'t> {{ columns: [&'t Column; {count}], rows: usize }}\n\
         impl<'t> Table<'t> {{\n\
         /// The table among others; nothing where it is not there or lacks a declared column (see [`super::check`]).\n\
         pub fn of(tables: &'t [ResultTable]) -> Option<Self> {{\n\
         let table = named(tables, NAME)?;\n\
         Some(Self {{ columns: columns(table, &COLUMNS)?, rows: table.rows() }})\n}}\n\
         /// Its rows, in order.\n\
         pub fn rows(&self) -> impl ExactSizeIterator<Item = Row<'t>> + Clone + use<'t> {{\n\
         let columns = self.columns;\n\
         (0..self.rows).map(move |row| Row(Record {{ columns, row }}))\n}}\n}}\n\
         /// A row: {row}.\n#[derive(Clone, Copy, Debug)]\n\
         pub struct Row<'t>(Record<'t, {count}>);\n\
         impl<'t> Row<'t> {{\n"
    );
    for (column, declared) in columns {
        code.push_str(&accessor(column, declared, columns)?);
    }
    code.push_str("}\n");
    code.push_str(&names(columns));
    code.push_str("}\n\n");
    Ok(code)
}

/// The names of the columns as constants, for who reads a column by name.
fn names(columns: &Columns) -> String {
    let constant = |column: &String| {
        let constant = column.to_uppercase();
        format!("/// The column `{column}`.\npub const {constant}: &str = {column:?};\n")
    };
    let constants: String = columns.keys().map(constant).collect();
    format!("/// Names of its columns.\npub mod column {{\n{constants}}}\n")
}

fn kind_of(name: &str, column: &ColumnHeader) -> Result<CellKind, String> {
    column
        .declared_kind()
        .ok_or_else(|| format!("the column `{name}` has no class"))
}

/// The method of one column; the ends of an interval come with their estimate.
fn accessor(name: &str, column: &ColumnHeader, all: &Columns) -> Result<String, String> {
    let bounds = bounds_of(name, all);
    let is_bound = |bounds: [String; 2]| bounds.iter().any(|bound| bound == name);
    if all
        .keys()
        .filter_map(|other| bounds_of(other, all))
        .any(is_bound)
    {
        return Ok(String::new());
    }
    let at = |name: &str| {
        all.keys()
            .position(|other| other == name)
            .unwrap_or(usize::MAX)
    };
    let (gives, body) = match (bounds, kind_of(name, column)?) {
        (Some([lower, upper]), _) => (
            "Estimate",
            format!("estimate({}, {}, {})", at(name), at(&lower), at(&upper)),
        ),
        (None, CellKind::Text) => ("&'t str", format!("text({})", at(name))),
        (None, CellKind::Boolean) => {
            return Err(format!(
                "the column `{name}` of a result table is boolean: give a word or 0 and 1"
            ));
        }
        (None, CellKind::Integer) => ("Option<i64>", format!("integer({})", at(name))),
        (None, CellKind::Number) => ("Option<f64>", format!("number({})", at(name))),
        (None, CellKind::Time) => ("Option<Micros>", format!("time({})", at(name))),
        (None, CellKind::Date) => ("Option<jiff::civil::Date>", format!("date({})", at(name))),
    };
    let label = column
        .label
        .clone()
        .unwrap_or_else(|| name.replace('_', " "));
    let unit = column
        .unit
        .as_ref()
        .map_or(String::new(), |unit| format!(", {unit}"));
    Ok(format!(
        "/// {label}{unit}.\n#[must_use]\npub fn {}(&self) -> {gives} {{ self.0.{body} }}\n",
        identifier(name)
    ))
}

/// The columns with the ends of a column's interval, where they are declared.
fn bounds_of(name: &str, all: &Columns) -> Option<[String; 2]> {
    let bounds = ["lower", "upper"].map(|end| format!("{name}_{end}"));
    bounds
        .iter()
        .all(|bound| all.contains_key(bound))
        .then_some(bounds)
}

/// A column's name as a name in Rust.
fn identifier(name: &str) -> String {
    const KEYWORDS: [&str; 12] = [
        "as", "do", "else", "for", "if", "in", "loop", "match", "move", "ref", "type", "where",
    ];
    if KEYWORDS.contains(&name) {
        format!("r#{name}")
    } else {
        name.to_owned()
    }
}
