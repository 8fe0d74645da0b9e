//! Files whose rows are of several kinds, told from what goes with each: exports of one file.

use std::fmt::Write;

use super::maps::{settled_by, told};
use super::*;
use whereworn_model::settings::Export;

/// Readings every five minutes, checks and doses between them: `row` writes a row of a kind.
fn mixed(titles: &str, row: impl Fn(&str, &str, usize) -> String) -> String {
    let mut text = format!("{titles}\n");
    for n in 0..60 {
        let at = |minute: usize| format!("2026-03-{:02} {:02}:{minute:02}", 1 + n / 24, n % 24);
        for minute in [0, 5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55] {
            writeln!(
                text,
                "{}",
                row("reading", &at(minute), 100 + n + minute % 7)
            )
            .unwrap();
        }
        if n % 10 == 3 {
            writeln!(text, "{}", row("check", &at(2), 90 + n)).unwrap();
            writeln!(text, "{}", row("dose", &at(3), 4)).unwrap();
        }
    }
    text
}

/// Checks by fingerstick are never loaded as readings: words tell them, and where none does it is asked.
#[test]
fn a_column_tells_kinds_of_rows_apart() {
    for (titles, columns) in [
        ("Zeit;Art;Sensorwert;Messwert;Geber", 2),
        ("Zeit;Art;Wert mg/dL;Geber", 1),
    ] {
        let text = mixed(titles, |kind, at, value| {
            let (kind, place) = match kind {
                "reading" => ("CGM", 0),
                "check" => ("BG", columns - 1),
                _ => ("Insulin", 9),
            };
            let cells = (0..columns).map(|n| {
                if n == place {
                    value.to_string()
                } else {
                    String::new()
                }
            });
            format!("{at};{kind};{};a", cells.collect::<Vec<_>>().join(";"))
        });
        let (place, mapping) = told(&text, &Known::default());
        assert_eq!(mapping.open, Vec::<String>::new());
        assert_eq!(mapping.export.rows["Art"], ["CGM"]);
        assert_eq!(mapping.export.columns["sensor"].names(), ["Geber"]);
        let settled = settled_by(&place, &mapping);
        let of = |table| {
            (
                counts(&settled, table).untaken,
                counts(&settled, table).rejected,
            )
        };
        assert_eq!(
            (of(Table::Readings), of(Table::Fingersticks)),
            ((12, 0), (726, 0))
        );
        assert_eq!(counts(&settled, Table::Fingersticks).accepted, 6);
        assert_eq!(counts(&settled, Table::Readings).without_insert, 720);
        warned(&settled, "6 that no export reads, with `Insulin`");
        // Who says that all are of one table gets its rows alone.
        let known = Known {
            table: Some(Table::Fingersticks),
            ..Known::default()
        };
        let (_, mapping) = told(&text, &known);
        assert_eq!(
            (mapping.export.rows["Art"].clone(), mapping.more.len()),
            (vec!["BG".to_owned()], 0)
        );
        // Rows that name no kind are read by nobody, and said to be.
        let (_, mapping) = told(&text.replacen("CGM;", ";", 3), &Known::default());
        let said = "left out: rows with nothing in `Art` (3)".to_owned();
        assert!(mapping.told.contains(&said), "{:?}", mapping.told);
    }
    let coded = mixed(
        "Time,Row kind,Glucose,Device",
        |kind, at, value| match kind {
            "reading" => format!("{at},0,{value},a"),
            "check" => format!("{at},1,{value},a"),
            _ => format!("{at},5,,a"),
        },
    );
    let (_, mapping) = told(&coded, &Known::default());
    assert_eq!(mapping.export.rows["Row kind"], ["0"]);
    let [open] = mapping.open.as_slice() else {
        panic!("{:?}", mapping.open)
    };
    assert!(
        open.contains("`1` (6 rows, hours apart)? Map each kind by itself: --rows \"Row kind=1\" --table fingersticks")
            && open.contains("--rows \"Row kind=0\" --table readings"),
        "{open}"
    );
    let known = Known {
        table: Some(Table::Fingersticks),
        rows: [("Row kind".to_owned(), vec!["1".to_owned()])].into(),
        ..Known::default()
    };
    let (place, mapping) = told(&coded, &known);
    assert_eq!(mapping.open, Vec::<String>::new());
    let settled = settled_by(&place, &mapping);
    assert_eq!(counts(&settled, Table::Fingersticks).accepted, 6);
    // A column of this name in a file of readings alone asks nothing.
    let plain = mixed("Time,Type,Glucose,Device", |kind, at, value| match kind {
        "reading" => format!("{at},{},{value},a", ["CGM", "CGM2"][value % 2]),
        _ => String::new(),
    });
    let (_, mapping) = told(&plain, &Known::default());
    assert!(
        mapping.open.is_empty() && mapping.export.rows.is_empty(),
        "{mapping:?}"
    );
}

/// Columns of values of which each row fills one.
#[test]
fn values_in_one_of_several_columns() {
    let mut units = "Time,Sensor,mg/dL,mmol/L\n".to_owned();
    for n in 0..40 {
        let value = if n % 2 == 0 {
            format!("{},", 108 + n)
        } else {
            format!(",{}.5", 6 + n % 2)
        };
        writeln!(
            units,
            "2026-03-01 {:02}:{:02},a,{value}",
            8 + n / 12,
            n % 12 * 5
        )
        .unwrap();
    }
    let (place, mapping) = told(&units, &Known::default());
    assert_eq!(mapping.open, Vec::<String>::new());
    place.write("wear-events/e.csv", INSERT);
    let settled = settled_by(&place, &mapping);
    rejected(&settled, &[]);
    let all = counts(&settled, Table::Readings);
    assert_eq!((all.read, all.untaken, all.accepted), (80, 40, 40));
    // 7.5 mmol/L are 135.1 mg/dL (molar mass of glucose 180.156 g/mol).
    let rows = super::readings(&place.load().0);
    assert_eq!((rows[0].2, (rows[1].2 * 10.0).round()), (108.0, 1351.0));

    // A row with both values is read by neither, and said to be.
    let both = format!("{units}2026-03-01 12:00,a,120,6.7\n");
    let (_, mapping) = told(&both, &Known::default());
    let said = "left out: rows with values in several of these columns (1)";
    assert!(
        mapping.told.contains(&said.to_owned()),
        "{:?}",
        mapping.told
    );

    // A row without any value would be taken by both exports: they are not proposed, and what is not read is counted.
    let (_, mapping) = told(&format!("{units}2026-03-01 12:00,a,,\n"), &Known::default());
    assert!(mapping.export.rows.is_empty() && mapping.more.is_empty());
    assert!(
        mapping.open[0].starts_with("21 of 41 rows are not read: 21 for their glucose"),
        "{:?}",
        mapping.open
    );

    let kinds = mixed(
        "Time,Device,Sensor glucose,Finger glucose,Note",
        |kind, at, value| match kind {
            "reading" => format!("{at},a,{value},,"),
            "check" => format!("{at},a,,{value},"),
            _ => String::new(),
        },
    );
    let (place, mapping) = told(&kinds, &Known::default());
    assert_eq!(mapping.open, Vec::<String>::new());
    let settled = settled_by(&place, &mapping);
    assert_eq!(counts(&settled, Table::Fingersticks).accepted, 6);
    let (_, mapping) = told(&kinds.replace("Finger glucose", "Other"), &Known::default());
    assert_eq!(mapping.open.len(), 1, "{:?}", mapping.open);
    assert!(
        mapping.open[0].contains("6 rows with a value in `Other` alone"),
        "{:?}",
        mapping.open
    );
}

/// Codes of kinds lie among numbers of a body, and may have any title: they are no glucose, and what they mean is asked.
#[test]
fn codes_of_kinds_are_asked_for_and_are_no_glucose() {
    for (title, [reading, check, dose]) in [
        ("kind", ["5", "2", "9"]),
        ("Row kind", ["6", "7", "8"]),
        ("kind", ["100", "200", "300"]),
        ("code", ["0", "1", "6"]),
        ("Class", ["5", "2", "9"]),
        ("Origin", ["0", "1", "6"]),
        ("Event", ["x", "y", "z"]),
    ] {
        let titles = format!("id,{title},at,value,device");
        let text = mixed(&titles, |kind, at, value| match kind {
            "reading" => format!("1,{reading},{at},{value},a"),
            "check" => format!("1,{check},{at},{value},M1"),
            _ => format!("1,{dose},{at},,"),
        });
        let (_, mapping) = told(&text, &Known::default());
        assert_eq!(
            mapping.export.columns["glucose"].names(),
            ["value"],
            "{title}"
        );
        let [open] = mapping.open.as_slice() else {
            panic!("{title}: {:?}", mapping.open)
        };
        let asked = format!(
            "what are the rows with `{check}` (6 rows, hours apart)? Map each kind by itself: --rows \"{title}={check}\" --table"
        );
        assert!(open.contains(&asked), "{open}");
        assert_eq!(mapping.export.rows[title], [reading]);
    }
    // A trend of which one code is rare tells no kinds.
    let text = mixed("Trend,at,value,device", |kind, at, value| match kind {
        "check" => format!("7,{at},{value},a"),
        _ => format!("4,{at},{value},a"),
    });
    let (_, mapping) = told(&text, &Known::default());
    assert_eq!(mapping.open, Vec::<String>::new());
    assert!(mapping.export.rows.is_empty());
    // Numbers that are codes and nothing else: there is no glucose.
    let text = mixed("code,at,device", |kind, at, _| match kind {
        "reading" => format!("5,{at},a"),
        _ => format!("9,{at},a"),
    });
    let (_, mapping) = told(&text, &Known::default());
    assert!(!mapping.export.columns.contains_key("glucose"));
    // A title that names kinds is enough where rows are few.
    let rows: String = (0..24)
        .map(|n| format!("{},2026-03-01 08:{n:02},a\n", 6 + n % 2))
        .collect();
    let (_, mapping) = told(&format!("Row kind,at,device\n{rows}"), &Known::default());
    assert!(!mapping.export.columns.contains_key("glucose"));
}

/// A row for each sensor: two exports of one table. One that is still worn has no end.
#[test]
fn a_row_for_each_sensor() {
    let text = "Sensor,Inserted,Removed,Site,Reason\nS1,2026-03-01 20:00,2026-03-11 07:00,abdomen,fell off\n\
                S2,2026-03-11 20:00,2026-03-21 07:00,forearm,completed\nS3,2026-03-21 20:00,,calf,\n";
    let (place, mapping) = told(text, &Known::default());
    assert_eq!(mapping.open, Vec::<String>::new());
    let settled = settled_by(&place, &mapping);
    rejected(&settled, &[]);
    let all = counts(&settled, Table::WearEvents);
    assert_eq!((all.read, all.untaken, all.accepted), (6, 1, 5));
}

/// A calendar and a sender hold the word for an end: when a row was written minutes after the insert is none.
#[test]
fn part_of_a_word_is_no_end() {
    for title in ["Calendar entry", "Sender time"] {
        let row = |n: usize| format!("S{n},abdomen,2026-03-{n:02} 20:00,2026-03-{n:02} 20:10\n");
        let rows: String = (1..20).map(row).collect();
        let (_, mapping) = told(
            &format!("Sensor,Site,Started,{title}\n{rows}"),
            &Known::default(),
        );
        assert!(mapping.more.is_empty(), "{title}");
    }
    let row = |n: usize| format!("S{n},abdomen,2026-03-{n:02} 20:00,2026-03-{n:02} 21:00\n");
    let rows: String = (1..20).map(row).collect();
    let (_, mapping) = told(&format!("Sensor,Site,Start,End\n{rows}"), &Known::default());
    assert_eq!(mapping.more.len(), 1);
}

/// Titles may say nothing of begin and end: the later time of each row is the end, wherever its column stands.
#[test]
fn the_later_time_of_a_sensor_is_its_end() {
    let row = |n: usize, words: &str, swapped: bool| {
        let (on, off) = (
            format!("{:02}/05/2026 18:51", n),
            format!("{:02}/05/2026 00:15", n + 12),
        );
        match swapped {
            false => format!("S{n},{on},{words},{off}\n"),
            true => format!("S{n},{off},{words},{on}\n"),
        }
    };
    for (titles, swapped) in [
        ("Serial No,Put on,Place,Why,Taken off", false),
        ("Serial No,A,Place,Why,B", false),
        ("Serial No,B,Place,Why,A", true),
    ] {
        let text: String = (1..12)
            .map(|n| row(n, "abdomen,fell off", swapped))
            .collect();
        let text = format!("{titles}\n{text}");
        let names: Vec<&str> = titles.split(',').collect();
        let (on, off) = match swapped {
            false => (names[1], names[4]),
            true => (names[4], names[1]),
        };
        let (place, mapping) = told(&text, &Known::default());
        assert_eq!(mapping.open, Vec::<String>::new(), "{titles}");
        let [(suffix, end)] = mapping.more.as_slice() else {
            panic!("{titles}: {:?}", mapping.more)
        };
        let of = |export: &Export| {
            let time = export.columns["time"].names().to_vec();
            (
                export.constants["event"].clone(),
                time,
                export.columns.contains_key("cause"),
            )
        };
        let insert = ("insert".to_owned(), vec![on.to_owned()], false);
        let ended = ("end".to_owned(), vec![off.to_owned()], true);
        assert_eq!(
            (of(&mapping.export), of(end)),
            (insert.clone(), ended.clone())
        );
        assert_eq!(suffix, "end");
        let settled = settled_by(&place, &mapping);
        assert_eq!(counts(&settled, Table::WearEvents).accepted, 22);
        for expected in [insert, ended] {
            let known = Known {
                constants: [("event".to_owned(), expected.0.clone())].into(),
                ..Known::default()
            };
            let (_, mapping) = told(&text, &known);
            assert_eq!(mapping.open, Vec::<String>::new(), "{titles}");
            assert_eq!((of(&mapping.export), mapping.more.len()), (expected, 0));
        }
    }
    // When a row was written is no end; who says that all are ends has to say which time theirs is.
    let text: String = (13..25)
        .map(|n| format!("S{n},{n}/05/2026 18:51,completed,{n}/05/2026 18:55\n"))
        .collect();
    let text = format!("Serial No,At,Why,Written\n{text}");
    let (_, mapping) = told(&text, &Known::default());
    assert_eq!(mapping.more.len(), 0);
    let known = Known {
        constants: [("event".to_owned(), "end".to_owned())].into(),
        ..Known::default()
    };
    let (_, mapping) = told(&text, &known);
    assert!(
        mapping.open[0].contains("with the one of the end as `time` in `columns`"),
        "{:?}",
        mapping.open
    );
}

/// Two times of a row of which now this and now that is the later are no begin and end, whatever most of them are.
#[test]
fn times_in_no_order_are_no_ends() {
    let text = |turned: usize| -> String {
        let row = |n: usize| {
            let both = [
                format!("2026-05-{n:02} 18:51"),
                format!("2026-05-{:02} 00:15", n + 12),
            ];
            let [on, off] = match n <= turned {
                true => [&both[1], &both[0]],
                false => [&both[0], &both[1]],
            };
            format!("S{n},{on},abdomen,{off}\n")
        };
        let rows: String = (1..=12).map(row).collect();
        format!("Serial No,A,Place,B\n{rows}")
    };
    for (turned, exports) in [(0, 2), (3, 1)] {
        let (_, mapping) = told(&text(turned), &Known::default());
        assert_eq!(1 + mapping.more.len(), exports, "{turned} turned");
    }
}
