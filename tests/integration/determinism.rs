//! The same input gives the same bytes, however it is cut into files, and the same figures in either unit.

use crate::fixture::{LATER, Output, Row, Study, repository};
use crate::small_study::{EVENT_COLUMNS, Rows, lines, rows, settings, study};

/// Tables with figures of mixed models, which an iteration finds: held to the tolerance of the published ones.
const ITERATED: [&str; 4] = [
    "site_accuracy_adjusted",
    "site_accuracy_pairs",
    "site_accuracy_test",
    "site_steadiness",
];

/// Columns that are text or instants, and equal to the letter.
fn assert_same_figures(ours: &Row<'_>, theirs: &Row<'_>, header: &[String], table: &str) {
    for column in header {
        let (a, b) = (ours.text(column), theirs.text(column));
        if a == b {
            continue;
        }
        let numbers = a.parse::<f64>().ok().zip(b.parse::<f64>().ok());
        let (x, y) = numbers.unwrap_or_else(|| panic!("{table}.{column}: {a} and {b}"));
        let scale = x.abs().max(y.abs()).max(1.0);
        let tolerance = if ITERATED.contains(&table) {
            1e-7
        } else {
            1e-9
        };
        assert!(
            (x - y).abs() <= tolerance * scale,
            "{table}.{column}: {a} and {b}"
        );
    }
}

fn tables(output: &Output) -> Vec<String> {
    output
        .files
        .keys()
        .filter_map(|name| name.strip_prefix("tables/")?.strip_suffix(".csv"))
        .map(str::to_owned)
        .collect()
}

fn assert_same_bytes(a: &Output, b: &Output, but: &[&str]) {
    assert_eq!(
        a.files.keys().collect::<Vec<_>>(),
        b.files.keys().collect::<Vec<_>>()
    );
    for (name, bytes) in a
        .files
        .iter()
        .filter(|(name, _)| !but.contains(&name.as_str()))
    {
        assert!(b.files[name] == *bytes, "{name} differs");
    }
}

#[test]
fn the_same_bytes_again() {
    // From an empty store, from a full one, and in a folder elsewhere.
    let first = study();
    let output = first.report();
    assert_same_bytes(&output, &first.report(), &[]);
    assert_same_bytes(&output, &study().report(), &[]);
    assert!(!output.text("run.json").contains(LATER));
    let root = first.dir().display().to_string();
    for (name, bytes) in &output.files {
        let text = String::from_utf8_lossy(bytes);
        assert!(!text.contains(&root), "{name} holds a path of this machine");
    }
}

/// With little memory, queries that look at each sensor by itself take a part of the sensors at a time.
#[test]
fn the_same_bytes_with_less_memory() {
    let demo = || Study::copy_of(&repository("data-demo"));
    let alone = |memory| demo().report_with(&["--memory", memory]);
    assert_same_bytes(&alone("1024"), &alone("32"), &[]);
    let pooled = |memory| {
        let more = demo();
        let (own, more) = (demo(), more.dir().display().to_string());
        own.report_with(&[&more, "--memory", memory])
    };
    assert_same_bytes(&pooled("1024"), &pooled("48"), &["run.json"]);
}

fn write_in_parts(study: &Study, rows: &Rows) {
    let (early, late) = rows.readings.split_at(rows.readings.len() / 3);
    study
        .write(
            "readings/b.csv",
            "sensor,time,glucose\n".to_owned() + &lines(early),
        )
        .write(
            "readings/a.csv",
            "sensor,time,glucose\n".to_owned() + &lines(late),
        );
    for (number, event) in rows.wear_events.iter().enumerate() {
        let name = format!("wear-events/{number}.csv");
        study.write(&name, format!("{EVENT_COLUMNS}{event}\n"));
    }
    let mut fingersticks = rows.fingersticks.clone();
    fingersticks.reverse();
    study.write(
        "fingersticks/f.csv",
        "time,glucose\n".to_owned() + &lines(&fingersticks),
    );
}

#[test]
fn one_file_or_several() {
    let whole = study().report();
    let cut = Study::new(&settings("mg/dL"));
    write_in_parts(&cut, &rows());
    let cut = cut.report();
    // What the look finds names the file and line where it stands.
    let of_files = ["run.json", "tables/findings.csv", "tables/findings.parquet"];
    assert_same_bytes(&whole, &cut, &of_files);
}

/// Files that arrive one by one, with a run after each, end in the same tables as all at once.
#[test]
fn one_run_or_several() {
    let whole = study();
    let rows = rows();
    let grown = Study::new(&settings("mg/dL"));
    grown.write(
        "wear-events/all.csv",
        EVENT_COLUMNS.to_owned() + &rows.wear_events.join("\n") + "\n",
    );
    for (number, part) in rows
        .readings
        .chunks(rows.readings.len() / 4 + 1)
        .enumerate()
    {
        let name = format!("readings/{number}.csv");
        grown.write(&name, "sensor,time,glucose\n".to_owned() + &lines(part));
        grown.report();
        // A copy that stands where the next one goes would be kept, with what changed since.
        std::fs::remove_dir_all(grown.beside("out")).unwrap();
    }
    grown.write(
        "fingersticks/all.csv",
        "time,glucose\n".to_owned() + &lines(&rows.fingersticks),
    );
    assert_same_bytes(&whole.report(), &grown.report(), &["run.json"]);
}

#[test]
fn the_same_study_in_either_unit() {
    let mut rows = rows();
    let mgdl = study().report();
    for row in rows.readings.iter_mut().chain(&mut rows.fingersticks) {
        row.1 /= 18.0156;
    }
    let study = Study::new(&settings("mmol/L"));
    write_in_parts(&study, &rows);
    let mmoll = study.report();
    let names = tables(&mgdl);
    assert!(names.contains(&"site_accuracy".to_owned()));
    assert_eq!(names, tables(&mmoll));
    // What the look finds names the file and line where it stands.
    for name in names.into_iter().filter(|name| name != "findings") {
        let (a, b) = (mgdl.table(&name), mmoll.table(&name));
        assert_eq!(a.header, b.header, "{name}");
        assert_eq!(a.lines.len(), b.lines.len(), "{name}");
        for (ours, theirs) in a.rows().zip(b.rows()) {
            assert_same_figures(&ours, &theirs, &a.header, &name);
        }
    }
    assert!(mmoll.text("report.md").contains("mmol/L"));
    assert!(!mmoll.text("report.md").contains("(mg/dL)"));
}
