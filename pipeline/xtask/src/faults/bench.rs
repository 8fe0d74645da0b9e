//! A small study, what a sound run makes of it, and what has to hold after a fault.

use std::collections::{BTreeMap, HashSet};
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::{Mutex, PoisonError};

use tempfile::TempDir;
use whereworn_load::files::sha256;
use whereworn_load::{Evidence, Study};

/// Files of a folder by their paths below it, with the hashes of their bytes.
pub type Tree = BTreeMap<String, String>;

/// Files that say which process works on the study.
const LOCKS: [&str; 3] = ["lock", "readers", "evidence-lock"];

/// An instant after every row.
const AS_OF: &str = "2026-06-01T00:00:00Z";

/// The study and what a sound run makes of it.
pub struct Bench {
    root: TempDir,
    program: PathBuf,
    raw: Tree,
    /// What sound runs make of each state of [`State::ALL`], without another plan and with one.
    sound: Vec<[Sound; 2]>,
    /// What faults left behind, as [`left`] tells it, that the next runs are known to mend.
    mended: Mutex<HashSet<String>>,
}

/// What sound runs make of a study.
struct Sound {
    report: Tree,
    plan: Tree,
    /// The log of draws; empty where there is none.
    log: Vec<u8>,
}

/// In which state a study is when the fault comes.
#[derive(Clone, Copy, Debug)]
pub enum State {
    /// Never loaded.
    Fresh,
    /// Loaded and reported, then a file was added.
    OneFileMore,
    /// Loaded and reported, nothing new.
    Idle,
}

impl State {
    pub const ALL: [Self; 3] = [Self::Fresh, Self::OneFileMore, Self::Idle];
}

/// A copy of the study for one fault.
pub struct Case {
    _folder: TempDir,
    state: State,
    pub study: PathBuf,
}

impl Bench {
    pub fn new() -> Result<Self, String> {
        let root = tempfile::tempdir().map_err(|error| error.to_string())?;
        let mut bench = Self {
            program: program()?,
            raw: Tree::new(),
            sound: Vec::new(),
            mended: Mutex::default(),
            root,
        };
        bench
            .prepare()
            .map_err(|error| format!("the study: {error}"))?;
        bench.sound_run("plan", &bench.folder(State::OneFileMore))?;
        for state in [State::OneFileMore, State::Idle] {
            bench.sound_run("report", &bench.folder(state))?;
        }
        let (before, after) = (bench.folder(State::OneFileMore), bench.folder(State::Idle));
        fs::copy(after.join("readings/b.csv"), before.join("readings/b.csv"))
            .map_err(|error| error.to_string())?;
        bench.raw = raw(&after)?;
        // What later runs compute is there, so that a fault costs less: a fresh study computes all of it.
        for state in [State::OneFileMore, State::Idle] {
            for command in ["report", "plan"] {
                let case = bench.case(state)?;
                bench.sound_run(command, &case.study)?;
                let computed = ".whereworn/computed";
                copy(
                    &case.study.join(computed),
                    &bench.folder(state).join(computed),
                )
                .map_err(|error| error.to_string())?;
            }
        }
        for state in State::ALL {
            let sound = [
                bench.sound(state, &["report"])?,
                bench.sound(state, &["plan", "report"])?,
            ];
            bench.sound.push(sound);
        }
        Ok(bench)
    }

    fn sound(&self, state: State, commands: &[&str]) -> Result<Sound, String> {
        let case = self.case(state)?;
        for command in commands {
            self.sound_run(command, &case.study)?;
        }
        Ok(Sound {
            report: tree(&report_folder(&case.study))?,
            plan: plan_of(&case.study)?,
            log: log_of(&case.study),
        })
    }

    fn sound_run(&self, command: &str, study: &Path) -> Result<(), String> {
        let done = self.command(command, study).output();
        let done = done.map_err(|error| error.to_string())?;
        if done.status.success() {
            return Ok(());
        }
        let err = String::from_utf8_lossy(&done.stderr);
        Err(format!("a sound {command} fails: {err}"))
    }

    fn expected(&self, case: &Case) -> Result<&[Sound; 2], String> {
        self.sound
            .get(case.state as usize)
            .ok_or_else(|| "no sound run".to_owned())
    }

    /// What sound runs make of the study with the log of draws as it is now, which is the old one or the new one.
    fn expected_with_log(&self, case: &Case) -> Result<&Sound, String> {
        let [old, new] = self.expected(case)?;
        let log = log_of(&case.study);
        [new, old]
            .into_iter()
            .find(|sound| sound.log == log)
            .ok_or_else(|| "plan-log.csv is neither the old nor the new one".to_owned())
    }

    fn folder(&self, state: State) -> PathBuf {
        self.root.path().join(format!("{state:?}"))
    }

    fn prepare(&self) -> std::io::Result<()> {
        for state in State::ALL {
            let study = self.folder(state);
            for table in ["readings", "fingersticks", "wear-events"] {
                fs::create_dir_all(study.join(table))?;
            }
            fs::write(
                study.join("study.toml"),
                "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n\
                 [plan]\nsites = [\"calf\", \"chest\"]\n",
            )?;
            fs::write(study.join("readings/a.csv"), readings("a", 1, 60))?;
            if !matches!(state, State::OneFileMore) {
                fs::write(study.join("readings/b.csv"), readings("b", 6, 60))?;
            }
            let checks: String = (1..10)
                .map(|day| format!("2026-03-{day:02}T12:02:00Z,{}\n", 100 + day))
                .collect();
            fs::write(
                study.join("fingersticks/f.csv"),
                "time,glucose\n".to_owned() + &checks,
            )?;
            fs::write(
                study.join("wear-events/e.csv"),
                "sensor,time,event,site,cause\n\
                 a,2026-03-01T00:00:00Z,insert,calf,\na,2026-03-05T00:00:00Z,end,,fell-off\n\
                 b,2026-03-06T00:00:00Z,insert,chest,\nb,2026-03-10T00:00:00Z,end,,completed\n",
            )?;
        }
        Ok(())
    }

    /// A copy of the study in a state.
    pub fn case(&self, state: State) -> Result<Case, String> {
        let folder = tempfile::tempdir_in(self.root.path()).map_err(|error| error.to_string())?;
        let study = folder.path().join("study");
        copy(&self.folder(state), &study).map_err(|error| error.to_string())?;
        Ok(Case {
            _folder: folder,
            state,
            study,
        })
    }

    /// The program, to be run on a study.
    pub fn command(&self, command: &str, study: &Path) -> Command {
        let mut run = Command::new(&self.program);
        run.args(self.arguments(command, study));
        run
    }

    /// A tool that runs the program on a study.
    pub fn under(&self, tool: &[String], command: &str, study: &Path) -> Command {
        let (name, rest) = tool
            .split_first()
            .map_or(("env", &[][..]), |(name, rest)| (name.as_str(), rest));
        let mut run = Command::new(name);
        run.args(rest)
            .arg(&self.program)
            .args(self.arguments(command, study));
        run
    }

    fn arguments(&self, command: &str, study: &Path) -> Vec<String> {
        let mut arguments = vec![command.to_owned(), study.display().to_string()];
        if command == "query" {
            arguments.push("sessions".to_owned());
        }
        if command != "load" {
            arguments.extend(["--as-of".to_owned(), AS_OF.to_owned()]);
        }
        arguments
    }

    /// What holds after runs whose fault is over: no panic, raw files as they were, no report or plan that is not
    /// whole, no draw shown that the log does not hold; and the next runs give the sound report, and plan where one
    /// was made, and clear everything away.
    pub fn holds(
        &self,
        case: &Case,
        commands: &[&str],
        run: Option<&Output>,
    ) -> Result<(), String> {
        if let Some(run) = run {
            let err = String::from_utf8_lossy(&run.stderr);
            if err.contains("panicked") || err.contains("fault in whereworn") {
                return Err(format!("panic: {err}"));
            }
            if run
                .status
                .code()
                .is_some_and(|code| !(sound(code) || code == 1))
            {
                return Err(format!("{}: {err}", run.status));
            }
        }
        let study = &case.study;
        if raw(study)? != self.raw {
            return Err("a raw file was changed".to_owned());
        }
        let report = report_folder(study);
        if report.exists() {
            whole(&report)?;
        }
        let [old, new] = self.expected(case)?;
        let (plan, log) = (plan_of(study)?, &self.expected_with_log(case)?.log);
        if plan != old.plan && (plan != new.plan || *log != new.log) {
            return Err("reports/plan is neither the old nor the new one".to_owned());
        }
        let plans = commands.contains(&"plan");
        let left = format!("{:?} {plans} {}", case.state, left(study)?);
        let mended = || self.mended.lock().unwrap_or_else(PoisonError::into_inner);
        if mended().contains(&left) {
            return Ok(());
        }
        self.mends(case, plans)?;
        mended().insert(left);
        Ok(())
    }

    /// The next runs give what sound runs give, and clear everything away.
    fn mends(&self, case: &Case, plans: bool) -> Result<(), String> {
        let study = &case.study;
        if plans {
            self.sound_run("plan", study)?;
            self.made(case, "plan")?;
        }
        self.sound_run("report", study)?;
        let expected = &self.expected_with_log(case)?.report;
        if let Some(name) = differing(&tree(&report_folder(study))?, expected) {
            return Err(format!("the next report differs in {name}"));
        }
        let study = Study::open(study).map_err(|error| error.to_string())?;
        let said = Evidence::read(&study).map_err(|error| error.to_string())?;
        if let Some(damaged) = said.warnings.first() {
            return Err(damaged.clone());
        }
        left_over(&study.dir)
    }

    /// What a sound run writes is what was written: for runs that ended well.
    pub fn made(&self, case: &Case, command: &str) -> Result<(), String> {
        let [old, new] = self.expected(case)?;
        let (found, expected) = match command {
            "report" => (tree(&report_folder(&case.study))?, &old.report),
            "plan" => (plan_of(&case.study)?, &new.plan),
            _ => return Ok(()),
        };
        if let Some(name) = differing(&found, expected) {
            return Err(format!("exit 0, and {name} differs"));
        }
        match command == "plan" && log_of(&case.study) != new.log {
            true => Err("exit 0, and plan-log.csv lacks a draw".to_owned()),
            false => Ok(()),
        }
    }
}

/// Exit status of a run that did what it was asked: done, or what `check` found is doubtful or wrong.
pub fn sound(code: i32) -> bool {
    [0, 5, 6].contains(&code)
}

/// Names a program that is there already: a long run need not wait for a build.
pub const PROGRAM: &str = "WHEREWORN_PROGRAM";

/// The program that is tested.
pub fn program() -> Result<PathBuf, String> {
    let target = std::env::var("CARGO_TARGET_DIR").unwrap_or_else(|_| "target".to_owned());
    let built = Path::new(&target).join("release/whereworn");
    let program = std::env::var_os(PROGRAM).map_or(built, PathBuf::from);
    fs::canonicalize(&program).map_err(|error| format!("{}: {error}", program.display()))
}

/// A reading every quarter of an hour from a day in March on.
fn readings(sensor: &str, day: u32, hours: u32) -> String {
    let rows = (0..hours * 4).map(|quarter| {
        let (hour, minute) = (quarter / 4, quarter % 4 * 15);
        let (day, hour) = (day + hour / 24, hour % 24);
        let glucose = 90 + (quarter * 37 + day * 11) % 80;
        format!("{sensor},2026-03-{day:02}T{hour:02}:{minute:02}:00Z,{glucose}\n")
    });
    "sensor,time,glucose\n".to_owned() + &rows.collect::<String>()
}

fn report_folder(study: &Path) -> PathBuf {
    study.join("reports/2026-03-clinician")
}

/// The latest plan; empty where there is none.
fn plan_of(study: &Path) -> Result<Tree, String> {
    let folder = study.join("reports/plan");
    if folder.exists() {
        tree(&folder)
    } else {
        Ok(Tree::new())
    }
}

fn log_of(study: &Path) -> Vec<u8> {
    fs::read(study.join("plan-log.csv")).unwrap_or_default()
}

/// The files that a person put into a study.
fn raw(study: &Path) -> Result<Tree, String> {
    let mut all = tree(study)?;
    all.retain(|name, _| {
        ["study.toml", "readings/", "fingersticks/", "wear-events/"]
            .iter()
            .any(|part| name.starts_with(part))
    });
    Ok(all)
}

fn tree(folder: &Path) -> Result<Tree, String> {
    let mut files = Tree::new();
    collect(folder, "", &mut files).map_err(|error| format!("{}: {error}", folder.display()))?;
    Ok(files)
}

fn collect(folder: &Path, prefix: &str, files: &mut Tree) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            collect(&entry.path(), &format!("{name}/"), files)?;
        } else {
            files.insert(name, sha256(&fs::read(entry.path())?));
        }
    }
    Ok(())
}

/// A hash of all that the next run on a study can see: names, bytes and permissions, but for the text of locks and the
/// numbers of processes, which are gone.
fn left(study: &Path) -> Result<String, String> {
    let mut seen = Vec::new();
    look(study, "", &mut seen).map_err(|error| format!("{}: {error}", study.display()))?;
    seen.sort();
    Ok(sha256(seen.concat().as_bytes()))
}

fn look(folder: &Path, prefix: &str, seen: &mut Vec<String>) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let shown = without_process(&name);
        let mode = entry.metadata()?.permissions().mode();
        if entry.path().is_dir() {
            seen.push(format!("{prefix}{shown} {mode:o}\n"));
            look(&entry.path(), &format!("{prefix}{shown}/"), seen)?;
        } else if LOCKS.contains(&name.as_str()) {
            seen.push(format!("{prefix}{shown} {mode:o}\n"));
        } else {
            let hash = sha256(&fs::read(entry.path())?);
            seen.push(format!("{prefix}{shown} {mode:o} {hash}\n"));
        }
    }
    Ok(())
}

/// A hidden name without the number of the process that it belongs to: `.REPORT.whereworn-7.new`, `.RESULT.7`.
fn without_process(name: &str) -> String {
    let process = |part: &&str| {
        part.trim_start_matches("whereworn-")
            .parse::<u32>()
            .is_err()
    };
    match name.starts_with('.') {
        true => name
            .split('.')
            .filter(process)
            .collect::<Vec<_>>()
            .join("."),
        false => name.to_owned(),
    }
}

fn differing(found: &Tree, expected: &Tree) -> Option<String> {
    let mut names: Vec<&String> = found.keys().chain(expected.keys()).collect();
    names.sort();
    names
        .into_iter()
        .find(|name| found.get(*name) != expected.get(*name))
        .cloned()
}

/// Every file that `run.json` lists is there with its hash, and no other but the copies before that it names.
fn whole(report: &Path) -> Result<(), String> {
    let mut found = tree(report)?;
    let run = fs::read(report.join("run.json")).map_err(|_| "a report without run.json")?;
    let run: serde_json::Value = serde_json::from_slice(&run).map_err(|error| error.to_string())?;
    let files = run.get("files").cloned().unwrap_or_default();
    let mut listed: Tree = serde_json::from_value(files).map_err(|error| error.to_string())?;
    let copies = run
        .get("earlier_copies")
        .and_then(|copies| copies.as_array());
    for copy in copies.into_iter().flatten() {
        let file = copy.get("file").and_then(|file| file.as_str());
        if file.and_then(|file| found.remove(file)).is_none() {
            return Err(format!("a copy that run.json names is gone: {copy}"));
        }
    }
    if let Some(own) = found.get("run.json") {
        listed.insert("run.json".to_owned(), own.clone());
    }
    match differing(&found, &listed) {
        Some(name) => Err(format!("a report stands that is not whole: {name}")),
        None => Ok(()),
    }
}

/// Nothing hidden beside reports, and in the store only what its manifest names, and locks.
fn left_over(study: &Path) -> Result<(), String> {
    let manifest = fs::read_to_string(study.join(".whereworn/manifest.json")).unwrap_or_default();
    for (folder, own) in [
        ("reports", false),
        (".whereworn", true),
        (".whereworn/computed", false),
    ] {
        let entries = match fs::read_dir(study.join(folder)) {
            Ok(entries) => entries,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => continue,
            Err(error) => return Err(error.to_string()),
        };
        for entry in entries.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            let known =
                |name: &str| LOCKS.contains(&name) || ["manifest.json", "computed"].contains(&name);
            let expected = if own {
                known(&name) || manifest.contains(&format!("\"{name}\""))
            } else {
                !name.starts_with('.')
            };
            if !expected {
                return Err(format!("{folder}/{name} was left"));
            }
        }
    }
    let beside = fs::read_dir(study).map_err(|error| error.to_string())?;
    for entry in beside.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') && name != ".whereworn" {
            return Err(format!("{name} was left"));
        }
    }
    Ok(())
}

fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let to = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &to)?;
        } else {
            fs::copy(entry.path(), &to)?;
        }
    }
    Ok(())
}
