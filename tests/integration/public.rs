//! The public edition holds nothing that identifies: identifiers are planted in every input field, and looked for in every
//! file that comes out, Parquet decoded as well.

use std::io::Write;

use arrow::array::Array;
use arrow::util::display::{ArrayFormatter, FormatOptions};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use crate::fixture::{Output, Study};

/// In every identifier that is planted, in either case.
const PLANTED: &str = "zqplant";

const SETTINGS: &str = r#"
[study]
title = "Zqplant title"
wearer = "zqplant-default"
timezone = "Atlantic/Azores"
unit = "mg/dL"

[wearers.zqplant-ada]
timezone = "Europe/Lisbon"

[models."Zqplant model"]
rated_days = 12

[sites.zqplant-hip]
label = "Zqplant hip"
on_label = false

[sites.lower-back]
label = "Zqplant back"
on_label = true

[exports.zqplant]
table = "fingersticks"
files = "exports/zqplant-*.csv"
columns = { time = "zqplant when", glucose = "zqplant what", meter = "zqplant meter" }
time_format = "%d/%m/%Y %H:%M"
"#;

/// Sites with four, four and two sensors.
const SITES: [(&str, usize); 3] = [("lower-back", 4), ("zqplant-hip", 4), ("chest", 2)];

/// Hours from 2031-09-01T00:00Z as ISO 8601.
fn time(hours: usize) -> String {
    format!("2031-09-{:02}T{:02}:00:00Z", hours / 24 + 1, hours % 24)
}

fn study() -> Study {
    let study = Study::new(SETTINGS);
    let mut readings = String::from("wearer,sensor,time,glucose,zqplant column\n");
    let mut sticks = String::from("wearer,time,glucose,meter\n");
    let mut events = String::from(
        "wearer,sensor,time,event,site,side,cause,tape,model,lot,grade,aspect,score,note\n",
    );
    for (s, (site, sensors)) in SITES.iter().enumerate() {
        for n in 0..*sensors {
            let wearer = ["zqplant-ada", "zqplant-ben"][n % 2];
            let sensor = format!("Zqplant-{s}{n}");
            let start = 24 * (n * 6 + s) + 1;
            let cause = ["fell-off", "completed", "reaction", "knocked-off"][n];
            let head = format!("{wearer},{sensor}");
            events += &format!(
                "{head},{},insert,{site},left,,ring,Zqplant model,Zqplant lot,,,,Zqplant note\n\
                 {head},{},skin,,,,,,,2,,,zqplant skin\n\
                 {head},{},rating,,,,,,,,comfort,7,zqplant rating\n\
                 {head},{},bump,,,,,,,,,,zqplant bump\n\
                 {head},{},note,,,,,,,,,,zqplant words\n\
                 {head},{},end,,,{cause},,,,,,,zqplant end\n",
                time(start),
                time(start + 20),
                time(start + 22),
                time(start + 23),
                time(start + 24),
                time(start + 60),
            );
            for hour in start..start + 60 {
                let glucose = 110 + (hour * 7 + n) % 60;
                for quarter in ["00", "15", "30", "45"] {
                    let at = time(hour).replace(":00:00Z", &format!(":{quarter}:00Z"));
                    readings += &format!("{head},{at},{glucose},zqplant\n");
                }
                if hour % 5 == 0 {
                    sticks += &format!("{wearer},{},{},Zqplant meter\n", time(hour), glucose + 4);
                }
            }
        }
    }
    readings += "zqplant-ada,Zqplant-00,zqplant time,100,\n";
    sticks += "zqplant-ada,2031-09-03T00:00:00Z,zqplant number,\n";
    study
        .write("readings/zqplant-readings.csv", readings)
        .write("fingersticks/zqplant-sticks.csv", sticks)
        .write("wear-events/zqplant-events.csv", events)
        .write(
            "judgements.csv",
            "wearer,sensor,start,verdict,note\n\
             zqplant-ada,Zqplant-00,2031-09-01T02:00:00Z,unsure,zqplant verdict\n\
             zqplant-ben,Zqplant-01,2031-09-07T02:00:00Z,zqplant,\n",
        )
        .write(
            "exports/zqplant-1.csv",
            "zqplant when,zqplant what,zqplant meter\n02/09/2031 10:00,120,zqplant\n",
        )
        .write(
            "queries/zqplant_own.sql",
            "-- title = \"Zqplant title\"\n-- section = \"wear\"\n\
             SELECT wearer AS zqplant_wearer, sensor, lot, site FROM sessions ORDER BY wearer, sensor",
        )
        .write(
            "queries/site_skin.sql",
            "-- title = \"Zqplant skin\"\nSELECT 'zqplant' AS site, 9 AS checks, 1 AS grade_0, 2 AS grade_1, \
             3 AS grade_2, 4 AS grade_3, 5 AS grade_4, 6 AS reactions, 'zqplant' AS cause",
        );
    study
}

/// Every file as texts: its own and, for Parquet, every name, type and cell.
fn texts(output: &Output) -> Vec<(String, String)> {
    let mut out = Vec::new();
    for (name, bytes) in &output.files {
        out.push((name.clone(), String::from_utf8_lossy(bytes).into_owned()));
        if name.ends_with(".parquet") {
            out.push((format!("{name}, decoded"), decoded(bytes)));
        }
    }
    out
}

fn decoded(bytes: &[u8]) -> String {
    let mut file = tempfile::tempfile().unwrap();
    file.write_all(bytes).unwrap();
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).unwrap();
    let mut text = format!(
        "{:?}\n{:?}\n",
        reader.schema(),
        reader.metadata().file_metadata()
    );
    for batch in reader.build().unwrap() {
        for column in batch.unwrap().columns() {
            let format = ArrayFormatter::try_new(column, &FormatOptions::default()).unwrap();
            for row in 0..column.len() {
                text += &format!("{}\n", format.value(row));
            }
        }
    }
    text
}

fn without_tags(text: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in text.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            _ => {}
        }
        out.push(if inside { ' ' } else { c });
    }
    out
}

#[test]
fn nothing_that_was_planted_comes_out() {
    let study = study();
    let usual = study.report();
    let there = texts(&usual);
    assert!(
        there
            .iter()
            .filter(|(_, text)| text.to_lowercase().contains(PLANTED))
            .count()
            > 10,
        "the identifiers are in the usual edition, so that looking for them means something"
    );
    let output = study.report_with(&["--for", "public"]);
    assert!(!output.files.contains_key("rejects.csv"));
    for (name, text) in texts(&output) {
        assert!(!name.to_lowercase().contains(PLANTED), "{name}");
        let at = text.to_lowercase().find(PLANTED);
        assert_eq!(
            at.map(|at| &text[at.saturating_sub(80)..at + 20]),
            None,
            "{name}"
        );
        if name.ends_with(".parquet") {
            continue;
        }
        for dated in ["Timestamp", "Date32", "Date64"] {
            assert!(
                !name.ends_with("decoded") || !text.contains(dated),
                "{dated} in {name}"
            );
        }
        // A coordinate of a drawing may well be a year.
        let text = without_tags(&text);
        let words: Vec<&str> = text.split(|c: char| !c.is_alphanumeric()).collect();
        for word in ["2031", "September", "Sep", "Azores", "Lisbon", "sha256"] {
            assert!(!words.contains(&word), "{word} in {name}");
        }
    }
}

/// Two sensors are too few for a site to be shown; the others are.
#[test]
fn small_groups_are_withheld_and_the_rest_is_there() {
    let output = study().report_with(&["--for", "public"]);
    for (name, text) in texts(&output) {
        assert!(!text.contains("chest"), "{name}");
    }
    let page = output.text("report.md");
    assert!(page.contains("fewer than three sensors: 1 site."), "{page}");
    assert!(page.contains("Own site 1") && page.contains("Lower back"));
    let sessions = output.table("sessions");
    assert_eq!(sessions.lines.len(), 8);
    for row in sessions.rows() {
        assert!(["lower-back", "own-site-1"].contains(&row.text("site")));
        assert!(["wearer 1", "wearer 2"].contains(&row.text("wearer")));
        assert!(row.text("sensor").starts_with("sensor "));
    }
    // The first sensor begins on the first day, the next of its site six days on.
    let begun = |day: &str| sessions.rows().any(|row| row.text("inserted") == day);
    assert!(begun("1") && begun("7"));
    for header in [&sessions.header, &output.table("site_comparison").header] {
        for dropped in ["lot", "model", "note", "sensor_no"] {
            assert!(!header.iter().any(|name| name == dropped), "{dropped}");
        }
    }
}

/// A site, and any row that counts its sensors, has three or more of them in every table.
#[test]
fn no_row_rests_on_fewer_than_three_sensors() {
    let output =
        Study::copy_of(&crate::fixture::repository("data-demo")).report_with(&["--for", "public"]);
    let names = output.files.keys().filter(|name| name.ends_with(".csv"));
    let mut counted = 0;
    for name in names {
        let table = crate::fixture::Table::parse(name, &output.text(name));
        for column in ["sensors", "sessions"] {
            if !table.header.iter().any(|name| name == column) {
                continue;
            }
            for row in table.rows().filter(|row| !row.text(column).is_empty()) {
                let count: f64 = row.text(column).parse().unwrap();
                assert!(count >= 3.0, "{name}: {column} {count}");
                counted += 1;
            }
        }
    }
    assert!(counted > 30, "{counted}");
}
