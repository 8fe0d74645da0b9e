//! Whole files: how they may be written, what stops a run, and what a second run reads again.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;

use crate::fixture::{IN_UTC, Study};

const EVENTS: &str = "sensor,time,event,site\na,2026-03-01T08:00:00Z,insert,calf\n";
const READINGS: &str = "sensor,time,glucose\n\
    a,2026-03-01T09:00:00Z,100\n\
    a,2026-03-01T09:05:00Z,101\n\
    a,2026-03-01T09:10:00Z,102\n";

fn study() -> Study {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", EVENTS);
    study
}

fn glucose(study: &Study) -> Vec<String> {
    study
        .sql("SELECT CAST(glucose AS INT) AS glucose FROM readings ORDER BY time")
        .column("glucose")
}

fn places(study: &Study) -> Vec<String> {
    study
        .rejects()
        .into_iter()
        .map(|(place, _)| place)
        .collect()
}

fn gz(text: &str) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(text.as_bytes()).unwrap();
    encoder.finish().unwrap()
}

#[test]
fn lines_are_counted_as_an_editor_counts_them() {
    let body = |end: &str| {
        [
            "sensor,time,glucose",
            "a,2026-03-01T09:00:00Z,100",
            "",
            "a,2026-03-01T09:05:00Z,x",
            "",
            "",
            "a,2026-03-01T09:10:00Z,y",
            "a,2026-03-01T09:15:00Z,103",
            "a,2026-03-01T09:20:00Z,z",
        ]
        .join(end)
    };
    for end in ["\n", "\r\n"] {
        for last in ["", end] {
            let study = study();
            study.write("readings/r.csv", body(end) + last);
            let expected = [4, 7, 9].map(|line| format!("readings/r.csv:{line}:glucose"));
            assert_eq!(places(&study), expected, "{end:?} {last:?}");
            assert_eq!(glucose(&study), ["100", "103"], "{end:?} {last:?}");
        }
    }
}

#[test]
fn a_quoted_line_break_is_no_end_of_a_row() {
    for end in ["\n", "\r\n"] {
        let study = Study::new(IN_UTC);
        let rows = [
            "sensor,time,event,site,note",
            "a,2026-03-01T08:00:00Z,insert,calf,\"one",
            "two, \"\"three\"\"",
            "",
            "four\"",
            "b,2026-03-01T08:00:00Z,insert,clf,\"five",
            "six\"",
            "c,2026-03-01T08:00:00Z,insert,cal,seven",
            "",
        ];
        study.write("wear-events/e.csv", rows.join(end));
        let expected = ["wear-events/e.csv:6:site", "wear-events/e.csv:8:site"];
        assert_eq!(places(&study), expected, "{end:?}");
        let notes = study.sql("SELECT note FROM wear_events").column("note");
        assert_eq!(notes, [format!("one{end}two, \"three\"{end}{end}four")]);
    }
}

#[test]
fn quoted_fields_and_columns_in_any_order() {
    let study = study();
    study.write(
        "readings/r.csv",
        "\"glucose\", time ,\"sensor\"\n\"100\",\"2026-03-01T09:00:00Z\",\"a\"\n",
    );
    assert_eq!(glucose(&study), ["100"]);
}

#[test]
fn a_byte_order_mark_and_a_missing_last_line_end() {
    let study = study();
    study.write("readings/r.csv", format!("\u{feff}{}", READINGS.trim_end()));
    assert_eq!(glucose(&study), ["100", "101", "102"]);
}

#[test]
fn compressed_files() {
    let study = study();
    study.write("readings/r.csv.gz", gz(READINGS));
    assert_eq!(glucose(&study), ["100", "101", "102"]);
    // A file may be several compressed streams, one after the other (RFC 1952, section 2.2).
    let more = "a,2026-03-01T09:15:00Z,103\na,2026-03-01T09:20:00Z,nothing\n";
    study.write("readings/r.csv.gz", [gz(READINGS), gz(more)].concat());
    assert_eq!(glucose(&study), ["100", "101", "102", "103"]);
    assert_eq!(places(&study), ["readings/r.csv.gz:6:glucose"]);
}

#[test]
fn unknown_columns_are_warned_of_once_a_file() {
    let study = study();
    study
        .write(
            "readings/a.csv",
            "sensor,time,glucose,trend,colour\na,2026-03-01T09:00:00Z,100,up,red\n",
        )
        .write(
            "readings/b.csv",
            "sensor,time,glucose,trend\na,2026-03-01T10:00:00Z,100,up\n",
        );
    let run = study.run("load", &[]);
    assert_eq!(run.code, 0);
    let warnings: Vec<&str> = run
        .err
        .lines()
        .filter(|line| line.contains("unknown column"))
        .collect();
    assert_eq!(warnings.len(), 2, "{}", run.err);
    assert!(warnings[0].contains("readings/a.csv"), "{}", warnings[0]);
    assert!(
        warnings[0].contains("trend") && warnings[0].contains("colour"),
        "{}",
        warnings[0]
    );
    assert!(warnings[1].contains("readings/b.csv"), "{}", warnings[1]);
    // Those of a file that is not read again are still known.
    assert!(study.run("load", &[]).err.contains("colour"));
}

/// Every file here stops the run with its name and line, and nothing is written.
#[test]
fn files_that_cannot_be_read() {
    let good = READINGS.as_bytes();
    let cut_gz = gz(&READINGS.repeat(50));
    let cut_gz = &cut_gz[..cut_gz.len() - 12];
    let cases: [(&str, &[u8], &[&str]); 10] = [
        ("r.csv", b"", &["readings/r.csv, line 1"]),
        ("r.csv", b"\n\n", &["readings/r.csv, line 1"]),
        ("r.csv", b"sensor,time\na,2026-03-01T09:00:00Z\n", &["readings/r.csv, line 1", "`glucose`"]),
        (
            "r.csv",
            b"sensor,time,glucose,time\na,2026-03-01T09:00:00Z,100,\n",
            &["readings/r.csv, line 1", "`time`", "twice"],
        ),
        (
            "r.csv",
            b"sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n\nb\xff,2026-03-01T09:05:00Z,100\n",
            &["readings/r.csv, line 4", "UTF-8"],
        ),
        (
            "r.csv",
            b"sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,2026-03-01T09:05:00Z,\"100\na,2026-03-01T09:10:00Z,100\n",
            &["readings/r.csv, line 3", "truncated"],
        ),
        (
            "r.csv",
            b"sensor,time,glucose\r\na,2026-03-01T09:00:00Z,100\r\na,2026-03-01T09",
            &["readings/r.csv, line 3", "truncated"],
        ),
        (
            "r.csv",
            b"sensor,time,glucose\n\na,2026-03-01T09:00:00Z,100\n\na,2026-03-01T09",
            &["readings/r.csv, line 5", "truncated"],
        ),
        ("r.csv.gz", cut_gz, &["readings/r.csv.gz, line"]),
        ("r.csv.gz", good, &["readings/r.csv.gz, line 1"]),
    ];
    for (name, content, words) in cases {
        let study = study();
        study.write(&format!("readings/{name}"), content);
        study.try_report(&[]).fails_with(words);
        study.assert_untouched();
    }
}

/// A short last row with a line end is a bad row, not a truncated file; so is a whole last row without one.
#[test]
fn what_is_not_truncated() {
    let study = study();
    study.write(
        "readings/r.csv",
        format!("{READINGS}a,2026-03-01T09:15:00Z\n"),
    );
    assert_eq!(places(&study), ["readings/r.csv:5:"]);
    study.write(
        "readings/r.csv",
        format!("{READINGS}a,2026-03-01T09:15:00Z,104"),
    );
    assert_eq!(places(&study), [""; 0]);
    assert_eq!(glucose(&study).len(), 4);
}

/// A later unreadable file leaves the store and the report of an earlier run as they were.
#[test]
fn a_failed_run_changes_nothing() {
    let study = study();
    study.write("readings/r.csv", READINGS);
    let before = study.report();
    study
        .write("readings/q.csv", READINGS.replace(",10", ",20"))
        .write("readings/s.csv", "sensor,time\n");
    study
        .try_report(&[])
        .fails_with(&["readings/s.csv, line 1"]);
    study.remove("readings/s.csv");
    study.remove("readings/q.csv");
    let run = study.run("load", &[]);
    run.says(&["0 files read, 2 unchanged, 0 gone"]);
    assert!(study.report() == before);
}

#[test]
fn only_new_or_changed_files_are_read_again() {
    let study = study();
    study.write("readings/r.csv", READINGS);
    let load = |expected: &str| {
        let run = study.run("load", &[]);
        assert_eq!((run.code, run.out.as_str()), (0, ""));
        run.says(&[expected]);
    };
    load("2 files read, 0 unchanged, 0 gone");
    load("0 files read, 2 unchanged, 0 gone");
    // Written again with the same bytes.
    study.write("readings/r.csv", READINGS);
    load("0 files read, 2 unchanged, 0 gone");
    study.write("readings/s.csv", READINGS.replace("T09", "T10"));
    load("1 files read, 2 unchanged, 0 gone");
    assert_eq!(glucose(&study).len(), 6);
    study.write("readings/r.csv", READINGS.replace(",100", ",99"));
    load("1 files read, 2 unchanged, 0 gone");
    assert_eq!(glucose(&study)[0], "99");
    study.remove("readings/s.csv");
    load("0 files read, 2 unchanged, 1 gone");
    assert_eq!(glucose(&study), ["99", "101", "102"]);
    // Another time zone gives local times another meaning.
    study.write(
        "study.toml",
        "[study]\ntimezone = \"Asia/Tokyo\"\nunit = \"mg/dL\"\n",
    );
    load("2 files read, 0 unchanged, 0 gone");
}

/// The order in which files arrive does not matter: of contradicting rows the one first by path stays.
#[test]
fn rows_are_settled_over_all_files_at_each_load() {
    let study = study();
    let row = |glucose| format!("sensor,time,glucose\na,2026-03-01T09:00:00Z,{glucose}\n");
    study.write("readings/m.csv", row(100));
    assert_eq!(glucose(&study), ["100"]);
    study.write("readings/c.csv", row(90));
    assert_eq!(glucose(&study), ["90"]);
    assert_eq!(places(&study), ["readings/m.csv:2:glucose"]);
    study.write("readings/z.csv", row(80));
    assert_eq!(
        places(&study),
        ["readings/m.csv:2:glucose", "readings/z.csv:2:glucose"]
    );
    study.remove("readings/c.csv");
    assert_eq!(glucose(&study), ["100"]);
    assert_eq!(places(&study), ["readings/z.csv:2:glucose"]);
}

#[test]
fn strict_ends_with_three_where_rows_were_rejected() {
    let study = study();
    study.write("readings/r.csv", READINGS);
    for command in ["load", "check"] {
        assert_eq!(study.run(command, &["--strict"]).code, 0, "{command}");
    }
    study.write("readings/s.csv", "sensor,time,glucose\na,never,100\n");
    for command in ["load", "check"] {
        assert_eq!(study.run(command, &["--strict"]).code, 3, "{command}");
    }
    assert_eq!(study.run("load", &[]).code, 0);
    // Every row of a file is rejected: something is wrong.
    assert_eq!(study.run("check", &[]).code, 6);
    assert_eq!(study.try_report(&["--strict"]).code, 3);
    assert!(
        study.beside("out").join("report.html").exists(),
        "it is written all the same"
    );
}

/// Another program's export: preamble, semicolons, decimal commas, date and time apart, day first.
#[test]
fn an_export_with_columns_of_its_own() {
    let study = Study::new(
        "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n\
         [exports.old]\n\
         table = \"readings\"\n\
         files = \"exports/*.csv\"\n\
         columns = { date = \"Tag\", time = \"Uhrzeit\", glucose = \"Wert\", sensor = \"Geber\" }\n\
         time_format = \"%d/%m/%Y %H:%M\"\n\
         unit = \"mmol/L\"\n\
         skip_lines = 2\n",
    );
    study
        .write(
            "wear-events/e.csv",
            "sensor,time,event,site\na,2026-07-01T08:00,insert,calf\n",
        )
        .write(
            "exports/one.csv",
            "Made; by hand\n\n\
         Tag;Uhrzeit;Wert;Geber;Extra\n\
         02/07/2026;14:05;5,5;a;x\n\
         2026-07-02;14:10;5,5;a;x\n\
         02/07/2026;14:15;5,5,5;a;x\n\
         02/07/2026;14:20;10,0;a;x\n",
        );
    let rejects = study.rejects();
    let places: Vec<&str> = rejects.iter().map(|(place, _)| place.as_str()).collect();
    assert_eq!(
        places,
        ["exports/one.csv:5:time", "exports/one.csv:6:glucose"]
    );
    let kept = study.sql("SELECT time, glucose FROM readings ORDER BY time");
    assert_eq!(
        kept.column("time"),
        ["2026-07-02T13:05:00Z", "2026-07-02T13:20:00Z"]
    );
    let glucose: Vec<f64> = kept.rows().map(|row| row.number("glucose")).collect();
    assert!((glucose[0] - 5.5 * 18.0156).abs() < 1e-9, "{glucose:?}");
    assert!((glucose[1] - 180.156).abs() < 1e-9, "{glucose:?}");
}

#[test]
fn an_export_in_one_column_of_time() {
    let study = Study::new(
        "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n\
         [exports.watch]\n\
         table = \"readings\"\n\
         files = \"exports/watch-*.csv\"\n\
         columns = { time = \"When\", glucose = \"Value\", sensor = \"Serial\" }\n\
         time_format = \"%m-%d-%Y %I:%M %p\"\n\
         [exports.meter]\n\
         table = \"fingersticks\"\n\
         files = \"exports/meter.csv\"\n\
         columns = { time = [\"Day\", \"Clock\"], glucose = \"Blood\" }\n",
    );
    study
        .write("wear-events/e.csv", EVENTS)
        .write(
            "exports/watch-1.csv",
            "Serial,When,Value\na,03-02-2026 01:05 PM,100\na,03-02-2026 12:05 AM,110\n",
        )
        .write(
            "exports/meter.csv",
            "Day\tClock\tBlood\n2026-03-02\t13:05\t95,5\n",
        );
    let output = study.report();
    assert_eq!(output.rejects(), []);
    let pairs = output.table("pairs");
    let pair = pairs.row(&[]);
    assert_eq!(pair.text("fingerstick_time"), "2026-03-02T13:05:00Z");
    assert_eq!(
        (pair.number("reading"), pair.number("fingerstick")),
        (100.0, 95.5)
    );
    assert_eq!(
        study
            .sql("SELECT time FROM readings ORDER BY time")
            .column("time")[0],
        "2026-03-02T00:05:00Z"
    );
}

#[test]
fn an_export_that_maps_what_is_not_there() {
    let settings = |columns: &str, files: &str| {
        format!(
            "{IN_UTC}[exports.x]\ntable = \"readings\"\nfiles = \"{files}\"\ncolumns = {columns}\n"
        )
    };
    let content = "Serial,When,Value\na,2026-03-02T13:05Z,100\n";
    let cases: [(&str, &str, &[&str]); 3] = [
        (
            "{ time = \"When\", glucose = \"Val\", sensor = \"Serial\" }",
            "exports/*.csv",
            &["exports/x.csv, line 1", "`Val`"],
        ),
        (
            "{ time = \"When\", glucos = \"Value\" }",
            "exports/*.csv",
            &["study.toml", "`glucos`", "`glucose`"],
        ),
        (
            "{ time = \"When\" }",
            "export/*.csv",
            &["study.toml", "export/*.csv"],
        ),
    ];
    for (columns, files, words) in cases {
        let study = Study::new(&settings(columns, files));
        study
            .write("exports/x.csv", content)
            .write("wear-events/e.csv", EVENTS);
        study.try_report(&[]).fails_with(words);
        study.assert_untouched();
    }
}
