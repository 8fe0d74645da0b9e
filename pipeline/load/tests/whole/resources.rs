//! Files of HL7 FHIR in a study: where they are read, and the log of wear that names their sensors.

use super::*;

const SETTINGS: &str =
    "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n[fhir]\nsensor = \"from wear events\"\n";

/// A reading by its LOINC code, as a line of its own; no device is named.
fn reading(minute: u32, glucose: u32) -> String {
    format!(
        "{{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{{\"coding\":[{{\"system\":\"http://loinc.org\",\
         \"code\":\"99504-3\"}}]}},\"effectiveDateTime\":\"2026-03-01T09:{minute:02}:00Z\",\"valueQuantity\":\
         {{\"value\":{glucose},\"code\":\"mg/dL\"}}}}\n"
    )
}

fn named(place: &Place) -> Vec<String> {
    let rows = readings(&place.load().0).into_iter();
    rows.map(|(sensor, time, glucose, _)| format!("{sensor} {} {glucose}", &time[11..16]))
        .collect()
}

#[test]
fn resources_are_read_among_readings_alone() {
    let place = Place::new(&[
        ("study.toml", SETTINGS),
        ("wear-events/e.csv", INSERT),
        ("readings/r.ndjson", &reading(5, 100)),
        ("readings/.r.ndjson", &reading(10, 101)),
        ("readings/old.json/r.json", &reading(15, 102)),
        ("fingersticks/f.ndjson", &reading(20, 103)),
    ]);
    let warned = place.study().warnings.join("\n");
    for name in [
        "readings/.r.ndjson",
        "readings/old.json",
        "fingersticks/f.ndjson",
    ] {
        assert!(warned.contains(&format!("{name} is not read")), "{warned}");
    }
    assert!(!warned.contains("readings/r.ndjson"), "{warned}");
    assert_eq!(named(&place), ["a 09:05 100"]);
}

/// The log is taken from the store where it is as it was, and from its files where they changed.
#[test]
fn the_log_names_the_sensors_of_readings() {
    let place = Place::new(&[
        ("study.toml", SETTINGS),
        ("wear-events/e.csv", INSERT),
        ("readings/r.ndjson", &reading(5, 100)),
    ]);
    assert_eq!(named(&place), ["a 09:05 100"]);
    place.write("readings/r.ndjson", &(reading(5, 100) + &reading(10, 101)));
    assert_eq!(named(&place), ["a 09:05 100", "a 09:10 101"]);
    let swapped = "sensor,time,event,site,cause\na,2026-03-01T08:00:00Z,insert,calf,\na,2026-03-01T09:07:00Z,end,,chosen\n\
                   b,2026-03-01T09:08:00Z,insert,calf,\n";
    place.write("wear-events/e.csv", swapped);
    assert_eq!(named(&place), ["a 09:05 100", "b 09:10 101"]);
    place.write("study.toml", UTC);
    let settled = place.settled();
    let all = counts(&settled, Table::Readings);
    assert_eq!((all.read, all.accepted), (2, 0), "nothing names a sensor");
}
