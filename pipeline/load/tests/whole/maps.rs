//! Mappings that are told from files of which nothing is known: every column, word and unit, what was told and what is asked.

use std::fmt::Write;

use super::*;
use std::collections::BTreeMap;
use whereworn_load::map::{DateOrder, Mapping, mapped_already};
use whereworn_model::settings::Export;

/// A mapping as lines: what it says, then what was told, then what is open.
fn lines(mapping: &Mapping) -> Vec<String> {
    let export = &mapping.export;
    let mut out = vec![format!(
        "{} {} skip {}",
        export.table, export.files, export.skip_lines
    )];
    for (ours, theirs) in &export.columns {
        out.push(format!("{ours} = {}", theirs.names().join(" + ")));
    }
    for (ours, what) in &export.constants {
        out.push(format!("{ours} is {what}"));
    }
    for (ours, words) in &export.values {
        for (theirs, meant) in words {
            out.push(format!("{ours}: {theirs} = {meant}"));
        }
    }
    out.extend(export.time_format.iter().map(|f| format!("format {f}")));
    out.extend(export.unit.map(|unit| format!("unit {}", unit.code())));
    out.extend(export.encoding.map(|e| format!("encoding {}", e.name())));
    out.extend(mapping.told.iter().map(|told| format!("told: {told}")));
    out.extend(mapping.open.iter().map(|open| format!("open: {open}")));
    out
}

fn told(text: &str, known: &Known) -> (Place, Mapping) {
    let place = Place::new(&[("study.toml", UTC), ("log.csv", text)]);
    let mapping = map(&place.path().join("log.csv"), known);
    (place, mapping.unwrap())
}

fn understood(place: &Place, mapping: &Mapping) -> Vec<String> {
    let rows = preview(&place.path().join("log.csv"), mapping, 9).unwrap();
    rows.into_iter()
        .map(|row| format!("{}: {}", row.line, row.understood))
        .collect()
}

/// A name from a title, a unit from a title, a status from its words; a counter and a column that never changes are no glucose.
#[test]
fn readings() {
    let mut text = "No,Time,Device,Glucose (mmol/L),State,Level\n".to_owned();
    for n in 0..24 {
        let state = if n == 7 { "ERR" } else { "valid" };
        writeln!(
            text,
            "{},2026-03-01T{:02}:{:02}:00,K1,{}.{},{state},100",
            50 + n,
            8 + n / 12,
            5 * (n % 12),
            5 + n % 3,
            n % 7
        )
        .unwrap();
    }
    let (place, mapping) = told(&text, &Known::default());
    assert_eq!(
        lines(&mapping),
        [
            "readings log.csv skip 0",
            "glucose = Glucose (mmol/L)",
            "sensor = Device",
            "status = State",
            "time = Time",
            "status: ERR = error",
            "status: valid = ok",
            "unit mmol/L",
            "told: 24 rows of 6 columns, separated by commas, their names on line 1",
            "told: table: readings (a value every 300 s); --table says otherwise",
            "told: unit: mmol/L (the column is called `Glucose (mmol/L)`)",
            "told: status: `ERR` is taken for `error`",
            "told: status: `valid` is taken for `ok`",
        ]
    );
    // 5 mmol/L are 90.1 mg/dL, 6.1 are 109.9 (molar mass of glucose 180.156 g/mol).
    let rows = understood(&place, &mapping);
    assert_eq!(rows.len(), 9);
    assert_eq!(
        rows[..2],
        [
            "2: sensor K1, 2026-03-01 08:00:00, 90.1 mg/dL, ok",
            "3: sensor K1, 2026-03-01 08:05:00, 109.9 mg/dL, ok"
        ]
    );
    // Who knows more than the file is believed.
    let known = Known {
        table: Some(Table::Fingersticks),
        unit: Some(Unit::MgDl),
        constants: [("meter".to_owned(), "kitchen".to_owned())].into(),
        ..Known::default()
    };
    let (_, mapping) = told(&text, &known);
    assert_eq!(
        lines(&mapping)[..7],
        [
            "fingersticks log.csv skip 0",
            "glucose = Glucose (mmol/L)",
            "time = Time",
            "meter is kitchen",
            "unit mg/dL",
            "told: 24 rows of 6 columns, separated by commas, their names on line 1",
            "told: unit: mg/dL (as you say)",
        ]
    );
}

/// Values eight hours apart are checks; a day past the twelfth tells day from month.
#[test]
fn checks() {
    let mut text = "When\tValue\tMeter name\tWhy\n".to_owned();
    for n in 0..12 {
        let why = ["check", "calib", "Control solution"][n % 3];
        writeln!(
            text,
            "{:02}/03/2026 {:02}:00\t{}\tKitchen\t{why}",
            11 + n / 3,
            8 * (n % 3),
            88 + (n * 5) % 7
        )
        .unwrap();
    }
    let (place, mapping) = told(&text, &Known::default());
    assert_eq!(
        lines(&mapping),
        [
            "fingersticks log.csv skip 0",
            "glucose = Value",
            "meter = Meter name",
            "purpose = Why",
            "time = When",
            "purpose: Control solution = control",
            "purpose: calib = calibration",
            "purpose: check = routine",
            "format %d/%m/%Y %H:%M",
            "unit mg/dL",
            "told: 12 rows of 4 columns, separated by tabs, their names on line 1",
            "told: times: %d/%m/%Y %H:%M",
            "told: table: fingersticks (values hours apart); --table says otherwise",
            "told: unit: mg/dL (half of the values lie above 91)",
            "told: purpose: `Control solution` is taken for `control`",
            "told: purpose: `calib` is taken for `calibration`",
            "told: purpose: `check` is taken for `routine`",
        ]
    );
    assert_eq!(
        understood(&place, &mapping)[..2],
        [
            "2: 2026-03-11 00:00:00, 88 mg/dL, meter Kitchen",
            "3: 2026-03-11 08:00:00, 93 mg/dL, meter Kitchen"
        ]
    );
    // Up to the twelfth either may be the month: somebody has to say.
    let early: String = text
        .lines()
        .take(6)
        .map(|line| format!("{line}\n"))
        .collect();
    let (_, mapping) = told(&early, &Known::default());
    assert_eq!(
        mapping.open,
        [
            "day and month can be read either way round (%d/%m/%Y %H:%M or %m/%d/%Y %H:%M, first `11/03/2026 00:00`): \
             say --dates day-first or --dates month-first"
        ]
    );
    for (order, format) in [
        (DateOrder::DayFirst, "%d/%m/%Y %H:%M"),
        (DateOrder::MonthFirst, "%m/%d/%Y %H:%M"),
    ] {
        let dates = Some(order);
        let (_, mapping) = told(
            &early,
            &Known {
                dates,
                ..Known::default()
            },
        );
        assert_eq!(mapping.export.time_format.as_deref(), Some(format));
        assert!(mapping.open.is_empty(), "{:?}", mapping.open);
    }
}

/// Date and time of day apart; words of a log by likeness, one that nothing is like, and a letter for a side.
#[test]
fn events() {
    let text = "Datum;Uhrzeit;Geber;Was;Ort;Warum;Seite\n25.03.2026;08:05;S7;start;Tummy;;L\n26.03.2026;09:05;S8;start;Tummy;;R\n\
                27.03.2026;08:15;S7;stop;;fell;\n28.03.2026;10:05;S9;start;left ear;;L\n29.03.2026;10:05;S9;start;Tummy;;L\n";
    let (place, mapping) = told(text, &Known::default());
    assert_eq!(
        lines(&mapping),
        [
            "wear-events log.csv skip 0",
            "cause = Warum",
            "event = Was",
            "sensor = Geber",
            "side = Seite",
            "site = Ort",
            "time = Datum + Uhrzeit",
            "cause: fell = fell-off",
            "event: start = insert",
            "event: stop = end",
            "side: L = left",
            "side: R = right",
            "site: Tummy = abdomen",
            "format %d.%m.%Y %H:%M",
            "told: 5 rows of 7 columns, separated by semicolons, their names on line 1",
            "told: times: %d.%m.%Y %H:%M",
            "told: table: wear-events (no column looks like glucose); --table says otherwise",
            "told: event: `start` is taken for `insert`",
            "told: event: `stop` is taken for `end`",
            "told: site: `Tummy` is taken for `abdomen`",
            "told: cause: `fell` is taken for `fell-off`",
            "told: side: `L` is taken for `left`",
            "told: side: `R` is taken for `right`",
            "open: site: what is `left ear`? Give it in `values`: one of upper-arm-back, upper-arm-inside, forearm, chest, \
             abdomen, lower-back, upper-buttock, upper-thigh, calf",
        ]
    );
    let mut rows = understood(&place, &mapping);
    assert!(
        rows.remove(3)
            .starts_with("5: not read: unknown site `left ear`")
    );
    assert_eq!(
        rows,
        [
            "2: 2026-03-25 08:05:00, S7, insert, abdomen, left",
            "3: 2026-03-26 09:05:00, S8, insert, abdomen, right",
            "4: 2026-03-27 08:15:00, S7, end, fell-off",
            "6: 2026-03-29 10:05:00, S9, insert, abdomen, left",
        ]
    );
    let nothing = text
        .replace("start", "x1")
        .replace("stop", "x2")
        .replace("Geber", "Was2");
    let (_, mapping) = told(&nothing, &Known::default());
    assert!(
        mapping.open.iter().any(|open| open
            == "no column looks like events: name it in `columns`, or say --set event=insert"),
        "{:?}",
        mapping.open
    );
}

/// Columns that bear our names need no guess; a second column of times is named; two that could be the sensor are told apart by
/// how rarely they change; values off the scale are numbers.
#[test]
fn names_of_ours_and_second_columns() {
    let mut text = "sent;time;glucose;unit;group;code\n".to_owned();
    for n in 0..40 {
        let value = ["LO", "120", "<40", "130"][n % 4];
        let sent = if n < 3 {
            String::new()
        } else {
            format!("2026-03-02 {:02}:00", n % 24)
        };
        writeln!(
            text,
            "{sent};2026-03-01 {:02}:{:02};{value};mg/dL;g{};code{}",
            n / 6,
            10 * (n % 6),
            n / 20,
            n % 2
        )
        .unwrap();
    }
    let (_, mapping) = told(&text, &Known::default());
    assert_eq!(
        lines(&mapping),
        [
            "readings log.csv skip 0",
            "sensor = group",
            "time = time",
            "told: 40 rows of 6 columns, separated by semicolons, their names on line 1",
            "told: time: `time`; `sent` holds times too",
            "told: table: readings (a value every 600 s); --table says otherwise",
        ]
    );
    // Without the column of the unit the values tell; a sensor that is said is not asked for.
    let without = text
        .replace("unit;group", "x;y")
        .replace(";mg/dL;g", ";n;z");
    let without: String = without
        .lines()
        .enumerate()
        .fold(String::new(), |all, (n, line)| {
            format!(
                "{all}{}\n",
                if n == 0 {
                    line.to_owned()
                } else {
                    format!("{line}{n}")
                }
            )
        });
    let (_, mapping) = told(&without, &Known::default());
    assert_eq!(mapping.export.unit, Some(Unit::MgDl));
    assert!(
        mapping
            .told
            .contains(&"unit: mg/dL (half of the values lie above 130)".to_owned())
    );
    let known = Known {
        constants: [("sensor".to_owned(), "s1".to_owned())].into(),
        ..Known::default()
    };
    assert!(told(&without, &known).1.open.is_empty());
}

/// A quarter of an hour apart, so that days taken for months leap at every midnight: three tell which is which, two do not.
#[test]
fn rows_that_follow_tell_day_from_month() {
    let text = |days: usize, day_first: bool| {
        let mut text = "When;Sensor;Value\n".to_owned();
        for n in 0..96 * days {
            let day = format!("{:02}", 3 + n / 96);
            let date = if day_first {
                [&*day, "05"]
            } else {
                ["05", &*day]
            };
            writeln!(
                text,
                "{}/2026 {:02}:{:02};k;{}",
                date.join("/"),
                n / 4 % 24,
                n % 4 * 15,
                90 + n % 7
            )
            .unwrap();
        }
        // One row in many may be no row: a footer.
        text += "end of the list;k;95\n";
        told(&text, &Known::default()).1
    };
    for (day_first, format) in [(true, "%d/%m/%Y %H:%M"), (false, "%m/%d/%Y %H:%M")] {
        let mapping = text(4, day_first);
        assert_eq!(mapping.export.time_format.as_deref(), Some(format));
        assert!(mapping.open.is_empty(), "{:?}", mapping.open);
        let mapping = text(3, day_first);
        assert!(
            mapping.open[0].starts_with("day and month can be read either way"),
            "{:?}",
            mapping.open
        );
    }
}

/// Remarks with a number here and there are no glucose, on whichever side of it they stand.
#[test]
fn remarks_are_no_glucose() {
    let mut text = "remark,time,sensor,value,more\n".to_owned();
    for n in 0..30 {
        let remark = if n % 6 == 0 {
            format!("{}", 100 + n * 7 % 30)
        } else {
            format!("walked {n}")
        };
        writeln!(
            text,
            "{remark},2026-03-01T{:02}:{:02}:00Z,k,{},{remark}",
            8 + n / 12,
            n % 12 * 5,
            90 + n % 7
        )
        .unwrap();
    }
    let (_, mapping) = told(&text, &Known::default());
    assert_eq!(mapping.export.columns["glucose"].names(), ["value"]);
}

/// What changes from row to row, is mostly empty or holds times is no sensor, whatever it is called; what says `ok` and
/// `error` alone is a status.
#[test]
fn a_sensor_is_what_stays_and_a_status_what_its_words_say() {
    let mut text =
        "arm,meal,Sensor clock,Sensor time,Device remark,time,value,tag,Quality\n".to_owned();
    for n in 0..40 {
        let arm = ["left", "right"][n % 2];
        let remark = if n == 9 { "dropped" } else { "" };
        let (hour, minute) = (8 + n / 12, n % 12 * 5);
        let sent = if n == 0 {
            String::new()
        } else {
            format!("2026-03-02T{hour:02}:{minute:02}:00Z")
        };
        let quality = if n % 9 == 5 { "error" } else { "ok" };
        writeln!(
            text,
            "{arm},m{},{hour:02}:{minute:02},{sent},{remark},2026-03-01T{hour:02}:{minute:02}:00Z,{},t{},{quality}",
            n / 3,
            90 + n % 7,
            n / 20
        )
        .unwrap();
    }
    let (_, mapping) = told(&text, &Known::default());
    let columns: Vec<String> = lines(&mapping)
        .into_iter()
        .filter(|line| line.contains(" = "))
        .collect();
    assert_eq!(
        columns,
        [
            "glucose = value",
            "sensor = tag",
            "status = Quality",
            "time = time"
        ]
    );
}

/// A column that is called so names the sensor where it says one in half of the rows, and purposes are words of which
/// half are known.
#[test]
fn half_of_the_rows_are_enough_to_tell_a_column() {
    let text = |rows: usize| {
        let mut text = "time,value,Device,Why\n".to_owned();
        for n in 0..20 {
            let device = if n < rows { "k" } else { "" };
            let why = if n % 2 == 0 { "alert" } else { "zzz" };
            writeln!(
                text,
                "2026-03-{:02}T{:02}:00:00Z,{},{device},{why}",
                1 + n / 3,
                8 * (n % 3),
                90 + n * 3 % 7
            )
            .unwrap();
        }
        text
    };
    for (rows, is_sensor) in [(10, true), (9, false)] {
        let known = Known {
            table: Some(Table::Readings),
            ..Known::default()
        };
        let (_, mapping) = told(&text(rows), &known);
        let sensor = mapping.export.columns.get("sensor");
        let is_device = sensor.is_some_and(|columns| columns.names() == ["Device"]);
        assert_eq!(is_device, is_sensor, "{rows}");
    }
    let (_, mapping) = told(&text(10), &Known::default());
    assert_eq!(mapping.export.table, "fingersticks");
    assert_eq!(mapping.export.columns["purpose"].names(), ["Why"]);
    assert_eq!(mapping.open.len(), 1, "{:?}", mapping.open);
}

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

/// `é` is 0xE9 in windows-1252 and no UTF-8 (code page 1252); line ends of any kind, and a mark before the text.
#[test]
fn other_encodings_and_line_ends() {
    let text = "\u{feff}Zeit;Wert;Gerät\r\n2026-03-01 08:00;120;K1\r2026-03-01 08:05;125;K1\n";
    let (_, mapping) = told(text, &Known::default());
    assert_eq!(mapping.export.columns["time"].names(), ["Zeit"]);
    assert!(
        mapping.told[0].starts_with("2 rows of 3 columns"),
        "{:?}",
        mapping.told
    );
    let place = Place::new(&[("study.toml", UTC)]);
    let path = place.path().join("log.csv");
    let bytes: Vec<u8> = text.chars().skip(1).map(|c| c as u8).collect();
    fs::write(&path, bytes).unwrap();
    let mapping = map(&path, &Known::default()).unwrap();
    assert_eq!(mapping.told[0], "encoding: latin-1");
    assert!(mapping.export.encoding.is_some());
    assert_eq!(mapping.export.columns["sensor"].names(), ["Gerät"]);
}

/// Four rows that happen to rise are glucose where the title says in which unit.
#[test]
fn a_title_with_the_unit_of_glucose_is_believed() {
    let text = "Zeitstempel;Gerät;Wert mg/dl\n\
                03.06.2026 08:00;A1;112\n\
                03.06.2026 08:05;A1;115\n\
                03.06.2026 08:10;A1;LO\n\
                13.06.2026 08:15;A1;118\n";
    let (place, mapping) = told(text, &Known::default());
    assert_eq!(mapping.open, Vec::<String>::new());
    assert_eq!(mapping.export.columns["glucose"].names(), ["Wert mg/dl"]);
    assert_eq!(mapping.export.table, "readings");
    let rows = understood(&place, &mapping);
    assert_eq!(rows.len(), 4);
    assert!(rows[2].contains("low"), "{rows:?}");
    // A counter of the same values is none where the title does not say so.
    let (_, counter) = told(&text.replace("Wert mg/dl", "Wert"), &Known::default());
    assert!(!counter.export.columns.contains_key("glucose"));
}

/// The blocks of a mapping as they are written, the first as `x`.
fn blocks(mapping: &Mapping) -> String {
    let more = mapping.more.iter();
    let more = more.map(|(suffix, export)| export.block(&format!("x-{suffix}")));
    let all: Vec<String> = [mapping.export.block("x")]
        .into_iter()
        .chain(more)
        .collect();
    all.join("")
}

/// A study that reads the file by what was told of it.
fn settled_by(place: &Place, mapping: &Mapping) -> Settled {
    place.write("study.toml", &format!("{UTC}{}", blocks(mapping)));
    place.settled()
}

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
        warned(&settled, "6 with `Insulin`, which no export reads");
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

/// Of two columns of milliseconds since 1970 the one called UTC is an instant, whichever stands first.
#[test]
fn milliseconds_of_utc_are_preferred() {
    for titles in ["local_ms,utc_ms", "utc_ms,local_ms"] {
        let mut text = format!("{titles},Device,Glucose\n");
        for n in 0..30_i64 {
            let utc = 1_785_592_140_000 + 300_000 * n;
            let local = utc + 7_200_000;
            let (a, b) = if titles.starts_with("utc") {
                (utc, local)
            } else {
                (local, utc)
            };
            writeln!(text, "{a},{b},K,{}", 100 + n).unwrap();
        }
        let (_, mapping) = told(&text, &Known::default());
        assert_eq!(mapping.export.columns["time"].names(), ["utc_ms"]);
        let said = "time: `utc_ms` is called UTC; `local_ms` holds seconds since 1970 too";
        assert!(
            mapping.told.iter().any(|told| told == said),
            "{:?}",
            mapping.told
        );
    }
}

/// Instants by hand: at +02:00 it is 10:00 when UTC has 08:00; 1 772 352 000 s after 1970 it is 2026-03-01T08:00:00Z.
#[test]
fn clocks_that_a_file_names() {
    let file = |titles: &str, row: &dyn Fn(i64) -> String| {
        let rows: Vec<String> = (0..30).map(row).collect();
        format!("{titles}\n{}\n", rows.join("\n"))
    };
    let clock = |n: i64, hour: i64| format!("{:02}:{:02}", hour + n / 12, n % 12 * 5);
    let cases: [(String, &str); 9] = [
        (
            file("Local time,Time (UTC),Sensor,Glucose", &|n| {
                format!(
                    "2026-03-01 {},2026-03-01 {},a,{}",
                    clock(n, 10),
                    clock(n, 8),
                    100 + n % 7
                )
            }),
            "",
        ),
        (
            file("Time [GMT+2],Sensor,Glucose", &|n| {
                format!("2026-03-01 {},a,{}", clock(n, 10), 100 + n % 7)
            }),
            "",
        ),
        (
            file("Time,Zone,Sensor,Glucose", &|n| {
                format!("2026-03-01 {},+02:00,a,{}", clock(n, 10), 100 + n % 7)
            }),
            "%Y-%m-%d %H:%M %:z",
        ),
        (
            file("ts,id,v", &|n| {
                format!("{},a,{}", 1_772_352_000 + 300 * n, 100 + n % 7)
            }),
            "%s",
        ),
        (
            file("ts,id,v", &|n| {
                format!("{}000,a,{}", 1_772_352_000 + 300 * n, 100 + n % 7)
            }),
            "milliseconds",
        ),
        (
            file("Stamp,Sensor,Glucose", &|n| {
                format!("2026-03-01 {}:00 GMT+02:00,a,{}", clock(n, 10), 100 + n % 7)
            }),
            "%Y-%m-%d %H:%M:%S GMT%:z",
        ),
        (
            file("Stamp,Sensor,Glucose", &|n| {
                let day = if n < 29 { "01/03" } else { "13/03" };
                format!("{day}/2026 {}:00+02:00,a,{}", clock(n, 10), 100 + n % 7)
            }),
            "%d/%m/%Y %H:%M:%S%:z",
        ),
        (
            file("Datum,Uhrzeit,BZ,Sensor", &|n| {
                let day = if n < 29 { "01" } else { "13" };
                format!(
                    "{day}.03.26,{},{},a",
                    clock(n, 8).replace(':', "."),
                    100 + n % 7
                )
            }),
            "%d.%m.%y %H.%M",
        ),
        (
            file("Stamp,Sensor,Glucose", &|n| {
                let day = if n < 29 { "1" } else { "13" };
                format!("3/{day}/2026 {} a.m.,a,{}", clock(n, 8), 100 + n % 7)
            }),
            "%m/%d/%Y %I:%M %p",
        ),
    ];
    for (text, format) in cases {
        let (place, mapping) = told(&text, &Known::default());
        assert_eq!(mapping.open, Vec::<String>::new(), "{text}");
        assert_eq!(
            mapping.export.time_format.as_deref().unwrap_or(""),
            format,
            "{text}"
        );
        place.write(
            "study.toml",
            &format!(
                "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n{}",
                blocks(&mapping)
            ),
        );
        let rows = super::readings(&place.load().0);
        assert_eq!(
            (rows.len(), rows[0].1.as_str()),
            (30, "2026-03-01T08:00:00Z"),
            "{text}"
        );
    }
    let (_, mapping) = told(
        &file("Local time,Time (UTC),Sensor,Glucose", &|n| {
            format!(
                "2026-03-01 {},2026-03-01 {},a,{}",
                clock(n, 10),
                clock(n, 8),
                100 + n % 7
            )
        }),
        &Known::default(),
    );
    assert_eq!(mapping.export.timezone.as_deref(), Some("UTC"));
    assert!(
        mapping
            .told
            .iter()
            .any(|told| told.contains("`Time (UTC)` (UTC has no hour twice")),
        "{:?}",
        mapping.told
    );
    // Numbers of ten digits that do not change are a sensor's.
    let (_, mapping) = told(
        &file("Time,Sensor,v", &|n| {
            format!("2026-03-01 {},1772352000,{}", clock(n, 8), 100 + n % 7)
        }),
        &Known::default(),
    );
    assert_eq!(mapping.export.columns["sensor"].names(), ["Sensor"]);
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
