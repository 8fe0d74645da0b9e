//! Study folders made by hand, the program run on them, and the tables that it writes.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use tempfile::TempDir;

/// An instant after every row of the studies made by hand.
pub const LATER: &str = "2100-01-01T00:00:00Z";

/// Settings of a study in mg/dL whose local times are UTC. Rows made by hand look odd to who doubts clocks and meters:
/// all of them count.
pub const IN_UTC: &str = "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\nkeep_doubtful = true\n";

/// A study folder, removed at the end of the test, with room for output beside it.
pub struct Study {
    root: TempDir,
}

/// What one run of the program gave.
#[derive(Debug)]
pub struct Run {
    pub code: i32,
    pub bytes: Vec<u8>,
    pub out: String,
    pub err: String,
}

impl Study {
    /// A folder with these settings and nothing else.
    pub fn new(settings: &str) -> Self {
        let study = Self {
            root: tempfile::tempdir().unwrap(),
        };
        study.write("study.toml", settings);
        study
    }

    /// A copy of a folder, without what an earlier run left in it.
    pub fn copy_of(folder: &Path) -> Self {
        let root = tempfile::tempdir().unwrap();
        copy(folder, &root.path().join("study"));
        Self { root }
    }

    /// An invented study written by `demo`.
    pub fn demo(wearers: &str, sensors: &str, minutes: &str, seed: &str) -> Self {
        let place = Self::new("");
        let folder = place.beside("demo");
        let mut all: Vec<&OsStr> = vec!["demo".as_ref(), folder.as_ref()];
        let options = [
            ("--wearers", wearers),
            ("--sensors", sensors),
            ("--minutes", minutes),
            ("--seed", seed),
        ];
        all.extend(
            options
                .iter()
                .flat_map(|(name, value)| [OsStr::new(name), OsStr::new(value)]),
        );
        assert_eq!(whereworn(&all).code, 0);
        Self::copy_of(&folder)
    }

    pub fn dir(&self) -> PathBuf {
        self.root.path().join("study")
    }

    /// A path beside the study folder.
    pub fn beside(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> &Self {
        let path = self.dir().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content).unwrap();
        self
    }

    pub fn remove(&self, name: &str) {
        fs::remove_file(self.dir().join(name)).unwrap();
    }

    /// Runs a command on the study.
    pub fn run(&self, command: &str, arguments: &[&str]) -> Run {
        let dir = self.dir();
        let mut all: Vec<&OsStr> = vec![command.as_ref(), dir.as_ref()];
        all.extend(arguments.iter().map(OsStr::new));
        whereworn(&all)
    }

    /// Runs `report` with output beside the study; more arguments may name the month.
    pub fn try_report(&self, arguments: &[&str]) -> Run {
        let out = self.beside("out").display().to_string();
        let mut all = vec!["--out", &out];
        if !arguments.contains(&"--as-of") {
            all.extend(["--as-of", LATER]);
        }
        all.extend(arguments);
        self.run("report", &all)
    }

    /// A report that has to be written.
    pub fn report(&self) -> Output {
        self.report_with(&[])
    }

    /// A report that has to be written, with more arguments.
    pub fn report_with(&self, arguments: &[&str]) -> Output {
        let run = self.try_report(arguments);
        assert_eq!(run.code, 0, "{}", run.err);
        Output::read(&self.beside("out"))
    }

    /// The rows of SQL run on the study.
    pub fn sql(&self, sql: &str) -> Table {
        let run = self.run(
            "query",
            &["--as-of", LATER, "--format", "csv", "--sql", sql],
        );
        assert_eq!(run.code, 0, "{}", run.err);
        Table::parse("sql", &run.out)
    }

    /// The lines of `rejects.csv` as `file:line:column`, and their reasons.
    pub fn rejects(&self) -> Vec<(String, String)> {
        self.report().rejects()
    }

    /// Nothing but input is there: neither a store nor a report.
    pub fn assert_untouched(&self) {
        assert!(!self.dir().join(".whereworn").exists(), "a store was left");
        assert!(!self.dir().join("reports").exists(), "reports/ was left");
        let beside: Vec<_> = fs::read_dir(self.root.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name())
            .collect();
        assert_eq!(beside, ["study"], "something was left beside the study");
    }
}

/// Runs the program.
pub fn whereworn(arguments: &[&OsStr]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_whereworn"))
        .args(arguments)
        .output()
        .unwrap();
    Run {
        code: output.status.code().expect("ended by a signal"),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
        bytes: output.stdout,
    }
}

impl Run {
    /// The run failed with status 1 and one line that holds every one of these words.
    pub fn fails_with(&self, words: &[&str]) {
        assert_eq!(self.code, 1, "{}{}", self.out, self.err);
        assert_eq!(self.err.trim_end().lines().count(), 1, "{}", self.err);
        self.says(words);
    }

    /// Standard error holds every one of these words.
    pub fn says(&self, words: &[&str]) {
        for word in words {
            assert!(self.err.contains(word), "no `{word}` in: {}", self.err);
        }
    }
}

/// A report as it was written: every file by its path within the folder.
#[derive(PartialEq)]
pub struct Output {
    pub files: BTreeMap<String, Vec<u8>>,
}

impl Output {
    pub fn read(folder: &Path) -> Self {
        let mut files = BTreeMap::new();
        collect(folder, "", &mut files);
        Self { files }
    }

    pub fn text(&self, name: &str) -> String {
        let bytes = self.files.get(name);
        let bytes = bytes.unwrap_or_else(|| panic!("there is no {name}"));
        String::from_utf8(bytes.clone()).unwrap()
    }

    pub fn table(&self, name: &str) -> Table {
        Table::parse(name, &self.text(&format!("tables/{name}.csv")))
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.text("run.json")).unwrap()
    }

    /// The lines of `rejects.csv` as `file:line:column`, and their reasons.
    pub fn rejects(&self) -> Vec<(String, String)> {
        let table = Table::parse("rejects", &self.text("rejects.csv"));
        let place = |row: &Row| {
            format!(
                "{}:{}:{}",
                row.text("file"),
                row.text("line"),
                row.text("column")
            )
        };
        table
            .rows()
            .map(|row| (place(&row), row.text("reason").to_owned()))
            .collect()
    }

    /// No word that a reader could take for a number stands in for a missing one.
    pub fn assert_no_nan(&self) {
        let pages = self.files.keys();
        for name in pages.filter(|name| !name.ends_with(".parquet") && *name != "rejects.csv") {
            let text = self.text(name);
            let words = text.split(|c: char| !c.is_alphanumeric());
            for word in words {
                let bad = ["nan", "inf", "infinity"].contains(&word.to_lowercase().as_str());
                assert!(!bad, "`{word}` in {name}");
            }
        }
    }
}

fn collect(folder: &Path, prefix: &str, files: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = format!("{prefix}{}", path.file_name().unwrap().to_string_lossy());
        if path.is_dir() {
            collect(&path, &format!("{name}/"), files);
        } else {
            files.insert(name, fs::read(path).unwrap());
        }
    }
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap();
        if name == ".whereworn" || name == "reports" {
            continue;
        }
        if path.is_dir() {
            copy(&path, &to.join(name));
        } else {
            fs::copy(&path, to.join(name)).unwrap();
        }
    }
}

/// A CSV table.
#[derive(Debug, PartialEq)]
pub struct Table {
    pub name: String,
    pub header: Vec<String>,
    pub lines: Vec<Vec<String>>,
}

/// A row of a table.
pub struct Row<'t> {
    table: &'t Table,
    cells: &'t [String],
}

impl Table {
    pub fn parse(name: &str, text: &str) -> Self {
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(text.as_bytes());
        let mut lines = reader.records().map(|record| {
            let record = record.unwrap_or_else(|error| panic!("{name}: {error}"));
            record.iter().map(str::to_owned).collect::<Vec<_>>()
        });
        let header = lines.next().unwrap_or_default();
        let lines = lines.collect();
        Self {
            name: name.to_owned(),
            header,
            lines,
        }
    }

    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.lines.iter().map(|cells| Row { table: self, cells })
    }

    /// Rows whose columns hold these texts.
    pub fn rows_where(&self, wanted: &[(&str, &str)]) -> Vec<Row<'_>> {
        self.rows()
            .filter(|row| {
                wanted
                    .iter()
                    .all(|(column, text)| row.text(column) == *text)
            })
            .collect()
    }

    /// The one row whose columns hold these texts.
    pub fn row(&self, wanted: &[(&str, &str)]) -> Row<'_> {
        let mut rows = self.rows_where(wanted);
        assert_eq!(rows.len(), 1, "rows of {} with {wanted:?}", self.name);
        rows.remove(0)
    }

    /// The texts of a column.
    pub fn column(&self, name: &str) -> Vec<String> {
        self.rows().map(|row| row.text(name).to_owned()).collect()
    }
}

impl Row<'_> {
    pub fn text(&self, column: &str) -> &str {
        let at = self.table.header.iter().position(|name| name == column);
        let at = at.unwrap_or_else(|| panic!("{} has no column {column}", self.table.name));
        &self.cells[at]
    }

    /// A number, or `None` where the cell is empty or `NA`.
    pub fn maybe(&self, column: &str) -> Option<f64> {
        match self.text(column) {
            "" | "NA" | "NaN" => None,
            text => Some(text.parse().unwrap_or_else(|_| panic!("{column}: {text}"))),
        }
    }

    pub fn number(&self, column: &str) -> f64 {
        self.maybe(column)
            .unwrap_or_else(|| panic!("{}: {column} is empty", self.table.name))
    }
}

/// Equal up to an absolute tolerance.
pub fn close(actual: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (actual - expected).abs() <= tolerance,
        "{what}: {actual} instead of {expected}"
    );
}

/// Both missing, or both there and equal up to an absolute tolerance.
pub fn close_or_missing(actual: Option<f64>, expected: Option<f64>, tolerance: f64, what: &str) {
    match (actual, expected) {
        (Some(actual), Some(expected)) => close(actual, expected, tolerance, what),
        (None, None) => {}
        (actual, expected) => panic!("{what}: {actual:?} instead of {expected:?}"),
    }
}

/// A file of the repository.
pub fn repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A file of published data or expectations.
pub fn published(name: &str) -> Table {
    let path = repository(&format!("tests/published/{name}.csv"));
    let text = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
    let table = Table::parse(name, &text);
    assert!(!table.lines.is_empty(), "{name} is empty");
    table
}

/// The value of a quantity in a file of quantities.
pub fn quantity(table: &Table, name: &str) -> f64 {
    table.row(&[("quantity", name)]).number("value")
}
