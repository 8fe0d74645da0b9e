//! The editions of the invented study: where their numbers come from, and whether every word has a translation.

use std::collections::BTreeMap;

use crate::fixture::{Output, Study, repository};

fn demo(arguments: &[&str]) -> Output {
    Study::copy_of(&repository("data-demo")).report_with(arguments)
}

/// What the first figure of a page says of each site, by the site's name.
fn first_figure(html: &str, names: &[&str]) -> Vec<(String, String)> {
    let text = &html[html.find("<desc").unwrap()..html.find("</desc>").unwrap()];
    let text = text.replace('\u{a0}', " ");
    let mut out = Vec::new();
    for part in text.split("; ").flat_map(|part| part.split(": ")) {
        for name in names {
            if let Some(said) = part.strip_prefix(name) {
                let end = said.find(')').map_or(said.len(), |end| end + 1);
                out.push(((*name).to_owned(), said[..end].to_owned()));
            }
        }
    }
    out
}

/// Numbers of a text with their decimals.
fn numbers(text: &str) -> Vec<(f64, usize)> {
    let text = text.replace('\u{2212}', "-");
    text.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .map(|word| word.trim_matches('.'))
        .filter(|word| word.chars().any(|c| c.is_ascii_digit()))
        .map(|word| {
            let digits = word.split_once('.').map_or(0, |(_, after)| after.len());
            (word.parse().unwrap(), digits)
        })
        .collect()
}

/// Whether a cell, in its own unit, as a percentage or in mmol/L, is written like this.
fn is_written(cell: &str, number: f64, digits: usize) -> bool {
    let Ok(value) = cell.parse::<f64>() else {
        return false;
    };
    let rounded = |value: f64| format!("{value:.digits$}").parse::<f64>();
    [value, value * 100.0, value / 18.0156]
        .into_iter()
        .any(|value| rounded(value).is_ok_and(|value| value == number))
}

/// Every number of the first figure stands in the row of that site in the table that it is made from.
#[test]
fn numbers_of_the_first_figure_stand_in_its_table() {
    let labels = BTreeMap::from([
        ("Back of the upper arm", "upper-arm-back"),
        ("Forearm", "forearm"),
        ("Chest", "chest"),
        ("Abdomen", "abdomen"),
        ("Lower back", "lower-back"),
        ("Upper buttock", "upper-buttock"),
        ("Upper thigh", "upper-thigh"),
    ]);
    let names: Vec<&str> = labels.keys().copied().collect();
    for edition in ["clinician", "wearer", "public"] {
        let output = demo(&["--for", edition, "--wearer", "kelp"]);
        let table = output.table("site_comparison");
        let mut traced = 0;
        for (name, said) in first_figure(&output.text("report.html"), &names) {
            let site = labels[name.as_str()];
            let line = table
                .lines
                .iter()
                .find(|line| line.iter().any(|cell| cell == site))
                .unwrap();
            for (number, digits) in numbers(&said) {
                assert!(
                    line.iter().any(|cell| is_written(cell, number, digits)),
                    "{edition}: {number} of {site}: {said}"
                );
                traced += 1;
            }
        }
        assert!(traced > 70, "{edition}: {traced}");
    }
}

/// Columns whose texts are names given by the study, keys of two sites, or sentences with numbers of their own, in English alone so far.
const NAMES: [&str; 18] = [
    "withdrawn",
    "touches",
    "text",
    "do",
    "paste",
    "file",
    "unit",
    "wearer",
    "sensor",
    "first_sensor",
    "second_sensor",
    "sites",
    "model",
    "earlier",
    "lot",
    "meter",
    "note",
    "reasons",
];

/// Every word that a table of the program holds is in the catalogue: a translation of the catalogue is one of the report.
#[test]
fn every_word_of_the_tables_is_in_the_catalogue() {
    let text = std::fs::read_to_string(repository("reports/src/text/en.toml")).unwrap();
    let catalogue: toml::Table = text.parse().unwrap();
    let values = catalogue["values"].as_table().unwrap();
    let sites = catalogue["sites"].as_table().unwrap();
    let output = demo(&[]);
    let mut missing = Vec::new();
    for name in output.files.keys() {
        let Some(name) = name
            .strip_prefix("tables/")
            .and_then(|n| n.strip_suffix(".csv"))
        else {
            continue;
        };
        let table = output.table(name);
        for (at, column) in table.header.iter().enumerate() {
            let mut words: Vec<&String> = table
                .lines
                .iter()
                .map(|line| &line[at])
                .filter(|word| word.chars().any(char::is_alphabetic) && !is_time(word))
                .collect();
            words.sort();
            words.dedup();
            let known = |word: &str| {
                let of_column = values.get(column).and_then(|words| words.as_table());
                of_column.is_some_and(|words| words.contains_key(word)) || sites.contains_key(word)
            };
            if NAMES
                .iter()
                .any(|name| column == name || column.starts_with(&format!("{name}_")))
            {
                continue;
            }
            let unknown = words.into_iter().filter(|word| !known(word));
            missing.extend(unknown.map(|word| format!("{name}.{column}: {word}")));
        }
    }
    assert!(missing.is_empty(), "{missing:#?}");
}

fn is_time(word: &str) -> bool {
    word.ends_with('Z') && word.starts_with(|c: char| c.is_ascii_digit())
        || word.parse::<f64>().is_ok()
}

/// One folder holds one edition; each has the files that belong to it.
#[test]
fn editions_have_their_own_folder_and_files() {
    let study = Study::copy_of(&repository("data-demo"));
    let month = "2026-09";
    for edition in ["clinician", "wearer", "public"] {
        let run = study.run(
            "report",
            &[
                "--for",
                edition,
                "--wearer",
                "tuff",
                "--month",
                month,
                "--as-of",
                crate::fixture::LATER,
            ],
        );
        assert_eq!(run.code, 0, "{}", run.err);
        let output = Output::read(&study.dir().join(format!("reports/{month}-{edition}")));
        assert_eq!(output.json()["edition"], edition);
        assert_eq!(
            output.files.contains_key("rejects.csv"),
            edition == "clinician"
        );
        let others = ["dulse.csv", "gorse.csv", "kelp.csv"];
        let shown = output
            .files
            .keys()
            .filter(|name| *name != "run.json" && !name.ends_with(".parquet"));
        if edition != "clinician" {
            for name in shown {
                let text = output.text(name);
                assert!(
                    !others.iter().any(|other| text.contains(other)),
                    "{edition}: {name}"
                );
            }
        }
        let size = output.text("report.html").len();
        assert!(size < 1_500_000, "{edition}: {size}");
    }
    let run = study.run("report", &["--for", "wearer"]);
    assert_eq!(run.code, 1);
    run.says(&["--wearer", "dulse, gorse, kelp, tuff"]);
    let run = study.run("report", &["--for", "wearer", "--wearer", "moss"]);
    assert_eq!(run.code, 1);
    run.says(&["moss", "kelp"]);
    let own = Output::read(&study.dir().join(format!("reports/{month}-wearer")));
    assert!(
        own.table("sessions")
            .rows()
            .all(|row| row.text("wearer") == "tuff")
    );
    let run = study.run("report", &["--for", "nobody"]);
    assert_eq!(run.code, 2);
    run.says(&["clinician", "wearer", "public"]);
}
