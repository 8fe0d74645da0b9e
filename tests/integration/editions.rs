//! The editions of the invented study: where their numbers come from, and whether every word has a translation.

use std::collections::BTreeMap;

use crate::fixture::{Output, Study, repository};

fn demo(arguments: &[&str]) -> Output {
    Study::copy_of(&repository("data-demo")).report_with(arguments)
}

/// The cells of the first table of a page, tags taken out.
fn first_table(html: &str) -> Vec<Vec<String>> {
    let body = &html[html.find("<tbody>").unwrap()..];
    let body = &body[..body.find("</tbody>").unwrap()];
    let row = |row: &str| {
        let cells = row.split("</t").map(|cell| {
            let start = cell.rfind('>').map_or(0, |at| at + 1);
            cell[start..].replace('\u{a0}', " ").trim().to_owned()
        });
        cells.filter(|cell| !cell.is_empty()).collect()
    };
    body.split("<tr>").skip(1).map(row).collect()
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

/// Every number of the bottom line's table stands in the row of that site in one of the tables that it is made from.
#[test]
fn numbers_of_the_bottom_line_stand_in_tables() {
    let labels = [
        ("Back of the upper arm", "upper-arm-back"),
        ("Forearm", "forearm"),
        ("Chest", "chest"),
        ("Abdomen", "abdomen"),
        ("Lower back", "lower-back"),
        ("Upper buttock", "upper-buttock"),
        ("Upper thigh", "upper-thigh"),
    ];
    let labels = BTreeMap::from(labels);
    for edition in ["clinician", "wearer", "public"] {
        let output = demo(&["--for", edition]);
        let tables: Vec<_> = ["site_comparison", "site_nights", "site_skin"]
            .into_iter()
            .filter(|name| output.files.contains_key(&format!("tables/{name}.csv")))
            .map(|name| output.table(name))
            .collect();
        let rows = first_table(&output.text("report.html"));
        assert_eq!(rows.len(), 7, "{edition}");
        let mut traced = 0;
        for row in &rows {
            let site = labels[row[0].as_str()];
            let cells: Vec<&String> = tables
                .iter()
                .flat_map(|table| {
                    table
                        .lines
                        .iter()
                        .filter(|line| line.iter().any(|cell| cell == site))
                })
                .flatten()
                .collect();
            for (number, digits) in row[1..].iter().flat_map(|cell| numbers(cell)) {
                assert!(
                    cells.iter().any(|cell| is_written(cell, number, digits)),
                    "{edition}: {number} of {site}"
                );
                traced += 1;
            }
        }
        assert!(traced > 70, "{edition}: {traced}");
    }
}

/// Columns whose texts are names given by the study, keys of two sites, or sentences with numbers of their own, in English alone so far.
const NAMES: [&str; 11] = [
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
            edition != "public"
        );
        let size = output.text("report.html").len();
        assert!(size < 1_500_000, "{edition}: {size}");
    }
    let run = study.run("report", &["--for", "nobody"]);
    assert_eq!(run.code, 2);
    run.says(&["clinician", "wearer", "public"]);
}
