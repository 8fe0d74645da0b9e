//! Queries that are said to look at each sensor, or each wearer, by itself.

use crate::own_queries::{alone, report_with};
use crate::small_study::study;

/// One that does not would count a part of the sensors at a time.
#[test]
fn what_looks_at_each_by_itself_is_held_to_it() {
    let cases = [
        (
            "per-sensor",
            "bare",
            "SELECT site, COUNT(*) AS n FROM pairs GROUP BY site",
            "and it does not give `sensor_no`",
        ),
        (
            "per-sensor",
            "groups",
            "SELECT MAX(sensor_no) AS sensor_no FROM pairs GROUP BY site",
            "group them by `sensor_no`",
        ),
        (
            "per-sensor",
            "windows",
            "SELECT sensor_no, ROW_NUMBER() OVER (PARTITION BY site ORDER BY inserted) AS n FROM sessions",
            "partition it by `sensor_no`",
        ),
        (
            "per-sensor",
            "joins",
            "SELECT a.sensor_no FROM sessions AS a INNER JOIN sessions AS b ON b.site = a.site",
            "join them on `sensor_no`",
        ),
        (
            "per-sensor",
            "subquery",
            "SELECT sensor_no FROM sessions WHERE days > (SELECT AVG(days) FROM sessions)",
            "group them by `sensor_no`",
        ),
        (
            "per-sensor",
            "some",
            "SELECT sensor_no FROM sessions ORDER BY inserted LIMIT 3",
            "number them within `sensor_no`",
        ),
        (
            "per-wearer",
            "bare_people",
            "SELECT sensor_no FROM pairs",
            "its role is `per-wearer`, and it does not give `wearer`",
        ),
        (
            "per-wearer",
            "people",
            "SELECT MAX(wearer) AS wearer FROM fingersticks GROUP BY meter",
            "it groups rows of several wearers: group them by `wearer`",
        ),
        (
            "per-wearer",
            "others",
            "SELECT a.wearer FROM sessions AS a INNER JOIN sessions AS b ON b.site = a.site",
            "it joins rows of several wearers: join them on `wearer`",
        ),
    ];
    for (role, name, sql, words) in cases {
        let sql = format!("-- role = \"{role}\"\n{sql}");
        alone(name, sql.as_bytes(), &[], &[words]);
    }
}

/// What is of no sensor is left out, as it is where the sensors come in parts.
#[test]
fn what_keeps_sensors_apart_runs() {
    let study = study();
    let sound = "-- role = \"per-sensor\"\nSELECT p.sensor_no, COUNT(*) AS n, MAX(l.pairing_minutes) AS most FROM pairs AS p \
         INNER JOIN (SELECT MAX(pairing_minutes) AS pairing_minutes FROM wearer_limits) AS l ON TRUE \
         INNER JOIN sessions AS s ON s.sensor_no = p.sensor_no GROUP BY p.sensor_no";
    study.write("queries/sound.sql", sound);
    study.write(
        "queries/bare.sql",
        "-- role = \"per-sensor\"\nSELECT sensor_no FROM pairs UNION ALL SELECT CAST(NULL AS INT) AS sensor_no",
    );
    let sum = "SELECT SUM(n) AS n, (SELECT COUNT(*) FROM bare) AS pairs FROM sound";
    let (run, output) = report_with(&study, "sum", sum.as_bytes(), &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    let [counted] = &output.table("sum").lines[..] else {
        panic!("one row");
    };
    assert!(counted[0] == counted[1] && counted[0] != "0", "{counted:?}");
}

/// A role holds too where the query is asked for by itself.
#[test]
fn what_is_asked_for_alone_is_held_to_its_role() {
    let study = study();
    let file = |columns: &str| {
        let sql = format!("-- role = \"per-wearer\"\nSELECT {columns} FROM pairs");
        study.write("queries/lone.sql", &sql);
        study.run("query", &["lone"])
    };
    let refused = file("sensor_no");
    let words = "its role is `per-wearer`, and it does not give `wearer`";
    assert!(
        refused.code == 1 && refused.err.contains(words),
        "{}",
        refused.err
    );
    let run = file("wearer, sensor_no");
    assert!(
        run.code == 0 && run.out.contains("sensor_no"),
        "{}",
        run.err
    );
}
