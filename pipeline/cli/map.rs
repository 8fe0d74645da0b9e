//! `map`: how to read an export.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use whereworn_load::Table;
use whereworn_load::files::{self, Access};
use whereworn_load::map::{DateOrder, Known, Mapping, map, mapped_already, preview};
use whereworn_model::settings::Settings;
use whereworn_model::text::plain;
use whereworn_model::units::Unit;

use crate::failure::Failure;
use crate::terminal::{emit, say};

/// Arguments of `map`.
#[derive(Args)]
pub struct MapArguments {
    /// The exports: tables separated by commas, semicolons or tabs, also packed (.gz)
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
    /// Put the mapping into this study's study.toml; a file from elsewhere is copied into its folder exports/
    #[arg(long, value_name = "STUDY")]
    pub write: Option<PathBuf>,
    /// Which table the rows belong to
    #[arg(long, value_name = "TABLE")]
    pub table: Option<MapTable>,
    /// Which of two numbers of a date is the day
    #[arg(long, value_name = "ORDER")]
    pub dates: Option<Dates>,
    /// The unit of the glucose: mg/dL or mmol/L
    #[arg(long, value_parser = unit)]
    pub unit: Option<Unit>,
    /// What every row holds in one of our columns, for example sensor=s01
    #[arg(long = "set", value_name = "COLUMN=VALUE", value_parser = constant)]
    pub constants: Vec<(String, String)>,
    /// Map only rows with a text in a column of the file, for example "Row kind=0"; more than once for more texts
    #[arg(long = "rows", value_name = "COLUMN=TEXT", value_parser = constant)]
    pub rows: Vec<(String, String)>,
}

/// A raw table that an export may be of.
#[derive(Clone, Copy, ValueEnum)]
pub enum MapTable {
    /// Sensor readings
    Readings,
    /// Capillary checks
    Fingersticks,
    /// The log of what happened to sensors
    WearEvents,
}

/// Which of two numbers of a date is the day.
#[derive(Clone, Copy, ValueEnum)]
pub enum Dates {
    /// Day, month, year
    DayFirst,
    /// Month, day, year
    MonthFirst,
}

/// Reads a unit.
pub fn unit(text: &str) -> Result<Unit, String> {
    Unit::parse(text).ok_or_else(|| "write mg/dL or mmol/L".to_owned())
}

fn constant(text: &str) -> Result<(String, String), String> {
    let (column, value) = text.split_once('=').ok_or("write COLUMN=VALUE")?;
    Ok((column.trim().to_owned(), value.trim().to_owned()))
}

/// Rows shown as they are understood.
const SHOWN: usize = 10;

/// Characters of a raw row that are shown.
const RAW_CHARACTERS: usize = 70;

/// Prints the mapping of each export, and ten of its rows as it reads them; what is open in one is said after the others.
pub fn run(arguments: &MapArguments) -> Result<(), Failure> {
    let mut rows: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (column, text) in &arguments.rows {
        rows.entry(column.clone()).or_default().push(text.clone());
    }
    let known = Known {
        table: arguments.table.map(|table| match table {
            MapTable::Readings => Table::Readings,
            MapTable::Fingersticks => Table::Fingersticks,
            MapTable::WearEvents => Table::WearEvents,
        }),
        dates: arguments.dates.map(|dates| match dates {
            Dates::DayFirst => DateOrder::DayFirst,
            Dates::MonthFirst => DateOrder::MonthFirst,
        }),
        unit: arguments.unit,
        constants: arguments.constants.iter().cloned().collect(),
        rows,
    };
    let study = arguments.write.as_deref();
    if let [file] = arguments.files.as_slice() {
        return one(file, &known, study);
    }
    let mut open = Vec::new();
    for file in &arguments.files {
        let name = plain(&file.display().to_string());
        say(&format!("{name}:"));
        if let Err(failure) = one(file, &known, study) {
            say(&failure.to_string());
            open.push(name);
        }
    }
    if open.is_empty() {
        return Ok(());
    }
    Err(Failure::Request(format!(
        "{} of {} files are not mapped: {}",
        open.len(),
        arguments.files.len(),
        open.join(", ")
    )))
}

fn one(file: &Path, known: &Known, study: Option<&Path>) -> Result<(), Failure> {
    let mut mapping = map(file, known)?;
    for line in &mapping.told {
        say(&format!("- {line}"));
    }
    for part in mapping.parts() {
        show(file, &part);
    }
    let name = export_name(file);
    if mapping.open.is_empty()
        && let Some(study) = study
    {
        return write(study, file, &name, &mut mapping);
    }
    if !mapping.open.is_empty() {
        let inside = study.and_then(|study| inside(study, file));
        place(&mut mapping, file, inside.as_deref());
        say(
            "Nothing is written: answer what is asked at the end by an option; or put the block below into study.toml with the word in `values` or the column in `columns`, and the file where `files` says, in the study's folder:",
        );
    }
    for block in blocks(&mapping, &name) {
        emit(plain_lines(&block).as_bytes())?;
    }
    if mapping.open.is_empty() {
        say(
            "Put this into study.toml, or run again with --write STUDY. `files` is relative to the study's folder.",
        );
        return Ok(());
    }
    Err(Failure::Request(format!(
        "{}: {} more to say before it can be read: {}",
        file.display(),
        mapping.open.len(),
        mapping.open.join("; ")
    )))
}

/// The mappings of a file as they are written, an empty line between them; the first has the name.
fn blocks(mapping: &Mapping, name: &str) -> Vec<String> {
    let more = mapping.more.iter();
    let more =
        more.map(|(suffix, export)| format!("\n{}", export.block(&format!("{name}-{suffix}"))));
    [mapping.export.block(name)]
        .into_iter()
        .chain(more)
        .collect()
}

/// Shows the first rows of a file as a mapping reads them.
fn show(file: &Path, mapping: &Mapping) {
    if let Ok(rows) = preview(file, mapping, SHOWN) {
        say("");
        for row in rows {
            let raw: String = row.raw.chars().take(RAW_CHARACTERS).collect();
            let raw = raw.replace('\t', "    ");
            say(&format!(
                "line {}: {raw}\n    -> {}",
                row.line, row.understood
            ));
        }
        say("");
    }
}

fn plain_lines(text: &str) -> String {
    text.lines().map(|line| plain(line) + "\n").collect()
}

/// The name of an export, made from its file's: letters, digits and hyphens.
fn export_name(file: &Path) -> String {
    let name = file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let stem = name.split('.').next().unwrap_or_default();
    let letters = stem
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' });
    let letters: String = letters.collect();
    let name = letters.trim_matches('-');
    if name.is_empty() {
        "export".to_owned()
    } else {
        name.to_owned()
    }
}

/// Says where in the study the file lies: in its folder `exports/` where it comes from elsewhere.
fn place(mapping: &mut Mapping, file: &Path, inside: Option<&str>) {
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    let files = inside.map_or_else(|| format!("exports/{name}"), str::to_owned);
    let more = mapping.more.iter_mut().map(|(_, export)| export);
    for export in [&mut mapping.export].into_iter().chain(more) {
        export.files.clone_from(&files);
    }
}

/// Appends the mapping to a study's settings, and copies a file from elsewhere into the study.
fn write(study: &Path, file: &Path, name: &str, mapping: &mut Mapping) -> Result<(), Failure> {
    let path = study.join("study.toml");
    let text = fs::read_to_string(&path).map_err(Failure::io(
        &path,
        "reading (make a study with `whereworn start`)",
    ))?;
    let settings = parse(&path, &text)?;
    let inside = inside(study, file);
    place(mapping, file, inside.as_deref());
    // Its other rows may have been mapped before.
    let target = study.join(&mapping.export.files);
    let same = |one: &Path, other: &Path| Some(fs::read(one).ok()? == fs::read(other).ok()?);
    let other_file = inside.is_none() && target.exists() && same(&target, file) != Some(true);
    let parts = mapping.parts();
    let mut already = parts
        .iter()
        .filter_map(|part| mapped_already(&settings.exports, &part.export));
    if let Some(block) = already.next() {
        if other_file {
            return Err(Failure::Request(format!(
                "[exports.{block}] maps another file of this name: where this one is a newer export, copy it over {}: the mapping stands",
                target.display()
            )));
        }
        say(&format!(
            "The file is mapped already, by [exports.{block}] in {}: nothing is written. To map it anew, remove that block first.",
            path.display()
        ));
        return Ok(());
    }
    if other_file {
        return Err(Failure::Request(format!(
            "{}: there is another file of that name already: remove it, or give this one another name",
            target.display()
        )));
    }
    let mut name = name.to_owned();
    let taken = |name: &String| {
        let mut more = mapping.more.iter();
        let there = |name: &str| settings.exports.contains_key(name);
        there(name) || more.any(|(suffix, _)| there(&format!("{name}-{suffix}")))
    };
    while taken(&name) {
        name += "-2";
    }
    let whole = format!("{}\n\n{}", text.trim_end(), blocks(mapping, &name).join(""));
    parse(&path, &whole)?;
    if !target.exists() {
        fs::create_dir_all(study.join("exports"))
            .map_err(Failure::io(&target, "creating its folder"))?;
        fs::copy(file, &target).map_err(Failure::io(&target, "copying"))?;
        say(&format!("copied to {}", target.display()));
    }
    files::replace(&path, whole.as_bytes(), Access::Shared)
        .map_err(Failure::io(&path, "writing"))?;
    let more = mapping.more.iter();
    let more = more.map(|(suffix, _)| format!(", [exports.{name}-{suffix}] too"));
    let more: String = more.collect();
    say(&format!("[exports.{name}] is in {}{more}", path.display()));
    Ok(())
}

fn parse(path: &Path, text: &str) -> Result<Settings, Failure> {
    Settings::parse(text).map_err(|error| Failure::Request(format!("{}, {error}", path.display())))
}

/// The path of a file relative to the study's folder, where it lies in it.
fn inside(study: &Path, file: &Path) -> Option<String> {
    let (study, file) = (fs::canonicalize(study).ok()?, fs::canonicalize(file).ok()?);
    let parts: Vec<String> = file
        .strip_prefix(study)
        .ok()?
        .components()
        .map(|part| part.as_os_str().to_string_lossy().into_owned())
        .collect();
    Some(parts.join("/"))
}
