//! What a report does with too little, and what stops a run: a message with file, line and remedy, and never a panic.

use std::ffi::OsStr;
use std::fs;

use crate::fixture::{IN_UTC, Output, Study, whereworn};
use crate::small_study::study;

/// A section of `report.md` by its heading.
fn section<'r>(report: &'r str, heading: &str) -> &'r str {
    for marks in ["\n## ", "\n### "] {
        if let Some(start) = report.find(&format!("{marks}{heading}\n")) {
            let rest = &report[start + marks.len()..];
            return &rest[..rest.find(marks).unwrap_or(rest.len())];
        }
    }
    panic!("no section {heading}")
}

/// Every figure is in the text with words for it, holds marks, and none is left over.
fn assert_figures(output: &Output) {
    let report = output.text("report.md");
    for (name, bytes) in output
        .files
        .iter()
        .filter(|(name, _)| name.starts_with("figures/"))
    {
        assert!(
            report.contains(&format!("]({name})")),
            "{name} is not in the report"
        );
        assert!(
            !report.contains(&format!("![]({name})")),
            "{name} has no words"
        );
        let svg = String::from_utf8(bytes.clone()).unwrap();
        let marks = [
            "<circle",
            "<rect",
            "<polyline",
            "<polygon",
            "<path",
            "<line",
        ];
        assert!(
            marks.iter().any(|mark| svg.contains(mark)),
            "{name} is empty"
        );
    }
    for picture in report.split("](figures/").skip(1) {
        let name = picture.split(')').next().unwrap();
        assert!(
            output.files.contains_key(&format!("figures/{name}")),
            "{name}"
        );
    }
}

fn assert_sound(output: &Output) {
    output.assert_no_nan();
    assert_figures(output);
}

#[test]
fn a_study_with_everything() {
    let output = study().report();
    assert_sound(&output);
    assert_eq!(output.rejects(), []);
    assert_eq!(output.table("site_comparison").lines.len(), 2);
    assert!(output.files.keys().any(|name| name.ends_with(".svg")));
}

#[test]
fn without_fingersticks() {
    let study = study();
    study.remove("fingersticks/all.csv");
    let output = study.report();
    assert_sound(&output);
    assert_eq!(output.table("pairs").lines.len(), 0);
    assert_eq!(output.table("site_accuracy").lines.len(), 0);
    assert_eq!(output.table("site_wear").lines.len(), 2);
    let report = output.text("report.md");
    assert!(section(&report, "How true do they read?").contains("fingerstick"));
    let check = study.run("check", &[]);
    assert_eq!(check.code, 0, "{}", check.err);
    assert!(check.out.contains("fingersticks/"), "{}", check.out);
}

#[test]
fn without_readings() {
    let study = study();
    study.remove("readings/all.csv");
    let output = study.report();
    assert_sound(&output);
    assert_eq!(output.table("site_wear").column("detached"), ["1", "1"]);
    assert!(section(&output.text("report.md"), "How true do they read?").contains("reading"));
}

#[test]
fn without_wear_events() {
    let study = study();
    study.remove("wear-events/all.csv");
    let output = study.report();
    assert_sound(&output);
    assert_eq!(output.table("sessions").lines.len(), 0);
    let report = output.text("report.md");
    assert!(section(&report, "How long do sensors stay on?").contains("wear-events"));
}

/// Readings alone belong to no site: whoever asks is told what is missing.
#[test]
fn with_nothing_but_readings() {
    let study = study();
    study.remove("wear-events/all.csv");
    study.remove("fingersticks/all.csv");
    let report = study.try_report(&[]);
    assert!([0, 1].contains(&report.code), "{}", report.err);
    let check = study.run("check", &[]);
    // All readings are set aside: something is wrong.
    assert_eq!(check.code, 6, "{}", check.err);
    assert!(check.out.contains("wear-events"), "{}", check.out);
    assert!(check.out.contains("insert"), "{}", check.out);
}

#[test]
fn one_mistyped_site() {
    let study = study();
    let events = fs::read_to_string(study.dir().join("wear-events/all.csv")).unwrap();
    study.write("wear-events/all.csv", events.replacen("calf", "claf", 1));
    let output = study.report();
    assert_sound(&output);
    let rejects = output.rejects();
    let first = &rejects[0];
    assert_eq!(
        first.0, "readings/all.csv:2:sensor",
        "its readings have no site"
    );
    let site = rejects
        .iter()
        .find(|(place, _)| place == "wear-events/all.csv:2:site");
    assert!(
        site.unwrap().1.contains("did you mean `calf`"),
        "{rejects:?}"
    );
    assert_eq!(rejects.len(), 3, "with the end of the sensor: {rejects:?}");
    assert_eq!(output.table("sessions").column("sensor"), ["b", "c", "d"]);
    let check = study.run("check", &[]);
    assert!(
        check.out.contains("line 2") && check.out.contains("`calf`"),
        "{}",
        check.out
    );
}

#[test]
fn a_site_with_one_sensor() {
    let study = study();
    let events = fs::read_to_string(study.dir().join("wear-events/all.csv")).unwrap();
    let without: Vec<&str> = events
        .lines()
        .filter(|line| !line.starts_with("c,"))
        .collect();
    study.write("wear-events/all.csv", without.join("\n") + "\n");
    let output = study.report();
    assert_sound(&output);
    let accuracy = output.table("site_accuracy");
    let calf = accuracy.row(&[("site", "calf")]);
    let pairs = output.table("pairs");
    let differences: Vec<f64> = pairs
        .rows_where(&[("site", "calf")])
        .iter()
        .map(|row| row.number("difference"))
        .collect();
    let n = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / n;
    let squares: f64 = differences.iter().map(|d| (d - mean) * (d - mean)).sum();
    assert!((calf.number("bias") - mean).abs() < 1e-9);
    assert!((calf.number("sd_within") - (squares / (n - 1.0)).sqrt()).abs() < 1e-9);
    for column in [
        "bias_lower",
        "bias_upper",
        "bias_df",
        "sd_between",
        "loa_lower",
        "loa_upper",
    ] {
        assert_eq!(calf.maybe(column), None, "{column}");
    }
    let page = output.text("report.md");
    assert!(
        section(&page, "What can be said so far").contains("fewer than three sensors"),
        "{page}"
    );
}

#[test]
fn a_month_before_any_data() {
    let study = study();
    study
        .try_report(&["--month", "2025-12"])
        .fails_with(&["2025-12", "2026-01", "--month"]);
    assert!(!study.beside("out").exists());
}

#[test]
fn a_month_after_all_data() {
    let study = study();
    study.try_report(&["--month", "2026-09"]).fails_with(&[
        "2026-09 has no data",
        "2026-01",
        "--month",
    ]);
    assert!(!study.beside("out").exists());
}

#[test]
fn folders_that_are_no_study() {
    let study = Study::new(IN_UTC);
    study.try_report(&[]).fails_with(&["no input", "readings/"]);
    study.assert_untouched();
    study.remove("study.toml");
    study.try_report(&[]).fails_with(&["no input", "readings/"]);
    for command in ["report", "load", "check", "query"] {
        let nowhere = study.beside("nowhere");
        let run = whereworn(&[OsStr::new(command), nowhere.as_ref()]);
        run.fails_with(&["nowhere", "no such folder"]);
    }
    let file = study.beside("file");
    fs::write(&file, "text").unwrap();
    whereworn(&[OsStr::new("report"), file.as_ref()]).fails_with(&["file", "folder"]);
}

#[test]
fn only_headers() {
    let study = Study::new(IN_UTC);
    study
        .write("readings/r.csv", "sensor,time,glucose\n")
        .write("wear-events/e.csv", "sensor,time,event,site,cause\n");
    let run = study.try_report(&[]);
    assert!([0, 1].contains(&run.code));
    assert!(run.code == 0 || run.err.contains("no row"), "{}", run.err);
}

#[test]
fn settings_that_cannot_be_used() {
    for (settings, words) in [
        (
            "[study]\ntimezone = \"UTC\"\n\n[wear]\nrated_day = 10\n",
            ["study.toml", "line 5", "`rated_days`"],
        ),
        (
            "[sites.calf]\nlable = \"x\"\n",
            ["study.toml", "line 2", "`label`"],
        ),
        (
            "[study]\ntimezone = \"Europe/Lisbonne\"\n",
            ["study.toml", "line 2", "Europe/Lisbonne"],
        ),
        (
            "[study]\nunit = \"mmol\"\n",
            ["study.toml", "line 2", "mmol/L"],
        ),
        ("[study\n", ["study.toml", "line 1", ""]),
    ] {
        let study = study();
        study.write("study.toml", settings);
        study.try_report(&[]).fails_with(&words);
        study.assert_untouched();
    }
}

#[test]
fn an_out_with_something_else_in_it() {
    let study = study();
    let out = study.beside("out");
    fs::create_dir_all(&out).unwrap();
    fs::write(out.join("diary.txt"), "mine").unwrap();
    study.try_report(&[]).fails_with(&["out", "diary.txt"]);
    assert_eq!(fs::read_dir(&out).unwrap().count(), 1);

    fs::remove_file(out.join("diary.txt")).unwrap();
    let first = study.report();
    assert!(
        study.report() == first,
        "a report may be written over one of ours"
    );
}

#[test]
fn a_file_as_out() {
    let study = study();
    let out = study.beside("out");
    fs::write(&out, "mine").unwrap();
    study.try_report(&[]).fails_with(&["out"]);
    assert_eq!(fs::read_to_string(&out).unwrap(), "mine");
}

#[test]
fn the_default_out_is_in_the_study() {
    let study = study();
    let run = study.run("report", &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    let page = study.dir().join("reports/2026-01-clinician/report.html");
    assert!(page.is_file());
    assert_eq!(run.out.trim_end(), page.display().to_string());
    let names: Vec<_> = fs::read_dir(study.dir().join("reports")).unwrap().collect();
    assert_eq!(names.len(), 1, "{names:?}");
}

#[test]
fn wrong_use_is_status_two() {
    let study = study();
    for arguments in [
        vec!["--month", "2026-13"],
        vec!["--month", "September"],
        vec!["--as-of", "2026-01-01"],
        vec!["--for", "everyone"],
        vec!["--colour"],
    ] {
        assert_eq!(study.run("report", &arguments).code, 2, "{arguments:?}");
    }
    assert_eq!(
        study.run("query", &["site_wear", "--sql", "SELECT 1"]).code,
        2
    );
    assert_eq!(
        study.run("query", &["site_wear", "--format", "xml"]).code,
        2
    );
    assert_eq!(study.run("compare", &[]).code, 2);
    assert_eq!(whereworn(&[]).code, 2);
    study.assert_untouched();
    assert_eq!(whereworn(&[OsStr::new("--help")]).code, 0);
    assert_eq!(whereworn(&[OsStr::new("--version")]).code, 0);
}

/// Text of the study is text on the page, whatever it looks like.
#[test]
fn hostile_text() {
    let study = Study::new(
        "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\ntitle = \"<script>alert(1)</script> ![x](http://example.org/x)\"\n\
         [sites.calf]\nlabel = \"<img src=x onerror=alert(2)> | `code` **bold**\"\n",
    );
    study.write(
        "wear-events/e.csv",
        "wearer,sensor,time,event,site,cause,model,note\n\
         <b>w</b>,s|1<script>alert(3)</script>,2026-03-01T08:00:00Z,insert,calf,,\"</title><script>\",\"a\n<script>alert(4)</script>\"\n\
         <b>w</b>,[x](javascript:alert(5)),2026-03-01T08:00:00Z,insert,calf,,,\n\
         <b>w</b>,[x](javascript:alert(5)),2026-03-03T08:00:00Z,end,,fell-off,,\n",
    );
    let output = study.report();
    assert_sound(&output);
    assert_eq!(output.table("sessions").lines.len(), 2);
    let page = output.text("report.html");
    for bad in [
        "<script",
        "<img src=x",
        "<b>w",
        "href=\"javascript",
        "src=\"http",
        "onerror=alert(2)>",
    ] {
        assert!(!page.contains(bad), "{bad}");
    }
    let markdown = output
        .text("report.md")
        .replace("\\<", "")
        .replace("\\]", "");
    for bad in ["<script", "](http", "](javascript"] {
        assert!(!markdown.contains(bad), "{bad}");
    }
    for (name, bytes) in output
        .files
        .iter()
        .filter(|(name, _)| name.ends_with(".svg"))
    {
        let svg = String::from_utf8(bytes.clone()).unwrap();
        assert!(!svg.contains("<script") && !svg.contains("<img"), "{name}");
    }
}

/// The page asks nothing of anywhere, and no script is needed to read it.
#[test]
fn the_page_stands_alone() {
    let page = study().report().text("report.html");
    for bad in ["<script", "src=\"", "@import", "<link", "url(http"] {
        assert!(!page.contains(bad), "{bad}");
    }
    assert!(page.contains("<svg"));
}

#[test]
fn demo_writes_only_where_there_is_nothing() {
    let study = Study::new(IN_UTC);
    study.run("demo", &[]).fails_with(&["study"]);
    study.assert_untouched();
}
