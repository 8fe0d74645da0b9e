//! Several studies pooled: each with its own settings, its people apart from those of the others. Held against the same rows in
//! one folder, and against each study alone.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::fixture::{LATER, Output, Row, Run, Study, Table, whereworn};
use crate::small_study;

/// Folders of studies side by side, removed at the end of the test.
struct Shelf(TempDir);

impl Shelf {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, content: &str) {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content).unwrap();
    }

    /// Copies the files of some wearers of a study into one of their own.
    fn part(&self, of: &Study, name: &str, wearers: &[&str]) {
        let settings = fs::read_to_string(of.dir().join("study.toml")).unwrap();
        self.write(&format!("{name}/study.toml"), &settings);
        for folder in ["readings", "fingersticks", "wear-events"] {
            for wearer in wearers {
                let file = format!("{folder}/{wearer}.csv");
                let text = fs::read_to_string(of.dir().join(&file)).unwrap();
                self.write(&format!("{name}/{file}"), &text);
            }
        }
    }

    /// Runs `report` on studies of the shelf, in its folder.
    fn run(&self, studies: &[&str], more: &[&str]) -> Run {
        let places: Vec<PathBuf> = studies
            .iter()
            .map(|name| match name.strip_prefix('@') {
                Some(list) => PathBuf::from(format!("@{}", self.path(list).display())),
                None => self.path(name),
            })
            .collect();
        let mut all: Vec<&OsStr> = vec!["report".as_ref()];
        all.extend(places.iter().map(|place| place.as_os_str()));
        all.extend(["--as-of", LATER].map(OsStr::new));
        all.extend(more.iter().map(OsStr::new));
        whereworn(&all)
    }

    fn report(&self, studies: &[&str], out: &str) -> Output {
        let out = self.path(out);
        let run = self.run(studies, &["--out", &out.display().to_string()]);
        assert_eq!(run.code, 0, "{}", run.err);
        Output::read(&out)
    }
}

/// Every table but those named is the same to the last byte once the names of studies are taken off.
fn assert_same_tables(alone: &Output, pooled: &Output, studies: &[&str], but: &[&str]) {
    let mut compared = 0;
    for (name, bytes) in &alone.files {
        let table = name
            .strip_prefix("tables/")
            .and_then(|n| n.strip_suffix(".csv"));
        if table.is_none_or(|table| but.contains(&table)) {
            continue;
        }
        let mut text = pooled.text(name);
        for study in studies {
            text = text
                .replace(&format!("{study}/"), "")
                .replace(&format!("{study}: "), "");
        }
        assert_eq!(text.as_bytes(), bytes, "{name}");
        compared += 1;
    }
    assert!(compared > 50, "{compared} tables");
}

/// Findings are of each study by itself.
const OF_EACH: [&str; 1] = ["findings"];

#[test]
fn a_list_of_one_study_gives_its_own_tables() {
    let study = Study::demo("2", "8", "5", "3");
    let shelf = Shelf::new();
    shelf.part(&study, "only-one", &["kelp", "tuff"]);
    shelf.write("studies.txt", "# a remark\n\nonly-one\n");
    let alone = shelf.report(&["only-one"], "alone");
    let listed = shelf.report(&["@studies.txt"], "listed");
    assert_same_tables(&alone, &listed, &["only-one"], &OF_EACH);
}

/// Whoever is in which study, and in which order these are named, the sites come out the same to the last digit.
#[test]
fn people_pooled_are_as_in_one_folder() {
    let study = Study::demo("2", "10", "5", "4");
    let shelf = Shelf::new();
    shelf.part(&study, "both", &["kelp", "tuff"]);
    shelf.part(&study, "zq-a", &["kelp"]);
    shelf.part(&study, "zq-b", &["tuff"]);
    let together = shelf.report(&["both"], "together");
    let pooled = shelf.report(&["zq-a", "zq-b"], "pooled");
    // Each study's meters are its own, also where two have one name.
    let but = [OF_EACH[0], "site_checks"];
    assert_same_tables(&together, &pooled, &["zq-a", "zq-b"], &but);
    let turned = shelf.report(&["zq-b", "zq-a"], "turned");
    assert_same_tables(&pooled, &turned, &[], &[]);
    let names = pooled.table("pooled_studies");
    assert_eq!(names.column("study"), ["zq-a", "zq-b"]);
    let both = format!("@{}", shelf.path("both.txt").display());
    shelf.write("both.txt", "zq-a\nzq-b\n");
    let sql = "SELECT DISTINCT r.wearer FROM readings AS r INNER JOIN sessions AS s ON s.wearer = r.wearer AND s.sensor = r.sensor \
               ORDER BY r.wearer";
    let more = ["--as-of", LATER, "--format", "csv", "--sql", sql];
    let mut all = vec![OsStr::new("query"), both.as_ref()];
    all.extend(more.map(OsStr::new));
    assert_eq!(whereworn(&all).out, "wearer\nzq-a/kelp\nzq-b/tuff\n");
    let used = |output: &Output| output.json()["rows"]["readings"]["accepted"].clone();
    assert_eq!(used(&pooled), used(&together));
}

/// The small study twice, once in mg/dL and once in mmol/L with a long warm-up: the same name is two people, and each study's
/// rows are read by its own unit and judged by its own settings.
#[test]
fn each_study_keeps_its_own_settings_and_its_own_people() {
    let shelf = Shelf::new();
    let rows = small_study::rows();
    let events = small_study::EVENT_COLUMNS.to_owned() + &rows.wear_events.join("\n") + "\n";
    let own =
        "warmup_hours = 60\n[pairing]\nminutes = 2\n[night]\nfrom = \"20:00\"\ncoverage = 0.9\n";
    for (name, unit, limits) in [("one", "mg/dL", ""), ("two", "mmol/L", own)] {
        let scaled = |rows: &[(String, f64)]| -> String {
            let factor = if unit == "mg/dL" { 1.0 } else { 1.0 / 18.0156 };
            rows.iter()
                .map(|(start, glucose)| format!("{start},{}\n", glucose * factor))
                .collect()
        };
        let settings = small_study::settings(unit);
        let settings = format!("{settings}[wear]\n{limits}");
        shelf.write(&format!("{name}/study.toml"), &settings);
        shelf.write(&format!("{name}/wear-events/all.csv"), &events);
        let readings = scaled(&rows.readings);
        shelf.write(
            &format!("{name}/readings/all.csv"),
            &format!("sensor,time,glucose\n{readings}"),
        );
        let checks = scaled(&rows.fingersticks);
        shelf.write(
            &format!("{name}/fingersticks/all.csv"),
            &format!("time,glucose\n{checks}"),
        );
    }
    let pooled = shelf.report(&["one", "two"], "pooled");
    let sessions = pooled.table("sessions");
    let people = sessions.column("wearer");
    assert_eq!(people.len(), 8);
    assert_eq!([&people[0], &people[7]], ["one/wearer-1", "two/wearer-1"]);
    assert_eq!(sessions.column("sensor")[4], "two/a");
    shelf.write("both.txt", "one\ntwo\n");
    let list = format!("@{}", shelf.path("both.txt").display());
    for table in [
        "pairs",
        "sensor_nights",
        "clock_nights",
        "unpaired_checks",
        "near_readings",
    ] {
        let rows = |study: &OsStr| -> Vec<String> {
            let sql = format!("SELECT * FROM {table}");
            let arguments = ["--as-of", LATER, "--format", "csv", "--sql", &sql];
            let mut all = vec!["query".as_ref(), study];
            all.extend(arguments.map(OsStr::new));
            let run = whereworn(&all);
            assert_eq!(run.code, 0, "{}", run.err);
            let numbered = Table::parse(table, &run.out);
            // Numbers of sensors and fingersticks go on from one study to the next.
            let own = |row: Row| {
                let cells = numbered.header.iter().filter(|name| !name.ends_with("_no"));
                cells
                    .map(|name| row.text(name).to_owned())
                    .collect::<Vec<_>>()
                    .join(",")
            };
            let mut rows: Vec<String> = numbered.rows().map(own).collect();
            rows.sort();
            rows
        };
        let pooled = rows(OsStr::new(&list));
        let mut apart = rows(shelf.path("one").as_os_str());
        apart.extend(rows(shelf.path("two").as_os_str()));
        apart.sort();
        let mut bare: Vec<String> = pooled
            .iter()
            .map(|row| row.replace("one/", "").replace("two/", ""))
            .collect();
        bare.sort();
        assert!(!apart.is_empty(), "{table}");
        assert_eq!(bare, apart, "{table}");
    }
    // A longer warm-up and a shorter reach leave fewer pairs.
    let pairs = pooled.table("pairs");
    let sensors = pairs.column("sensor");
    let of = |study: &str| sensors.iter().filter(|s| s.starts_with(study)).count();
    assert!(
        0 < of("two") && of("two") < of("one"),
        "{} and {}",
        of("two"),
        of("one")
    );
}

#[test]
fn what_is_written_lies_in_the_first_study() {
    let study = Study::demo("2", "6", "15", "5");
    let shelf = Shelf::new();
    shelf.part(&study, "first", &["kelp"]);
    shelf.part(&study, "second", &["tuff"]);
    let run = shelf.run(&["first", "second"], &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    let place = run.out.trim_end();
    assert!(
        place.contains("first/reports/") && place.contains("-clinician-pooled/"),
        "{place}"
    );
    let names = |folder: &Path| -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = entries
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    };
    let second = names(&shelf.path("second"));
    assert_eq!(
        second,
        ["fingersticks", "readings", "study.toml", "wear-events"]
    );
    let first = names(&shelf.path("first"));
    let kept = first.iter().filter(|name| name.starts_with("evidence"));
    assert!(
        kept.clone()
            .all(|name| name.starts_with("evidence-pooled-")),
        "{first:?}"
    );
    assert_eq!(kept.count(), 1, "{first:?}");
    assert!(names(&shelf.path("first/.whereworn/pooled"))[0].starts_with("second-"));
}

/// Named one by one, studies are checked as those of a list are.
#[test]
fn several_studies_are_checked_together() {
    let study = Study::demo("2", "4", "15", "6");
    let shelf = Shelf::new();
    shelf.part(&study, "one", &["kelp"]);
    shelf.part(&study, "two", &["tuff"]);
    shelf.write("both.txt", "one\ntwo\n");
    let check = |studies: &[PathBuf]| {
        let mut all: Vec<&OsStr> = vec!["check".as_ref()];
        all.extend(studies.iter().map(|place| place.as_os_str()));
        all.extend(["--as-of", LATER].map(OsStr::new));
        whereworn(&all)
    };
    let named = check(&[shelf.path("one"), shelf.path("two")]);
    let list = format!("@{}", shelf.path("both.txt").display());
    let listed = check(&[PathBuf::from(list)]);
    assert!(
        named.out.contains("- two: sensor "),
        "{}{}",
        named.out,
        named.err
    );
    assert_eq!((named.code, named.out), (listed.code, listed.out));
}

#[test]
fn what_is_wrong_names_the_study() {
    let study = Study::demo("2", "4", "15", "6");
    let shelf = Shelf::new();
    shelf.part(&study, "good", &["kelp"]);
    shelf.part(&study, "bad", &["tuff"]);
    shelf.write("bad/readings/odd.csv", "sensor,glucose\ns01,100\n");
    let out = shelf.path("out").display().to_string();
    let pooled = |studies: &[&str]| shelf.run(studies, &["--out", &out]);
    pooled(&["good", "bad"]).fails_with(&["bad: readings/odd.csv, line 1", "time"]);
    shelf.write("bad/study.toml", "[study]\ntimezon = \"UTC\"\n");
    pooled(&["good", "bad"]).fails_with(&["bad: study.toml, line 2", "timezone"]);
    pooled(&["good", "nowhere"]).fails_with(&["nowhere", "no such folder"]);
    pooled(&["good", "good"]).fails_with(&["the same study"]);
    shelf.write("none.txt", "# nobody\n");
    pooled(&["@none.txt"]).fails_with(&["none.txt: names no study"]);
    assert!(!shelf.path("out").exists());
}

#[test]
fn studies_of_one_name_are_told_apart_and_it_is_said() {
    let study = Study::demo("2", "4", "15", "6");
    let shelf = Shelf::new();
    shelf.part(&study, "x/home", &["kelp"]);
    shelf.part(&study, "y/home", &["tuff"]);
    let out = shelf.path("out");
    let run = shelf.run(
        &["x/home", "y/home"],
        &["--out", &out.display().to_string()],
    );
    run.says(&["y/home is called home-2"]);
    let wearers = Output::read(&out).table("sessions");
    let wearers = wearers.column("wearer");
    let has = |name: &str| wearers.iter().any(|wearer| wearer == name);
    assert!(has("home/kelp") && has("home-2/tuff"), "{wearers:?}");
}

/// Four people are too few to hide among, five are enough; no name of a study or a person is in what is written.
#[test]
fn a_public_report_takes_five_people() {
    let study = Study::demo("5", "4", "15", "7");
    let people: Vec<String> = fs::read_dir(study.dir().join("wear-events"))
        .unwrap()
        .map(|file| {
            file.unwrap()
                .path()
                .file_stem()
                .unwrap()
                .display()
                .to_string()
        })
        .collect();
    assert_eq!(people.len(), 5);
    let people: Vec<&str> = people.iter().map(String::as_str).collect();
    let shelf = Shelf::new();
    shelf.part(&study, "zqone", &people[..2]);
    shelf.part(&study, "zqtwo", &people[2..4]);
    shelf.part(&study, "zqmore", &people[4..]);
    let out = shelf.path("out");
    let arguments = ["--for", "public", "--out", &out.display().to_string()];
    let few = shelf.run(&["zqone", "zqtwo"], &arguments);
    few.fails_with(&["takes 5 wearers", "here are 4"]);
    assert!(!out.exists());
    let run = shelf.run(&["zqone", "zqtwo", "zqmore"], &arguments);
    assert_eq!(run.code, 0, "{}", run.err);
    for (name, bytes) in &Output::read(&out).files {
        let text = String::from_utf8_lossy(bytes);
        let found = people.iter().chain(&["zqone", "zqtwo", "zqmore"]);
        for word in found {
            assert!(!text.contains(word), "`{word}` in {name}");
        }
    }
}
