//! `plan`: what it writes, that it keeps its draws, and that later reports know them.

use std::fs;

use serde_json::Value;

use crate::fixture::{LATER, Run, Study};

const SETTINGS: &str = r#"[study]
timezone = "UTC"
unit = "mg/dL"
wearer = "kelp"
[sites.upper-arm-back]
on_label = true
[sites.abdomen]
on_label = true
[plan]
sites = ["upper-arm-back", "abdomen", "chest"]
primary = ["stays-on"]
reference = "upper-arm-back"
"#;

const LOG: &str = "\
sensor,time,event,site,side,cause
a,2026-03-01T08:00Z,insert,abdomen,left,
a,2026-03-15T08:00Z,end,,,completed
b,2026-03-15T08:10Z,insert,upper-arm-back,left,
b,2026-03-29T08:00Z,end,,,completed
c,2026-03-29T08:10Z,insert,chest,right,
c,2026-04-04T08:00Z,end,,,fell-off
";

fn study() -> Study {
    let study = Study::new(SETTINGS);
    study.write("wear-events/e.csv", LOG);
    study
}

fn plan(study: &Study, arguments: &[&str]) -> Run {
    let mut all = vec!["--as-of", "2026-04-05T09:00:00Z"];
    all.extend(arguments);
    study.run("plan", &all)
}

fn written(study: &Study) -> (Value, Vec<u8>, String) {
    let read = |name: &str| fs::read(study.dir().join(name)).unwrap();
    let json = read("reports/plan/plan.json");
    let log = String::from_utf8(read("plan-log.csv")).unwrap();
    (serde_json::from_slice(&json).unwrap(), json, log)
}

#[test]
fn a_plan_is_written_kept_and_the_same_again() {
    let study = study();
    let run = plan(&study, &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    let (json, bytes, log) = written(&study);
    assert_eq!(json["wearer"], "kelp");
    assert_eq!(json["sensors"].as_array().unwrap().len(), 6);
    let drawn = json["sensors"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|sensor| sensor["drawn"] == true)
        .count();
    assert_eq!(log.lines().count(), 1 + drawn, "{log}");
    assert!(log.starts_with(
        "drawn_at,wearer,number,site,side,block,model,allowed,probability,seed,version,chances\n"
    ));
    assert!(log.contains("\n2026-04-05T09:00:00Z,kelp,1,"), "{log}");
    for name in ["plan.md", "plan.html"] {
        let page = fs::read_to_string(study.dir().join("reports/plan").join(name)).unwrap();
        assert!(
            page.contains("The next sensors") && page.contains("Chest (off-label)"),
            "{page}"
        );
    }
    assert!(run.out.contains("## The next sensors"));

    let again = plan(&study, &[]);
    assert_eq!((again.code, again.out), (0, run.out));
    let (_, bytes_again, log_again) = written(&study);
    assert!(
        bytes == bytes_again && log == log_again,
        "the same study, the same plan"
    );

    let copy = self::study();
    plan(&copy, &[]);
    assert_eq!(
        written(&copy).1,
        bytes,
        "a copy of the study has the same plan"
    );
    let other = self::study();
    plan(&other, &["--seed", "5"]);
    assert_eq!(written(&other).0["seed"], 5);
}

#[test]
fn a_sensor_worn_as_drawn_is_drawn_by_lot_and_another_is_chosen() {
    let study = study();
    let head = "drawn_at,wearer,number,site,side,block,model,allowed,probability,seed,version\n";
    let row = |at: &str, number: u8, site: &str, side: &str| {
        format!("{at},kelp,{number},{site},{side},1,,abdomen+chest,0.5,1,0.1.0\n")
    };
    // Of sensor b the draw is 31 days old, of c one hour late, of a in time.
    let log = head.to_owned()
        + &row("2026-02-27T12:00:00Z", 1, "abdomen", "left")
        + &row("2026-02-12T08:00:00Z", 2, "upper-arm-back", "left")
        + &row("2026-03-29T09:10:00Z", 3, "chest", "right");
    study.write("plan-log.csv", log);
    let output = study.report();
    let sessions = output.table("sessions");
    assert_eq!(sessions.column("sensor"), ["a", "b", "c"]);
    assert_eq!(
        sessions.column("drawn"),
        ["drawn by lot", "chosen", "chosen"]
    );
    let inputs = &output.json()["inputs"];
    let listed = inputs.as_array().unwrap().last().unwrap();
    assert_eq!(
        (&listed["file"], &listed["rows"]),
        (&Value::from("plan-log.csv"), &Value::from(3))
    );
    assert_eq!(listed["sha256"].as_str().unwrap().len(), 64);
    let run = plan(&study, &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    let first = &written(&study).0["sensors"][0];
    assert_eq!(
        (&first["number"], &first["site"]),
        (&Value::from(3), &Value::from("chest")),
        "pending draws come first"
    );
}

/// Three sensors at the abdomen came off one after the other, three at the chest stayed on: the most extreme way they could
/// have gone. By hand: of 20 ways to shuffle them two are as extreme, p = 0.1; drawn with a chance of 2 in 3 of the
/// abdomen, either of both sites being drawn, p = 2 (2/3)^3 (1/3)^3; each over the share of the primary row, 0.8.
#[test]
fn what_was_drawn_is_drawn_again_and_what_was_chosen_is_shuffled() {
    let settings = SETTINGS.replace(
        r#"["stays-on"]"#,
        r#"[{ measure = "stays-on", site = "abdomen", against = "chest" }]"#,
    );
    let p = |log: Option<&str>| -> f64 {
        let study = Study::new(&settings);
        let mut events = "sensor,time,event,site,side,cause\n".to_owned();
        let mut draws = "drawn_at,wearer,number,site,side,block,model,allowed,probability,seed,version,chances\n".to_owned();
        for number in 0..6 {
            let (site, chance, days, cause) = match number % 2 {
                0 => ("abdomen", "0.5", 2 + number, "fell-off"),
                _ => ("chest", "0.25", 10, "completed"),
            };
            // All in one quarter, each in a month of its own or half of it.
            let (month, day) = (1 + number / 2, 1 + 14 * (number % 2));
            let insert = format!("2026-{month:02}-{day:02}T08:00Z");
            let end = format!("2026-{month:02}-{:02}T08:00Z", day + days);
            events +=
                &format!("s{number},{insert},insert,{site},left,\ns{number},{end},end,,,{cause}\n");
            draws += &format!(
                "2026-{month:02}-{day:02}T07:00:00Z,kelp,{number},{site},left,1,,abdomen+chest+upper-arm-back,{chance},1,0.1.0,0.5+0.25+0.25\n"
            );
        }
        study.write("wear-events/e.csv", events);
        if let Some(sites) = log {
            study.write(
                "plan-log.csv",
                draws.replace("abdomen+chest+upper-arm-back", sites),
            );
        }
        let output = study.report();
        let table = output.table("conclusions");
        let row = |first: &str, second: &str| -> Option<usize> {
            let wanted = ["stays-on", first, second];
            let columns = ["measure", "site", "against"].map(|name| table.column(name));
            (0..columns[0].len()).find(|row| columns.iter().zip(wanted).all(|(c, w)| c[*row] == w))
        };
        let place = row("abdomen", "chest").or_else(|| row("chest", "abdomen"));
        table.column("p")[place.unwrap()].parse().unwrap()
    };
    let near = |found: f64, expected: f64| {
        assert!(
            (found / (expected / 0.8) - 1.0).abs() < 1e-4,
            "{found} {expected}"
        );
    };
    near(p(None), 0.1);
    near(p(Some("abdomen+chest+upper-arm-back")), 16.0 / 729.0);
    // A log that names other chances for the same draws has another p: 1 in 2 of either.
    near(p(Some("upper-arm-back+abdomen+chest")), 2.0 / 64.0);
}

/// Before the first sensor: settings with agreed sites, and a log that holds its header.
#[test]
fn a_study_without_a_sensor_has_a_first_plan() {
    let study = Study::new(SETTINGS);
    study.write("wear-events/log.csv", "sensor,time,event,site,side,cause\n");
    let run = plan(&study, &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    let (json, _, log) = written(&study);
    assert_eq!(json["wearer"], "kelp");
    let sensors = json["sensors"].as_array().unwrap();
    assert_eq!(sensors.len(), 6);
    assert_eq!(
        sensors[0]["earliest"], "2026-04-05",
        "today, since nothing is on"
    );
    assert!(log.lines().count() > 1 && log.contains(",kelp,1,"), "{log}");
    assert!(run.out.contains("Nothing is in the log yet"), "{}", run.out);
    assert!(!run.out.contains("leads so far"), "{}", run.out);
    let again = plan(&study, &[]);
    assert_eq!(
        (again.code, again.out),
        (0, run.out),
        "what was drawn stays"
    );
    let other = plan(&study, &["--wearer", "dulse"]);
    assert_eq!(other.code, 0, "{}", other.err);
    assert_eq!(written(&study).0["wearer"], "dulse");
    // A log all of whose rows are rejected is no new study, and a plan must not overlook what is on.
    study.write(
        "wear-events/log.csv",
        "sensor,time,event,site,side,cause\na,then,insert,chest,left,\n",
    );
    let broken = plan(&study, &[]);
    assert_eq!(broken.code, 1);
    assert!(
        broken.err.contains("no row can be used (1 rejected)"),
        "{}",
        broken.err
    );
}

#[test]
fn an_impossible_request_says_which_limit_stands_in_the_way() {
    let study = study();
    let itched = "d,2026-04-04T08:00Z,insert,abdomen,,,\nd,2026-04-04T20:00Z,end,,,reaction,\nd,2026-04-04T20:00Z,skin,,,,3\n";
    let log = LOG
        .replace(",cause\n", ",cause,grade\n")
        .replace("Z,end,,,completed\n", "Z,end,,,completed,\n");
    let log = log
        .replace("left,\n", "left,,\n")
        .replace("right,\n", "right,,\n")
        .replace("fell-off\n", "fell-off,\n");
    study.write("wear-events/e.csv", log + itched);
    study.write(
        "study.toml",
        SETTINGS.replace("\"upper-arm-back\", \"abdomen\", \"chest\"", "\"abdomen\""),
    );
    let run = plan(&study, &[]);
    run.fails_with(&[
        "no sensor can be planned for kelp",
        "Abdomen, left: the last look at the skin found itch or worse",
    ]);
    assert!(
        !study.dir().join("plan-log.csv").exists(),
        "nothing was drawn"
    );
    study.write(
        "study.toml",
        "[study]\nunit = \"mg/dL\"\nwearer = \"kelp\"\n",
    );
    plan(&study, &[]).fails_with(&["no site may be planned", "agree with the clinician"]);
}

#[test]
fn what_would_overlook_rows_is_refused() {
    let study = study();
    let month = ["--month", "2026-03", "--as-of", LATER];
    study.run("plan", &month).fails_with(&["whole log"]);
    study.write("plan-log.csv", "drawn_at,wearer\nsome day,kelp\n");
    study
        .run("plan", &["--as-of", LATER])
        .fails_with(&["plan-log.csv", "`side` is missing"]);
    plan(&self::study(), &["--wearer", "gorse"]).fails_with(&["`gorse`", "kelp"]);
}

#[test]
fn a_frozen_plan_has_a_hash_that_changes_with_the_questions_alone() {
    let study = Study::new(SETTINGS);
    let frozen = |name: &str| {
        let file = study.beside(name);
        let run = study.run("plan", &["--freeze", file.to_str().unwrap()]);
        assert_eq!(run.code, 0, "{}", run.err);
        fs::read_to_string(file).unwrap()
    };
    let hash = |page: &str| page.split("Plan hash `").nth(1).unwrap()[..16].to_owned();
    let first = frozen("first.md");
    assert!(
        first.contains("each site against Back of the upper arm") && first.contains("No data yet"),
        "{first}"
    );
    study.write("study.toml", SETTINGS.replace("chest", "calf"));
    assert_eq!(hash(&first), hash(&frozen("other-sites.md")));
    study.write("study.toml", SETTINGS.replace("stays-on", "reads-true"));
    let other = frozen("other-question.md");
    assert_ne!(hash(&first), hash(&other));
    let page = frozen("other-question.html");
    assert!(
        page.contains(&format!("Plan hash <code>{}</code>", hash(&other))),
        "{page}"
    );
    let there = study.beside("first.md");
    study
        .run("plan", &["--freeze", there.to_str().unwrap()])
        .fails_with(&["holds something else"]);
    study.write("study.toml", "[study]\nunit = \"mg/dL\"\n");
    let none = study.beside("none.md");
    study
        .run("plan", &["--freeze", none.to_str().unwrap()])
        .fails_with(&["no [plan]"]);
}

#[test]
fn the_wearers_report_says_how_likely_each_site_is_the_best() {
    let study = study();
    study.write(
        "study.toml",
        format!("{SETTINGS}[priorities]\nstays-on = 3\n"),
    );
    let output = study.report_with(&["--for", "wearer"]);
    let sites = output.table("best_sites");
    let total: f64 = sites.rows().map(|row| row.number("probability")).sum();
    assert!((total - 1.0).abs() < 1e-9, "{total}");
    // Of three sensors the one on the chest came off.
    assert_eq!(sites.column("site").last().unwrap(), "chest");
    let page = output.text("report.md");
    let few = "No site has had 3 of your sensors yet.";
    assert!(
        page.contains(few) && !page.contains("best_sites.svg"),
        "{page}"
    );
    for none in ["plan_sensors.csv", "plan_figures.csv"] {
        assert!(
            !output.files.contains_key(&format!("tables/{none}")),
            "{none}"
        );
    }
}

fn files_of(folder: &std::path::Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

/// The folder of the plan is exchanged whole, as that of a report is.
#[test]
fn a_plan_is_whole_and_one_that_somebody_edited_stays() {
    let study = study();
    let folder = study.dir().join("reports/plan");
    // As older versions left it: no list of files.
    study
        .write("reports/plan/plan.json", "{}")
        .write("reports/plan/plan.md", "old")
        .write("reports/plan/plan.html", "old")
        .write("reports/plan/letter.txt", "mine");
    assert_eq!(plan(&study, &[]).code, 0);
    let names = [
        "letter.txt",
        "plan.html",
        "plan.json",
        "plan.md",
        "run.json",
    ];
    assert_eq!(files_of(&folder), names);
    assert_eq!(files_of(&study.dir().join("reports")), ["plan"]);
    let run: Value = serde_json::from_slice(&fs::read(folder.join("run.json")).unwrap()).unwrap();
    for name in ["plan.html", "plan.json", "plan.md"] {
        let bytes = fs::read(folder.join(name)).unwrap();
        assert_eq!(run["files"][name], whereworn_load::files::sha256(&bytes));
    }

    let log = fs::read_to_string(study.dir().join("plan-log.csv")).unwrap();
    let edited = fs::read_to_string(folder.join("plan.md")).unwrap() + "my own words\n";
    study.write("reports/plan/plan.md", &edited);
    let refused = plan(&study, &["--seed", "9"]);
    refused.fails_with(&["plan.md", "changed", "move it away"]);
    assert!(!refused.err.contains("--out"), "plan has no such option");
    assert_eq!(fs::read_to_string(folder.join("plan.md")).unwrap(), edited);
    let after = fs::read_to_string(study.dir().join("plan-log.csv")).unwrap();
    assert_eq!(after, log, "nothing is drawn that cannot be shown");
}

/// Two runs at once draw once: the other says so, or finds the draws of the first pending.
#[test]
fn plans_at_once_draw_once() {
    for _ in 0..4 {
        let study = study();
        let runs: Vec<_> = (1..=3)
            .map(|seed| {
                std::process::Command::new(env!("CARGO_BIN_EXE_whereworn"))
                    .args([
                        "plan",
                        "--as-of",
                        "2026-04-05T09:00:00Z",
                        "--wait",
                        "60",
                        "--seed",
                    ])
                    .arg(seed.to_string())
                    .arg(study.dir())
                    .stdout(std::process::Stdio::null())
                    .stderr(std::process::Stdio::piped())
                    .spawn()
                    .unwrap()
            })
            .collect();
        let mut done = 0;
        for run in runs {
            let output = run.wait_with_output().unwrap();
            let err = String::from_utf8_lossy(&output.stderr);
            let beaten = output.status.code() == Some(1) && err.contains("another run drew");
            assert!(output.status.success() || beaten, "{err}");
            done += usize::from(output.status.success());
        }
        assert!(done > 0);
        let log = fs::read_to_string(study.dir().join("plan-log.csv")).unwrap();
        let seeds: std::collections::BTreeSet<&str> = log
            .lines()
            .skip(1)
            .filter_map(|line| line.rsplit(',').nth(1))
            .collect();
        assert_eq!(seeds.len(), 1, "draws of two runs: {log}");
    }
}
