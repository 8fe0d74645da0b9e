//! The folder of a report: what somebody else put there stays, what is none of ours is refused, nothing is left over.

use std::fs;
use std::path::PathBuf;

use crate::fixture::{LATER, Output, Study};
use crate::small_study::study;

fn hidden(study: &Study) -> Vec<String> {
    let entries = fs::read_dir(study.beside("")).unwrap();
    let names = entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned());
    names.filter(|name| name.starts_with('.')).collect()
}

#[test]
fn what_somebody_put_beside_the_report_stays() {
    let study = study();
    study.report();
    let out = study.beside("out");
    fs::write(out.join("letter.pdf"), "mine").unwrap();
    fs::write(out.join("tables/own.csv"), "mine").unwrap();
    fs::create_dir_all(out.join("scans/2026")).unwrap();
    fs::write(out.join("scans/2026/a.png"), "mine").unwrap();
    study.write(
        "fingersticks/more.csv",
        "time,glucose\n2026-01-06T10:00:00Z,120\n",
    );
    study.report();
    for name in ["letter.pdf", "tables/own.csv", "scans/2026/a.png"] {
        assert_eq!(
            fs::read_to_string(out.join(name)).unwrap(),
            "mine",
            "{name}"
        );
    }
    assert_eq!(hidden(&study), [""; 0]);
}

/// Rows that changed: the copy before stays, both pages name each other, and the later says which rows and sentences moved.
#[test]
fn a_month_reported_again_keeps_the_copy_before() {
    let study = study();
    let first = study.report();
    let same = study.report();
    assert!(first == same, "nothing changed");
    study.write("queries/asked.sql", "SELECT COUNT(*) AS pairs FROM pairs");
    study.report();
    assert!(!study.beside("out").join("report-1.html").exists());
    study.remove("queries/asked.sql");
    assert!(study.report() == first, "a question changes no row");
    study.write(
        "fingersticks/more.csv",
        "time,glucose\n2026-01-06T10:00:00Z,120\n",
    );
    let second = study.report();
    let page = second.text("report.html");
    assert!(page.contains("href=\"report-1.html\""));
    let copy = second.text("report-1.html");
    assert!(copy.contains("<a href=\"report.html\">This is an earlier copy."));
    // But for that mark it is the page that was handed out.
    let start = copy
        .find("<div class=\"callout\" role=\"note\">\n<p><a href")
        .unwrap();
    let end = start + copy[start..].find("</div>\n").unwrap() + "</div>\n".len();
    assert_eq!(
        copy[..start].to_owned() + &copy[end..],
        first.text("report.html")
    );
    let told = second.text("report.md");
    assert!(
        told.contains("fingersticks/more.csv is new: 1 rows."),
        "{told}"
    );
    assert!(told.contains("1 added, 0 changed, 0 gone"), "{told}");
    assert!(second.json()["files"].get("report-1.html").is_none());

    // Another edition in its place takes neither the copies nor a word of them.
    let other = study.report_with(&["--for", "public"]);
    assert!(!study.beside("out").join("report-1.html").exists());
    assert!(!other.text("report.md").contains("report-1.html"));
    fs::remove_dir_all(study.beside("out")).unwrap();
    study.remove("fingersticks/more.csv");
    study.report();
    study.write(
        "fingersticks/more.csv",
        "time,glucose\n2026-01-06T10:00:00Z,120\n",
    );
    assert!(study.report() == second, "the same again");

    // Once more without a change: the same bytes. With one: a second copy, and the first stays.
    assert!(study.report() == second, "nothing changed since");
    study.remove("fingersticks/more.csv");
    let third = study.report();
    assert_eq!(third.text("report-1.html"), copy);
    assert!(
        third
            .text("report-2.html")
            .contains("This is an earlier copy.")
    );
    let told = third.text("report.md");
    assert!(
        told.contains("fingersticks/more.csv is gone: 1 rows."),
        "{told}"
    );
    assert!(told.contains("0 added, 0 changed, 1 gone"), "{told}");
}

#[test]
fn an_edited_report_is_not_overwritten() {
    let study = study();
    study.report();
    let page = study.beside("out").join("report.md");
    let edited = fs::read_to_string(&page).unwrap() + "my own words\n";
    fs::write(&page, &edited).unwrap();
    study
        .try_report(&[])
        .fails_with(&["report.md", "changed", "--out"]);
    assert_eq!(fs::read_to_string(&page).unwrap(), edited);
    assert_eq!(hidden(&study), [""; 0]);
}

/// What cannot be read may have been edited: the report in its place would lose it.
#[test]
fn a_report_that_cannot_be_read_is_not_overwritten() {
    let study = study();
    let page = study.report().text("report.html");
    let table = study.beside("out").join("tables/site_wear.csv");
    fs::remove_file(&table).unwrap();
    fs::create_dir(&table).unwrap();
    study
        .try_report(&[])
        .fails_with(&["tables/site_wear.csv: reading"]);
    assert!(Output::read(&study.beside("out")).text("report.html") == page);
}

#[test]
fn folders_that_hold_something_else_are_refused() {
    let study = study();
    let out = study.beside("out");
    fs::create_dir(&out).unwrap();
    study.report();
    fs::remove_dir_all(&out).unwrap();
    fs::create_dir(&out).unwrap();
    fs::write(out.join("a.txt"), "mine").unwrap();
    study.try_report(&[]).fails_with(&["a.txt", "--out"]);
    fs::remove_dir_all(&out).unwrap();
    fs::write(&out, "mine").unwrap();
    study.try_report(&[]).fails_with(&["is a file", "--out"]);
    assert_eq!(fs::read_to_string(&out).unwrap(), "mine");
}

#[test]
#[cfg(unix)]
fn a_link_stays_a_link() {
    let study = study();
    let (out, real) = (study.beside("out"), study.beside("real"));
    fs::create_dir(&real).unwrap();
    std::os::unix::fs::symlink(&real, &out).unwrap();
    let first = study.report();
    assert!(fs::symlink_metadata(&out).unwrap().is_symlink());
    assert!(Output::read(&real) == first);
    fs::remove_dir_all(&real).unwrap();
    study.try_report(&[]).fails_with(&["link", "not there"]);
}

/// Folders as a run leaves them that is killed while it writes, after the exchange, and between the two steps where
/// the file system knows no exchange: any command on the study mends them.
#[test]
fn any_command_mends_what_a_killed_run_left() {
    let study = study();
    let report = |arguments: &[&str]| {
        let run = study.run("report", &[&["--as-of", LATER], arguments].concat());
        assert_eq!(run.code, 0, "{}", run.err);
        PathBuf::from(run.out.trim()).parent().unwrap().to_owned()
    };
    let folder = report(&[]);
    let reports = study.dir().join("reports");
    let name = folder.file_name().unwrap().to_string_lossy().into_owned();
    let whole = Output::read(&folder);

    let hidden = |kind: &str| reports.join(format!(".{name}.whereworn-4000000.{kind}"));
    fs::create_dir_all(hidden("new").join("figures")).unwrap();
    fs::write(hidden("new").join("report.md"), "half").unwrap();
    fs::rename(&folder, hidden("old")).unwrap();
    fs::create_dir(reports.join(format!(".{name}.partial"))).unwrap();
    assert_eq!(study.run("load", &[]).code, 0);
    assert!(Output::read(&folder) == whole);
    let mut left: Vec<String> = fs::read_dir(&reports)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    left.sort();
    assert_eq!(
        left,
        [format!(".{name}.partial"), name.clone()],
        "somebody's own folder stays"
    );

    // After the exchange the hidden folder holds the report before, and what somebody had put there.
    fs::create_dir(hidden("new")).unwrap();
    fs::copy(folder.join("run.json"), hidden("new").join("run.json")).unwrap();
    fs::write(hidden("new").join("letter.pdf"), "mine").unwrap();
    assert_eq!(study.run("query", &["sessions"]).code, 0);
    assert_eq!(
        fs::read_to_string(folder.join("letter.pdf")).unwrap(),
        "mine"
    );
    assert!(!hidden("new").exists());
}

/// A report made again from its own `run.json`: the same to the byte, or what differs is said.
#[test]
fn a_report_made_again() {
    let study = study();
    let first = study.report();
    let run_json = study.beside("out/run.json").display().to_string();
    let again = study.run("report", &["--from", &run_json, "--as-of", LATER]);
    assert_eq!(again.code, 0, "{}", again.err);
    again.says(&["the same report as before, byte for byte"]);
    let folder = PathBuf::from(again.out.trim()).parent().unwrap().to_owned();
    assert!(folder.to_string_lossy().ends_with("-clinician-again"));
    assert!(Output::read(&folder) == first);
    study.write(
        "fingersticks/more.csv",
        "time,glucose\n2026-01-06T10:00:00Z,120\n",
    );
    let again = study.run("report", &["--from", &run_json, "--as-of", LATER]);
    again.says(&["input fingersticks/more.csv is new", "more files differ"]);
    study
        .run("report", &["--from", &run_json, "--month", "2026-01"])
        .says(&["cannot be used with"]);
    let public = study.beside("public").display().to_string();
    study.run(
        "report",
        &["--as-of", LATER, "--for", "public", "--out", &public],
    );
    study
        .run("report", &["--from", &(public + "/run.json")])
        .fails_with(&["public", "another edition"]);
}
