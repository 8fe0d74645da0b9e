//! Values at the edges of what is read, and what a store tells of itself.

use super::*;

/// Of 65,536 bytes a field is read, of one more it is not; a row may be longer.
#[test]
fn a_field_has_a_most_length() {
    let long = "x".repeat(1 << 16);
    let text = format!(
        "sensor,time,glucose,note,more\na,2026-03-01T09:00:00Z,100,{long},{long}\na,2026-03-01T09:05:00Z,101,{long}y,\n"
    );
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        ("readings/r.csv", &text),
    ]);
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
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "readings/r.csv",
            "\u{feff}sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n",
        ),
    ]);
    assert_eq!(readings(&place.load().0)[0].0, "a");
    assert!(place.settled().warnings.is_empty());
}

/// Readings up to and including the instant count, those after it are named one by one.
#[test]
fn an_instant_within_the_only_sensor_parts_its_readings() {
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,2026-03-01T09:05:00Z,101\n",
        ),
    ]);
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
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n",
        ),
    ]);
    let rows = readings(&place.load().0);
    for (text, words) in [
        (
            "{\"manifest\":{\"version\":3}}",
            "it has version 3, this program reads 4",
        ),
        ("{\"manifest\":{\"version\":4}}", "manifest.json is damaged"),
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
