//! Rows that cannot be used: each is rejected at its place and for its reason, and nothing else is lost.

use crate::fixture::{IN_UTC, LATER, Output, Study};

/// An insert of sensor `a`, so that its readings count.
const INSERT: &str = "sensor,time,event,site,cause\na,2026-03-01T08:00:00Z,insert,calf,\n";

/// Whether `rejects.csv` has exactly these places, in order, each with this word in its reason.
fn assert_rejects(output: &Output, expected: &[(&str, &str)]) {
    let found = output.rejects();
    let places: Vec<&str> = found.iter().map(|(place, _)| place.as_str()).collect();
    let wanted: Vec<&str> = expected.iter().map(|(place, _)| *place).collect();
    assert_eq!(places, wanted, "{found:?}");
    for ((place, reason), (_, word)) in found.iter().zip(expected) {
        assert!(reason.contains(word), "{place}: no `{word}` in `{reason}`");
    }
}

/// Rows of a table read, rejected, dropped as duplicates, and accepted.
fn counts(output: &Output, table: &str) -> [u64; 4] {
    let run = output.json();
    let rows = &run["rows"][table];
    ["read", "rejected", "duplicates", "accepted"].map(|key| rows[key].as_u64().unwrap())
}

#[test]
fn readings() {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", INSERT).write(
        "readings/r.csv",
        "sensor,time,glucose,unit,status\n\
         a,2026-03-01T09:00:00Z,100,mg/dL,ok\n\
         a,2026-03-01,100,mg/dL,ok\n\
         a,later,100,mg/dL,ok\n\
         a,2026-02-30T09:00:00Z,100,mg/dL,ok\n\
         a,2026-03-01T09:05:00Z,abc,mg/dL,ok\n\
         a,2026-03-01T09:10:00Z,NaN,mg/dL,ok\n\
         a,2026-03-01T09:15:00Z,inf,mg/dL,ok\n\
         a,2026-03-01T09:20:00Z,,mg/dL,ok\n\
         a,2026-03-01T09:25:00Z,100,mg,ok\n\
         a,2026-03-01T09:30:00Z,0,mg/dL,ok\n\
         a,2026-03-01T09:35:00Z,-3,mg/dL,ok\n\
         a,2026-03-01T09:40:00Z,1500.1,mg/dL,ok\n\
         a,2026-03-01T09:45:00Z,84,mmol/L,ok\n\
         a,2026-03-01T09:50:00Z,100,mg/dL,fine\n\
         a,2026-03-01T09:55:00Z,100,mg/dL\n\
         a,2026-03-01T10:00:00Z,100,mg/dL,ok,more\n\
         a,2026-03-01T10:05:00Z,10\u{0}0,mg/dL,ok\n\
         ,2026-03-01T10:10:00Z,100,mg/dL,ok\n\
         \x20 a  , 2026-03-01T10:15:00Z ,\t5.5 , mmol/L , high \n\
         a,2026-03-01T10:20:00Z,1500,mg/dL,\n",
    );
    let output = study.report();
    assert_rejects(
        &output,
        &[
            ("readings/r.csv:3:time", "unparsable time"),
            ("readings/r.csv:4:time", "unparsable time"),
            ("readings/r.csv:5:time", "unparsable time"),
            ("readings/r.csv:6:glucose", "unparsable number"),
            ("readings/r.csv:7:glucose", "unparsable number"),
            ("readings/r.csv:8:glucose", "unparsable number"),
            ("readings/r.csv:9:glucose", "unparsable number"),
            ("readings/r.csv:10:unit", "unknown unit"),
            ("readings/r.csv:11:glucose", "no body has"),
            ("readings/r.csv:12:glucose", "no body has"),
            ("readings/r.csv:13:glucose", "no body has"),
            ("readings/r.csv:14:glucose", "no body has"),
            ("readings/r.csv:15:status", "unknown status"),
            ("readings/r.csv:16:", "number of fields"),
            ("readings/r.csv:17:", "number of fields"),
            ("readings/r.csv:18:", "NUL"),
            ("readings/r.csv:19:sensor", "sensor"),
        ],
    );
    assert_eq!(counts(&output, "readings"), [20, 17, 0, 3]);
    let kept = study.sql("SELECT time, glucose, status FROM readings ORDER BY time");
    let times = [
        "2026-03-01T09:00:00Z",
        "2026-03-01T10:15:00Z",
        "2026-03-01T10:20:00Z",
    ];
    assert_eq!(kept.column("time"), times);
    // 5.5 mmol/L of 18.0156 mg/dL each.
    let glucose: Vec<f64> = kept.rows().map(|row| row.number("glucose")).collect();
    assert!((glucose[1] - 99.0858).abs() < 1e-9, "{glucose:?}");
    assert_eq!((glucose[0], glucose[2]), (100.0, 1500.0));
    assert_eq!(kept.column("status"), ["ok", "high", "ok"]);
}

#[test]
fn raw_text_of_a_reject() {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", INSERT).write(
        "readings/r.csv",
        "sensor,time,glucose\na,\"soon, maybe\",100\n",
    );
    let rejects = study.report().text("rejects.csv");
    let mut lines = rejects.lines();
    assert_eq!(lines.next(), Some("file,line,column,reason,raw"));
    let line = lines.next().unwrap();
    assert!(line.ends_with(",\"a,\"\"soon, maybe\"\",100\""), "{line}");
    assert_eq!(lines.next(), None);
}

#[test]
fn fingersticks() {
    let study = Study::new(IN_UTC);
    study.write("wear-events/e.csv", INSERT).write(
        "fingersticks/f.csv",
        "time,glucose,unit,purpose\n\
         2026-03-01T09:00:00Z,100,,\n\
         2026-03-01T09:00:00Z,100,,\n\
         2026-03-01T09:00:00Z,108,,\n\
         2026-03-01T09:01:00Z,100,,hunch\n\
         2026-03-01T09:02:00Z,100,kg,\n\
         noon,100,,\n\
         2026-03-01T09:03:00Z,2000,,alarm\n",
    );
    let output = study.report();
    assert_rejects(
        &output,
        &[
            ("fingersticks/f.csv:5:purpose", "unknown purpose"),
            ("fingersticks/f.csv:6:unit", "unknown unit"),
            ("fingersticks/f.csv:7:time", "unparsable time"),
            ("fingersticks/f.csv:8:glucose", "no body has"),
        ],
    );
    // The second row repeats the first; the third, of the same minute, is another drop of blood.
    assert_eq!(counts(&output, "fingersticks"), [7, 4, 1, 2]);
}

#[test]
fn wear_events() {
    let study = Study::new(IN_UTC);
    study.write(
        "wear-events/e.csv",
        "sensor,time,event,site,cause,grade,aspect,score\n\
         a,2026-03-01T08:00:00Z,insert,calf,,,,\n\
         b,2026-03-01T08:00:00Z,insert,claf,,,,\n\
         b,2026-03-01T08:00:00Z,insert,,,,,\n\
         a,2026-03-01T09:00:00Z,removed,,,,,\n\
         a,2026-03-04T08:00:00Z,end,,fell,,,\n\
         a,2026-03-04T08:00:00Z,end,,,,,\n\
         a,2026-02-28T08:00:00Z,end,,fell-off,,,\n\
         c,2026-03-04T08:00:00Z,end,,fell-off,,,\n\
         a,2026-03-02T08:00:00Z,insert,chest,,,,\n\
         a,2026-03-03T08:00:00Z,end,,fell-off,,,\n\
         a,2026-03-04T08:00:00Z,end,,completed,,,\n\
         a,2026-03-04T08:00:00Z,skin,,,5,,\n\
         a,2026-03-04T08:00:00Z,skin,,,red,,\n\
         a,2026-03-04T08:00:00Z,rating,,,,itch,4\n\
         a,2026-03-04T08:00:00Z,rating,,,,pain,11\n\
         ,2026-03-04T08:00:00Z,insert,calf,,,,\n\
         ,2026-03-04T22:00:00Z,bed,,,,,\n\
         ,2026-03-05T06:00:00Z,rise,,,,,\n\
         a,2026-03-01T08:00:00Z,insert,calf,,,,\n",
    );
    let output = study.report();
    assert_rejects(
        &output,
        &[
            ("wear-events/e.csv:3:site", "did you mean `calf`"),
            ("wear-events/e.csv:4:site", "unknown site"),
            ("wear-events/e.csv:5:event", "unknown event"),
            ("wear-events/e.csv:6:cause", "use `fell-off`, `knocked-off`"),
            ("wear-events/e.csv:7:cause", "unknown cause"),
            ("wear-events/e.csv:8:time", "before `insert`"),
            ("wear-events/e.csv:9:sensor", "never inserted"),
            ("wear-events/e.csv:10:event", "second `insert`"),
            ("wear-events/e.csv:12:event", "second `end`"),
            ("wear-events/e.csv:13:grade", "grade"),
            ("wear-events/e.csv:14:grade", "number"),
            ("wear-events/e.csv:15:aspect", "unknown aspect"),
            ("wear-events/e.csv:16:score", "score"),
            ("wear-events/e.csv:17:sensor", "sensor"),
        ],
    );
    assert_eq!(counts(&output, "wear-events"), [19, 14, 1, 4]);
    let sessions = output.table("sessions");
    let row = sessions.row(&[]);
    assert_eq!(row.text("site"), "calf");
    assert_eq!(row.text("ended"), "2026-03-03T08:00:00Z");
    assert_eq!(row.number("days"), 2.0);
}

#[test]
fn sites_of_the_study_and_of_the_program() {
    let study = Study::new("[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n[sites.hip]\n");
    study.write(
        "wear-events/e.csv",
        "sensor,time,event,site\n\
         a,2026-03-01T08:00:00Z,insert,hip\n\
         b,2026-03-01T08:00:00Z,insert,upper-arm-inside\n\
         c,2026-03-01T08:00:00Z,insert,knee\n",
    );
    let output = study.report();
    assert_rejects(
        &output,
        &[("wear-events/e.csv:4:site", "unknown site `knee`")],
    );
    assert_eq!(
        output.table("sessions").column("site"),
        ["hip", "upper-arm-inside"]
    );
}

#[test]
fn duplicates_and_contradictions_over_two_files() {
    let study = Study::new(IN_UTC);
    // By path bytes `B.csv` comes before `a.csv`, whatever the order of the rows' times.
    study
        .write("wear-events/e.csv", INSERT)
        .write(
            "readings/a.csv",
            "sensor,time,glucose,unit,status\n\
             a,2026-03-01T10:00:00Z,111,,ok\n\
             a,2026-03-01T11:00:00+00:00,5.5,mmol/L,ok\n\
             a,2026-03-01T12:00:00Z,120,,low\n\
             a,2026-03-01T13:00:00Z,130,,\n\
             a,2026-03-01T13:00:00Z,131,,\n",
        )
        .write(
            "readings/B.csv",
            "sensor,time,glucose,status\n\
             a,2026-03-01T12:00:00Z,120,ok\n\
             a,2026-03-01T10:00:00Z,110,ok\n\
             a,2026-03-01T10:00:00Z,110.0,\n\
             a,2026-03-01T11:00:00Z,99.0858,ok\n",
        );
    let output = study.report();
    assert_rejects(
        &output,
        &[
            ("readings/a.csv:2:glucose", "readings/B.csv, line 3"),
            ("readings/a.csv:4:glucose", "readings/B.csv, line 2"),
            ("readings/a.csv:6:glucose", "readings/a.csv, line 5"),
        ],
    );
    assert_eq!(counts(&output, "readings"), [9, 3, 2, 4]);
    let kept = study.sql("SELECT glucose FROM readings ORDER BY time");
    let glucose: Vec<f64> = kept.rows().map(|row| row.number("glucose")).collect();
    assert_eq!(glucose, [110.0, 99.0858, 120.0, 130.0]);
}

#[test]
fn readings_without_an_insert() {
    let study = Study::new(IN_UTC);
    study
        .write(
            "wear-events/e.csv",
            "sensor,time,event,site,cause\n\
             a,2026-03-01T08:00:00Z,insert,calf,\n\
             a,2026-03-02T08:00:00Z,end,,completed\n\
             b,2026-03-01T08:00:00Z,insert,elbow,\n",
        )
        .write(
            "readings/r.csv",
            "sensor,time,glucose\n\
             a,2026-03-01T07:55:00Z,100\n\
             a,2026-03-01T08:00:00Z,100\n\
             a,2026-03-02T08:00:00Z,100\n\
             a,2026-03-02T08:05:00Z,100\n\
             b,2026-03-01T09:00:00Z,100\n\
             b,2026-03-01T09:05:00Z,100\n\
             b,2026-03-01T09:10:00Z,100\n\
             c,2026-03-01T09:00:00Z,100\n",
        );
    let output = study.report();
    assert_rejects(
        &output,
        &[
            ("readings/r.csv:6:sensor", "3 readings of sensor `b`"),
            ("readings/r.csv:9:sensor", "1 reading"),
            ("wear-events/e.csv:4:site", "unknown site"),
        ],
    );
    let run = output.json();
    assert_eq!(run["rows"]["readings"]["without_insert"], 4);
    let flow = output.table("exclusions");
    let rows_of = |word: &str| {
        let found = flow.rows().find(|row| row.text("what").contains(word));
        found
            .unwrap_or_else(|| panic!("no step `{word}`"))
            .number("rows")
    };
    assert_eq!(rows_of("before the insertion or after the end"), 2.0);
    assert_eq!(rows_of("no valid insert"), 4.0);
}

#[test]
fn nothing_after_as_of() {
    let study = Study::new(IN_UTC);
    study
        .write(
            "wear-events/e.csv",
            "sensor,time,event,site,cause\n\
             a,2026-03-01T08:00:00Z,insert,calf,\n\
             a,2026-03-03T08:00:00Z,end,,completed\n\
             b,2026-03-03T08:00:00Z,insert,chest,\n",
        )
        .write(
            "readings/r.csv",
            "sensor,time,glucose\n\
             a,2026-03-02T08:00:00Z,100\n\
             a,2026-03-02T08:00:01Z,100\n",
        )
        .write(
            "fingersticks/f.csv",
            "time,glucose\n2026-03-02T07:59:00Z,90\n2026-03-02T08:01:00Z,90\n",
        );
    let as_of = "2026-03-02T08:00:00Z";
    let output = study.report_with(&["--as-of", as_of]);
    assert_rejects(
        &output,
        &[
            ("fingersticks/f.csv:3:time", "after --as-of"),
            ("readings/r.csv:3:time", "after --as-of"),
            ("wear-events/e.csv:3:time", "after --as-of"),
            ("wear-events/e.csv:4:time", "after --as-of"),
        ],
    );
    assert_eq!(output.json()["as_of"], as_of);
    let sessions = output.table("sessions");
    let row = sessions.row(&[]);
    assert_eq!((row.text("ended"), row.text("cause")), ("", ""));
    assert_eq!(row.number("days"), 1.0);
    assert_eq!(output.table("pairs").lines.len(), 1);

    // Where it rejects nothing, it leaves no trace.
    let whole = study.report();
    assert_rejects(&whole, &[]);
    assert!(whole.json().get("as_of").is_none());
    assert!(!whole.text("run.json").contains(&LATER[..10]));
}

#[test]
fn other_words_leave_the_row() {
    let study = Study::new(IN_UTC);
    study.write(
        "wear-events/e.csv",
        "sensor,time,event,site,side,tape,distance_cm\n\
         a,2026-03-01T08:00:00Z,insert,calf,left,ring,\n\
         a,2026-03-01T09:00:00Z,injection,abdomen,,,8\n\
         ,2026-03-01T10:00:00Z,injection,,,,\n\
         ,2026-03-01T10:00:00Z,injection,tail,,,\n",
    );
    let output = study.report();
    assert_rejects(
        &output,
        &[("wear-events/e.csv:5:site", "unknown site `tail`")],
    );
}
