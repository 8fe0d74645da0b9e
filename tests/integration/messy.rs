//! Files as people have them: words and numbers of other programs, clocks that are off, travel, and what the program
//! says of them.

use crate::fixture::{IN_UTC, LATER, Study, whereworn};
use std::ffi::OsStr;

const EVENTS: &str = "sensor,time,event,site\na,2026-03-01T08:00:00Z,insert,calf\n";

fn rows(study: &Study, sql: &str) -> Vec<String> {
    let table = study.sql(sql);
    table.lines.iter().map(|cells| cells.join(" ")).collect()
}

const READINGS: &str =
    "SELECT time, ROUND(glucose, 2) AS glucose, status FROM readings ORDER BY time";

#[test]
fn a_unit_that_nobody_names_is_asked_for() {
    let study = Study::new("[study]\ntimezone = \"UTC\"\n");
    study.write("wear-events/e.csv", EVENTS).write(
        "readings/r.csv",
        "sensor,time,glucose\na,2026-03-02T08:00Z,112\n",
    );
    let run = study.try_report(&[]);
    run.fails_with(&["readings/r.csv, line 2", "unit", "[study]", "mmol/L"]);
    study.assert_untouched();
    study.write(
        "readings/r.csv",
        "sensor,time,glucose,unit\na,2026-03-02T08:00Z,10,mmol/L\n",
    );
    assert_eq!(rows(&study, READINGS), ["2026-03-02T08:00:00Z 180.16 ok"]);
}

/// 2.2 and 27.8 mmol/L are 39.63 and 500.83 mg/dL, by 18.0156.
#[test]
fn texts_in_the_value_column() {
    let study = Study::new(&IN_UTC.replace("mg/dL", "mmol/L"));
    study.write("wear-events/e.csv", EVENTS).write(
        "readings/r.csv",
        "sensor;time;glucose;status\n\
         a;2026-03-02T08:00Z;5,5;\n\
         a;2026-03-02T08:05Z;LO;\n\
         a;2026-03-02T08:10Z;<2,2;\n\
         a;2026-03-02T08:15Z;>27,8;ok\n\
         a;2026-03-02T08:20Z;;error\n\
         a;2026-03-02T08:25Z;;\n",
    );
    assert_eq!(
        rows(&study, READINGS),
        [
            "2026-03-02T08:00:00Z 99.09 ok",
            "2026-03-02T08:05:00Z  low",
            "2026-03-02T08:10:00Z 39.63 low",
            "2026-03-02T08:15:00Z 500.83 high",
            "2026-03-02T08:20:00Z  error",
        ]
    );
    let rejects = study.rejects();
    assert_eq!(rejects.len(), 1, "{rejects:?}");
    assert_eq!(rejects[0].0, "readings/r.csv:7:glucose");
}

#[test]
fn words_constants_and_encodings_of_an_export() {
    let settings = format!(
        "{IN_UTC}[exports.old]\ntable = \"wear-events\"\nfiles = \"exports/log.csv\"\n\
         columns = {{ time = \"Wann\", event = \"Was\", site = \"Wo\", cause = \"Grund\" }}\n\
         constants = {{ sensor = \"a\" }}\n\
         values = {{ event = {{ \"gesetzt\" = \"insert\", \"ab\" = \"end\" }}, site = {{ \"Rücken\" = \"lower-back\" }}, \
         cause = {{ \"hängen geblieben\" = \"knocked-off\" }} }}\n\
         time_format = \"%d.%m.%Y %H:%M\"\nencoding = \"latin-1\"\n"
    );
    let study = Study::new(&settings);
    let log = "Wann;Was;Wo;Grund\n01.03.2026 08:00;gesetzt;R\u{fc}cken;\n05.03.2026 08:00;ab;;h\u{e4}ngen geblieben\n";
    let latin: Vec<u8> = log.chars().map(|c| c as u8).collect();
    study.write("exports/log.csv", latin).write(
        "readings/r.csv",
        "sensor,time,glucose\na,2026-03-02T08:00Z,112\n",
    );
    assert_eq!(
        rows(
            &study,
            "SELECT sensor, event, site, cause FROM wear_events ORDER BY time"
        ),
        ["a insert lower-back ", "a end  knocked-off"]
    );
    study.write("study.toml", settings.replace("encoding", "# encoding"));
    study
        .try_report(&[])
        .fails_with(&["exports/log.csv, line 2", "latin-1"]);
}

#[test]
fn corrections_leave_raw_files_as_they_are() {
    let corrections = "[[corrections]]\nsensor = \"a\"\nto = \"2026-03-02\"\nclock_minutes = -60\n\
        [[corrections]]\nmeter = \"old\"\nunit = \"mmol/L\"\n\
        [[corrections]]\nfile = \"readings/bad*\"\nleave_out = true\n";
    let study = Study::new(&format!("{IN_UTC}{corrections}"));
    study
        .write("wear-events/e.csv", EVENTS)
        .write(
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-02T08:00Z,100\na,2026-03-03T08:00Z,101\n",
        )
        .write(
            "readings/bad.csv",
            "sensor,time,glucose\na,2026-03-04T08:00Z,1\n",
        )
        .write(
            "fingersticks/f.csv",
            "time,glucose,meter\n2026-03-02T07:00Z,10,old\n",
        );
    assert_eq!(
        rows(&study, READINGS),
        ["2026-03-02T07:00:00Z 100 ok", "2026-03-03T08:00:00Z 101 ok"]
    );
    assert_eq!(
        rows(
            &study,
            "SELECT ROUND(glucose, 2) AS glucose FROM fingersticks"
        ),
        ["180.16"]
    );
    let run = study.try_report(&["--strict"]);
    assert_eq!(
        run.code, 0,
        "what is left out on purpose is no reject: {}",
        run.err
    );
    run.says(&["readings/bad.csv: 1 rows left out"]);
}

/// Tokyo is nine hours ahead of UTC (IANA time zone database): 21:30 there is 12:30 UTC.
#[test]
fn a_journey_moves_clocks_and_nights() {
    let study = Study::new(&format!(
        "{IN_UTC}[wearers.wearer-1]\nzones = [{{ from = \"2026-03-10\", timezone = \"Asia/Tokyo\" }}]\n"
    ));
    study.write("wear-events/e.csv", EVENTS).write(
        "readings/r.csv",
        "sensor,time,glucose\na,2026-03-09T21:30,100\na,2026-03-11T21:30,101\n",
    );
    assert_eq!(
        rows(&study, READINGS),
        ["2026-03-09T21:30:00Z 100 ok", "2026-03-11T12:30:00Z 101 ok"]
    );
    let nights = "SELECT night_start, night_end FROM clock_nights WHERE night IN ('2026-03-08', '2026-03-10') ORDER BY night";
    assert_eq!(
        rows(&study, nights),
        [
            "2026-03-08T23:00:00Z 2026-03-09T07:00:00Z",
            "2026-03-10T14:00:00Z 2026-03-10T22:00:00Z"
        ]
    );
}

#[test]
fn readings_after_a_second_insert_are_set_aside() {
    let study = Study::new(IN_UTC);
    study
        .write(
            "wear-events/e.csv",
            format!("{EVENTS}a,2026-03-10T08:00:00Z,insert,abdomen\n"),
        )
        .write(
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-09T08:00Z,100\na,2026-03-10T08:00Z,101\na,2026-03-11T08:00Z,102\n",
        );
    assert_eq!(rows(&study, READINGS), ["2026-03-09T08:00:00Z 100 ok"]);
    let rejects = study.rejects();
    let aside: Vec<_> = rejects
        .iter()
        .filter(|(place, _)| place.starts_with("readings"))
        .collect();
    assert_eq!(aside.len(), 1, "{rejects:?}");
    assert_eq!(aside[0].0, "readings/r.csv:3:sensor");
    assert!(aside[0].1.contains("2 readings of sensor `a`"), "{aside:?}");
}

#[test]
fn the_month_is_the_last_that_is_over() {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", EVENTS).write(
        "readings/r.csv",
        "sensor,time,glucose\na,2026-03-02T08:00Z,100\na,2026-04-02T08:00Z,101\n",
    );
    for (as_of, month) in [
        ("2026-04-20T00:00:00Z", "2026-03"),
        ("2026-04-30T23:59:59Z", "2026-03"),
        ("2026-05-01T00:00:00Z", "2026-04"),
        (LATER, "2026-04"),
        ("2026-03-20T00:00:00Z", "2026-03"),
    ] {
        let run = study.try_report(&["--as-of", as_of]);
        assert_eq!(run.code, 0, "{}", run.err);
        run.says(&[&format!("month {month}")]);
    }
    study
        .try_report(&["--month", "2026-05"])
        .fails_with(&["2026-05 has no data", "2026-03 to 2026-04"]);
}

fn run(arguments: &[&OsStr]) -> crate::fixture::Run {
    whereworn(arguments)
}

/// From a messy export to a report in five commands: the log of it stands in pipeline/docs/first-report.md.
#[test]
fn from_a_messy_export_to_a_report() {
    let place = Study::new("");
    let dir = place.beside("mine");
    let started = run(&[
        "start".as_ref(),
        dir.as_ref(),
        "--timezone".as_ref(),
        "Europe/Lisbon".as_ref(),
        "--unit".as_ref(),
        "mmol/L".as_ref(),
        "--rated-days".as_ref(),
        "10".as_ref(),
    ]);
    assert_eq!(started.code, 0, "{}", started.err);
    let mut export = "Exported 2026-03-20;;;\n\nDatum;Uhrzeit;Zucker (mmol/L);Geber\n".to_owned();
    for minute in 0..2000 {
        let (day, rest) = (13 + minute / 288, minute % 288);
        let value = match minute % 97 {
            0 => "<2,2".to_owned(),
            n => format!("{},{}", 4 + n % 9, n % 10),
        };
        export += &format!(
            "{day:02}/03/2026;{:02}:{:02};{value};G-7731\n",
            rest / 12,
            rest % 12 * 5
        );
    }
    let readings = place.beside("export.txt");
    std::fs::write(&readings, export).unwrap();
    let log = place.beside("log.csv");
    std::fs::write(
        &log,
        "When,What,Where,Sensor,Why\n2026-03-12T20:00,new sensor,Tummy,G-7731,\n2026-03-19T22:00,removed,,G-7731,came loose\n",
    )
    .unwrap();
    let map = |file: &std::path::Path| {
        run(&[
            "map".as_ref(),
            file.as_ref(),
            "--write".as_ref(),
            dir.as_ref(),
        ])
    };
    let mapped = map(&readings);
    assert_eq!(mapped.code, 0, "{}{}", mapped.out, mapped.err);
    mapped.says(&[
        "separated by semicolons",
        "on line 3",
        "%d/%m/%Y %H:%M",
        "mmol/L",
    ]);
    let mapped = map(&log);
    assert_eq!(mapped.code, 0, "{}{}", mapped.out, mapped.err);
    mapped.says(&[
        "`Tummy` is taken for `abdomen`",
        "`came loose` is taken for `lifted`",
    ]);
    let report = run(&[
        "report".as_ref(),
        dir.as_ref(),
        "--as-of".as_ref(),
        LATER.as_ref(),
    ]);
    assert_eq!(report.code, 0, "{}", report.err);
    let sessions =
        std::fs::read_to_string(dir.join("reports/2026-03-clinician/tables/sessions.csv")).unwrap();
    assert!(sessions.contains("G-7731,abdomen"), "{sessions}");
    assert!(sessions.contains("lifted"), "{sessions}");
}

/// Two devices' exports in UTF-16 whose dates are all before the 13th, checks in Latin-1 and a log, in one command: the log
/// of it stands in pipeline/docs/first-report.md.
#[test]
fn several_exports_in_one_command() {
    let place = Study::new("");
    let dir = place.beside("mine");
    let start = "start,--timezone,Europe/Berlin,--unit,mmol/L,--rated-days,5";
    let mut arguments: Vec<&OsStr> = start.split(',').map(OsStr::new).collect();
    arguments.push(dir.as_ref());
    assert_eq!(run(&arguments).code, 0);
    let mut files = Vec::new();
    let mut file = |name: &str, bytes: Vec<u8>| {
        files.push(place.beside(name));
        std::fs::write(place.beside(name), bytes).unwrap();
    };
    for (device, first) in [("A", 3), ("B", 8)] {
        let mut text = format!("Export\n\nGerät {device}\n\nDatum;Uhrzeit;Gerätenummer;Wert\n");
        for step in 0..1152 {
            let (day, rest) = (first + step / 288, step % 288);
            let value = match step % 97 {
                0 => "LO".to_owned(),
                1 => "HI".to_owned(),
                n => format!("{},{}", 4 + n % 9, n % 10),
            };
            let clock = format!("{:02}:{:02}", rest / 12, rest % 12 * 5);
            text += &format!("{day:02}.10.2026;{clock};{device}-1001;{value}\n");
        }
        let units = std::iter::once(0xfeff).chain(text.encode_utf16());
        file(
            &format!("device-{device}.csv"),
            units.flat_map(u16::to_le_bytes).collect(),
        );
    }
    let mut checks = "Zeitpunkt;Messgerät;Blutzucker mmol/l;Anlass\n".to_owned();
    for (day, hour) in (3..=20).flat_map(|day| [8, 19].map(|hour| (day, hour))) {
        checks += &format!(
            "{day:02}.10.2026 {hour:02}:10;Küche;6,{};Routine\n",
            day % 10
        );
    }
    file("checks.csv", checks.chars().map(|c| c as u8).collect());
    let log = "When,What,Where,Side,Sensor,Why\n\
        02/10/2026 20:00,inserted,Belly,L,A-1001,\n07/10/2026 07:00,removed,,,A-1001,complete\n\
        07/10/2026 20:00,inserted,Back of arm,R,B-1001,\n13/10/2026 07:00,removed,,,B-1001,fell off\n";
    file("log.csv", log.as_bytes().to_vec());

    let mut arguments: Vec<&OsStr> = vec!["map".as_ref(), "--write".as_ref(), dir.as_ref()];
    arguments.extend(files.iter().map(|file| file.as_os_str()));
    let mapped = run(&arguments);
    assert_eq!(mapped.code, 0, "{}", mapped.err);
    mapped.says(&[
        "encoding: utf-16",
        "their names on line 5",
        "readings would leap by a month 3 times",
        "side: `L` is taken for `left`",
        "[exports.log] is in",
    ]);
    let report = run(&[
        "report".as_ref(),
        dir.as_ref(),
        "--as-of".as_ref(),
        "2026-11-02T00:00Z".as_ref(),
    ]);
    assert_eq!(report.code, 0, "{}", report.err);
    report.says(&[
        "2304 readings: 2304 accepted",
        "36 fingersticks: 36 accepted",
        "4 wear-events: 4 accepted",
    ]);
    let settings = std::fs::read_to_string(dir.join("study.toml")).unwrap();
    assert!(
        settings.contains("meter = \"Messgerät\"") && settings.contains("side = \"Side\""),
        "{settings}"
    );
}

/// What is open in one file keeps no other from being mapped.
#[test]
fn of_several_exports_the_open_ones_are_named() {
    let place = Study::new("");
    let (good, open) = (place.beside("good.csv"), place.beside("open.csv"));
    let rows = |day: &str| -> String {
        (0..60)
            .map(|n| format!("{day} 10:{n:02},s1,{}\n", 90 + n))
            .collect()
    };
    let text = |day: &str| format!("when,sensor,glucose\n{}", rows(day));
    std::fs::write(&good, text("2026-03-02")).unwrap();
    std::fs::write(&open, text("02/03/2026")).unwrap();
    let mapped = run(&["map".as_ref(), open.as_ref(), good.as_ref()]);
    assert_eq!(mapped.code, 1);
    mapped.says(&[
        "--dates day-first",
        "1 of 2 files are not mapped",
        "open.csv",
    ]);
    assert!(mapped.out.contains("[exports.good]"), "{}", mapped.out);
}

#[test]
fn two_orders_of_a_date_are_asked_for() {
    let place = Study::new("");
    let file = place.beside("x.csv");
    let rows: String = (1..100)
        .map(|n| {
            format!(
                "0{}/0{}/2026 10:{:02},{}\n",
                1 + n % 9,
                1 + n % 7,
                n % 60,
                90 + n
            )
        })
        .collect();
    std::fs::write(&file, format!("when,glucose\n{rows}")).unwrap();
    let mapped = run(&[
        "map".as_ref(),
        file.as_ref(),
        "--set".as_ref(),
        "sensor=s1".as_ref(),
    ]);
    mapped.says(&["--dates day-first"]);
    assert_eq!(mapped.code, 1);
    let mapped = run(&[
        "map".as_ref(),
        file.as_ref(),
        "--set".as_ref(),
        "sensor=s1".as_ref(),
        "--dates".as_ref(),
        "month-first".as_ref(),
    ]);
    assert_eq!(mapped.code, 0, "{}", mapped.err);
    assert!(
        mapped.out.contains("time_format = \"%m/%d/%Y %H:%M\""),
        "{}",
        mapped.out
    );
}

/// The rows that `start` gives as examples are rows that can be used.
#[test]
fn the_examples_of_a_new_study_can_be_used() {
    let place = Study::new("");
    let dir = place.beside("mine");
    let started = run(&[
        "start".as_ref(),
        dir.as_ref(),
        "--timezone".as_ref(),
        "UTC".as_ref(),
        "--unit".as_ref(),
        "mg/dL".as_ref(),
    ]);
    assert_eq!(started.code, 0, "{}", started.err);
    let settings = std::fs::read_to_string(dir.join("study.toml")).unwrap();
    let mut file = String::new();
    for line in settings
        .lines()
        .filter_map(|line| line.strip_prefix('#'))
        .map(str::trim)
    {
        if let Some((name, _)) = line.split_once(", one row") {
            file = name.to_owned();
            std::fs::write(dir.join(&file), "").unwrap();
        } else if !file.is_empty() && line.contains(',') {
            let text = std::fs::read_to_string(dir.join(&file)).unwrap();
            std::fs::write(dir.join(&file), format!("{text}{line}\n")).unwrap();
        }
    }
    let loaded = run(&["load".as_ref(), dir.as_ref(), "--strict".as_ref()]);
    assert_eq!(loaded.code, 0, "{}", loaded.err);
    loaded.says(&[
        "4 wear-events: 4 accepted",
        "1 readings: 1 accepted",
        "1 fingersticks: 1 accepted",
    ]);
    let again = run(&[
        "start".as_ref(),
        dir.as_ref(),
        "--timezone".as_ref(),
        "UTC".as_ref(),
        "--unit".as_ref(),
        "mg/dL".as_ref(),
    ]);
    again.fails_with(&["is not empty"]);
}

#[test]
fn completions_and_a_manual_page() {
    for shell in ["bash", "zsh", "fish"] {
        let printed = run(&["completions".as_ref(), shell.as_ref()]);
        assert!(
            printed.out.contains("whereworn") && printed.out.contains("report"),
            "{shell}"
        );
    }
    assert!(run(&["man".as_ref()]).out.starts_with(".ie"));
}
