//! Draws and limits by the calendar, where the log is behind.

use whereworn_plan::page::markdown;

use crate::study::{AGREED, plan_at, plan_of, usual};

#[test]
fn a_log_that_is_behind_gives_no_date_before_its_draw() {
    let mut log = usual();
    log.sensors.pop();
    // The last row is of 17 September and the plan is made on 1 October.
    let (made, _) = plan_of(AGREED, &log, &[]).unwrap();
    assert_eq!(made.document.sensors[0].earliest, "2026-10-01");
}

/// The log ends on 30 September and stays so; the draws of 1 October hold until the 31st.
#[test]
fn draws_run_out_by_the_calendar_and_not_by_the_log() {
    let (first, _) = plan_of(AGREED, &usual(), &[]).unwrap();
    let kept = first.new_draws.clone();
    let on = |day: &str| {
        let now = format!("{day}T08:00:00Z");
        plan_at(AGREED, &usual(), &kept, &now).unwrap()
    };
    let (last_day, _) = on("2026-10-31");
    assert_eq!(last_day.document.sensors[0].number, 1);
    assert!(!last_day.document.limits.join("\n").contains("held until"));

    let (over, settings) = on("2026-11-01");
    let row = &over.document.sensors[0];
    assert_eq!((row.number, &*row.earliest), (kept.len() + 1, "2026-11-01"));
    assert_eq!((row.drawn, &*row.latest), (true, "2026-12-01"));
    let limits = over.document.limits.join("\n");
    for number in ["Draw 1 (", "Draw 2 ("] {
        let line = limits.lines().find(|line| line.starts_with(number));
        let line = line.unwrap_or_else(|| panic!("{number}: {limits}"));
        assert!(
            line.contains(" is given up: it held until 31 October 2026, and"),
            "{line}"
        );
    }
    assert!(
        limits.contains("The last row of the log is of 30 September 2026:"),
        "{limits}"
    );
    let page = markdown(&over, &settings);
    assert!(
        page.contains("\nEarlier draws that are given up: 1, 2; the last section says why.\n"),
        "{page}"
    );
}

/// The same plan again says the same; that of a later day has told it.
#[test]
fn what_ran_out_is_told_until_a_plan_has_drawn_anew() {
    let (first, _) = plan_of(AGREED, &usual(), &[]).unwrap();
    let mut kept = first.new_draws;
    let now = "2026-11-20T08:00:00Z";
    let (anew, _) = plan_at(AGREED, &usual(), &kept, now).unwrap();
    kept.extend(anew.new_draws);
    let (again, _) = plan_at(AGREED, &usual(), &kept, now).unwrap();
    assert_eq!(again.document, anew.document);
    let (later, _) = plan_at(AGREED, &usual(), &kept, "2026-11-21T08:00:00Z").unwrap();
    assert!(!later.document.limits.join("\n").contains("held until"));
    let (last, _) = plan_at(AGREED, &usual(), &kept, "2027-03-01T08:00:00Z").unwrap();
    let limits = last.document.limits.join("\n");
    assert!(
        limits.contains("Draw 3 (") && !limits.contains("Draw 1 ("),
        "{limits}"
    );
}

/// A sensor due in ten days is drawn, however far back the log ends.
#[test]
fn what_is_due_soon_is_drawn_also_where_the_log_is_behind() {
    let (made, _) = plan_at(AGREED, &usual(), &[], "2026-10-25T12:00:00Z").unwrap();
    let rows = &made.document.sensors;
    // The sensor of 20 September is rated 14 days: it is not on any more.
    let dates: Vec<&str> = rows.iter().map(|row| &*row.earliest).collect();
    assert_eq!(dates[..3], ["2026-10-25", "2026-11-08", "2026-11-22"]);
    let drawn: Vec<bool> = rows.iter().map(|row| row.drawn).collect();
    assert_eq!(drawn, [true, true, false, false, false, false]);
    assert!(rows[2].reason.contains("when it falls due within 23 days"));
    // Its spot rests from the end of that wear on.
    let chest = AGREED.replace("\"upper-arm-back\", \"abdomen\", \"chest\"", "\"chest\"");
    let (made, _) = plan_at(&chest, &usual(), &[], "2026-10-25T12:00:00Z").unwrap();
    assert_eq!(made.document.sensors[1].earliest, "2026-11-08");
}

/// One site with a rest of no day: its two sides come by turns, and a third sensor within 23 days has to wait for its spot.
#[test]
fn what_is_due_soon_and_not_drawn_says_what_it_waits_for() {
    let settings = "[study]\nunit = \"mg/dL\"\n[sites.abdomen]\non_label = true\n[plan]\nsites = [\"abdomen\"]\nrest_days = 0\n\
         [wear]\nrated_days = 5\n";
    let (made, _) = plan_at(settings, &usual(), &[], "2026-10-25T12:00:00Z").unwrap();
    let reason = |row: usize| &*made.document.sensors[row].reason;
    assert_eq!(reason(1), "the only site open then");
    let waits = "foreseen only: it is drawn when the sensor drawn for this spot before is in";
    assert_eq!(reason(2), waits);
    assert!(reason(5).contains("within 23 days"), "{}", reason(5));
}

/// An injection of the last month of the log keeps its side free, also months after the log's last row.
#[test]
fn a_log_that_is_behind_opens_no_spot_of_injections() {
    let mut log = usual();
    log.injections = vec![("abdomen", "left", "2026-09-29T08:00:00Z")];
    let (made, _) = plan_at(AGREED, &log, &[], "2026-12-20T08:00:00Z").unwrap();
    let rows = &made.document.sensors;
    let left = |row: &&_| {
        let row: &whereworn_plan::document::SensorRow = row;
        row.site == "abdomen" && row.side == "left"
    };
    assert_eq!(rows.iter().filter(left).count(), 0, "{rows:?}");
}
