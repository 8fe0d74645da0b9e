//! The same invented study in CSV and in HL7 FHIR R4.

use std::fmt::Write;

use crate::fixture::{Study, Table};

fn events(study: &Study) {
    study.write(
        "wear-events/e.csv",
        "wearer,sensor,time,event,site,cause\n\
         anna,S1,2026-03-01T08:00:00Z,insert,calf,\n\
         anna,S1,2026-03-09T08:00:00Z,end,,fell-off\n\
         anna,S2,2026-03-10T08:00:00Z,insert,abdomen,\n",
    );
}

const SETTINGS: &str = "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n[fhir.wearers]\n\"Patient/7\" = \"anna\"\n";

/// Sensor, minute after 1 March, mg/dL: a slow wave with dips at night.
fn readings() -> Vec<(&'static str, i64, i64)> {
    let of = |sensor: &'static str, day: i64| {
        (0..1500).map(move |n| {
            (
                sensor,
                day * 1440 + 12 * 60 + n * 5,
                110 + (n * 7 % 60) - if n % 288 < 12 { 50 } else { 0 },
            )
        })
    };
    of("S1", 0).chain(of("S2", 9)).collect()
}

fn time(minute: i64) -> String {
    format!(
        "2026-03-{:02}T{:02}:{:02}:00Z",
        1 + minute / 1440,
        minute / 60 % 24,
        minute % 60
    )
}

fn observation(code: &str, device: &str, minute: i64, glucose: i64) -> String {
    format!(
        r#"{{"resourceType":"Observation","status":"final","code":{{"coding":[{{"system":"http://loinc.org","code":"{code}"}}]}},"subject":{{"reference":"Patient/7"}},"effectiveDateTime":"{}","valueQuantity":{{"value":{glucose},"system":"http://unitsofmeasure.org","code":"mg/dL"}},"device":{{"reference":"Device/{device}"}}}}"#,
        time(minute)
    )
}

#[test]
fn the_same_study_in_both_gives_the_same_tables() {
    let (csv, fhir) = (Study::new(SETTINGS), Study::new(SETTINGS));
    let (mut rows, mut sticks) = (
        "wearer,sensor,time,glucose\n".to_owned(),
        "wearer,time,glucose,meter\n".to_owned(),
    );
    let mut entries: Vec<String> = ["S1", "S2", "M1"]
        .iter()
        .map(|serial| format!(r#"{{"resource":{{"resourceType":"Device","id":"{serial}","serialNumber":"{serial}"}}}}"#))
        .collect();
    entries.push(
        r#"{"resource":{"resourceType":"Patient","id":"7","name":[{"family":"Zqplant"}]}}"#
            .to_owned(),
    );
    for (n, (sensor, minute, glucose)) in readings().into_iter().enumerate() {
        writeln!(rows, "anna,{sensor},{},{glucose}", time(minute)).unwrap();
        entries.push(format!(
            "{{\"resource\":{}}}",
            observation("99504-3", sensor, minute, glucose)
        ));
        // At other minutes of the hour each time, as fingersticks are.
        if n % 61 == 0 {
            writeln!(sticks, "anna,{},{},M1", time(minute), glucose + 6).unwrap();
            entries.push(format!(
                "{{\"resource\":{}}}",
                observation("41653-7", "M1", minute, glucose + 6)
            ));
        }
    }
    events(&csv);
    events(&fhir);
    csv.write("readings/r.csv", rows)
        .write("fingersticks/f.csv", sticks);
    fhir.write(
        "readings/b.json",
        format!(
            "{{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":[{}]}}",
            entries.join(",")
        ),
    );
    let (csv, fhir) = (csv.report(), fhir.report());
    let mut compared = 0;
    for (name, bytes) in &csv.files {
        if name.starts_with("tables/") && name.ends_with(".csv") && !name.contains("exclusions") {
            assert!(fhir.files[name] == *bytes, "{name}");
            compared += 1;
        }
    }
    assert!(compared > 20, "{compared} tables");
    let planted = fhir
        .files
        .iter()
        .find(|(_, bytes)| String::from_utf8_lossy(bytes).contains("Zqplant"));
    assert!(
        planted.is_none(),
        "a patient's name in {:?}",
        planted.map(|(name, _)| name)
    );
}

fn column(study: &Study, sql: &str, name: &str) -> Vec<String> {
    let table: Table = study.sql(sql);
    table.column(name)
}

/// A later bundle amends one reading and withdraws another; the files before are read again with it.
#[test]
fn a_later_file_amends_an_earlier_one() {
    let study = Study::new(SETTINGS);
    events(&study);
    let one = |id: &str, minute: i64, glucose: i64| {
        observation("99504-3", "S1", minute, glucose)
            .replace("\"status\"", &format!("\"id\":\"{id}\",\"status\""))
    };
    study.write(
        "readings/a.ndjson",
        [one("1", 800, 100), one("2", 805, 101), one("3", 810, 102)].join("\n"),
    );
    let sql = "SELECT CAST(glucose AS INT) AS glucose FROM readings ORDER BY time";
    let glucose = |study: &Study| column(study, sql, "glucose");
    study.write(
        "wear-events/more.csv",
        "wearer,sensor,time,event,site\nanna,Device/S1,2026-03-01T08:00:00Z,insert,calf\n",
    );
    assert_eq!(glucose(&study), ["100", "101", "102"]);
    let amended = one("1", 800, 105).replace("final", "amended");
    let void = one("2", 805, 101).replace("final", "entered-in-error");
    study.write("readings/b.ndjson", [amended, void].join("\n"));
    assert_eq!(glucose(&study), ["105", "102"]);
    study.remove("readings/b.ndjson");
    assert_eq!(glucose(&study), ["100", "101", "102"]);
}
