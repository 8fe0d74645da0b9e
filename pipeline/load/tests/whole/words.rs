//! Every field of every table: what is kept of a row, and the words, line and column of what is not.

use arrow::array::RecordBatch;
use arrow::util::display::array_value_to_string;

use super::*;

/// A row by the columns that say something, but for where it stands and when.
fn said(batch: &RecordBatch, row: usize) -> String {
    let schema = batch.schema();
    let columns = schema.fields().iter().zip(batch.columns());
    let said = columns.filter_map(|(field, column)| {
        let place = ["wearer", "time", "start", "file", "line", "raw"];
        if column.is_null(row) || place.contains(&field.name().as_str()) {
            return None;
        }
        let text = array_value_to_string(column, row).unwrap();
        (!text.is_empty()).then(|| format!("{}={text}", field.name()))
    });
    said.collect::<Vec<_>>().join(" ")
}

fn all_said(batch: &RecordBatch) -> Vec<String> {
    (0..batch.num_rows()).map(|row| said(batch, row)).collect()
}

#[test]
fn every_field_of_an_event() {
    let rows = [
        (
            "a",
            "insert",
            "site=calf side=left tape=ring model=M1 lot=L1 note=hello",
        ),
        ("a", "insert", "side=left"),
        ("", "bump", ""),
        ("", "insert", "site=calf"),
        ("b", "insert", "site=knee"),
        (
            "a",
            "bump",
            "site=calf cause=chosen grade=3 aspect=pain score=3 distance_cm=3",
        ),
        ("a", "skin", "grade=4"),
        ("a", "skin", "grade=0"),
        ("a", "skin", "grade=5"),
        ("a", "skin", "grade=2.5"),
        ("a", "skin", "grade=-1"),
        ("a", "skin", "grade=x"),
        ("a", "rating", "aspect=sleep score=10"),
        ("a", "rating", "aspect=sleep score=10.5"),
        ("a", "rating", "aspect=taste score=1"),
        ("a", "rating", "score=1"),
        ("", "injection", "site=chest distance_cm=300"),
        ("", "injection", ""),
        ("", "injection", "site=chest distance_cm=300.5"),
        ("", "injection", "site=knee"),
        ("", "bed", "posture=front"),
        ("", "bed", "posture=upright side=lft tape=glue"),
        ("", "rise", ""),
        ("a", "tape", "tape=cover"),
        ("a", "end", "cause=fel-off"),
        ("a", "end", ""),
        ("a", "end", "cause=lifted"),
        ("a", "swim", ""),
    ];
    let columns = [
        "site",
        "side",
        "cause",
        "tape",
        "model",
        "lot",
        "grade",
        "aspect",
        "score",
        "posture",
        "distance_cm",
        "note",
    ];
    let mut text = format!("sensor,time,event,{}\n", columns.join(","));
    for (n, (sensor, event, fields)) in rows.iter().enumerate() {
        let field = |name: &&str| -> String {
            let mut all = fields
                .split_whitespace()
                .filter_map(|field| field.split_once('='));
            all.find(|(own, _)| own == name)
                .map_or(String::new(), |(_, value)| value.to_owned())
        };
        let fields: Vec<String> = columns.iter().map(field).collect();
        text += &format!(
            "{sensor},2026-03-01T08:{n:02}:00Z,{event},{}\n",
            fields.join(",")
        );
    }
    let place = Place::new(&[("study.toml", UTC), ("wear-events/e.csv", &text)]);
    let settled = place.settled();
    rejected(
        &settled,
        &[
            (
                "wear-events/e.csv:3:site",
                "unknown site: the field is empty",
            ),
            (
                "wear-events/e.csv:4:sensor",
                "the sensor is not named: `bump` needs one",
            ),
            (
                "wear-events/e.csv:5:sensor",
                "the sensor is not named: `insert` needs one",
            ),
            ("wear-events/e.csv:6:site", "unknown site `knee`"),
            ("wear-events/e.csv:10:grade", "grade 5 is outside 0 to 4"),
            (
                "wear-events/e.csv:11:grade",
                "grade is not a whole number from 0 to 4",
            ),
            ("wear-events/e.csv:12:grade", "grade -1 is outside 0 to 4"),
            ("wear-events/e.csv:13:grade", "unparsable number"),
            (
                "wear-events/e.csv:15:score",
                "score 10.5 is outside 0 to 10",
            ),
            ("wear-events/e.csv:16:aspect", "unknown aspect `taste`"),
            (
                "wear-events/e.csv:17:aspect",
                "unknown aspect: the field is empty",
            ),
            (
                "wear-events/e.csv:20:distance_cm",
                "distance_cm 300.5 is outside 0 to 300",
            ),
            ("wear-events/e.csv:21:site", "unknown site `knee`"),
            ("wear-events/e.csv:26:cause", "unknown cause `fel-off`"),
            (
                "wear-events/e.csv:27:cause",
                "unknown cause: the field is empty",
            ),
            ("wear-events/e.csv:29:event", "unknown event `swim`"),
        ],
    );
    let nearest = &settled.rejects[13].reason;
    assert!(nearest.contains("fell-off"), "{nearest}");
    assert_eq!(
        settled.rejects[1].raw,
        format!(",2026-03-01T08:02:00Z,bump{}", ",".repeat(12))
    );
    let mut found = all_said(&settled.wear_events);
    found.sort();
    let mut wanted = [
        "sensor=a event=insert site=calf side=left tape=ring model=M1 lot=L1 note=hello",
        "sensor=a event=bump",
        "sensor=a event=skin grade=4.0",
        "sensor=a event=skin grade=0.0",
        "sensor=a event=rating aspect=sleep score=10.0",
        "event=injection site=chest distance_cm=300.0",
        "event=injection",
        "event=bed posture=front",
        "event=bed",
        "event=rise",
        "sensor=a event=tape tape=cover",
        "sensor=a event=end cause=lifted",
    ];
    wanted.sort_unstable();
    assert_eq!(found, wanted);
    let warned = settled.warnings.join("\n");
    for words in [
        "unknown posture `upright`",
        "unknown side `lft`",
        "unknown tape `glue`",
    ] {
        assert!(
            warned.contains(&format!("wear-events/e.csv: {words}")),
            "{warned}"
        );
    }
    assert_eq!(settled.warnings.len(), 3, "{warned}");
}

#[test]
fn every_field_of_a_verdict_and_of_a_check() {
    let place = Place::new(&[
        (
            "study.toml",
            &format!("{UTC}[[corrections]]\nmeter = \"old\"\nleave_out = true\n"),
        ),
        (
            "judgements.csv",
            "wearer,sensor,start,verdict,note\nana,a,2026-03-01T09:00:00Z,artefact,seen\nana,,2026-03-01T09:00:00Z,artefact,\n\
             ana,a,soon,unsure,\nbo,a,2026-03-01T09:00:00Z,unsure,\nana,a,2026-03-01T09:00:00Z,artefact,again\n\
             ana,a,2026-05-01T09:00:00Z,artefact,\n",
        ),
        (
            "fingersticks/f.csv",
            "wearer,time,glucose,meter,purpose\nana,2026-03-01T09:00:00Z,100,k,control\nana,2026-03-01T09:05:00Z,101,old,\n\
             ,2026-03-01T09:10:00Z,102,,doubt\nana,2026-03-01T09:00:00Z,100,m,control\nana,2026-03-01T09:00:00Z,100,k,doubt\n\
             bo,2026-03-01T09:00:00Z,100,k,control\nana,2026-03-01T09:00:00Z,100.00000000001,k,control\n",
        ),
    ]);
    let settled = place
        .load()
        .0
        .settle(&place.study(), at("2026-04-01T00:00:00Z"))
        .unwrap();
    rejected(
        &settled,
        &[
            ("judgements.csv:3:sensor", "the sensor is not named"),
            (
                "judgements.csv:4:start",
                "unparsable time `soon`: use ISO 8601",
            ),
            (
                "judgements.csv:7:start",
                "a time after --as-of (2026-04-01T00:00:00Z)",
            ),
        ],
    );
    assert!(settled.late);
    let verdicts = &settled.judgements;
    assert_eq!(
        all_said(verdicts),
        [
            "sensor=a verdict=artefact note=seen",
            "sensor=a verdict=unsure"
        ]
    );
    assert_eq!(counts(&settled, Table::Judgements).duplicates, 1);
    let checks = counts(&settled, Table::Fingersticks);
    assert_eq!(
        (
            checks.read,
            checks.left_out,
            checks.duplicates,
            checks.accepted
        ),
        (7, 1, 1, 5)
    );
    let said = all_said(&settled.fingersticks);
    assert_eq!(
        said,
        [
            "glucose=100.0 meter=k purpose=control",
            "glucose=100.0 meter=m purpose=control",
            "glucose=100.0 meter=k purpose=doubt",
            "glucose=100.0 meter=k purpose=control",
            "glucose=102.0 purpose=doubt",
        ]
    );
    let warned = settled.warnings.join("\n");
    assert!(
        warned.contains("fingersticks/f.csv: 1 rows left out by [[corrections]] in study.toml"),
        "{warned}"
    );
}

/// What stops a file is told with the line on which it stands.
#[test]
fn a_file_that_stops_the_run_names_its_line() {
    let long = format!("sensor,time,glucose,{}\n", "x".repeat(1 << 20));
    let cases: [(&str, &[u8], &str); 9] = [
        (
            "readings/r.csv",
            b"sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na\xe9,2026-03-01T09:05:00Z,100\n",
            "readings/r.csv, line 3: not UTF-8: save the file as UTF-8 (it seems to be latin-1), or map it in study.toml \
             under [exports] with encoding = \"latin-1\"",
        ),
        (
            "readings/r.csv",
            b"s\xe9nsor,time,glucose\n",
            "readings/r.csv, line 1: not UTF-8",
        ),
        (
            "readings/r.csv",
            long.as_bytes(),
            "readings/r.csv, line 1: the line is longer than 1 MiB: this is no header, or no CSV",
        ),
        (
            "readings/r.csv",
            b"sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,\"2026-03-01T09:05:00Z,100\n",
            "readings/r.csv, line 3: the file is truncated (a quotation mark is never closed): copy or export it again",
        ),
        (
            "readings/r.csv",
            b"sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n\n\na,2026",
            "readings/r.csv, line 5: the file is truncated (its last row is short and has no line end)",
        ),
        (
            "readings/r.csv",
            b"sensor;time;glucose;sensor\n",
            "readings/r.csv, line 1: the header has the column `sensor` twice: rename or remove one",
        ),
        (
            "fingersticks/f.csv",
            b"zeit\tglucose\n",
            "fingersticks/f.csv, line 1: there is no column `time`: the columns, separated by tabs, are `zeit`, `glucose`",
        ),
        (
            "readings/r.csv",
            b"12 values\n",
            "the line is one column, `12 values`, where commas, semicolons or tabs may separate several",
        ),
        ("readings/r.csv", b",,\na,b,c\n", "there is no header line"),
    ];
    for (name, bytes, words) in cases {
        let place = Place::new(&[
            ("study.toml", UTC),
            ("wear-events/e.csv", INSERT),
            (name, ""),
        ]);
        fs::write(place.path().join(name), bytes).unwrap();
        let error = place.fails();
        assert!(error.contains(words), "{error}");
    }
    // A last row without a line end that is whole is read.
    let place = Place::with_readings("sensor,time,glucose\n\na,2026-03-01T09:00:00Z,100");
    assert_eq!(readings(&place.load().0).len(), 1);
    let many: Vec<String> = (0..12).map(|n| format!("column {n}")).collect();
    place.write(
        "readings/r.csv",
        &format!("{},7 days,{}\n", many.join(","), "y".repeat(41)),
    );
    let error = place.fails();
    assert!(error.contains("`column 9`, and 4 more;"), "{error}");
    place.write(
        "readings/r.csv",
        &format!("7 days,{},{}\n", "y".repeat(41), "z".repeat(40)),
    );
    let error = place.fails();
    let shown = format!(
        "are (a number or time), `{}…`, `{}`;",
        "y".repeat(40),
        "z".repeat(40)
    );
    assert!(error.contains(&shown), "{error}");
}

/// Lone carriage returns end lines, blank lines count, and a row that breaks within a field names the lines that it spans.
#[test]
fn lines_are_counted_as_an_editor_does() {
    let long = "n".repeat((1 << 16) + 1);
    let text = format!(
        "sensor,time,glucose,status\ra,2026-03-01T09:00:00Z,100,ok\r\na,2026-03-01T09:05:00Z,oops,ok\r\r\na,2026-03-01T09:10:00Z,oops,ok\n\
         \"a\nb\",2026-03-01T09:15:00Z,100,ok\na,2026-03-01T09:20:00Z,\"10\n0\n\",ok\na\0,2026-03-01T09:25:00Z,100,ok\n\
         {long},2026-03-01T09:30:00Z,100,ok\na,2026-03-01T09:35:00Z,100,ok,more\n"
    );
    let place = Place::with_readings(&text);
    let settled = place.settled();
    rejected(
        &settled,
        &[
            ("readings/r.csv:3:glucose", "unparsable number `oops`"),
            ("readings/r.csv:5:glucose", "unparsable number `oops`"),
            (
                "readings/r.csv:6:sensor",
                "a line break inside `sensor`: the row spans lines 6 to 7",
            ),
            (
                "readings/r.csv:8:glucose",
                "a line break inside `glucose`: the row spans lines 8 to 10",
            ),
            ("readings/r.csv:11:", "a NUL byte"),
            ("readings/r.csv:12:", "a field of more than 65536 bytes"),
            (
                "readings/r.csv:13:",
                "wrong number of fields: 5 where the header has 4",
            ),
        ],
    );
    assert_eq!(settled.rejects[0].raw, "a,2026-03-01T09:05:00Z,oops,ok");
    let all = counts(&settled, Table::Readings);
    assert_eq!((all.read, all.rejected, all.accepted), (8, 7, 1));
}
