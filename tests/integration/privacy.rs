//! Nothing leaves the machine: the job runs where there is no network, and asks the system for none.

use std::process::Command;

use crate::fixture::{LATER, Output};
use crate::small_study::study;

/// Whether a tool works here; where not, the test that needs it says so.
fn works(tool: &str, arguments: &[&str]) -> bool {
    let works = Command::new(tool)
        .args(arguments)
        .output()
        .is_ok_and(|output| output.status.success());
    if !works {
        eprintln!(
            "NOT RUN: `{tool} {}` does not work here",
            arguments.join(" ")
        );
    }
    works
}

/// The same report in a namespace whose only network device is down.
#[test]
#[cfg(target_os = "linux")]
fn the_job_runs_without_a_network() {
    if !works("unshare", &["--user", "--map-root-user", "--net", "true"]) {
        return;
    }
    let study = study();
    let expected = study.report();
    let out = study.beside("alone");
    let run = Command::new("unshare")
        .args([
            "--user",
            "--map-root-user",
            "--net",
            env!("CARGO_BIN_EXE_whereworn"),
            "report",
        ])
        .arg(study.dir())
        .args(["--as-of", LATER, "--out"])
        .arg(&out)
        .output()
        .unwrap();
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    assert!(Output::read(&out) == expected);
}

/// No socket is asked for, no other program started, and nothing opened for writing outside the study and its report.
#[test]
#[cfg(target_os = "linux")]
fn no_socket_no_other_program_no_file_elsewhere() {
    if !works("strace", &["-f", "-o", "/dev/null", "true"]) {
        return;
    }
    let study = study();
    let logs = study.beside("calls");
    for command in ["load", "report", "check", "query"] {
        // Each thread's calls in a file of their own, so that no line is split by another's.
        std::fs::create_dir_all(&logs).unwrap();
        let mut run = Command::new("strace");
        run.args([
            "-ff",
            "-e",
            "trace=%network,execve,openat,mkdir,mkdirat,rename,renameat2",
            "-o",
        ]);
        run.arg(logs.join("log"))
            .args([env!("CARGO_BIN_EXE_whereworn"), command])
            .arg(study.dir());
        let run = run.output().unwrap();
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        let calls: String = std::fs::read_dir(&logs)
            .unwrap()
            .map(|log| std::fs::read_to_string(log.unwrap().path()).unwrap())
            .collect();
        std::fs::remove_dir_all(&logs).unwrap();
        assert!(
            calls.contains("study.toml"),
            "the log holds what the program did"
        );
        let root = study.beside("").display().to_string();
        let started = calls
            .lines()
            .filter(|line| line.contains("execve("))
            .count();
        assert_eq!(started, 1, "{command} starts another program");
        for call in calls.lines() {
            for word in ["socket(", "connect(", "sendto(", "bind("] {
                assert!(!call.contains(word), "{command}: {call}");
            }
            let writes = ["O_WRONLY", "O_RDWR", "O_CREAT", "mkdir", "rename"];
            let elsewhere = !call.contains(root.trim_end_matches('/')) && !call.contains("/dev/");
            assert!(
                !(elsewhere && writes.iter().any(|word| call.contains(word))),
                "{command}: {call}"
            );
        }
    }
}
