//! Mappings that are told from files of which nothing is known: every column, word and unit, what was told and what is asked.

use std::fmt::Write;

use super::*;
use whereworn_load::map::{DateOrder, Mapping};

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

pub(super) fn told(text: &str, known: &Known) -> (Place, Mapping) {
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

/// The blocks of a mapping as they are written, the first as `x`.
pub(super) fn blocks(mapping: &Mapping) -> String {
    let more = mapping.more.iter();
    let more = more.map(|(suffix, export)| export.block(&format!("x-{suffix}")));
    let all: Vec<String> = [mapping.export.block("x")]
        .into_iter()
        .chain(more)
        .collect();
    all.join("")
}

/// A study that reads the file by what was told of it.
pub(super) fn settled_by(place: &Place, mapping: &Mapping) -> Settled {
    place.write("study.toml", &format!("{UTC}{}", blocks(mapping)));
    place.settled()
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
