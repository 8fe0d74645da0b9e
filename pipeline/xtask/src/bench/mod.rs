//! The program beside DuckDB and Polars on invented studies: what each takes, and whether they find the same.

mod page;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::faults::program;

/// What the other two do, and a stopwatch.
const OTHERS: &str = "pipeline/xtask/src/bench/others.py";

/// Readings that an invented sensor has, about.
const READINGS_OF_A_SENSOR: usize = 2_900;

/// Sensors of a wearer.
const SENSORS: usize = 34;

/// After every row.
const AS_OF: &str = "2100-01-01T00:00:00Z";

/// Survival is compared at this day of wear.
const DAY: f64 = 10.0;

/// Nights that may count otherwise for each thousand, since the others know of no clock that changes.
const NIGHTS_OF_A_THOUSAND: f64 = 5.0;

/// Means that may differ, in mg/dL: of readings in the hour that occurs twice the others know no order.
const MEAN: f64 = 0.02;

/// By how much survival may differ: a sensor worn while the clocks change lasts an hour more or less by local times.
const SURVIVAL: f64 = 1e-4;

/// What a run took.
#[derive(Clone, Copy, Debug)]
pub struct Took {
    /// Processor seconds, of the user and the system.
    pub processor: f64,
    /// Seconds by the clock.
    pub wall: f64,
    /// Most memory at a time, MB.
    pub peak: f64,
}

/// What all of them took on one study.
pub struct Measured {
    pub readings: u64,
    pub sensors: u64,
    /// By whose and what.
    pub took: Vec<(&'static str, &'static str, Took)>,
}

/// What is found at a site: pairs, mean difference, survival, counted nights.
type Found = BTreeMap<String, [f64; 4]>;

/// Measures on studies of so many million readings, and writes the page.
pub fn run(millions: &[&str]) -> Result<(), String> {
    let sizes: Result<Vec<usize>, _> = millions.iter().map(|size| size.parse()).collect();
    let sizes = sizes.map_err(|_| "bench takes millions of readings: 1, 10, 100".to_owned())?;
    let work = PathBuf::from(std::env::var("CARGO_TARGET_DIR").unwrap_or("target".to_owned()));
    let bench = Bench::new(&work.join("bench"))?;
    let mut all = Vec::new();
    let mut versions = BTreeMap::new();
    for size in sizes {
        all.push(bench.measure(size, &mut versions)?);
    }
    page::write(&all, &versions)
}

struct Bench {
    folder: PathBuf,
    program: PathBuf,
    python: PathBuf,
}

impl Bench {
    /// Makes a folder with a Python that has the other two.
    fn new(folder: &Path) -> Result<Self, String> {
        fs::create_dir_all(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
        let venv = folder.join("venv");
        let python = venv.join("bin/python");
        if !python.exists() {
            output(Command::new("python3").args(["-m", "venv"]).arg(&venv))?;
        }
        let pip = ["-m", "pip", "install", "--quiet", "duckdb", "polars"];
        output(Command::new(&python).args(pip))?;
        Ok(Self {
            folder: folder.to_owned(),
            program: program()?,
            python,
        })
    }

    fn measure(
        &self,
        millions: usize,
        versions: &mut BTreeMap<&'static str, String>,
    ) -> Result<Measured, String> {
        let study = self.study(millions)?;
        let mut took = Vec::new();
        let mut ours = |what: &'static str, command: &str, words: &[&str]| {
            eprintln!("whereworn: {what}");
            took.push(("whereworn", what, self.ours(command, &study, words)?));
            Ok::<(), String>(())
        };
        ours("load", "load", &[])?;
        let months = months(&study)?;
        let [.., before, last] = months.as_slice() else {
            return Err("a study of one month".to_owned());
        };
        ours("report", "report", &["--month", before])?;
        ours("one more month", "report", &["--month", last])?;
        // What the first said of the evidence is a row of the second.
        ours("again", "report", &["--month", last])?;
        let counted = self.found(&study, last)?;
        for engine in ["duckdb", "polars"] {
            let work = self.folder.join(engine);
            let mut found = Value::Null;
            for what in ["load", "tables"] {
                eprintln!("{engine}: {what}");
                let words = [engine, what];
                let said = self.python(|python| python.args(words).arg(&study).arg(&work))?;
                took.push((engine, what, taken(&said)?));
                found = said;
            }
            let version = found.get("version").and_then(Value::as_str);
            versions.insert(engine, version.unwrap_or("?").to_owned());
            compare(engine, &counted, &of_json(&found))?;
        }
        let rows = |column: &str| Ok::<u64, String>(self.number(&study, column)? as u64);
        Ok(Measured {
            readings: rows("SELECT COUNT(*) AS n FROM readings")?,
            sensors: rows("SELECT COUNT(*) AS n FROM sensors")?,
            took,
        })
    }

    /// An invented study of about so many million readings, without a store.
    fn study(&self, millions: usize) -> Result<PathBuf, String> {
        let study = self.folder.join(format!("study-{millions}"));
        let sensors = millions * 1_000_000 / READINGS_OF_A_SENSOR;
        if !study.exists() {
            let wearers = sensors.div_ceil(SENSORS).to_string();
            let mut demo = Command::new(&self.program);
            let options = ["--seed", "7", "--sensors", &SENSORS.to_string()].map(str::to_owned);
            output(
                demo.arg("demo")
                    .arg(&study)
                    .args(options)
                    .args(["--wearers", &wearers]),
            )?;
        }
        for left in [".whereworn", "reports"] {
            let left = study.join(left);
            if left.exists() {
                fs::remove_dir_all(&left)
                    .map_err(|error| format!("{}: {error}", left.display()))?;
            }
        }
        Ok(study)
    }

    fn ours(&self, command: &str, study: &Path, words: &[&str]) -> Result<Took, String> {
        let as_of: &[&str] = if command == "load" {
            &[]
        } else {
            &["--as-of", AS_OF]
        };
        taken(&self.python(|python| {
            let run = python.arg("run").arg(&self.program).arg(command);
            run.arg(study).args(words).args(as_of)
        })?)
    }

    fn python(&self, words: impl Fn(&mut Command) -> &mut Command) -> Result<Value, String> {
        let said = output(words(Command::new(&self.python).arg(OTHERS)))?;
        serde_json::from_str(&said).map_err(|error| format!("{OTHERS}: {error}"))
    }

    fn query(&self, study: &Path, sql: &str, more: &[&str]) -> Result<Vec<Vec<String>>, String> {
        let mut query = Command::new(&self.program);
        query
            .arg("query")
            .arg(study)
            .args(["--as-of", AS_OF, "--format", "csv", "--sql", sql]);
        let said = output(query.args(more))?;
        let cells = |line: &str| line.split(',').map(str::to_owned).collect();
        Ok(said.lines().skip(1).map(cells).collect())
    }

    fn number(&self, study: &Path, sql: &str) -> Result<f64, String> {
        let rows = self.query(study, sql, &[])?;
        let cell = rows.first().and_then(|row| row.first());
        cell.and_then(|cell| cell.parse().ok())
            .ok_or_else(|| format!("{sql}: no number"))
    }

    /// What the program finds by the end of a month.
    fn found(&self, study: &Path, month: &str) -> Result<Found, String> {
        let sql = format!(
            "SELECT s.site, p.pairs, p.difference, k.survival, n.nights
             FROM (SELECT DISTINCT site FROM sessions) AS s
             INNER JOIN (SELECT site, COUNT(*) AS pairs, AVG(difference) AS difference FROM pairs GROUP BY site) AS p ON p.site = s.site
             INNER JOIN (SELECT site, MIN(survival) AS survival FROM site_survival WHERE day <= {DAY} GROUP BY site) AS k ON k.site = s.site
             INNER JOIN site_nights AS n ON n.site = s.site
             ORDER BY s.site"
        );
        let rows = self.query(study, &sql, &["--month", month])?;
        let numbers = |row: &Vec<String>| {
            let number = |at: usize| row.get(at)?.parse().ok();
            Some((
                row.first()?.clone(),
                [number(1)?, number(2)?, number(3)?, number(4)?],
            ))
        };
        rows.iter()
            .map(numbers)
            .collect::<Option<Found>>()
            .ok_or_else(|| "no figures".to_owned())
    }
}

/// Months with readings, in order.
fn months(study: &Path) -> Result<Vec<String>, String> {
    let mut months = BTreeSet::new();
    let folder = study.join("readings");
    for entry in fs::read_dir(&folder)
        .map_err(|error| error.to_string())?
        .flatten()
    {
        let text = fs::read_to_string(entry.path()).map_err(|error| error.to_string())?;
        let place = text
            .lines()
            .next()
            .and_then(|header| header.split(',').position(|name| name == "time"));
        let times = text
            .lines()
            .skip(1)
            .filter_map(|line| line.split(',').nth(place?)?.get(..7));
        months.extend(times.map(str::to_owned));
    }
    Ok(months.into_iter().collect())
}

/// Counts have to be the same; means, survival and nights but for what an hour by the clock does.
fn compare(engine: &str, ours: &Found, theirs: &Found) -> Result<(), String> {
    for (site, [pairs, mean, survival, nights]) in ours {
        let other = theirs
            .get(site)
            .ok_or_else(|| format!("{engine} has no {site}"))?;
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(1.0);
        let same = near(*pairs, other[0])
            && (survival - other[2]).abs() <= SURVIVAL
            && (mean - other[1]).abs() <= MEAN;
        let slack = 1.0 + nights * NIGHTS_OF_A_THOUSAND / 1000.0;
        if !same || (nights - other[3]).abs() > slack {
            return Err(format!(
                "{engine} finds {other:?} at {site}, we {:?}",
                [pairs, mean, survival, nights]
            ));
        }
    }
    Ok(())
}

fn of_json(said: &Value) -> Found {
    let tables = said.get("tables");
    let rows = |name: &str| {
        tables
            .and_then(|all| all.get(name)?.as_array())
            .cloned()
            .unwrap_or_default()
    };
    let cell = |name: &str, site: &str, at: usize| {
        let all = rows(name);
        let row = all
            .iter()
            .find(|row| row.get(0).and_then(Value::as_str) == Some(site));
        row.and_then(|row| row.get(at)?.as_f64())
            .unwrap_or(f64::NAN)
    };
    let accuracy = rows("accuracy");
    let sites = accuracy.iter().filter_map(|row| row.get(0)?.as_str());
    sites
        .map(|site| {
            let of = |name: &str, at: usize| cell(name, site, at);
            let found = [
                of("accuracy", 1),
                of("accuracy", 2),
                of("survival", 1),
                of("coverage", 1),
            ];
            (site.to_owned(), found)
        })
        .collect()
}

fn taken(said: &Value) -> Result<Took, String> {
    let number = |key: &str| {
        said.get(key)
            .and_then(Value::as_f64)
            .ok_or_else(|| format!("no {key}"))
    };
    Ok(Took {
        processor: number("processor")?,
        wall: number("wall")?,
        peak: number("peak_mb")?,
    })
}

/// What a command prints; its last words where it fails.
fn output(command: &mut Command) -> Result<String, String> {
    let done = command
        .output()
        .map_err(|error| format!("{command:?}: {error}"))?;
    if !done.status.success() {
        let said = String::from_utf8_lossy(&done.stderr);
        return Err(format!("{command:?}: {}", said.trim()));
    }
    Ok(String::from_utf8_lossy(&done.stdout).into_owned())
}
