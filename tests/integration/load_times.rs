//! Local times, time zones and the days on which clocks are changed.
//!
//! The clocks of Europe/Lisbon by the IANA time zone database: put forward on 29 March 2026 at 01:00 UTC, from 01:00
//! to 02:00; put back on 25 October 2026 at 01:00 UTC, from 02:00 to 01:00.

use crate::fixture::Study;

const LISBON: &str = "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n";

/// Readings of sensors with these local times, all inserted long before; glucose counts up in file order.
fn study(rows: &[(&str, &str)]) -> Study {
    let study = Study::new(LISBON);
    let mut readings = "sensor,time,glucose\n".to_owned();
    for (number, (sensor, time)) in rows.iter().enumerate() {
        readings += &format!("{sensor},{time},{}\n", 100 + number);
    }
    study
        .write(
            "wear-events/e.csv",
            "sensor,time,event,site\na,2026-01-01,insert,calf\n\
             a,2026-01-01T08:00,insert,calf\nb,2026-01-01T08:00,insert,chest\n",
        )
        .write("readings/r.csv", readings);
    study
}

/// The instants of the readings in file order.
fn instants(study: &Study) -> Vec<String> {
    study
        .sql("SELECT time FROM readings ORDER BY glucose")
        .column("time")
}

#[test]
fn offsets_and_local_times() {
    let study = study(&[
        ("a", "2026-07-01T12:00"),
        ("a", "2026-07-01 12:05:00"),
        ("a", "2026-07-01T12:10:30.5Z"),
        ("a", "2026-07-01T12:15+05:30"),
        ("a", "2026-12-01T12:00"),
    ]);
    assert_eq!(
        instants(&study),
        [
            "2026-07-01T11:00:00Z",
            "2026-07-01T11:05:00Z",
            "2026-07-01T12:10:30.5Z",
            "2026-07-01T06:45:00Z",
            "2026-12-01T12:00:00Z",
        ]
    );
}

#[test]
fn a_wearers_own_zone() {
    let study = Study::new(&format!(
        "{LISBON}[wearers.ana]\ntimezone = \"Atlantic/Azores\"\n"
    ));
    study.write(
        "wear-events/e.csv",
        "wearer,sensor,time,event,site\n\
         ana,a,2026-07-01T12:00,insert,calf\n\
         rui,a,2026-07-01T12:00,insert,calf\n",
    );
    let sessions = study.report().table("sessions");
    let inserted = |wearer| {
        sessions
            .row(&[("wearer", wearer)])
            .text("inserted")
            .to_owned()
    };
    assert_eq!(inserted("ana"), "2026-07-01T12:00:00Z");
    assert_eq!(inserted("rui"), "2026-07-01T11:00:00Z");
}

#[test]
fn a_local_time_that_does_not_exist() {
    let study = study(&[
        ("a", "2026-03-29T00:59:59"),
        ("a", "2026-03-29T01:00:00"),
        ("a", "2026-03-29T01:59:59"),
        ("a", "2026-03-29T02:00:00"),
        ("a", "2026-03-29T01:30:00Z"),
    ]);
    study.write("fingersticks/f.csv", "time,glucose\n2026-03-29T01:30,100\n");
    let rejects = study.rejects();
    let places: Vec<&str> = rejects.iter().map(|(place, _)| place.as_str()).collect();
    let expected = [
        "fingersticks/f.csv:2:time",
        "readings/r.csv:3:time",
        "readings/r.csv:4:time",
        "wear-events/e.csv:2:time",
    ];
    assert_eq!(places, expected);
    assert!(rejects[1].1.contains("does not exist"), "{}", rejects[1].1);
    let expected = [
        "2026-03-29T00:59:59Z",
        "2026-03-29T01:00:00Z",
        "2026-03-29T01:30:00Z",
    ];
    assert_eq!(instants(&study), expected);
}

#[test]
fn a_time_that_occurs_twice_oldest_first() {
    let study = study(&[
        ("a", "2026-10-25T00:40"),
        ("a", "2026-10-25T01:00"),
        ("a", "2026-10-25T01:30"),
        ("b", "2026-10-25T01:15"),
        ("a", "2026-10-25T01:00"),
        ("a", "2026-10-25T01:20"),
        ("a", "2026-10-25T02:00"),
    ]);
    let expected = [
        "2026-10-24T23:40:00Z",
        "2026-10-25T00:00:00Z",
        "2026-10-25T00:30:00Z",
        // Nothing of sensor b is before it: the earlier instant.
        "2026-10-25T00:15:00Z",
        "2026-10-25T01:00:00Z",
        "2026-10-25T01:20:00Z",
        "2026-10-25T02:00:00Z",
    ];
    assert_eq!(instants(&study), expected);
}

#[test]
fn a_time_that_occurs_twice_newest_first() {
    let study = study(&[
        ("a", "2026-10-25T02:00"),
        ("a", "2026-10-25T01:20"),
        ("a", "2026-10-25T01:00"),
        ("a", "2026-10-25T01:30"),
        ("a", "2026-10-25T01:00"),
        ("a", "2026-10-25T00:40"),
    ]);
    let expected = [
        "2026-10-25T02:00:00Z",
        "2026-10-25T01:20:00Z",
        "2026-10-25T01:00:00Z",
        "2026-10-25T00:30:00Z",
        "2026-10-25T00:00:00Z",
        "2026-10-24T23:40:00Z",
    ];
    assert_eq!(instants(&study), expected);
}

#[test]
fn a_wear_event_in_the_hour_that_occurs_twice() {
    let study = Study::new(LISBON);
    study.write(
        "wear-events/e.csv",
        "sensor,time,event,site,cause\n\
         a,2026-10-25T01:50,insert,calf,\n\
         a,2026-10-25T01:10,end,,chosen\n\
         b,2026-10-25T01:10,insert,calf,\n",
    );
    let sessions = study.report().table("sessions");
    let first = sessions.row(&[("sensor", "a")]);
    assert_eq!(first.text("inserted"), "2026-10-25T00:50:00Z");
    assert_eq!(first.text("ended"), "2026-10-25T01:10:00Z");
    assert!((first.number("days") - 20.0 / 1440.0).abs() < 1e-12);
    let second = sessions.row(&[("sensor", "b")]);
    assert_eq!(second.text("inserted"), "2026-10-25T00:10:00Z");
}

/// The month of October ends at local midnight, which is 00:00 UTC: the 31st at 23:59 belongs to it, and so does
/// an end exactly at the cut-off.
#[test]
fn a_month_ends_at_local_midnight() {
    let study = Study::new("[study]\ntimezone = \"America/New_York\"\nunit = \"mg/dL\"\n");
    study.write(
        "wear-events/e.csv",
        "sensor,time,event,site,cause\n\
         a,2026-10-20T00:00,insert,calf,\n\
         a,2026-11-01T00:00,end,,fell-off\n\
         b,2026-10-20T00:00,insert,chest,\n\
         b,2026-11-01T00:00:01,end,,fell-off\n\
         c,2026-11-01T00:00:01,insert,chest,\n",
    );
    let october = study.report_with(&["--month", "2026-10"]);
    // New York keeps summer time, four hours behind UTC, until 1 November 2026 at 02:00.
    assert_eq!(october.json()["cutoff"], "2026-11-01T04:00:00Z");
    let sessions = october.table("sessions");
    assert_eq!(sessions.column("sensor"), ["a", "b"]);
    let ended = sessions.row(&[("sensor", "a")]);
    assert_eq!(
        (ended.text("cause"), ended.number("days")),
        ("fell-off", 12.0)
    );
    let open = sessions.row(&[("sensor", "b")]);
    assert_eq!(
        (open.text("ended"), open.text("cause"), open.number("days")),
        ("", "", 0.0)
    );

    let last = study.report();
    assert_eq!(last.json()["month"], "2026-11");
    assert_eq!(
        last.json()["cutoff"],
        "2026-11-01T04:00:01Z",
        "the latest accepted time"
    );
}
