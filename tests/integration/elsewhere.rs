//! `--engine cluster` without a cluster; what runs on one is held to what runs here by `tests/cluster/check.py`.

use std::fs::{self, Permissions};
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

use crate::fixture::{LATER, Study};

/// A report on a cluster at a port of this machine, with nothing but a folder in `PATH`.
fn report(study: &Study, port: u16, path: &Path) -> Output {
    let at = format!("127.0.0.1:{port}");
    Command::new(env!("CARGO_BIN_EXE_whereworn"))
        .arg("report")
        .arg(study.dir())
        .args(["--as-of", LATER, "--engine", "cluster", "--at", &at])
        .env("PATH", path)
        .output()
        .unwrap()
}

fn fails_with(run: &Output, words: &str) {
    let said = String::from_utf8_lossy(&run.stderr);
    assert_eq!(run.status.code(), Some(1), "{said}");
    assert_eq!(said.trim_end().lines().count(), 1, "{said}");
    assert!(said.contains(words), "no `{words}` in: {said}");
}

/// A folder whose `whereworn-node` says something and fails.
fn failing(study: &Study) -> std::path::PathBuf {
    let folder = study.beside("programs");
    fs::create_dir(&folder).unwrap();
    let program = folder.join("whereworn-node");
    fs::write(
        &program,
        "#!/bin/sh\necho beginning >&2\necho no room left >&2\nexit 1\n",
    )
    .unwrap();
    fs::set_permissions(&program, Permissions::from_mode(0o755)).unwrap();
    folder
}

#[test]
fn a_cluster_has_an_address() {
    let study = Study::demo("1", "2", "15", "1");
    let run = study.run("report", &["--engine", "cluster"]);
    assert_eq!(run.code, 2, "{}", run.err);
    run.says(&["--at <HOST:PORT>"]);
    let run = study.run("report", &["--at", "127.0.0.1:1"]);
    run.fails_with(&["say --engine cluster too"]);
}

#[test]
fn nothing_is_begun_where_there_is_no_program_or_no_scheduler() {
    let study = Study::demo("1", "2", "15", "1");
    let begun = || study.dir().join(".whereworn").exists();
    fails_with(
        &report(&study, 1, &study.beside("no")),
        "whereworn-node is not there",
    );
    assert!(!begun());
    let nobody = report(&study, 1, &failing(&study));
    fails_with(&nobody, "127.0.0.1:1: no scheduler answers there");
    assert!(!begun());
}

#[test]
fn a_step_that_fails_elsewhere_ends_the_run_with_what_is_said_there() {
    let study = Study::demo("1", "2", "15", "1");
    let scheduler = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = scheduler.local_addr().unwrap().port();
    let run = report(&study, port, &failing(&study));
    fails_with(&run, "whereworn-node: no room left");
    assert!(!study.dir().join("reports").exists());
}
