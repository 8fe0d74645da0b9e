//! What a damaged, locked or half-written store does: it is built again from the raw files, says so in one line, and
//! the report comes out the same.

use std::fs::{self, File};
use std::io::Read;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use crate::fixture::{LATER, Output, Study, repository, whereworn};
use crate::small_study::study;

const EVENTS: &str = "sensor,time,event,site\na,2026-03-01T08:00:00Z,insert,calf\n";
const READINGS: &str = "sensor,time,glucose\n\
    a,2026-03-01T09:00:00Z,100\n\
    a,2026-03-01T09:05:00Z,101\n\
    a,2026-03-01T09:10:00Z,102\n";

/// A study of four rows, whose store files are small enough to be damaged byte by byte.
fn tiny() -> Study {
    let study = Study::new("[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n");
    study
        .write("wear-events/e.csv", EVENTS)
        .write("readings/r.csv", READINGS)
        .write(
            "fingersticks/f.csv",
            "time,glucose\n2026-03-01T09:05:00Z,99\n",
        );
    study
}

fn store_files(study: &Study) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(study.dir().join(".whereworn"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            let name = path.file_name().unwrap().to_string_lossy();
            name.ends_with(".parquet") || name == "manifest.json"
        })
        .collect();
    files.sort();
    files
}

fn rows(study: &Study) -> Vec<String> {
    let sql = "SELECT time, glucose, 'r' AS of FROM readings UNION ALL SELECT time, glucose, 'f' FROM fingersticks \
               ORDER BY of, time, glucose";
    study
        .sql(sql)
        .lines
        .into_iter()
        .map(|line| line.join(","))
        .collect()
}

/// Each file of the store missing, cut short, emptied, and with a bit flipped at some hundred places.
#[test]
fn a_damaged_store_is_built_again_with_one_line() {
    let study = tiny();
    assert_eq!(study.run("load", &[]).code, 0);
    let names: Vec<String> = store_files(&study)
        .iter()
        .map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
        .collect();
    assert!(names.len() >= 6, "{names:?}");
    for kind in 0..names.len() {
        for fault in ["missing", "short", "empty", "flip", "garbage"] {
            let path = store_files(&study).remove(kind);
            let mut bytes = fs::read(&path).unwrap();
            match fault {
                "missing" => fs::remove_file(&path).unwrap(),
                "short" => fs::write(&path, &bytes[..bytes.len() / 2]).unwrap(),
                "empty" => fs::write(&path, "").unwrap(),
                "garbage" => fs::write(&path, "{}").unwrap(),
                _ => {
                    let middle = bytes.len() / 2;
                    bytes[middle] ^= 4;
                    fs::write(&path, bytes).unwrap();
                }
            }
            let run = study.run("load", &[]);
            assert_eq!(run.code, 0, "{path:?} {fault}: {}", run.err);
            let lines = run.err.lines().filter(|line| line.contains("built again"));
            assert_eq!(lines.count(), 1, "{path:?} {fault}: {}", run.err);
            run.says(&["3 files read, 0 unchanged", "3 readings: 3 accepted"]);
            study.run("load", &[]).says(&["0 files read, 3 unchanged"]);
        }
    }
    assert_eq!(rows(&study).len(), 4);
}

/// A store of another version, and one whose file lacks a column, whatever its hash says.
#[test]
fn another_version_is_built_again() {
    let study = tiny();
    study.write(
        ".whereworn/manifest.json",
        "{\"version\": 2, \"inputs\": []}",
    );
    study.run("load", &[]).says(&["built again", "version 2"]);
    assert_eq!(rows(&study).len(), 4);
}

/// A file put into the store's folder by somebody is left alone; what a killed run left goes, also where nothing is new.
#[test]
fn left_over_files_go_and_foreign_ones_stay() {
    let study = tiny();
    study.run("load", &[]);
    study
        .write(".whereworn/readings-000900-0000.parquet", "half")
        .write(".whereworn/notes.txt", "mine");
    study.run("load", &[]).says(&["0 files read"]);
    let there = |name: &str| study.dir().join(".whereworn").join(name).exists();
    assert!(!there("readings-000900-0000.parquet") && there("notes.txt"));
}

fn start(study: &Study, command: &str, arguments: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_whereworn"))
        .arg(command)
        .arg(study.dir())
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

fn end(mut child: Child) -> (i32, String) {
    let mut err = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut err)
        .unwrap();
    (child.wait().unwrap().code().unwrap(), err)
}

/// Two runs at once on a study without a store: each is done or says that the other has the lock, and the store is whole.
#[test]
fn two_runs_at_once() {
    let out = |study: &Study, name: &str| study.beside(name).display().to_string();
    for _ in 0..5 {
        let study = study();
        let (a, b) = (out(&study, "a"), out(&study, "a"));
        let runs = [
            start(&study, "load", &[]),
            start(&study, "load", &[]),
            start(
                &study,
                "report",
                &["--as-of", LATER, "--out", &a, "--wait", "60"],
            ),
            start(
                &study,
                "report",
                &[
                    "--as-of", LATER, "--out", &b, "--for", "wearer", "--wait", "60",
                ],
            ),
        ];
        for (number, run) in runs.into_iter().enumerate() {
            let (code, err) = end(run);
            let busy =
                number < 2 && code == 1 && err.contains("another run") && err.lines().count() == 1;
            assert!(code == 0 || busy, "{code} {err}");
        }
        study.run("load", &[]).says(&["0 files read"]);
        let together = Output::read(&study.beside("a"));
        let edition = together.json()["edition"].as_str().unwrap().to_owned();
        let alone = study.report_with(&["--for", &edition]);
        for (name, bytes) in &together.files {
            assert!(alone.files[name] == *bytes, "{name} is of another run");
        }
        let left: Vec<String> = fs::read_dir(study.beside(""))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .filter(|name| name.contains("whereworn"))
            .collect();
        assert_eq!(left, [""; 0]);
    }
}

/// Whoever writes is waited for or named; whoever only reads is not held up.
#[test]
fn a_lock_is_named_and_readers_pass() {
    let study = tiny();
    study.run("load", &[]);
    let lock = study.dir().join(".whereworn/lock");
    fs::write(&lock, "process 77 since 2026-03-01T10:00:00Z\n").unwrap();
    let held = File::open(&lock).unwrap();
    held.lock().unwrap();
    assert_eq!(rows(&study).len(), 4, "nothing is new: nobody writes");
    study.write("readings/s.csv", READINGS.replace("T09", "T10"));
    let run = study.run("load", &[]);
    run.fails_with(&["process 77", "--wait"]);
    let waiting = start(&study, "load", &["--wait", "30"]);
    std::thread::sleep(std::time::Duration::from_millis(300));
    drop(held);
    assert_eq!(end(waiting).0, 0);
    // A lock file without a lock is stale.
    fs::write(&lock, "process 1 since 2020-01-01T00:00:00Z\n").unwrap();
    study.write("readings/t.csv", READINGS.replace("T09", "T11"));
    assert_eq!(study.run("load", &[]).code, 0);
}

/// A reader's files stay while it reads, though a newer state is written.
#[test]
fn files_in_use_stay_until_they_are_not() {
    let study = tiny();
    study.run("load", &[]);
    let before = store_files(&study);
    let reader = File::open(study.dir().join(".whereworn/readers")).unwrap();
    reader.lock_shared().unwrap();
    study.write("readings/s.csv", READINGS.replace("T09", "T10"));
    assert_eq!(study.run("load", &[]).code, 0);
    assert!(before.iter().all(|path| path.exists()), "they are in use");
    drop(reader);
    study.run("load", &[]).says(&["0 files read"]);
    let gone = before.iter().filter(|path| !path.exists()).count();
    assert_eq!(gone, before.len() - 1, "all but the manifest");
}

/// What a report says is written beside the settings, and outlives the store.
#[test]
fn evidence_outlives_the_store() {
    let study = study();
    let first = study.report();
    let path = study.dir().join("evidence.csv");
    let said = fs::read_to_string(&path).unwrap();
    assert!(
        said.starts_with("look,measure,site,against,evidence,verdict,version,plan_hash,checksum\n"),
        "{said}"
    );
    fs::remove_dir_all(study.dir().join(".whereworn")).unwrap();
    assert!(study.report() == first);
    assert_eq!(
        fs::read_to_string(&path).unwrap(),
        said,
        "the same is not said twice"
    );
    let damaged = said.replacen(",0.1.0,", ",0.1.1,", 1);
    fs::write(&path, &damaged).unwrap();
    let run = study.try_report(&[]);
    run.says(&["evidence.csv, line 2: damaged"]);
    assert_eq!(run.code, 0);
    assert!(
        fs::read_to_string(&path).unwrap().starts_with(&damaged),
        "it is only added to"
    );
    fs::write(&path, "").unwrap();
    study
        .try_report(&[])
        .fails_with(&["evidence.csv", "empty", "backup"]);
}

#[test]
#[cfg(unix)]
fn what_is_written_is_the_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    for (shared, file, folder) in [("", 0o600, 0o700), ("shared = true\n", 0o644, 0o755)] {
        let study = tiny();
        study.write(
            "study.toml",
            format!("[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n{shared}"),
        );
        let run = Command::new("sh")
            .args([
                "-c",
                "umask 022; exec \"$0\" \"$@\"",
                env!("CARGO_BIN_EXE_whereworn"),
                "report",
            ])
            .arg(study.dir())
            .args(["--as-of", LATER])
            .output()
            .unwrap();
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        let mode = |name: &str| {
            let meta = fs::metadata(study.dir().join(name)).unwrap();
            meta.permissions().mode() & 0o777
        };
        for name in [
            "evidence.csv",
            ".whereworn/manifest.json",
            "reports/2026-03-clinician/report.html",
        ] {
            if study.dir().join(name).exists() {
                assert_eq!(mode(name), file, "{name}");
            }
        }
        for name in [".whereworn", "reports", "reports/2026-03-clinician/tables"] {
            assert_eq!(mode(name), folder, "{name}");
        }
    }
}

/// A pipe that nobody reads from, and a device that is always full.
#[test]
#[cfg(target_os = "linux")]
fn output_that_nobody_takes() {
    let study = tiny();
    for command in ["check", "load", "report", "query"] {
        for (how, codes) in [
            ("| true", [0, 0]),
            (">/dev/full", [1, 0]),
            ("2>/dev/full", [0, 0]),
        ] {
            let script = format!("set -o pipefail; \"$0\" {command} \"$1\" {how}");
            let run = Command::new("bash")
                .args(["-c", &script, env!("CARGO_BIN_EXE_whereworn")])
                .arg(study.dir())
                .output()
                .unwrap();
            let err = String::from_utf8_lossy(&run.stderr);
            assert!(
                !err.contains("panicked") && !err.contains("fault in whereworn"),
                "{command} {how}: {err}"
            );
            let code = run.status.code().unwrap();
            assert!(
                codes.contains(&code) || (command == "check" && code > 4),
                "{command} {how}: {code} {err}"
            );
        }
    }
}

/// Folder names that are patterns, addresses or no text.
#[test]
#[cfg(unix)]
fn folders_of_any_name() {
    use std::os::unix::ffi::OsStrExt;
    let plain = tiny();
    let expected = plain.report();
    let names: [&[u8]; 6] = [
        b"a[1]",
        b"st*r",
        b"what?",
        b"http:",
        b"50%20 #1",
        b"caf\xe9",
    ];
    for name in names {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join(std::ffi::OsStr::from_bytes(name));
        fs::create_dir(&folder).unwrap();
        for part in [
            "study.toml",
            "wear-events/e.csv",
            "readings/r.csv",
            "fingersticks/f.csv",
        ] {
            fs::create_dir_all(folder.join(part).parent().unwrap()).unwrap();
            fs::copy(plain.dir().join(part), folder.join(part)).unwrap();
        }
        let out = place.path().join("out");
        let run = whereworn(&[
            "report".as_ref(),
            folder.as_ref(),
            "--as-of".as_ref(),
            LATER.as_ref(),
            "--out".as_ref(),
            out.as_ref(),
        ]);
        assert_eq!(run.code, 0, "{name:?}: {}", run.err);
        let output = Output::read(&out);
        for (file, bytes) in &expected.files {
            assert!(output.files[file] == *bytes, "{name:?}: {file}");
        }
    }
}

/// Ctrl-C and what a shell or timer sends instead, at moments all over a report: the status is 128 and the signal's number
/// (POSIX, Shell Command Language 2.8.2, says greater than 128), the report before stands, and nothing half-made is left,
/// beside it or among the system's temporary files.
#[cfg(unix)]
#[test]
fn a_stopped_report_leaves_nothing_behind() {
    let study = Study::copy_of(&repository("data-demo"));
    let before = study.report();
    let temporary = tempfile::tempdir().unwrap();
    let out = study.beside("out").display().to_string();
    let mut stopped = 0;
    for (number, (name, signal)) in [("INT", 2), ("TERM", 15), ("HUP", 1)]
        .into_iter()
        .cycle()
        .take(12)
        .enumerate()
    {
        if number % 2 == 0 {
            // Nothing is kept of the run before: this one takes longer.
            let _ = fs::remove_dir_all(study.dir().join(".whereworn/computed"));
        }
        let child = Command::new(env!("CARGO_BIN_EXE_whereworn"))
            .arg("report")
            .arg(study.dir())
            .args(["--as-of", LATER, "--out", &out])
            .env("TMPDIR", temporary.path())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(100 + 80 * number as u64));
        // A run that is over has no process to send it to.
        let _ = Command::new("kill")
            .arg(format!("-{name}"))
            .arg(child.id().to_string())
            .stderr(Stdio::null())
            .status();
        let (code, err) = end(child);
        if code == 128 + signal {
            stopped += 1;
            assert!(err.lines().last().unwrap().contains("stopped"), "{err}");
        } else {
            assert_eq!(code, 0, "{err}");
        }
        assert_eq!(fs::read_dir(temporary.path()).unwrap().count(), 0);
        let store = fs::read_dir(study.dir().join(".whereworn")).unwrap();
        let names = store.map(|entry| entry.unwrap().file_name().into_string().unwrap());
        assert!(names.filter(|name| name.starts_with("spill")).count() == 0);
        let beside: Vec<String> = fs::read_dir(study.beside(""))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|name| name.starts_with('.'))
            .collect();
        assert_eq!(beside, Vec::<String>::new());
        assert!(Output::read(&study.beside("out")).files == before.files);
    }
    assert!(stopped > 0, "every run was over before it was stopped");
}
