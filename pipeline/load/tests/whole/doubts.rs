//! What `map` asks, refuses and says that it leaves out.

use super::maps::{settled_by, told};
use super::*;
use std::collections::BTreeMap;
use whereworn_load::map::mapped_already;
use whereworn_model::settings::Export;

#[test]
fn what_is_no_table_is_refused() {
    for (text, words) in [
        (
            "only\none\ncolumn\n",
            "no two rows have the same number of fields",
        ),
        (
            "2026-01-01T10:00,5\n2026-01-01T10:05,6\n",
            "line 1 should name the columns, and holds the value `2026-01-01T10:00`",
        ),
        (
            "title\n\na,1\nb,2\n",
            "line 3 should name the columns, and holds the value `1`",
        ),
        (
            "when,what\nsoon,x\nlater,y\n",
            "no column holds times that can be read; the columns are `when`, `what`",
        ),
    ] {
        let place = Place::new(&[("study.toml", UTC), ("log.csv", text)]);
        let error = map(&place.path().join("log.csv"), &Known::default());
        let error = error.err().unwrap().to_string();
        assert!(error.contains(words), "{error}");
    }
}

/// A file that is mapped a second time would be read twice: the block of its rows is named.
#[test]
fn a_file_is_mapped_once() {
    let of = |files: &str, kinds: &[&str]| {
        let texts: Vec<String> = kinds.iter().map(|kind| (*kind).to_owned()).collect();
        let rows = [("Kind".to_owned(), texts)].into();
        Export {
            table: "readings".to_owned(),
            files: files.to_owned(),
            rows: if kinds.is_empty() {
                BTreeMap::new()
            } else {
                rows
            },
            ..Export::default()
        }
    };
    let study = |files: &str, kinds: &[&str]| [("diary".to_owned(), of(files, kinds))].into();
    let one = of("exports/a.csv", &["5"]);
    assert_eq!(
        mapped_already(&study("exports/a.csv", &["5"]), &one),
        Some("diary")
    );
    assert_eq!(
        mapped_already(&study("exports/*.csv", &["5", "2"]), &one),
        Some("diary")
    );
    assert_eq!(
        mapped_already(&study("exports/a.csv", &[]), &one),
        Some("diary")
    );
    assert_eq!(mapped_already(&study("exports/a.csv", &["2"]), &one), None);
    assert_eq!(mapped_already(&study("exports/b.csv", &["5"]), &one), None);
    let constants = [("event".to_owned(), "end".to_owned())].into();
    let end = Export {
        constants,
        ..one.clone()
    };
    assert_eq!(mapped_already(&study("exports/a.csv", &["5"]), &end), None);
    let checks = Export {
        table: "fingersticks".to_owned(),
        ..one
    };
    assert_eq!(
        mapped_already(&study("exports/a.csv", &["5"]), &checks),
        None
    );
}

/// What is not read is counted; a tenth of the rows, and what no unit fits, is a question.
#[test]
fn rows_that_are_not_read_are_counted() {
    let file = |value: &dyn Fn(usize) -> String| {
        let row = |n| {
            format!(
                "2026-03-01 {:02}:{:02};a;{}\n",
                8 + n / 12,
                n % 12 * 5,
                value(n)
            )
        };
        format!("Zeit;Sensor;Wert\n{}", (0..50).map(row).collect::<String>())
    };
    let words = |n: usize| match n % 10 {
        1 => "NIEDRIG".to_owned(),
        2 => "Hoch".to_owned(),
        _ if n == 5 => "---".to_owned(),
        _ => format!("{}", 100 + n % 7),
    };
    let (place, mapping) = told(&file(&words), &Known::default());
    assert_eq!(mapping.open, Vec::<String>::new());
    let said = "1 of 50 rows are not read: 1 for their glucose (line 7: unparsable number `---`)";
    assert!(
        mapping.told.iter().any(|told| told == said),
        "{:?}",
        mapping.told
    );
    assert_eq!(mapping.export.values["glucose"]["NIEDRIG"], "LO");
    settled_by(&place, &mapping);
    let low = super::readings(&place.load().0);
    assert_eq!(low.iter().filter(|row| row.3 == Status::Low).count(), 5);
    assert_eq!(low.iter().filter(|row| row.3 == Status::High).count(), 5);

    for (every, open) in [(10, 1), (11, 0)] {
        let (_, mapping) = told(
            &file(&|n| {
                if n % every == 0 && n < 44 {
                    "none".to_owned()
                } else {
                    format!("{}", 100 + n % 7)
                }
            }),
            &Known::default(),
        );
        let _ = every;
        assert_eq!(
            mapping.open.len(),
            open,
            "{:?} {:?}",
            mapping.open,
            mapping.told
        );
    }
    let mixed = file(&|n| {
        if n % 2 == 0 {
            format!("{}.8", 5 + n % 3)
        } else {
            format!("{}", 100 + n % 7)
        }
    });
    let (_, mapping) = told(&mixed, &Known::default());
    assert!(
        mapping.open[0].contains("`Wert` has 25 values as in mmol/L"),
        "{:?}",
        mapping.open
    );
    let known = Known {
        unit: Some(Unit::MgDl),
        ..Known::default()
    };
    assert_eq!(told(&mixed, &known).1.open, Vec::<String>::new());
    // A value may name its own unit; 6.7 mmol/L are 120.7 mg/dL (molar mass of glucose 180.156 g/mol).
    let (place, mapping) = told(
        &file(&|n| {
            if n % 2 == 0 {
                "6.7 mmol/L".to_owned()
            } else {
                format!("{}mg/dl", 120 + n % 7)
            }
        }),
        &Known::default(),
    );
    assert_eq!(mapping.open, Vec::<String>::new());
    settled_by(&place, &mapping);
    let rows = super::readings(&place.load().0);
    assert_eq!(((rows[0].2 * 10.0).round(), rows[1].2), (1207.0, 121.0));
}

/// What somebody says of a column that the table does not have is left out, and said: the mapping would be refused.
#[test]
fn a_constant_of_another_table_is_left_out() {
    let rows: String = (1..20)
        .map(|n| format!("2026-03-{n:02} 10:00,{}\n", 90 + n % 7))
        .collect();
    let known = Known {
        constants: [("sensor".to_owned(), "s1".to_owned())].into(),
        ..Known::default()
    };
    let (place, mapping) = told(&format!("when,glucose\n{rows}"), &known);
    assert_eq!(mapping.open, Vec::<String>::new());
    let left = "`sensor` is no column of fingersticks: it is left out";
    assert!(mapping.told.iter().any(|told| told == left));
    let settled = settled_by(&place, &mapping);
    assert_eq!(counts(&settled, Table::Fingersticks).accepted, 19);
}

/// A word that is negated says nothing of what follows it, and a site's words name its side.
#[test]
fn words_are_not_placed_by_half_of_what_they_say() {
    let text = "When,What,Where,Sensor,Why\n2026-03-12T20:00,new sensor,inner upper arm,A,\n2026-03-13T20:00,removed,,A,no bleeding\n\
                2026-03-14T20:00,inserted,left lower arm,B,\n2026-03-15T20:00,stopped,,B,\"not itchy, just finished\"\n\
                2026-03-16T20:00,inserted,lower belly,C,\n2026-03-17T20:00,removed,,C,did not fall off\n\
                2026-03-18T20:00,inserted,outer arm,D,\n2026-03-19T20:00,removed,,D,ripped by door\n\
                2026-03-20T20:00,inserted,abdomen,E,\n2026-03-24T20:00,not removed,,E,expired\n";
    let (_, mapping) = told(text, &Known::default());
    let values = &mapping.export.values;
    let sites = [
        ("inner upper arm", "upper-arm-inside"),
        ("left lower arm", "forearm"),
        ("lower belly", "abdomen"),
        ("outer arm", "upper-arm-back"),
    ];
    for (theirs, ours) in sites {
        assert_eq!(values["site"][theirs], ours);
    }
    assert_eq!(
        (
            values["side"]["left lower arm"].as_str(),
            values["side"]["lower belly"].as_str()
        ),
        ("left", "")
    );
    let asked = [
        "event: what is `not removed`",
        "cause: what is `did not fall off`",
        "cause: what is `no bleeding`",
        "cause: what is `not itchy, just finished`",
    ];
    let begin = |(open, asked): (&String, &str)| assert!(open.starts_with(asked), "{open}");
    assert_eq!(mapping.open.len(), 4, "{:?}", mapping.open);
    mapping.open.iter().zip(asked).for_each(begin);
    assert_eq!(values["cause"]["ripped by door"], "knocked-off");
}

#[test]
fn files_without_rows_say_so() {
    for (text, words) in [
        ("", "the file is empty"),
        (" \n\n", "the file is empty"),
        (
            "Time,Sensor,Glucose\n",
            "the file has one line, and no rows after it",
        ),
        (
            "Time,Sensor,Glucose\n2026-03-01 08:00,a,6,8\n2026-03-01 08:05,a,6,9\n",
            "line 1 names 3 columns, and the rows have 4 fields, one too many. If their numbers have decimal commas",
        ),
    ] {
        let place = Place::new(&[("study.toml", UTC), ("log.csv", text)]);
        let error = map(&place.path().join("log.csv"), &Known::default());
        let error = error.err().unwrap().to_string();
        assert!(error.contains(words), "{error}");
    }
    let (_, mapping) = told(
        "Time,Sensor,Glucose\n2026-03-01 08:00,Z,120\n",
        &Known::default(),
    );
    assert_eq!(mapping.export.columns["glucose"].names(), ["Glucose"]);
    assert!(
        mapping.open[0].starts_with("one row does not tell how far apart they are"),
        "{:?}",
        mapping.open
    );
    let (_, mapping) = told(
        "Time,Sensor,Glucose\n2026-03-01 08:00,Z,many\n2026-03-01 08:05,Z,few\n",
        &Known::default(),
    );
    assert!(
        mapping.open[0].starts_with("`Glucose` is called so, and is not read as glucose"),
        "{:?}",
        mapping.open
    );
}
