//! Evidence between sites: by hand at one look, and kept as reports gave it.

use crate::fixture::{IN_UTC, Study, close};

/// Two sensors on each of two sites; on the forearm one comes off after 2 days and one after 4.
const EVENTS: &str = "sensor,time,event,site,cause
a1,2026-03-01T00:00Z,insert,forearm,
a1,2026-03-03T00:00Z,end,,fell-off
a2,2026-03-04T00:00Z,insert,forearm,
a2,2026-03-08T00:00Z,end,,lifted
b1,2026-03-09T00:00Z,insert,calf,
b1,2026-03-19T00:00Z,end,,completed
b2,2026-03-20T00:00Z,insert,calf,
b2,2026-03-30T00:00Z,end,,completed
c,2026-04-01T00:00Z,insert,chest,
c,2026-04-05T00:00Z,end,,completed
";

fn study() -> Study {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", EVENTS);
    study
}

/// The conditional likelihood of each event (ter Schure, Pérez-Ortiz, Ly and Grünwald 2024), worked by hand: at 2 days 2 of
/// 4 at risk are on the forearm, at 4 days 1 of 3. With hazard ratio h of calf to forearm: 2·2/(2 + 2h) over 1 and
/// 3/(1 + 2h); at h = 2 and 1/2 that is (2/3 · 3/5 + 4/3 · 3/2) / 2 = 1.2.
#[test]
fn evidence_of_two_events_by_hand() {
    let table = study()
        .report_with(&["--month", "2026-03"])
        .table("site_wear_evidence");
    let row = table.row(&[("site_a", "forearm"), ("site_b", "calf")]);
    close(
        row.number("log_e_likelihood"),
        1.2_f64.ln(),
        1e-9,
        "likelihood ratio",
    );
}

/// A row with evidence e among weaker ones keeps the least mean of any set with it (Vovk and Wang 2021 Annals of Statistics
/// 49:1736, the algorithm for the arithmetic mean): never more than itself, and the same where it is the weakest.
#[test]
fn allowing_for_all_rows_never_adds() {
    let table = study().report().table("evidence");
    let mut all: Vec<(f64, f64)> = table
        .rows()
        .map(|row| (row.number("evidence"), row.number("evidence_all")))
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert_eq!(all.len(), 3, "three pairs of sites");
    close(all[0].1, all[0].0, 1e-12, "the weakest");
    close(
        all[2].1,
        all.iter().map(|row| row.0).sum::<f64>() / 3.0,
        1e-12,
        "the strongest, where others are weak",
    );
}

#[test]
fn a_corrected_log_does_not_rewrite_what_was_said() {
    let study = study();
    let pair = [("site_a", "forearm"), ("site_b", "calf")];
    let march = study.report_with(&["--month", "2026-03"]);
    let said = march.table("evidence").row(&pair).number("evidence");
    let again = study.report_with(&["--month", "2026-04"]);
    assert_eq!(
        again.table("evidence_changes").rows().count(),
        0,
        "nothing was corrected"
    );

    study.write(
        "wear-events/e.csv",
        EVENTS.replace(
            "calf,\nb1,2026-03-19T00:00Z,end,,completed",
            "calf,\nb1,2026-03-10T00:00Z,end,,fell-off",
        ),
    );
    let corrected = study.report_with(&["--month", "2026-04"]);
    let table = corrected.table("evidence_changes");
    let row = table
        .rows_where(&pair)
        .into_iter()
        .find(|row| row.text("look").starts_with("2026-04-01"))
        .expect("the look of March");
    close(row.number("evidence_then"), said, 1e-9, "as reported");
    let now = corrected.table("site_wear_evidence");
    let now = now
        .row(&[pair[0], pair[1], ("month", "1")])
        .number("log_e")
        .exp();
    close(row.number("evidence_now"), now, 1e-9, "as computed now");
    assert!(
        (said - now).abs() > 1e-3,
        "the correction changed the evidence"
    );
}
