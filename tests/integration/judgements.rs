//! A person's own verdicts on night artefacts: read, matched, shown beside the evidence and never in its place.

use std::fs;

use crate::fixture::{LATER, Output, Table, close};
use crate::night_study::{in_night, instant, study};

const HEADER: &str = "sensor,start,verdict,note\n";

/// Columns of `night_artefacts.csv` that no judgement changes.
const FIXED: [&str; 5] = ["start", "end", "drop", "evidence", "counted"];

fn fixed(output: &Output) -> Vec<Vec<String>> {
    let table = output.table("night_artefacts");
    FIXED.iter().map(|column| table.column(column)).collect()
}

fn rates(table: &Table, column: &str) -> Vec<f64> {
    ["calf", "chest"]
        .iter()
        .map(|site| table.row(&[("site", site)]).number(column))
        .collect()
}

#[test]
fn verdicts_stand_beside_the_evidence() {
    let study = study();
    let before = study.report();
    let artefacts = before.table("night_artefacts");
    let start = |sensor: &str, night: &str| {
        artefacts
            .row(&[("sensor", sensor), ("night", night)])
            .text("start")
            .to_owned()
    };
    assert_eq!(artefacts.column("judged"), ["", "", "", ""]);
    // Copied; four minutes early; within the run; of nothing.
    study.write(
        "judgements.csv",
        format!(
            "{HEADER}a,{},true-low,\"sweating, drank juice\"\nb,{},artefact,\na,{},unsure,\na,{},true-low,\n",
            start("a", "2026-03-03"),
            start("b", "2026-03-06").replace(":00:00Z", ":56:00Z").replace("T04", "T03"),
            instant(in_night(4, 2, 20)),
            instant(in_night(1, 2, 20)),
        ),
    );
    let after = study.report();
    assert!(after.rejects().is_empty());
    let judged = after.table("night_artefacts").column("judged");
    assert_eq!(judged, ["", "true-low", "unsure", "artefact"]);
    assert_eq!(fixed(&before), fixed(&after));

    let (sites, without) = (after.table("site_nights"), before.table("site_nights"));
    assert_eq!(
        rates(&sites, "rate_per_100"),
        rates(&without, "rate_per_100")
    );
    // Three artefacts in five nights, of which one is judged a true low; one in six.
    let second = rates(&sites, "judged_rate_per_100");
    close(second[0], 100.0 * 2.0 / 5.0, 1e-9, "calf");
    close(second[1], 100.0 / 6.0, 1e-9, "chest");
    let calf = sites.row(&[("site", "calf")]);
    assert!(calf.number("judged_rate_per_100_lower") < calf.number("rate_lower"));

    let steps = after.table("exclusions");
    let rows = |what| {
        let row = [("table_name", "judgements"), ("what", what)];
        steps.row(&row).number("rows")
    };
    assert_eq!((rows("accepted"), rows("up to the cut-off")), (4.0, 4.0));
    assert_eq!(rows("of a night artefact"), 3.0);
    let check = study.run("check", &["--as-of", LATER]);
    assert!(
        check.out.contains("1 judgement of no night artefact"),
        "{}",
        check.out
    );

    let inputs = after.json()["inputs"].clone();
    let input = inputs
        .as_array()
        .unwrap()
        .iter()
        .find(|input| input["file"] == "judgements.csv")
        .unwrap();
    assert_eq!(
        (input["table"].as_str(), input["rows"].as_u64()),
        (Some("judgements"), Some(4))
    );
    assert_eq!(after.json()["rows"]["judgements"]["accepted"], 4);
    let raw = study.sql("SELECT wearer, verdict, note FROM judgements WHERE note <> ''");
    assert_eq!(
        raw.lines,
        [["wearer-1", "true-low", "sweating, drank juice"]]
    );

    // Without the file everything is as it was.
    study.remove("judgements.csv");
    fs::remove_dir_all(study.beside("out")).unwrap();
    assert!(study.report() == before);
}

/// A judgement between two runs is of the one that begins nearest to it; of two on one run the nearer counts.
#[test]
fn the_nearest_counts() {
    let study = study();
    let start = |minutes: i64| instant(in_night(2, 2, minutes));
    study.write(
        "judgements.csv",
        format!(
            "{HEADER}a,{},unsure,\na,{},artefact,\n",
            start(20),
            start(2)
        ),
    );
    let judged = study.report().table("night_artefacts").column("judged");
    assert_eq!(judged, ["", "artefact", "", ""]);
}

#[test]
fn judgements_that_cannot_be_used() {
    let study = study();
    let at = instant(in_night(2, 2, 0));
    study.write(
        "judgements.csv",
        format!(
            "{HEADER}a,{at},artefact,first\n\
             a,{at},artefact,the same again\n\
             a,{at},true-low,another mind\n\
             a,{at},artifact,\n\
             a,{at},,\n\
             ,{at},unsure,\n\
             a,2026-03-03,unsure,\n\
             a,2101-01-01T00:00:00Z,unsure,\n"
        ),
    );
    let output = study.report();
    let rejects = output.rejects();
    let expected = [
        (
            "judgements.csv:4:verdict",
            "contradicts judgements.csv, line 2",
        ),
        (
            "judgements.csv:5:verdict",
            "unknown verdict `artifact`; did you mean `artefact`?",
        ),
        ("judgements.csv:6:verdict", "unknown verdict"),
        ("judgements.csv:7:sensor", "the sensor is not named"),
        ("judgements.csv:8:start", "unparsable time"),
        ("judgements.csv:9:start", "after --as-of"),
    ];
    assert_eq!(rejects.len(), expected.len(), "{rejects:?}");
    for ((place, reason), (expected_place, words)) in rejects.iter().zip(expected) {
        assert_eq!(place, expected_place);
        assert!(reason.contains(words), "{reason}");
    }
    let rows = &output.json()["rows"]["judgements"];
    assert_eq!(
        (rows["read"].as_u64(), rows["rejected"].as_u64()),
        (Some(8), Some(6))
    );
    assert_eq!(
        (rows["duplicates"].as_u64(), rows["accepted"].as_u64()),
        (Some(1), Some(1))
    );
    let judged = output.table("night_artefacts").column("judged");
    assert_eq!(judged, ["", "artefact", "", ""]);
    let strict = study.try_report(&["--strict"]);
    assert_eq!(strict.code, 3, "{}", strict.err);
}

#[test]
fn a_file_without_verdicts_stops_the_run() {
    let study = study();
    study.write("judgements.csv", "sensor,start\na,2026-03-03T02:00:00Z\n");
    study
        .try_report(&[])
        .fails_with(&["judgements.csv, line 1", "no column `verdict`"]);
    study.assert_untouched();
}
