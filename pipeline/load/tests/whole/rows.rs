//! What becomes of every row.

use super::*;

#[test]
fn every_reading_is_kept_or_rejected_with_its_reason() {
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "readings/r.csv",
            "sensor,time,glucose,unit,status\n\
             a,2026-03-01T09:00:00Z,100,mg/dL,ok\n\
             a,2026-03-01,100,mg/dL,ok\n\
             a,2026-03-01T09:05:00Z,abc,mg/dL,ok\n\
             a,2026-03-01T09:20:00Z,,mg/dL,ok\n\
             a,2026-03-01T09:25:00Z,100,mg,ok\n\
             a,2026-03-01T09:30:00Z,0,mg/dL,ok\n\
             a,2026-03-01T09:40:00Z,1500.1,mg/dL,ok\n\
             a,2026-03-01T09:50:00Z,100,mg/dL,fine\n\
             a,2026-03-01T09:55:00Z,100,mg/dL\n\
             ,2026-03-01T10:10:00Z,100,mg/dL,ok\n\
             \x20 a  , 2026-03-01T10:15:00Z ,\t5.5 , MMOL/L , high \n\
             a,2026-03-01T10:20:00Z,1500,mg/dL,\n\
             a,2026-03-01T10:25:00Z,LO,,\n\
             a,2026-03-01T10:30:00Z,>27.8,mmol/L,\n\
             a,2026-03-01T10:35:00Z,,,error\n\
             a,1026-03-01T10:40:00Z,100,,\n\
             a,2026-03-01T10:45:00Z,88,,warmup\n\
             a,,100,,\na,1969-12-31T23:59:59Z,100,,\n\
             a,2026-03-01T10:50:00Z,\"5,5\",mmol/L,\na,2026-03-01T10:55:00Z,\"1,234\",mg/dL,\n",
        ),
    ]);
    let (store, loaded) = place.load();
    assert_eq!((loaded.parsed, loaded.unchanged, loaded.gone), (2, 0, 0));
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    rejected(
        &settled,
        &[
            ("readings/r.csv:3:time", "unparsable time"),
            ("readings/r.csv:4:glucose", "unparsable number"),
            ("readings/r.csv:5:glucose", "unparsable number"),
            ("readings/r.csv:6:unit", "unknown unit"),
            ("readings/r.csv:7:glucose", "no body has"),
            ("readings/r.csv:8:glucose", "no body has"),
            ("readings/r.csv:9:status", "unknown status"),
            ("readings/r.csv:10:", "number of fields"),
            ("readings/r.csv:11:sensor", "sensor"),
            ("readings/r.csv:17:time", "before 1970"),
            (
                "readings/r.csv:19:time",
                "unparsable time: the field is empty",
            ),
            ("readings/r.csv:20:time", "before 1970"),
            ("readings/r.csv:22:glucose", "unparsable number `1,234`"),
        ],
    );
    as_written(&place, &settled);
    let all = counts(&settled, Table::Readings);
    assert_eq!((all.read, all.rejected, all.accepted), (21, 13, 8));
    let kept: Vec<(String, f64, Status)> = readings(&store)
        .into_iter()
        .map(|(_, time, glucose, status)| (time[11..16].to_owned(), glucose, status))
        .collect();
    let clock = |text: &str| text.to_owned();
    assert_eq!(kept[0], (clock("09:00"), 100.0, Status::Ok));
    assert_eq!(kept[1], (clock("10:15"), 99.0858, Status::High));
    assert_eq!(kept[2], (clock("10:20"), 1500.0, Status::Ok));
    assert_eq!((&*kept[3].0, kept[3].2), ("10:25", Status::Low));
    assert!(kept[3].1.is_nan());
    assert_eq!(kept[4], (clock("10:30"), 500.8337, Status::High));
    assert_eq!((&*kept[5].0, kept[5].2), ("10:35", Status::Error));
    assert_eq!(kept[6], (clock("10:45"), 88.0, Status::Warmup));
    assert_eq!(kept[7], (clock("10:50"), 99.0858, Status::Ok));
    let files = store.file_rows();
    let rows: Vec<(&str, &str, u64)> = files.iter().map(|f| (&*f.name, f.table, f.rows)).collect();
    assert_eq!(
        rows,
        [
            ("readings/r.csv", "readings", 21),
            ("wear-events/e.csv", "wear-events", 1)
        ]
    );
}

/// By path bytes `B.csv` comes before `a.csv`, and its rows stay.
#[test]
fn duplicates_and_contradictions_over_two_files() {
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "readings/a.csv",
            "sensor,time,glucose,unit,status\na,2026-03-01T10:00:00Z,111,,ok\n\
             a,2026-03-01T11:00:00+00:00,5.5,mmol/L,ok\na,2026-03-01T12:00:00Z,120,,low\n\
             a,2026-03-01T13:00:00Z,130,,\na,2026-03-01T13:00:00Z,131,,\n",
        ),
        (
            "readings/B.csv",
            "sensor,time,glucose,status\na,2026-03-01T12:00:00Z,120,ok\na,2026-03-01T10:00:00Z,110,ok\n\
             a,2026-03-01T10:00:00Z,110.0,\na,2026-03-01T11:00:00Z,99.0858,ok\n",
        ),
    ]);
    let settled = place.settled();
    rejected(
        &settled,
        &[
            (
                "readings/a.csv:2:glucose",
                "contradicts readings/B.csv, line 3",
            ),
            (
                "readings/a.csv:4:glucose",
                "contradicts readings/B.csv, line 2",
            ),
            (
                "readings/a.csv:6:glucose",
                "contradicts readings/a.csv, line 5",
            ),
        ],
    );
    as_written(&place, &settled);
    let contradicting = settled
        .rejects
        .iter()
        .filter(|reject| !reject.raw.is_empty());
    assert_eq!(contradicting.count(), 3);
    let all = counts(&settled, Table::Readings);
    assert_eq!(
        (all.read, all.rejected, all.duplicates, all.accepted),
        (9, 3, 2, 4)
    );
    let kept: Vec<f64> = readings(&place.load().0).iter().map(|row| row.2).collect();
    assert_eq!(kept, [110.0, 99.0858, 120.0, 130.0]);
    // Where the first file goes, what it set aside comes back.
    fs::remove_file(place.path().join("readings/B.csv")).unwrap();
    let (store, loaded) = place.load();
    assert_eq!((loaded.parsed, loaded.unchanged, loaded.gone), (0, 2, 1));
    let kept: Vec<f64> = readings(&store).iter().map(|row| row.2).collect();
    assert_eq!(kept, [111.0, 99.0858, 120.0, 130.0]);
    // A file that is as it was is not parsed again; one with another byte is.
    assert_eq!(place.load().1.unchanged, 2);
    place.write(
        "readings/a.csv",
        "sensor,time,glucose\na,2026-03-01T10:00:00Z,112\n",
    );
    let (store, loaded) = place.load();
    assert_eq!((loaded.parsed, loaded.unchanged), (1, 1));
    let rows = readings(&store);
    assert_eq!(rows.len(), 1);
    assert_eq!((rows[0].2, &*rows[0].1), (112.0, "2026-03-01T10:00:00Z"));
    // What an earlier version of a log said is gone with it.
    place.write("wear-events/e.csv", &INSERT.replace("calf", "chest"));
    let (store, loaded) = place.load();
    assert_eq!((loaded.parsed, loaded.unchanged), (1, 1));
    let (events, _) = store.events(Micros::MAX).unwrap();
    let sites: Vec<&str> = events.iter().map(|event| event.site.as_str()).collect();
    assert_eq!(sites, ["chest"]);
    // Another unit for rows that name none is another reading of all files.
    place.write("study.toml", &UTC.replace("mg/dL", "mmol/L"));
    place.write(
        "readings/a.csv",
        "sensor,time,glucose\na,2026-03-01T10:00:00Z,10\n",
    );
    let (store, loaded) = place.load();
    assert_eq!((loaded.parsed, loaded.unchanged), (2, 0));
    assert_eq!(readings(&store)[0].2, 180.156);
}

/// Rows of one instant are the same where status and glucose are, whichever comes first; two without glucose have the same.
#[test]
fn one_instant_has_one_reading() {
    let rows = [
        ("100,ok", "99,ok", false),
        ("99,ok", "100,ok", false),
        ("100,ok", "100.0,ok", true),
        (",error", ",error", true),
        (",error", ",warmup", false),
        (",error", "100,error", false),
        ("100,error", ",error", false),
        ("40,ok", "40,low", false),
    ];
    let mut text = "sensor,time,glucose,status\n".to_owned();
    for (minute, (first, second, _)) in rows.iter().enumerate() {
        for row in [first, second] {
            text += &format!("a,2026-03-01T09:{minute:02}:00Z,{row}\n");
        }
    }
    let place = Place::with_readings(&text);
    let settled = place.settled();
    let refused: Vec<u64> = settled.rejects.iter().map(|reject| reject.line).collect();
    let differ = rows.iter().enumerate().filter(|(_, row)| !row.2);
    let wanted: Vec<u64> = differ.map(|(row, _)| 2 * row as u64 + 3).collect();
    assert_eq!(refused, wanted);
    let all = counts(&settled, Table::Readings);
    assert_eq!((all.duplicates, all.accepted), (2, rows.len() as u64));
}

/// A sensor is one within its wearer, also where its rows come again from the store beside those of a new file.
#[test]
fn two_wearers_may_have_a_sensor_of_one_name() {
    let row = |wearer: &str, minute: u32, glucose: u32| {
        format!("{wearer},a,2026-03-01T09:{minute:02}:00Z,{glucose}\n")
    };
    let header = "wearer,sensor,time,glucose\n".to_owned();
    let place = Place::new(&[
        ("study.toml", UTC),
        (
            "readings/r.csv",
            &(header.clone() + &row("ana", 0, 100) + &row("ben", 0, 200) + &row("ben", 5, 201)),
        ),
    ]);
    let found = |place: &Place| {
        let mut found = Vec::new();
        let (store, _) = place.load();
        store
            .each_sensor(Micros::MAX, &mut |sensor| {
                let glucose = sensor.readings.iter().map(|reading| reading.glucose);
                found.push((
                    sensor.wearer.clone(),
                    sensor.sensor.clone(),
                    glucose.collect::<Vec<_>>(),
                ));
            })
            .unwrap();
        found
    };
    let is = |wearer: &str, glucose: &[f64]| (wearer.to_owned(), "a".to_owned(), glucose.to_vec());
    assert_eq!(
        found(&place),
        [is("ana", &[100.0]), is("ben", &[200.0, 201.0])]
    );
    place.write(
        "readings/s.csv",
        &(header + &row("ben", 10, 202) + &row("ana", 10, 102)),
    );
    assert_eq!(
        found(&place),
        [
            is("ana", &[100.0, 102.0]),
            is("ben", &[200.0, 201.0, 202.0])
        ]
    );
}

/// Longer than what is read of a file at first: no row is lost or read twice, and the last line is the last.
#[test]
fn a_long_file_is_read_to_its_end() {
    let mut text = "sensor,time,glucose\n".to_owned();
    for minute in 0..20_000 {
        let (day, hour) = (1 + minute / 1440, minute / 60 % 24);
        let end = ["\r", "\r\n", "\n"][minute % 3];
        text += &format!(
            "a,2026-04-{day:02}T{hour:02}:{:02}:00Z,{}{end}",
            minute % 60,
            60 + minute % 300
        );
    }
    text += "a,2026-05-01T00:00:00Z,0\n";
    assert!(text.len() > 1 << 19);
    let place = Place::with_readings(&text);
    rejected(
        &place.settled(),
        &[("readings/r.csv:20002:glucose", "no body has")],
    );
    let rows = readings(&place.load().0);
    assert_eq!(rows.len(), 20_000);
    let sum: f64 = rows.iter().map(|row| row.2).sum();
    let wanted: i32 = (0..20_000).map(|minute| 60 + minute % 300).sum();
    assert_eq!(sum, f64::from(wanted));
}

#[test]
fn what_counts_up_to_an_instant() {
    let place = Place::new(&[
        ("study.toml", UTC),
        (
            "wear-events/e.csv",
            "sensor,time,event,site,cause\na,2026-03-01T08:00:00Z,insert,calf,\n\
             a,2026-03-03T08:00:00Z,end,,completed\nb,2026-03-03T08:00:00Z,insert,chest,\n",
        ),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-02T08:00:00Z,100\na,2026-03-02T08:00:01Z,100\n\
             c,2026-03-01T09:00:00Z,100\nc,2026-03-01T09:05:00Z,100\n",
        ),
        (
            "fingersticks/f.csv",
            "time,glucose,meter\n2026-04-02T07:59:00Z,90,m\n2026-02-02T08:01:00Z,91,n\n",
        ),
    ]);
    let (store, _) = place.load();
    let as_of = at("2026-03-02T08:00:00Z");
    let settled = store.settle(&place.study(), as_of).unwrap();
    rejected(
        &settled,
        &[
            ("fingersticks/f.csv:2:time", "after --as-of"),
            ("readings/r.csv:3:time", "after --as-of"),
            ("readings/r.csv:4:sensor", "2 readings of sensor `c`"),
            ("wear-events/e.csv:3:time", "after --as-of"),
            ("wear-events/e.csv:4:time", "after --as-of"),
        ],
    );
    assert!(settled.late);
    let all = counts(&settled, Table::Readings);
    assert_eq!(
        (all.read, all.rejected, all.without_insert, all.accepted),
        (4, 1, 2, 1)
    );
    let events = counts(&settled, Table::WearEvents);
    assert_eq!((events.read, events.rejected, events.accepted), (3, 2, 1));
    assert_eq!(settled.span, Some((at("2026-02-02T08:01:00Z"), as_of)));
    let months: Vec<String> = settled.months.iter().map(ToString::to_string).collect();
    assert_eq!(months, ["2026-02", "2026-03"]);
    let checks = store.checks(as_of).unwrap();
    assert_eq!(checks.len(), 1);
    assert_eq!(
        (checks[0].glucose, &*checks[0].meter, checks[0].line),
        (91.0, "n", 3)
    );
    let (kept, refused) = store.events(as_of).unwrap();
    assert_eq!((kept.len(), refused.len()), (1, 0));
    assert_eq!((&*kept[0].event, &*kept[0].site), ("insert", "calf"));
    let whole = store.settle(&place.study(), Micros::MAX).unwrap();
    assert!(!whole.late);
    assert_eq!(counts(&whole, Table::Readings).accepted, 2);
    assert_eq!(whole.months.len(), 3);
    assert_eq!(
        whole.span,
        Some((at("2026-02-02T08:01:00Z"), at("2026-04-02T07:59:00Z")))
    );
}

/// Where no row counts, the span is that of the readings up to the instant, which is one of them.
#[test]
fn readings_alone_have_a_span() {
    let place = Place::new(&[
        ("study.toml", UTC),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,2026-04-01T09:00:00Z,100\nb,2026-05-01T09:00:00Z,100\n",
        ),
    ]);
    let (store, _) = place.load();
    let span = |as_of: Micros| store.settle(&place.study(), as_of).unwrap().span;
    let (first, second, last) = (
        at("2026-03-01T09:00:00Z"),
        at("2026-04-01T09:00:00Z"),
        at("2026-05-01T09:00:00Z"),
    );
    assert_eq!(span(Micros::MAX), Some((first, last)));
    assert_eq!(span(last), Some((first, last)));
    assert_eq!(span(second), Some((first, second)));
    assert_eq!(span(first - 1), None);
    let counts = store.settle(&place.study(), last).unwrap().counts;
    let told: Vec<Table> = counts.into_keys().collect();
    assert_eq!(
        told,
        [Table::Readings, Table::Fingersticks, Table::WearEvents],
        "judgements where there are any"
    );
}

#[test]
fn a_sensor_has_one_beginning_and_one_end() {
    let place = Place::new(&[
        ("study.toml", UTC),
        (
            "wear-events/e.csv",
            "sensor,time,event,site,cause,grade,aspect,score,tape\n\
             a,2026-03-01T08:00:00Z,insert,calf,,,,,ring\n\
             b,2026-03-01T08:00:00Z,insert,claf,,,,,\n\
             a,2026-03-01T09:00:00Z,removed,,,,,,\n\
             a,2026-03-04T08:00:00Z,end,,fell,,,,\n\
             a,2026-02-28T08:00:00Z,end,,fell-off,,,,\n\
             c,2026-03-04T08:00:00Z,end,,fell-off,,,,\n\
             a,2026-03-02T08:00:00Z,insert,chest,,,,,\n\
             a,2026-03-03T08:00:00Z,end,,fell-off,,,,\n\
             a,2026-03-04T08:00:00Z,end,,completed,,,,\n\
             a,2026-03-04T08:00:00Z,skin,,,5,,,\n\
             a,2026-03-04T08:00:00Z,skin,,,4,,,\n\
             a,2026-03-04T08:00:00Z,rating,,,,itch,4,\n\
             a,2026-03-04T08:00:00Z,rating,,,,pain,10,\n\
             a,2026-03-04T08:00:00Z,rating,,,,pain,11,\n\
             ,2026-03-04T22:00:00Z,bed,,,,,,\n\
             a,2026-03-01T08:00:00Z,insert,calf,,,,,ring\n",
        ),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-02T07:59:00Z,100\na,2026-03-02T08:00:00Z,100\na,2026-03-02T08:05:00Z,101\n",
        ),
    ]);
    let (store, _) = place.load();
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    rejected(
        &settled,
        &[
            (
                "readings/r.csv:3:sensor",
                "2 readings of sensor `a` of `wearer-1` set aside",
            ),
            ("wear-events/e.csv:3:site", "did you mean `calf`"),
            ("wear-events/e.csv:4:event", "unknown event"),
            ("wear-events/e.csv:5:cause", "unknown cause"),
            (
                "wear-events/e.csv:6:time",
                "before `insert`, which is in wear-events/e.csv, line 2",
            ),
            ("wear-events/e.csv:7:sensor", "never inserted"),
            (
                "wear-events/e.csv:8:event",
                "second `insert` of this sensor: the first is in wear-events/e.csv, line 2",
            ),
            (
                "wear-events/e.csv:10:event",
                "second `end` of this sensor: the first is in wear-events/e.csv, line 9",
            ),
            ("wear-events/e.csv:11:grade", "grade"),
            ("wear-events/e.csv:13:aspect", "unknown aspect"),
            ("wear-events/e.csv:15:score", "score"),
        ],
    );
    let all = counts(&settled, Table::Readings);
    assert_eq!((all.after_second_insert, all.accepted), (2, 1));
    assert_eq!(settled.used_until, [(0, at("2026-03-02T08:00:00Z"))]);
    let events = counts(&settled, Table::WearEvents);
    assert_eq!(
        (
            events.read,
            events.rejected,
            events.duplicates,
            events.accepted
        ),
        (16, 10, 1, 5)
    );
    let (kept, refused) = store.events(Micros::MAX).unwrap();
    let words: Vec<&str> = kept.iter().map(|event| event.event.as_str()).collect();
    assert_eq!(words, ["insert", "end", "skin", "rating", "bed"]);
    assert_eq!((&*kept[0].tape, &*kept[1].cause), ("ring", "fell-off"));
    let lines: Vec<u64> = refused.iter().map(|event| event.line).collect();
    assert_eq!(lines, [6, 8, 7, 10], "by time");
}

#[test]
fn fingersticks_and_verdicts() {
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "fingersticks/f.csv",
            "time,glucose,unit,purpose,meter\n2026-03-01T09:00:00Z,100,,,k\n2026-03-01T09:00:00Z,100,,,k\n\
             2026-03-01T09:00:00Z,108,,,k\n2026-03-01T09:01:00Z,100,,hunch,\n2026-03-01T09:02:00Z,100,kg,,\n\
             noon,100,,,\n2026-03-01T09:03:00Z,2000,,alarm,\n2026-03-01T09:04:00Z,HI,,,\n2026-03-01T08:00:00Z,5,mmol/L,doubt,\n",
        ),
        (
            "judgements.csv",
            "sensor,start,verdict\na,2026-03-01T09:00:00Z,artefact\na,2026-03-01T09:00:00Z,true-low\n\
             a,2026-03-01T10:00:00Z,maybe\na,2026-03-01T11:00:00Z,unsure\na,2026-03-01T11:00:00Z,unsure\n",
        ),
    ]);
    let (store, _) = place.load();
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    rejected(
        &settled,
        &[
            ("fingersticks/f.csv:5:purpose", "unknown purpose"),
            ("fingersticks/f.csv:6:unit", "unknown unit"),
            ("fingersticks/f.csv:7:time", "unparsable time"),
            ("fingersticks/f.csv:8:glucose", "no body has"),
            ("fingersticks/f.csv:9:glucose", ""),
            ("judgements.csv:3:verdict", "judgements.csv, line 2"),
            ("judgements.csv:4:verdict", "unknown verdict"),
        ],
    );
    let checks = counts(&settled, Table::Fingersticks);
    assert_eq!(
        (
            checks.read,
            checks.rejected,
            checks.duplicates,
            checks.accepted
        ),
        (9, 5, 1, 3)
    );
    let verdicts = counts(&settled, Table::Judgements);
    assert_eq!(
        (
            verdicts.read,
            verdicts.rejected,
            verdicts.duplicates,
            verdicts.accepted
        ),
        (5, 2, 1, 2)
    );
    let kept: Vec<(f64, String)> = store
        .checks(Micros::MAX)
        .unwrap()
        .into_iter()
        .map(|check| {
            (
                (check.glucose * 1e3).round() / 1e3,
                check.purpose.to_string(),
            )
        })
        .collect();
    let wanted = [(90.078, "doubt"), (100.0, "routine"), (108.0, "routine")];
    assert_eq!(
        kept,
        wanted.map(|(glucose, purpose)| (glucose, purpose.to_owned()))
    );
}

/// What a look at the skin found goes with its row, also to what looks at rows before any query.
#[test]
fn an_event_keeps_its_grade() {
    let log = "sensor,time,event,site,grade\n\
               a,2026-03-01T08:00:00Z,insert,calf,\n\
               a,2026-03-02T08:00:00Z,skin,,3\n";
    let place = Place::new(&[("study.toml", UTC), ("wear-events/e.csv", log)]);
    let (store, _) = place.load();
    let (events, _) = store.events(Micros::MAX).unwrap();
    let grades: Vec<Option<u8>> = events.iter().map(|event| event.grade).collect();
    assert_eq!(grades, [None, Some(3)]);
}
