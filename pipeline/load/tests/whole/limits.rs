//! Values at the edges of what is read, and what a store tells of itself.

use super::*;

/// Of 65,536 bytes a field is read, of one more it is not; a row may be longer.
#[test]
fn a_field_has_a_most_length() {
    let long = "x".repeat(1 << 16);
    let text = format!(
        "sensor,time,glucose,note,more\na,2026-03-01T09:00:00Z,100,{long},{long}\na,2026-03-01T09:05:00Z,101,{long}y,\n"
    );
    let place = Place::with_readings(&text);
    let settled = place.settled();
    rejected(
        &settled,
        &[("readings/r.csv:3:", "a field of more than 65536 bytes")],
    );
    assert_eq!(counts(&settled, Table::Readings).accepted, 1);
}

/// The mark that some programs put before UTF-8 is no part of the first column's name.
#[test]
fn a_byte_order_mark_is_passed_over() {
    let place = Place::with_readings("\u{feff}sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n");
    assert_eq!(readings(&place.load().0)[0].0, "a");
    assert!(place.settled().warnings.is_empty());
}

/// Readings up to and including the instant count, those after it are named one by one.
#[test]
fn an_instant_within_the_only_sensor_parts_its_readings() {
    let place = Place::with_readings(
        "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,2026-03-01T09:05:00Z,101\n",
    );
    let (store, _) = place.load();
    for (as_of, late) in [("09:00:00", true), ("09:04:59", true), ("09:05:00", false)] {
        let as_of = at(&format!("2026-03-01T{as_of}Z"));
        let settled = store.settle(&place.study(), as_of).unwrap();
        let wanted = [("readings/r.csv:3:time", "after --as-of")];
        rejected(&settled, if late { &wanted } else { &[] });
        assert_eq!(settled.late, late);
        let all = counts(&settled, Table::Readings);
        assert_eq!(all.accepted, if late { 1 } else { 2 });
    }
}

/// A store of another version is built again, and the note says of which; so is one whose manifest is no manifest.
#[test]
fn a_store_of_another_version_is_named() {
    let place = Place::with_readings("sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n");
    let rows = readings(&place.load().0);
    for (text, words) in [
        (
            "{\"manifest\":{\"version\":3}}",
            "it has version 3, this program reads 5",
        ),
        ("{\"manifest\":{\"version\":5}}", "manifest.json is damaged"),
        ("no manifest", "manifest.json is damaged"),
    ] {
        place.write(".whereworn/manifest.json", text);
        let (store, loaded) = place.load();
        assert!(loaded.notes[0].contains(words), "{:?}", loaded.notes);
        assert_eq!((loaded.parsed, readings(&store)), (2, rows.clone()));
    }
}

/// Of rows that are equal, left out or withdrawn several studies have as many as each together.
#[test]
fn what_became_of_rows_is_summed_over_studies() {
    let settings = format!("{UTC}[[corrections]]\nsensor = \"c\"\nleave_out = true\n");
    let row = "a,2026-03-01T09:00:00Z,100\n";
    let file = format!("sensor,time,glucose\n{row}{row}{row}c,2026-03-01T09:00:00Z,100\n");
    let withdrawn = "{\"resourceType\":\"Observation\",\"status\":\"entered-in-error\",\"code\":{\"coding\":[{\"system\":\"http://loinc.org\",\"code\":\"99504-3\"}]}}\n";
    let place = Place::new(&[
        ("study.toml", &settings),
        ("wear-events/e.csv", INSERT),
        ("readings/r.csv", &file),
        ("readings/s.ndjson", withdrawn),
    ]);
    let one = place.settled();
    let all = counts(&one, Table::Readings);
    assert_eq!(
        (
            all.read,
            all.duplicates,
            all.left_out,
            all.withdrawn,
            all.accepted
        ),
        (5, 2, 1, 1, 1)
    );
    let named =
        [("north", 0), ("south", 1)].map(|(name, first)| one.clone().named(name, first).unwrap());
    let both = Settled::joined(named.into()).unwrap().unwrap();
    let all = counts(&both, Table::Readings);
    assert_eq!(
        (
            all.read,
            all.duplicates,
            all.left_out,
            all.withdrawn,
            all.accepted
        ),
        (10, 4, 2, 2, 2)
    );
}

/// With memory for a few readings they go through files, and come out as they are with memory for all.
#[test]
fn little_memory_gives_the_same_readings() {
    let text = |first: usize, wanted: usize| {
        let mut text = "sensor,time,glucose\n".to_owned();
        for n in 0..30 {
            let sensor = ["a", "b", "c"][(first + n) % 3];
            text += &format!("{sensor},2026-03-01T09:{n:02}:00Z,{}\n", wanted + n);
        }
        text
    };
    let events =
        ["a", "b", "c"].map(|sensor| format!("{sensor},2026-03-01T08:00:00Z,insert,calf\n"));
    let events = format!("sensor,time,event,site\n{}", events.concat());
    let load_within = |readings: usize| {
        let place = Place::new(&[
            ("study.toml", UTC),
            ("wear-events/e.csv", &events),
            ("readings/r.csv", &text(0, 100)),
            ("readings/s.csv", &text(1, 200)),
        ]);
        let options = LoadOptions {
            memory: Some(readings * 80),
            ..LoadOptions::default()
        };
        let first = load(&place.study(), &options, &|_| {}).unwrap().0;
        let first = readings_and_counts(&place, &first);
        place.write("readings/s.csv", &text(2, 300));
        let second = load(&place.study(), &options, &|_| {}).unwrap().0;
        (first, readings_and_counts(&place, &second))
    };
    let wanted = load_within(1000);
    assert_eq!((wanted.0.0.len(), wanted.1.0.len()), (60, 60));
    for readings in [0, 1, 15, 45, 59, 60] {
        assert_eq!(load_within(readings), wanted, "memory for {readings}");
    }
}

type Row = (String, String, f64, Status);

fn readings_and_counts(place: &Place, store: &Store) -> (Vec<Row>, RowCounts) {
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    (readings(store), counts(&settled, Table::Readings))
}

/// A hundred thousand rejected rows of a file are listed; one more is counted, on a line that says so.
#[test]
fn rejects_beyond_a_hundred_thousand_are_counted() {
    let text = |rows: usize| format!("sensor,time,glucose\n{}", "a,,1\n".repeat(rows));
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        ("readings/r.csv", &text(100_000)),
    ]);
    let settled = place.settled();
    assert_eq!(settled.rejects.len(), 100_000);
    assert!(
        !settled
            .rejects
            .iter()
            .any(|reject| reject.reason.contains("more rows"))
    );
    place.write("readings/r.csv", &text(100_003));
    let settled = place.settled();
    let told = settled
        .rejects
        .iter()
        .find(|reject| reject.reason.contains("more rows"));
    let told = told.unwrap();
    assert!(
        told.reason
            .starts_with("3 more rows of this file were rejected")
    );
    assert_eq!(told.line, 100_001);
    assert_eq!(counts(&settled, Table::Readings).rejected, 100_003);
}

/// Lisbon's hour from 01:00 came twice on 25 October 2026 (IANA time zone database): the order of a meter's rows tells which
/// is meant, and the correction of its clock moves it then.
#[test]
fn a_corrected_clock_has_its_hour_twice_too() {
    let settings = "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n\
         [[corrections]]\nmeter = \"k\"\nclock_minutes = 5\n";
    let row = |time: &str| format!("2026-10-25T{time},100,k\n");
    let checks = format!(
        "time,glucose,meter\n{}{}{}",
        row("01:10"),
        row("01:50"),
        row("01:20")
    );
    let place = Place::new(&[("study.toml", settings), ("fingersticks/f.csv", &checks)]);
    let kept = place.load().0.checks(Micros::MAX).unwrap();
    let times: Vec<String> = kept.iter().map(|check| format_utc(check.time)).collect();
    let wanted = ["00:15", "00:55", "01:25"].map(|time| format!("2026-10-25T{time}:00Z"));
    assert_eq!(times, wanted);
}

/// Months between a sensor's first and last reading are months of the study, though nothing else was noted in them.
#[test]
fn a_sensor_has_its_months() {
    let text = "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,2026-05-31T23:59:00Z,100\n";
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        ("readings/r.csv", text),
    ]);
    let months: Vec<String> = place
        .settled()
        .months
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(months, ["2026-03", "2026-04", "2026-05"]);
}

/// Equal but for a rounding is the same reading, where units are mixed; a difference that can be seen is another.
#[test]
fn glucose_in_two_units_may_be_one_reading() {
    let text = "sensor,time,glucose,unit\na,2026-03-01T09:00:00Z,5.5,mmol/L\na,2026-03-01T09:00:00Z,99.0858,mg/dL\n\
         a,2026-03-01T09:05:00Z,100,mg/dL\na,2026-03-01T09:05:00Z,100.001,mg/dL\n";
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        ("readings/r.csv", text),
    ]);
    let settled = place.settled();
    rejected(
        &settled,
        &[(
            "readings/r.csv:5:glucose",
            "contradicts readings/r.csv, line 4",
        )],
    );
    assert_eq!(counts(&settled, Table::Readings).duplicates, 1);
}
