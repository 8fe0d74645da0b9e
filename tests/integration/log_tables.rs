//! What else the log says: rest of the skin, tape, bumps, ratings, replacements, injections, sensors that ended early,
//! and what moved since last month. Toy studies worked by hand.

use crate::fixture::{IN_UTC, Output, Study, Table, close};

const COLUMNS: &str =
    "sensor,time,event,site,side,cause,tape,model,lot,grade,aspect,score,distance_cm";

/// Cells by column name, for a row of the log.
type Cells<'a> = &'a [(&'a str, &'a str)];

/// A log of sensor, time (a day of March 2026 and a clock) and event, with more cells by name.
fn log(rows: &[(&str, &str, &str, Cells<'_>)]) -> String {
    let mut text = format!("{COLUMNS}\n");
    for (sensor, time, event, cells) in rows {
        let line: Vec<&str> = COLUMNS
            .split(',')
            .map(|column| match column {
                "sensor" => sensor,
                "time" => time,
                "event" => event,
                _ => cells
                    .iter()
                    .find(|(name, _)| *name == column)
                    .map_or("", |(_, value)| value),
            })
            .collect();
        text += &line.join(",");
        text += "\n";
    }
    text
}

fn report(rows: &[(&str, &str, &str, Cells<'_>)]) -> Output {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", log(rows));
    study.report()
}

/// The texts of some columns, a line for each row.
fn lines(table: &Table, columns: &[&str]) -> Vec<String> {
    table
        .rows()
        .map(|row| {
            let cells: Vec<&str> = columns.iter().map(|column| row.text(column)).collect();
            cells.join(" / ")
        })
        .collect()
}

const LEFT_CALF: Cells<'static> = &[("site", "calf"), ("side", "left")];
const RIGHT_CALF: Cells<'static> = &[("site", "calf"), ("side", "right")];
const DONE: Cells<'static> = &[("cause", "completed")];

#[test]
fn skin_against_rest() {
    let output = report(&[
        ("a", "2026-03-01T12:00Z", "insert", LEFT_CALF),
        ("a", "2026-03-02T12:00Z", "skin", &[("grade", "0")]),
        ("a", "2026-03-05T12:00Z", "skin", &[("grade", "1")]),
        ("a", "2026-03-05T12:00Z", "end", DONE),
        // The other side rests on its own; the left after 6 days and 23 hours.
        ("r", "2026-03-06T12:00Z", "insert", RIGHT_CALF),
        ("r", "2026-03-07T12:00Z", "end", DONE),
        ("b", "2026-03-12T11:00Z", "insert", LEFT_CALF),
        ("b", "2026-03-13T12:00Z", "end", DONE),
        ("b", "2026-03-13T12:00Z", "skin", &[("grade", "2")]),
        // After 7 days.
        ("c", "2026-03-20T12:00Z", "insert", LEFT_CALF),
        ("c", "2026-03-21T12:00Z", "end", &[("cause", "reaction")]),
    ]);
    let table = output.table("site_skin_rest");
    let columns = [
        "site",
        "rest",
        "sensors",
        "graded",
        "marked",
        "itching",
        "reactions",
    ];
    assert_eq!(
        lines(&table, &columns)[..3],
        [
            "calf / 0 to 6 / 1 / 1 / 1 / 1 / 0",
            "calf / 7 to 13 / 1 / 0 / 0 / 0 / 1",
            "calf / first use / 2 / 1 / 1 / 0 / 0",
        ]
    );
    assert_eq!(table.lines.len(), 6, "and as many rows of every site");
    let first = table.row(&[("site", "calf"), ("rest", "first use")]);
    assert_eq!(first.number("itching_share"), 0.0);
    // None of one: 1 - 0.025.
    close(
        first.number("itching_share_upper"),
        0.975,
        1e-9,
        "upper end",
    );
}

#[test]
fn tape_from_the_day_it_was_put_on() {
    let output = report(&[
        (
            "a",
            "2026-03-01T12:00Z",
            "insert",
            &[("site", "calf"), ("tape", "ring")],
        ),
        ("a", "2026-03-11T12:00Z", "end", &[("cause", "knocked-off")]),
        // Four days without tape, two with.
        (
            "b",
            "2026-03-12T12:00Z",
            "insert",
            &[("site", "calf"), ("tape", "none")],
        ),
        ("b", "2026-03-16T12:00Z", "tape", &[("tape", "cover")]),
        ("b", "2026-03-18T12:00Z", "end", &[("cause", "fell-off")]),
        (
            "c",
            "2026-03-19T12:00Z",
            "insert",
            &[("site", "calf"), ("tape", "none")],
        ),
        ("c", "2026-03-20T12:00Z", "end", &[("cause", "lifted")]),
        // Beyond the rated 14 days it counts no more.
        ("d", "2026-03-21T12:00Z", "insert", LEFT_CALF),
        ("d", "2026-04-05T12:00Z", "end", &[("cause", "fell-off")]),
    ]);
    let table = output.table("site_tape");
    let columns = ["site", "tape", "sensors", "days", "came_off"];
    assert_eq!(
        lines(&table, &columns)[..3],
        [
            "calf / with tape / 2 / 12 / 2",
            "calf / without tape / 2 / 5 / 1",
            "calf / not logged / 1 / 14 / 0",
        ]
    );
    let without = table.row(&[("site", "calf"), ("tape", "without tape")]);
    close(without.number("per_100_days"), 20.0, 1e-9, "rate");
    // Garwood's limits of one event, 0.02532 and 5.5716, as any table has them.
    close(
        without.number("per_100_days_lower"),
        20.0 * 0.025_318,
        1e-4,
        "lower",
    );
    close(
        without.number("per_100_days_upper"),
        20.0 * 5.571_643,
        1e-4,
        "upper",
    );
}

#[test]
fn bumps_and_what_they_ended() {
    let output = report(&[
        ("a", "2026-03-01T12:00Z", "insert", LEFT_CALF),
        ("a", "2026-03-02T12:00Z", "bump", &[]),
        ("a", "2026-03-10T12:00Z", "bump", &[]),
        ("a", "2026-03-11T12:00Z", "end", &[("cause", "knocked-off")]),
        // More than a day before the end.
        ("b", "2026-03-12T12:00Z", "insert", LEFT_CALF),
        ("b", "2026-03-20T11:00Z", "bump", &[]),
        ("b", "2026-03-21T12:00Z", "end", &[("cause", "fell-off")]),
        // Just before an end that is no fault of the bump.
        ("c", "2026-03-22T12:00Z", "insert", LEFT_CALF),
        ("c", "2026-03-23T11:00Z", "bump", &[]),
        ("c", "2026-03-23T12:00Z", "end", &[("cause", "chosen")]),
        ("d", "2026-03-24T12:00Z", "insert", &[("site", "chest")]),
        ("d", "2026-03-25T12:00Z", "end", DONE),
    ]);
    let table = output.table("site_bumps");
    let columns = ["site", "sensors", "days", "bumps", "bumped", "ended"];
    assert_eq!(
        lines(&table, &columns),
        ["chest / 1 / 1 / 0 / 0 / 0", "calf / 3 / 20 / 4 / 3 / 1"]
    );
    let calf = table.row(&[("site", "calf")]);
    close(calf.number("per_100_days"), 20.0, 1e-9, "rate");
}

#[test]
fn ratings_count_sensors() {
    let score = |sensor: &'static str, day: &'static str, cells: Cells<'static>| {
        (sensor, day, "rating", cells)
    };
    let mut rows: Vec<(&str, &str, &str, Cells<'_>)> = Vec::new();
    for (sensor, time) in [
        ("a", "2026-03-01T12:00Z"),
        ("b", "2026-03-03T12:00Z"),
        ("c", "2026-03-05T12:00Z"),
    ] {
        rows.push((sensor, time, "insert", LEFT_CALF));
    }
    rows.push(score(
        "a",
        "2026-03-02T12:00Z",
        &[("aspect", "pain"), ("score", "9")],
    ));
    rows.push(score(
        "b",
        "2026-03-04T12:00Z",
        &[("aspect", "pain"), ("score", "10")],
    ));
    rows.push(score(
        "c",
        "2026-03-06T12:00Z",
        &[("aspect", "pain"), ("score", "5")],
    ));
    rows.push(score(
        "c",
        "2026-03-06T12:00Z",
        &[("aspect", "comfort"), ("score", "7")],
    ));
    let output = report(&rows);
    let table = output.table("site_ratings");
    assert_eq!(
        lines(&table, &["site", "aspect", "sensors", "ratings", "mean"]),
        ["calf / comfort / 1 / 1 / 7", "calf / pain / 3 / 3 / 8"]
    );
    let pain = table.row(&[("aspect", "pain")]);
    // Mean 8, variance 7, t = 4.302653: 8 - 6.57 and, cut, 10.
    close(
        pain.number("mean_lower"),
        8.0 - 4.302_652_729_911 * (7.0_f64 / 3.0).sqrt(),
        1e-6,
        "lower end",
    );
    assert_eq!(pain.number("mean_upper"), 10.0);
    assert_eq!(
        table.row(&[("aspect", "comfort")]).maybe("mean_lower"),
        None
    );
}

/// Worn 10, 14 and 6 days, one of them to its rated day: 3 endings in 30 days. Residuals of 3/30 a day: 0, -0.4, 0.4.
#[test]
fn what_a_site_costs() {
    let output = report(&[
        ("a", "2026-03-01T12:00Z", "insert", LEFT_CALF),
        ("a", "2026-03-11T12:00Z", "end", &[("cause", "fell-off")]),
        ("b", "2026-03-11T12:00Z", "insert", LEFT_CALF),
        ("b", "2026-03-25T12:00Z", "end", DONE),
        ("c", "2026-03-25T12:00Z", "insert", LEFT_CALF),
        ("c", "2026-03-31T12:00Z", "end", &[("cause", "chosen")]),
    ]);
    let table = output.table("site_replacements");
    let row = table.row(&[]);
    assert_eq!((row.text("ended"), row.text("replaced_early")), ("3", "2"));
    close(row.number("usable_days"), 10.0, 1e-9, "usable days");
    close(row.number("per_30_days"), 3.0, 1e-9, "sensors per 30 days");
    let std_error = (1.5_f64 * 0.32).sqrt();
    close(
        row.number("per_30_days_upper"),
        3.0 + 4.302_652_729_911 * std_error,
        1e-6,
        "upper end",
    );
}

#[test]
fn injections_beside_a_sensor() {
    let near = |distance: &'static str| -> [(&'static str, &'static str); 2] {
        [("site", "abdomen"), ("distance_cm", distance)]
    };
    let (close_by, at_limit) = (near("7.4"), near("7.5"));
    let output = report(&[
        ("a", "2026-03-01T12:00Z", "insert", &[("site", "abdomen")]),
        ("a", "2026-03-02T12:00Z", "injection", &close_by),
        ("a", "2026-03-03T12:00Z", "injection", &at_limit),
        ("a", "2026-03-05T12:00Z", "end", DONE),
        ("", "2026-03-06T12:00Z", "injection", &[("site", "abdomen")]),
        (
            "",
            "2026-03-04T12:00Z",
            "injection",
            &[("site", "upper-thigh")],
        ),
    ]);
    let table = output.table("injection_room");
    let columns = ["site", "injections", "beside", "measured", "close"];
    assert_eq!(
        lines(&table, &columns),
        ["abdomen / 3 / 2 / 2 / 1", "upper-thigh / 1 / 0 / 0 / 0"]
    );
    close(
        table.row(&[("site", "abdomen")]).number("close_share"),
        0.5,
        1e-12,
        "share",
    );
}

#[test]
fn sensors_that_ended_early() {
    let study =
        Study::new("[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n[models.K]\nrated_days = 10\n");
    let k: Cells<'_> = &[
        ("site", "calf"),
        ("model", "K"),
        ("lot", "7"),
        ("side", "left"),
    ];
    study
        .write(
            "wear-events/e.csv",
            log(&[
                ("a", "2026-03-01T12:00Z", "insert", k),
                (
                    "a",
                    "2026-03-05T12:00Z",
                    "end",
                    &[("cause", "sensor-fault")],
                ),
                ("b", "2026-03-05T13:00Z", "insert", k),
                ("b", "2026-03-07T12:00Z", "end", DONE),
                ("c", "2026-03-07T13:00Z", "insert", LEFT_CALF),
                ("c", "2026-03-08T13:00Z", "end", &[("cause", "fell-off")]),
                // Later than its rated wear.
                ("d", "2026-03-09T13:00Z", "insert", k),
                ("d", "2026-03-19T14:00Z", "end", &[("cause", "fell-off")]),
            ]),
        )
        .write(
            "readings/r.csv",
            "sensor,time,glucose,status\n\
             a,2026-03-04T11:59Z,50,ok\n\
             a,2026-03-04T12:00Z,100,ok\n\
             a,2026-03-04T12:05Z,40,low\n\
             a,2026-03-05T11:00Z,300,error\n\
             a,2026-03-05T11:30Z,180,ok\n",
        )
        .write(
            "fingersticks/f.csv",
            "time,glucose,purpose\n2026-03-05T11:30Z,170,doubt\n2026-03-05T11:31Z,120,control\n",
        );
    let output = study.report();
    let sheet = output.table("fault_sheet");
    let columns = [
        "panel",
        "sensor",
        "model",
        "lot",
        "side",
        "hours_worn",
        "hours_lost",
        "cause",
        "readings",
        "lowest",
        "highest",
        "errors",
    ];
    assert_eq!(
        lines(&sheet, &columns),
        [
            "1 / c /  /  / left / 24 / 312 / fell-off / 0 /  /  / 0",
            "2 / a / K / 7 / left / 96 / 144 / sensor-fault / 3 / 40 / 180 / 1",
        ]
    );
    assert_eq!(
        sheet.row(&[("sensor", "a")]).text("last_reading"),
        "2026-03-05T11:30:00Z"
    );
    let traces = output.table("fault_traces");
    assert_eq!(
        lines(
            &traces,
            &["panel", "sensor", "time", "reading", "fingerstick", "error"]
        ),
        [
            "2 / a / 2026-03-04T12:00:00Z / 100 /  / 0",
            "2 / a / 2026-03-04T12:05:00Z / 40 /  / 0",
            "2 / a / 2026-03-05T11:00:00Z /  /  / 1",
            "2 / a / 2026-03-05T11:30:00Z / 180 /  / 0",
            "2 / a / 2026-03-05T11:30:00Z /  / 170 / 0",
        ]
    );
}
