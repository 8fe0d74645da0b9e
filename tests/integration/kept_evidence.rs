//! Conclusions from raw files, and what was said of them, kept as reports said it.

use crate::fixture::{IN_UTC, Study, close};

/// Ten sensors on either of two sites in January, of which those on the forearm come off after two days and those on the
/// calf are worn for ten; a sensor on the chest in February.
fn events(came_off: usize) -> String {
    let mut events = "sensor,time,event,site,cause\n".to_owned();
    for number in 0..10 {
        let day = 1 + number;
        let (days, cause) = if number < came_off {
            (2, "fell-off")
        } else {
            (10, "completed")
        };
        events += &format!("a{number},2026-01-{day:02}T00:00Z,insert,forearm,\n");
        events += &format!("a{number},2026-01-{:02}T00:00Z,end,,{cause}\n", day + days);
        events += &format!("b{number},2026-01-{day:02}T01:00Z,insert,calf,\n");
        events += &format!("b{number},2026-01-{:02}T01:00Z,end,,completed\n", day + 10);
    }
    events + "c,2026-02-01T00:00Z,insert,chest,\nc,2026-02-05T00:00Z,end,,completed\n"
}

const PAIR: [(&str, &str); 3] = [
    ("measure", "stays-on"),
    ("site", "forearm"),
    ("against", "calf"),
];

#[test]
fn a_corrected_log_does_not_rewrite_what_was_said() {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", events(10));
    let january = study
        .report_with(&["--month", "2026-01"])
        .table("conclusions");
    let row = january.row(&PAIR);
    // All ten against none: whatever the sites, a shuffle gives that once in 184,756.
    close(row.number("difference"), 1.0, 1e-9, "share that came off");
    assert_eq!(row.text("verdict"), "differs");
    let said = row.number("evidence");
    assert!(said >= 20.0, "{said}");
    // The other measures have nothing to compare.
    let nothing = january.row(&[("measure", "reads-true"), PAIR[1], PAIR[2]]);
    close(nothing.number("evidence"), 1.0, 1e-12, "no pairs");
    assert_eq!(nothing.text("verdict"), "open");

    let again = study.report_with(&["--month", "2026-02"]);
    assert_eq!(
        again.table("earlier_claims").rows().count(),
        0,
        "nothing was corrected"
    );
    let later = again.table("conclusions");
    assert_eq!(later.row(&PAIR).text("verdict"), "differs");

    study.write("wear-events/e.csv", events(1));
    let corrected = study.report_with(&["--month", "2026-02"]);
    let table = corrected.table("earlier_claims");
    let row = table
        .rows_where(&PAIR)
        .into_iter()
        .find(|row| row.text("look").starts_with("2026-02-01"))
        .expect("what January's report said");
    close(row.number("evidence_then"), said, 1e-9, "as reported");
    assert_eq!(row.text("verdict_then"), "differs");
    assert_eq!(row.text("verdict_now"), "open");
}

/// A look at the middle of a month leaves no trace in what a later report reckons.
#[test]
fn evidence_is_of_month_ends_whatever_was_looked_at() {
    let once = Study::new(IN_UTC);
    once.write("wear-events/e.csv", events(7));
    let often = Study::new(IN_UTC);
    often.write("wear-events/e.csv", events(7));
    often.report_with(&["--month", "2026-01", "--as-of", "2026-01-09T00:00:00Z"]);
    often.report_with(&["--month", "2026-01"]);
    let [one, other] = [once, often].map(|study| {
        let table = study
            .report_with(&["--month", "2026-02"])
            .table("conclusions");
        table.row(&PAIR).number("evidence")
    });
    close(one, other, 1e-12, "evidence");
}

/// A plan made after data were seen was not there before them, though a report of an earlier month is made under it.
#[test]
fn a_plan_is_no_older_than_what_was_seen() {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", events(7));
    study.report_with(&["--month", "2026-02"]);
    let plan = format!("{IN_UTC}\n[plan]\nprimary = [\"stays-on\"]\n");
    study.write("study.toml", plan.as_str());
    let since = |month: &str| {
        let run = study.report_with(&["--month", month]).json();
        run["planned_since"].as_str().unwrap_or_default().to_owned()
    };
    assert_eq!(since("2026-01"), "2026-02-05T00:00:00Z");
    assert_eq!(since("2026-02"), "2026-02-05T00:00:00Z");

    let fresh = Study::new(&plan);
    fresh.write("wear-events/e.csv", events(7));
    let run = fresh.report_with(&["--month", "2026-01"]).json();
    assert_eq!(run["planned_since"], "2026-02-01T00:00:00Z");
    let run = fresh.report_with(&["--month", "2026-02"]).json();
    assert_eq!(run["planned_since"], "2026-02-01T00:00:00Z");
}
