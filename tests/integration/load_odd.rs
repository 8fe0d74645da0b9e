//! Files that are easily lost or misread: line ends of old computers, stray quotation marks, names that are not read,
//! packed files that burst.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;

use crate::fixture::Study;

const SETTINGS: &str = "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n";
const EVENTS: &str = "sensor,time,event,site\na,2026-03-01T08:00:00Z,insert,calf\n";
const READINGS: &str = "sensor,time,glucose\n\
    a,2026-03-01T09:00:00Z,100\n\
    a,2026-03-01T09:05:00Z,101\n\
    a,2026-03-01T09:10:00Z,102\n";

fn study() -> Study {
    let study = Study::new(SETTINGS);
    study.write("wear-events/e.csv", EVENTS);
    study
}

fn glucose(study: &Study) -> Vec<String> {
    let sql = "SELECT CAST(glucose AS INT) AS glucose FROM readings ORDER BY time";
    study.sql(sql).column("glucose")
}

/// Line ends of every kind give the same rows, the last one there or not, and the same lines in rejects.
#[test]
fn lone_carriage_returns_end_lines() {
    for end in ["\r", "\r\n", "\n"] {
        for last in ["", end] {
            let study = study();
            let bad = READINGS.to_owned() + "a,never,100\na,2026-03-01T09:15:00Z,103";
            study.write("readings/r.csv", bad.replace('\n', end) + last);
            assert_eq!(
                glucose(&study),
                ["100", "101", "102", "103"],
                "{end:?} {last:?}"
            );
            let rejects = study.rejects();
            assert_eq!(rejects.len(), 1);
            assert_eq!(rejects[0].0, "readings/r.csv:5:time", "{end:?} {last:?}");
        }
    }
    // Of both kinds in one file, and cut in the middle of a row.
    let study = study();
    study.write("readings/r.csv", READINGS.replacen('\n', "\r", 2));
    assert_eq!(glucose(&study), ["100", "101", "102"]);
    study.write("readings/r.csv", READINGS.replace('\n', "\r") + "a,2026-03");
    study
        .try_report(&[])
        .fails_with(&["readings/r.csv, line 5", "truncated"]);
}

/// Two stray quotation marks make one row of many: it is refused with the lines that it spans, and no other row is.
#[test]
fn a_line_break_inside_a_field_that_is_no_note() {
    for (column, from, to) in [
        ("glucose", "09:00:00Z,100", "09:00:00Z,\"100"),
        ("sensor", "a,2026-03-01T09:00", "\"a,2026-03-01T09:00"),
        ("time", "a,2026-03-01T09:00", "a,\"2026-03-01T09:00"),
    ] {
        let study = study();
        let more = "a,2026-03-01T09:15:00Z,103\na,2026-03-01T09:20:00Z,104\n";
        let text = (READINGS.to_owned() + more).replacen(from, to, 1);
        // The mark that closes stands at the end of the fourth line.
        let lines: Vec<&str> = text.lines().collect();
        let text = [
            lines[..3].join("\n"),
            format!(
                "{}\"{}",
                lines[3],
                if column == "glucose" { "" } else { ",9,9" }
            ),
            lines[4..].join("\n"),
        ]
        .join("\n");
        study.write("readings/r.csv", text + "\n");
        let rejects = study.rejects();
        assert_eq!(rejects.len(), 1, "{column}: {rejects:?}");
        assert!(
            rejects[0].0.starts_with("readings/r.csv:2:"),
            "{column}: {rejects:?}"
        );
        assert_eq!(glucose(&study), ["103", "104"], "{column}");
        if column == "glucose" {
            assert_eq!(rejects[0].0, "readings/r.csv:2:glucose");
            assert!(rejects[0].1.contains("lines 2 to 4"), "{rejects:?}");
        }
    }
}

/// Quotation marks in a file of several segments do not gather it in memory whole, nor lose a row.
#[test]
fn quoted_rows_in_a_large_file() {
    let study = study();
    let mut text = "sensor,time,glucose,note\n".to_owned();
    let filler = "x".repeat(1000);
    let start: jiff::Timestamp = "2026-03-01T09:00:00Z".parse().unwrap();
    let rows = 42_000;
    for row in 0..rows {
        let at = jiff::Timestamp::from_second(start.as_second() + 60 * row).unwrap();
        text += &format!("a,{at},{},\"{filler}\n{row}\"\n", 100 + row % 50);
    }
    assert!(text.len() > 40 << 20, "more than one segment");
    study.write("readings/r.csv", text);
    let run = study.run("load", &[]);
    run.says(&[&format!("{rows} readings: {rows} accepted, 0 rejected")]);
}

#[test]
fn what_is_not_read_is_named() {
    let study = study();
    study
        .write("readings/r.csv", READINGS)
        .write("readings/old.txt", READINGS)
        .write("readings/old.tsv", READINGS)
        .write("readings/2025/r.csv", READINGS)
        .write("readings/.hidden.csv", READINGS.replace("T09", "T10"))
        .write("readings/~$r.csv", READINGS.replace("T09", "T11"))
        .write("readings/._r.csv", "\u{0}\u{5}\u{16}\u{7}")
        .write("readings/.DS_Store", "x")
        .write("Fingersticks/f.csv", "time,glucose\n")
        .write("wear_events/f.csv", "time,event\n");
    #[cfg(unix)]
    std::os::unix::fs::symlink("nowhere.csv", study.dir().join("readings/link.csv")).unwrap();
    let run = study.run("load", &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    run.says(&["3 readings: 3 accepted"]);
    for name in [
        "readings/old.txt",
        "readings/old.tsv",
        "readings/2025",
        "readings/.hidden.csv",
        "readings/~$r.csv",
        "readings/._r.csv",
        "Fingersticks",
        "wear_events",
        #[cfg(unix)]
        "readings/link.csv",
    ] {
        let lines = run
            .err
            .lines()
            .filter(|line| line.contains(&format!("{name} is not read")));
        assert_eq!(lines.count(), 1, "{name}: {}", run.err);
    }
    assert!(!run.err.contains("DS_Store"));
}

#[test]
fn an_export_may_map_what_lies_in_a_table_s_own_folder() {
    let study = Study::new(&format!(
        "{SETTINGS}[exports.own]\ntable = \"readings\"\nfiles = \"readings/*\"\ncolumns = {{ glucose = \"value\" }}\n"
    ));
    study
        .write("wear-events/e.csv", EVENTS)
        .write("readings/r.csv", READINGS.replace("glucose", "value"))
        .write(
            "readings/s.txt",
            READINGS.replace("glucose", "value").replace("T09", "T10"),
        );
    assert_eq!(glucose(&study).len(), 6);
    assert!(!study.run("load", &[]).err.contains("is not read"));
}

fn packed(text: impl Iterator<Item = String>) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    for part in text {
        encoder.write_all(part.as_bytes()).unwrap();
    }
    encoder.finish().unwrap()
}

/// Packed files that unpack to much more than any log does, with and without line ends, and rows without an end.
#[test]
fn files_beyond_every_bound_are_refused() {
    let head = || std::iter::once("sensor,time,glucose\n".to_owned());
    let zeros = packed(head().chain((0..80).map(|_| "0".repeat(1 << 20))));
    let blank = packed(head().chain((0..150).map(|_| "\n".repeat(1 << 20))));
    let header = "x".repeat(3 << 20);
    for (name, content, words) in [
        ("r.csv.gz", zeros, "longer than 32 MiB"),
        ("r.csv.gz", blank, "times its size"),
        ("r.csv", header.into_bytes(), "longer than 1 MiB"),
    ] {
        let study = study();
        study.write(&format!("readings/{name}"), content);
        let run = study.run("load", &[]);
        run.fails_with(&[&format!("readings/{name}, line"), words]);
        assert!(run.err.len() < 400, "{}", run.err);
        study.assert_untouched();
    }
    let study = study();
    let long = "y".repeat(100_000);
    study.write(
        "readings/r.csv",
        format!("{READINGS}{long},2026-03-01T09:15:00Z,100\n"),
    );
    let output = study.report();
    let rejects = output.rejects();
    assert!(rejects[0].1.contains("65536"), "{rejects:?}");
    assert!(output.text("rejects.csv").len() < 2000);
}

#[test]
fn rows_that_add_up_are_counted_in_run_json() {
    let study = study();
    let second = READINGS.replace("09:00", "09:05").replace(",101", ",150");
    study
        .write("readings/r.csv", READINGS)
        .write("readings/s.csv", second);
    let rows = study.report().json()["rows"]["readings"].clone();
    let count = |name: &str| rows[name].as_u64().unwrap();
    let parts = ["accepted", "rejected", "duplicates", "without_insert"].map(count);
    assert_eq!(count("read"), parts.iter().sum::<u64>(), "{rows}");
}

/// A broken link in the place of a table's folder, or a file: its rows would be missing without a word.
#[test]
#[cfg(unix)]
fn a_table_s_folder_that_is_none_is_named() {
    let study = study();
    study.write("wear-events/e.csv", EVENTS);
    std::os::unix::fs::symlink("nowhere", study.dir().join("readings")).unwrap();
    std::os::unix::fs::symlink("nowhere.csv", study.dir().join("judgements.csv")).unwrap();
    study.write("fingersticks", "time,glucose\n");
    let run = study.run("load", &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    for name in ["readings", "judgements.csv", "fingersticks"] {
        run.says(&[&format!("warning: {name} is not read")]);
    }
}
