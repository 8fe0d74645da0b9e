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

/// What was withdrawn, and what cannot be an instant, is counted beside what is kept.
#[test]
fn resources_that_are_not_kept_are_counted() {
    let mut text = reading(5, 100);
    text += &reading(10, 101).replace("\"final\"", "\"entered-in-error\"");
    text += &reading(15, 102).replace("2026-", "1926-");
    text += &reading(20, 103).replace("2026-03-01T09:20:00Z", "1970-01-01T00:00:00Z");
    text += &reading(25, 104).replace("T09:25:00Z", "");
    text += &reading(30, 105).replace("T09:30:00Z", "T09:30");
    text += &reading(35, 106).replace("T09:35:00Z", " around nine");
    let void = reading(40, 107).replace("\"final\"", "\"entered-in-error\"");
    text += &void.replace("99504-3", "41653-7");
    let device = "\"device\":{\"reference\":\"a\"},\"valueQ";
    let place = Place::new(&[
        ("study.toml", UTC),
        (
            "wear-events/e.csv",
            &INSERT.replace("2026-03-01T08", "1970-01-01T00"),
        ),
        ("readings/r.ndjson", &text.replace("\"valueQ", device)),
    ]);
    let settled = place.settled();
    rejected(
        &settled,
        &[
            ("readings/r.ndjson:3:", "a time before 1970"),
            ("readings/r.ndjson:5:", "has no time of day"),
            ("readings/r.ndjson:6:", "has no offset from UTC"),
            ("readings/r.ndjson:7:", "unparsable time"),
        ],
    );
    let [all, checks] = [Table::Readings, Table::Fingersticks].map(|table| counts(&settled, table));
    assert_eq!(
        (all.read, all.rejected, all.withdrawn, all.accepted),
        (7, 4, 1, 2)
    );
    assert_eq!((checks.read, checks.withdrawn, checks.accepted), (1, 1, 0));
    assert_eq!(named(&place), ["a 00:00 103", "a 09:05 100"]);
    // Where resources name their devices, another log leaves them as they are.
    place.write("wear-events/e.csv", INSERT);
    assert_eq!((place.load().1.parsed, place.load().1.unchanged), (1, 2));
    assert_eq!(named(&place), ["a 00:00 103", "a 09:05 100"]);
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
    assert_eq!((place.load().1.parsed, place.load().1.unchanged), (0, 2));
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

const CAPILLARY: &str = "41653-7";

/// Words of status in a value's interpretation; preliminary values are used, and the warning says how many they are.
#[test]
fn an_interpretation_says_that_a_value_is_off_the_scale() {
    let marked = |minute: u32, code: &str| {
        let marked =
            format!("\"interpretation\":[{{\"coding\":[{{\"code\":\"{code}\"}}]}}],\"valueQ");
        reading(minute, 100).replace("\"valueQ", &marked)
    };
    let mut text = marked(5, "<") + &marked(10, ">") + &marked(15, "N");
    let place = Place::new(&[
        ("study.toml", SETTINGS),
        ("wear-events/e.csv", INSERT),
        ("readings/r.ndjson", &text),
    ]);
    let found: Vec<Status> = readings(&place.load().0).iter().map(|row| row.3).collect();
    assert_eq!(found, [Status::Low, Status::High, Status::Ok]);
    assert_eq!(place.settled().warnings, [""; 0]);
    text += &reading(20, 101).replace("\"final\"", "\"preliminary\"");
    place.write("readings/r.ndjson", &text);
    let settled = place.settled();
    assert_eq!(counts(&settled, Table::Readings).accepted, 4);
    warned(&settled, "1 of the observations used are preliminary");
}

/// A check is one value on the meter's scale; what has none is not used, and a series or one off the scale is rejected. The
/// line is the place of the resource in its file.
#[test]
fn a_check_is_one_value_on_the_scale() {
    let check = |minute: u32| reading(minute, 100).replace("99504-3", CAPILLARY);
    let value = "\"valueQuantity\":{\"value\":100,\"code\":\"mg/dL\"}";
    let off = check(10).replace(
        "\"valueQ",
        "\"interpretation\":[{\"coding\":[{\"code\":\">\"}]}],\"valueQ",
    );
    let absent = check(15).replace(value, "\"dataAbsentReason\":{}");
    let series = check(20).replace(
        value,
        "\"valueSampledData\":{\"origin\":{\"value\":0,\"code\":\"mg/dL\"},\"period\":300000,\"dimensions\":1,\"data\":\"90 91\"}",
    );
    let text = check(5) + &off + &absent + &series;
    for name in ["readings/r.ndjson", "readings/r.json"] {
        let place = Place::new(&[
            ("study.toml", SETTINGS),
            ("wear-events/e.csv", INSERT),
            (name, &text),
        ]);
        let settled = place.settled();
        let at = |line: u32| format!("{name}:{line}:");
        rejected(
            &settled,
            &[
                (&at(2), "off the meter's scale"),
                (&at(4), "a fingerstick is no series"),
            ],
        );
        let all = counts(&settled, Table::Fingersticks);
        assert_eq!((all.read, all.rejected, all.accepted), (3, 2, 1));
        warned(&settled, "not used: fingerstick without a value (1)");
    }
}

/// What is not used is counted by its LOINC code; twelve kinds are named, and more are summed up.
#[test]
fn what_is_not_used_is_named_by_its_code() {
    let other = |code: u32| {
        let two = "\"coding\":[{\"system\":\"urn:own\",\"code\":\"x\"},";
        reading(5, 100)
            .replace("\"coding\":[", two)
            .replace("99504-3", &format!("{code}-9"))
    };
    let warned = |kinds: u32| {
        let text: String = (10..10 + kinds).map(other).collect();
        let place = Place::new(&[
            ("study.toml", SETTINGS),
            ("wear-events/e.csv", INSERT),
            ("readings/r.ndjson", &text),
        ]);
        place.settled().warnings.join("\n")
    };
    let twelve = warned(12);
    assert!(twelve.ends_with("Observation 21-9 (1)"), "{twelve}");
    assert!(warned(14).ends_with("Observation 21-9 (1), and 2 other kinds"));
}
