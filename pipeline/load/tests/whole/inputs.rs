//! Clocks, mappings and what cannot be read.

use super::*;

/// Portugal's clocks in 2026 (IANA time zone database): forward on 29 March at 01:00 UTC, back on 25 October at 01:00 UTC.
#[test]
fn local_times_and_corrections() {
    let place = Place::new(&[
        (
            "study.toml",
            "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n[wearers.ana]\ntimezone = \"Asia/Tokyo\"\n\
             [[corrections]]\nsensor = \"b\"\nclock_minutes = -60\n[[corrections]]\nsensor = \"c\"\nleave_out = true\n\
             [[corrections]]\nsensor = \"d\"\nunit = \"mmol/L\"\n",
        ),
        (
            "readings/r.csv",
            "sensor,time,glucose,wearer\na,2026-07-01T12:00,100,\na,2026-07-01 12:05:00,101,\na,2026-07-01T12:15+05:30,102,\n\
             a,2026-03-29T01:30,103,\na,2026-10-25T00:30,104,\na,2026-10-25T01:30,105,\na,2026-10-25T01:00,106,\n\
             b,2026-07-01T12:00,100,\nc,2026-07-01T12:00,100,\nd,2026-07-01T12:00,10,\nj,2026-07-01T12:00,100,ana\n",
        ),
        (
            "wear-events/e.csv",
            "sensor,time,event,site,wearer\na,2026-01-01T08:00,insert,calf,\nb,2026-01-01T08:00,insert,calf,\n\
             d,2026-01-01T08:00,insert,calf,\nj,2026-01-01T08:00,insert,calf,ana\n",
        ),
    ]);
    let (store, _) = place.load();
    let rows: Vec<String> = readings(&store)
        .into_iter()
        .map(|(sensor, time, glucose, _)| format!("{sensor} {time} {glucose}"))
        .collect();
    assert_eq!(
        rows,
        [
            "j 2026-07-01T03:00:00Z 100",
            "a 2026-07-01T06:45:00Z 102",
            "a 2026-07-01T11:00:00Z 100",
            "a 2026-07-01T11:05:00Z 101",
            "a 2026-10-24T23:30:00Z 104",
            "a 2026-10-25T00:30:00Z 105",
            "a 2026-10-25T01:00:00Z 106",
            "b 2026-07-01T10:00:00Z 100",
            "d 2026-07-01T11:00:00Z 180.156",
        ]
    );
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    rejected(&settled, &[("readings/r.csv:5:time", "does not exist")]);
    let all = counts(&settled, Table::Readings);
    assert_eq!(
        (all.read, all.left_out, all.rejected, all.accepted),
        (11, 1, 1, 9)
    );
}

#[test]
fn an_export_is_read_by_its_mapping() {
    let settings = "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n[exports.old]\ntable = \"readings\"\nfiles = \"exports/*.csv\"\n\
         columns = { date = \"Tag\", time = \"Uhrzeit\", glucose = \"Wert\", status = \"Art\" }\n\
         constants = { sensor = \"s9\" }\nvalues = { status = { \"zu tief\" = \"low\" } }\n\
         time_format = \"%d/%m/%Y %H:%M\"\noffset = \"+02:00\"\nunit = \"mmol/L\"\nskip_lines = 2\n";
    let text = "Made; by hand\n\nTag;Uhrzeit;Wert;Art;Extra\n02/07/2026;14:05;5,5;;x\n2026-07-02;14:10;5,5;;x\n\
         02/07/2026;14:20;10,0;zu tief;x\n";
    let place = Place::new(&[
        ("study.toml", settings),
        ("exports/one.csv", text),
        ("exports/notes.txt", "x"),
        ("exports/.two.csv", text),
    ]);
    let (store, _) = place.load();
    assert_eq!(
        readings(&store),
        [
            (
                "s9".to_owned(),
                "2026-07-02T12:05:00Z".to_owned(),
                99.0858,
                Status::Ok
            ),
            (
                "s9".to_owned(),
                "2026-07-02T12:20:00Z".to_owned(),
                180.156,
                Status::Low
            ),
        ]
    );
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    rejected(
        &settled,
        &[
            ("exports/one.csv:4:sensor", "2 readings of sensor `s9`"),
            ("exports/one.csv:5:time", "does not fit time_format"),
        ],
    );
    for (from, to, words) in [
        (
            "\"Wert\"",
            "\"Value\"",
            "there is no column `Value`, to which study.toml maps `glucose`",
        ),
        (
            "glucose =",
            "glukose =",
            "`glukose` is no column of readings",
        ),
        ("exports/*.csv", "export/*.csv", "export/*.csv"),
    ] {
        place.write("study.toml", &settings.replacen(from, to, 1));
        let error = place.fails();
        assert!(error.contains(words), "{error}");
    }
}

#[test]
fn what_cannot_be_read_is_named() {
    for (name, text, words) in [
        (
            "readings/r.csv",
            "sensor,time\na,2026-03-01T09:00Z\n",
            "glucose",
        ),
        ("readings/r.csv", "sensor,time,glucose,glucose\n", "glucose"),
        ("readings/r.csv", "", "empty"),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,2026",
            "truncated",
        ),
        ("readings/r.csv.gz", "no gzip", "r.csv.gz"),
    ] {
        let place = Place::new(&[
            ("study.toml", UTC),
            ("wear-events/e.csv", INSERT),
            (name, text),
        ]);
        let error = place.fails();
        assert!(
            error.contains(words) && error.contains(name),
            "{name}: {error}"
        );
        assert!(!place.path().join(".whereworn").exists(), "{error}");
    }
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        ("readings/old.txt", "x"),
        ("readings/2025/r.csv", "x"),
        ("readings/.hidden.csv", "x"),
    ]);
    let warned = place.study().warnings.join("\n");
    assert!(
        warned.contains("readings/old.txt") && warned.contains("readings/2025"),
        "{warned}"
    );
    assert!(warned.contains("readings/.hidden.csv"), "{warned}");
    assert_eq!(place.study().inputs.len(), 1);
    place.write(
        "readings/r.csv",
        "sensor,time,glucose,colour\na,2026-03-01T09:00:00Z,100,red\n",
    );
    let settled = place.settled();
    let warned = settled.warnings.join("\n");
    assert!(
        warned.contains("readings/r.csv") && warned.contains("`colour`"),
        "{warned}"
    );
    assert_eq!(counts(&settled, Table::Readings).accepted, 1);
    let none = Place::new(&[("study.toml", UTC)]);
    assert!(none.fails().contains("no input"));
    let units = Place::new(&[
        ("study.toml", "[study]\ntimezone = \"UTC\"\n"),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n",
        ),
    ]);
    assert!(units.fails().contains("unit"), "{}", units.fails());
}

#[test]
fn a_store_that_was_damaged_is_built_again() {
    let place = Place::with_readings("sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n");
    let rows = readings(&place.load().0);
    let folder = place.path().join(".whereworn");
    let names = || -> Vec<String> {
        let entries = fs::read_dir(&folder).unwrap();
        entries
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect()
    };
    let stored = names()
        .into_iter()
        .filter(|name| name.ends_with(".parquet") || name == "manifest.json");
    for name in stored.collect::<Vec<_>>() {
        let path = folder.join(&name);
        if !path.exists() {
            continue;
        }
        let mut bytes = fs::read(&path).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0x55;
        fs::write(&path, bytes).unwrap();
        let (store, loaded) = place.load();
        assert_eq!(loaded.notes.len(), 1, "{name}: {:?}", loaded.notes);
        assert_eq!(loaded.parsed, 2, "{name}");
        assert_eq!(readings(&store), rows);
        assert_eq!(place.load().1.notes, Vec::<String>::new());
    }
    let is_readings = |name: &String| name.starts_with("readings-");
    let gone = names().into_iter().find(is_readings).unwrap();
    fs::remove_file(folder.join(&gone)).unwrap();
    let (store, loaded) = place.load();
    let words = format!("{gone} is missing");
    assert!(loaded.notes[0].contains(&words), "{:?}", loaded.notes);
    assert_eq!(readings(&store), rows);
}

#[test]
fn what_was_said_is_kept_line_by_line() {
    let place = Place::new(&[("study.toml", UTC), ("wear-events/e.csv", INSERT)]);
    let study = place.study();
    let said = |look: &str, site: &str, evidence: f64| Said {
        look: at(look),
        measure: "stays-on".to_owned(),
        site: site.to_owned(),
        against: "chest, \"left\"".to_owned(),
        evidence,
        verdict: "open".to_owned(),
        version: "0.1.0".to_owned(),
        plan_hash: String::new(),
    };
    let (march, april) = ("2026-03-31T22:00:00Z", "2026-04-30T22:00:00Z");
    let holder = Holder::default();
    let rows = [said(march, "calf", 1.5), said(march, "abdomen", 0.0)];
    Evidence::append(&study, &holder, &rows).unwrap();
    Evidence::append(&study, &holder, &rows).unwrap();
    Evidence::append(&study, &holder, &[said(april, "calf", 3.25)]).unwrap();
    let read = Evidence::read(&study).unwrap();
    assert_eq!(
        read.said,
        [rows[0].clone(), rows[1].clone(), said(april, "calf", 3.25)]
    );
    assert!(read.warnings.is_empty());
    // A line with another number, one that is cut, and one from elsewhere are named and not used; the others stay.
    let path = place.path().join("evidence.csv");
    let text = fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().count(), 4);
    fs::write(&path, text.replace(",1.5,", ",9.5,")).unwrap();
    let read = Evidence::read(&study).unwrap();
    assert_eq!(read.said.len(), 2);
    assert_eq!(read.warnings.len(), 1);
    assert!(read.warnings[0].contains("line 2"), "{:?}", read.warnings);
    // Less than nothing is no capital of a bet, whatever its checksum.
    Evidence::append(&study, &holder, &[said(april, "chest", -1.0)]).unwrap();
    assert_eq!(Evidence::read(&study).unwrap().said.len(), 2);
    fs::write(&path, "").unwrap();
    assert!(Evidence::read(&study).is_err());
}

/// A file of which nothing is known: semicolons, decimal commas, days first as no month is the 25th, mmol/L by its range.
#[test]
fn a_mapping_is_told_from_the_rows() {
    let mut text = "made by hand\nGeraet;Datum;Uhrzeit;Wert\n".to_owned();
    for minute in 0..60 {
        let value = 5.0 + f64::from(minute % 9) / 2.0;
        text += &format!(
            "S7;25.03.2026;{:02}:{:02};{}\n",
            8 + minute / 12,
            5 * (minute % 12),
            value.to_string().replace('.', ",")
        );
    }
    let place = Place::new(&[("study.toml", UTC), ("log.csv", &text)]);
    let path = place.path().join("log.csv");
    let mapping = map(&path, &Known::default()).unwrap();
    let export = &mapping.export;
    assert_eq!(
        (&*export.table, &*export.files, export.skip_lines),
        ("readings", "log.csv", 1)
    );
    assert_eq!(export.columns["time"].names(), ["Datum", "Uhrzeit"]);
    assert_eq!(export.columns["glucose"].names(), ["Wert"]);
    assert_eq!(export.columns["sensor"].names(), ["Geraet"]);
    assert_eq!(export.time_format.as_deref(), Some("%d.%m.%Y %H:%M"));
    assert_eq!(export.unit, Some(Unit::MmolL));
    assert_eq!(mapping.open, Vec::<String>::new());
    let told = mapping.told.join("\n");
    assert!(
        told.contains("60 rows of 4 columns, separated by semicolons, their names on line 2"),
        "{told}"
    );
    let rows = preview(&path, &mapping, 3).unwrap();
    assert_eq!(rows.len(), 3);
    assert_eq!(
        (rows[1].line, &*rows[1].raw),
        (4, "S7;25.03.2026;08:05;5,5")
    );
    assert_eq!(
        rows[1].understood,
        "sensor S7, 2026-03-25 08:05:00, 99.1 mg/dL, ok"
    );
    // A row that is not read is shown with its reason.
    fs::write(&path, text.replacen("08:00;5", "08:00;much", 1)).unwrap();
    let rows = preview(&path, &mapping, 1).unwrap();
    assert!(
        rows[0].understood.starts_with("not read: "),
        "{}",
        rows[0].understood
    );
}

/// A column tells readings, checks and doses apart: each export takes its own rows, and all rows are accounted for.
#[test]
fn exports_share_a_file_by_its_kinds_of_rows() {
    let export = |name: &str, table: &str, kinds: &str| {
        format!(
            "[exports.{name}]\ntable = \"{table}\"\nfiles = \"exports/*.csv\"\ncolumns = {{ sensor = \"Geraet\", time = \"Zeit\", glucose = \"Wert\" }}\nrows = {{ Art = [{kinds}] }}\n"
        )
    };
    let checks = export("b", "fingersticks", "\"1\"").replace("sensor = \"Geraet\", ", "");
    let text = "Art;Zeit;Wert;Geraet\n0;2026-03-01T09:00Z;100;a\n 0 ;2026-03-01T09:05Z;101;a\n1;2026-03-01T09:02Z;98;a\n\
                4;2026-03-01T09:03Z;6;a\n0;2026-03-01T09:10Z;x;a\n;2026-03-01T09:11Z;7;a\n";
    let place = Place::new(&[
        (
            "study.toml",
            &format!("{UTC}{}{checks}", export("a", "readings", "\"0\"")),
        ),
        ("wear-events/e.csv", INSERT),
        ("exports/all.csv", text),
    ]);
    let settled = place.settled();
    rejected(
        &settled,
        &[("exports/all.csv:6:glucose", "unparsable number `x`")],
    );
    let of = |table| {
        let all = counts(&settled, table);
        (all.read, all.untaken, all.rejected, all.accepted)
    };
    assert_eq!(of(Table::Readings), (6, 3, 1, 2));
    assert_eq!(of(Table::Fingersticks), (6, 5, 0, 1));
    warned(
        &settled,
        "exports/all.csv: 3 rows are left out by exports.a in study.toml: 1 that exports.b reads; \
         1 that no export reads, with `4`; 1 that no export reads, with nothing",
    );
    warned(
        &settled,
        "5 rows are left out by exports.b in study.toml: 3 that exports.a reads; 1 that no export reads",
    );
    // What was loaded is found again, of both.
    assert_eq!((place.load().1.parsed, place.load().1.unchanged), (0, 2));
    place.write("exports/all.csv", &text.replace("98", "97"));
    assert_eq!(place.load().1.parsed, 1);
    assert_eq!(counts(&place.settled(), Table::Readings).accepted, 2);

    for (settings, words) in [
        (
            export("a", "readings", "\"0\"") + &export("c", "readings", "\"4\", \"0\""),
            "exports/all.csv, line 2: exports.a and exports.c in study.toml both take the row",
        ),
        (
            export("a", "readings", "\"0\"")
                + &export("c", "readings", "\"1\"").replace("rows", "#"),
            "matched by two exports, a and c",
        ),
        // A fingerstick that is a reading as well would agree with itself.
        (
            export("a", "readings", "\"0\"").replace("rows", "#")
                + &export("c", "fingersticks", "\"1\""),
            "matched by two exports, a and c",
        ),
        (
            export("a", "readings", "\"0\", \"1\"") + &checks,
            "exports/all.csv, line 4: exports.a and exports.b in study.toml both take the row",
        ),
        // Another meter makes no other fingerstick of a row.
        (
            checks.clone()
                + "constants = { meter = \"x\" }\n"
                + &checks.replace("exports.b", "exports.d")
                + "constants = { meter = \"y\" }\n",
            "exports/all.csv, line 4: exports.b and exports.d in study.toml both take the row",
        ),
        (
            export("a", "readings", "\"0\"").replace("Art", "Kind"),
            "exports/all.csv, line 1: there is no column `Kind`, by which exports.a in study.toml takes its `rows`: the columns, separated by semicolons, are `Art`",
        ),
        (
            export("a", "readings", ""),
            "line 8: exports.a.rows: `Art` names no text",
        ),
        (export("a", "readings", "0"), "line 8: exports.a.rows.Art"),
    ] {
        place.write("study.toml", &format!("{UTC}{settings}"));
        let error = place.fails();
        assert!(error.contains(words), "{error}");
    }
    // A row too short to tell its kind is rejected once.
    let two = export("a", "readings", "\"0\"") + &checks;
    place.write("study.toml", &format!("{UTC}{two}"));
    place.write(
        "exports/all.csv",
        "Zeit;Wert;Geraet;Art\n2026-03-01T09:00Z;100;a;0\n2026-03-01T09:05Z;100\n2026-03-01T09:02Z;98;a;1\n",
    );
    let settled = place.settled();
    rejected(
        &settled,
        &[("exports/all.csv:3:", "wrong number of fields")],
    );
    assert_eq!(counts(&settled, Table::Fingersticks).untaken, 2);
    place.write("exports/all.csv", text);

    // Two kinds of rows of one table.
    let two = export("a", "readings", "\"0\"") + &export("c", "readings", "\"4\"");
    place.write("study.toml", &format!("{UTC}{two}"));
    assert_eq!(counts(&place.settled(), Table::Readings).accepted, 3);
}

/// A row that ends before the column of its kind is no row of another kind: it is rejected.
#[test]
fn a_row_without_its_kind_is_rejected() {
    let export =
        "[exports.a]\ntable = \"fingersticks\"\nfiles = \"a.csv\"\nrows = { kind = [\"1\"] }\n";
    let place = Place::new(&[
        ("study.toml", &format!("{UTC}{export}")),
        (
            "a.csv",
            "time,glucose,kind\n2026-03-01T09:00Z,100,1\n2026-03-01T09:05Z,101\n2026-03-01T09:10Z,102,2\n",
        ),
    ]);
    let settled = place.settled();
    rejected(&settled, &[("a.csv:3:", "wrong number of fields")]);
    let all = counts(&settled, Table::Fingersticks);
    assert_eq!((all.read, all.untaken, all.accepted), (3, 1, 1));
}

/// A row of a sensor's life holds two events: two exports of one table take a column of times each.
#[test]
fn exports_that_differ_in_a_constant_share_a_file() {
    let export = |event: &str, time: &str| {
        format!(
            "[exports.{event}]\ntable = \"wear-events\"\nfiles = \"log.csv\"\ncolumns = {{ sensor = \"S\", time = \"{time}\", site = \"At\", cause = \"Why\" }}\nconstants = {{ event = \"{event}\" }}\n"
        )
    };
    let place = Place::new(&[
        (
            "study.toml",
            &format!("{UTC}{}{}", export("insert", "In"), export("end", "Out")),
        ),
        (
            "log.csv",
            "S,In,Out,At,Why\na,2026-03-01T08:00Z,2026-03-09T08:00Z,calf,chosen\nb,2026-03-10T08:00Z,,calf,\nc,,,calf,\n",
        ),
    ]);
    let settled = place.settled();
    // Whoever put a sensor on did so at some time; that it is still on is no fault.
    rejected(&settled, &[("log.csv:4:time", "")]);
    let all = counts(&settled, Table::WearEvents);
    assert_eq!((all.read, all.untaken, all.accepted), (6, 2, 3));
    warned(
        &settled,
        "log.csv: 2 rows are left out by exports.end in study.toml: 2 without a time of their event",
    );
    // The same events after the file has changed, and another has come.
    place.write(
        "log.csv",
        "S,In,Out,At,Why\na,2026-03-01T08:00Z,2026-03-09T08:00Z,calf,chosen\n",
    );
    place.write(
        "readings/r.csv",
        "sensor,time,glucose\na,2026-03-01T09:00Z,100\n",
    );
    assert_eq!(counts(&place.settled(), Table::WearEvents).accepted, 2);
    place.write(
        "readings/r.csv",
        "sensor,time,glucose\na,2026-03-01T09:00Z,101\n",
    );
    assert_eq!(counts(&place.settled(), Table::WearEvents).accepted, 2);
}

/// Two exports of one event would put every sensor on twice.
#[test]
fn exports_of_one_event_do_not_share_a_file() {
    let export = |name: &str| {
        format!(
            "[exports.{name}]\ntable = \"wear-events\"\nfiles = \"log.csv\"\nconstants = {{ event = \"insert\" }}\n"
        )
    };
    let place = Place::new(&[
        (
            "study.toml",
            &format!("{UTC}{}{}", export("one",), export("two")),
        ),
        ("log.csv", "sensor,time,site\na,2026-03-01T08:00Z,calf\n"),
    ]);
    let error = place.fails();
    assert!(
        error.contains("log.csv is matched by two exports, one and two"),
        "{error}"
    );
}

/// A unit behind a value is its own; beside another in the column of units neither can be believed.
#[test]
fn a_unit_behind_a_value_is_held_to_its_column() {
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "readings/r.csv",
            "sensor,time,glucose,unit\na,2026-03-01T09:00Z,6 mmol/L,\na,2026-03-01T09:05Z,6 mmol/L,mmol/L\n\
             a,2026-03-01T09:10Z,6.5 mmol/L,mg/dL\na,2026-03-01T09:15Z,120 mg/dL,furlong\n",
        ),
        (
            "fingersticks/f.csv",
            "time,glucose,unit\n2026-03-01T09:00Z,6 mmol/L,mg/dL\n",
        ),
    ]);
    let settled = place.settled();
    rejected(
        &settled,
        &[
            (
                "fingersticks/f.csv:2:unit",
                "two units: mmol/L behind the value, mg/dL beside it",
            ),
            ("readings/r.csv:4:unit", "two units"),
            ("readings/r.csv:5:unit", "unknown unit `furlong`"),
        ],
    );
    assert_eq!(counts(&settled, Table::Readings).accepted, 2);
}
