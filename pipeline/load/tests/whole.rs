//! Small studies loaded whole: every row with what becomes of it, and what a second load finds. Expected rows are worked by
//! hand; 1 mmol/L is 18.0156 mg/dL (molar mass of glucose 180.156 g/mol).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::Path;

use tempfile::TempDir;
use whereworn_load::map::{Known, map, preview};
use whereworn_load::{
    Evidence, Holder, LoadOptions, Loaded, RowCounts, Said, Settled, Store, Study, Table, load,
};
use whereworn_model::rows::Status;
use whereworn_model::time::{Micros, format_utc, parse_instant};
use whereworn_model::units::Unit;

const UTC: &str = "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n";
const INSERT: &str = "sensor,time,event,site\na,2026-03-01T08:00:00Z,insert,calf\n";

struct Place(TempDir);

impl Place {
    fn new(files: &[(&str, &str)]) -> Self {
        let place = Self(tempfile::tempdir().unwrap());
        files
            .iter()
            .for_each(|(name, text)| place.write(name, text));
        place
    }

    fn write(&self, name: &str, text: &str) {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn study(&self) -> Study {
        Study::open(self.path()).unwrap()
    }

    fn load(&self) -> (Store, Loaded) {
        load(&self.study(), &LoadOptions::default(), &|_| {}).unwrap()
    }

    fn fails(&self) -> String {
        let study = match Study::open(self.path()) {
            Ok(study) => study,
            Err(error) => return error.to_string(),
        };
        let loaded = load(&study, &LoadOptions::default(), &|_| {});
        loaded
            .err()
            .map_or_else(String::new, |error| error.to_string())
    }

    fn settled(&self) -> Settled {
        self.load().0.settle(&self.study(), Micros::MAX).unwrap()
    }
}

fn at(text: &str) -> Micros {
    parse_instant(text).unwrap()
}

/// Rejects as `file:line:column`, with words of their reasons.
fn rejected(settled: &Settled, wanted: &[(&str, &str)]) {
    let found: Vec<String> = settled
        .rejects
        .iter()
        .map(|r| format!("{}:{}:{}", r.file, r.line, r.column))
        .collect();
    let places: Vec<&str> = wanted.iter().map(|(place, _)| *place).collect();
    assert_eq!(found, places, "{:#?}", settled.rejects);
    for (reject, (place, words)) in settled.rejects.iter().zip(wanted) {
        assert!(reject.reason.contains(words), "{place}: {}", reject.reason);
    }
}

fn counts(settled: &Settled, table: Table) -> RowCounts {
    settled.counts.get(&table).copied().unwrap_or_default()
}

/// Readings that are in the store, by sensor and time.
fn readings(store: &Store) -> Vec<(String, String, f64, Status)> {
    let mut rows = Vec::new();
    store
        .each_sensor(Micros::MAX, &mut |sensor| {
            let readings = sensor.readings.into_iter();
            rows.extend(readings.map(|reading| {
                let glucose = (reading.glucose * 1e4).round() / 1e4;
                (
                    sensor.sensor.clone(),
                    format_utc(reading.time),
                    glucose,
                    reading.status,
                )
            }));
        })
        .unwrap();
    rows
}

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
             a,2026-03-01T10:45:00Z,88,,warmup\n",
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
        ],
    );
    let all = counts(&settled, Table::Readings);
    assert_eq!((all.read, all.rejected, all.accepted), (17, 10, 7));
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
    let files = store.file_rows();
    let rows: Vec<(&str, &str, u64)> = files.iter().map(|f| (&*f.name, f.table, f.rows)).collect();
    assert_eq!(
        rows,
        [
            ("readings/r.csv", "readings", 17),
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

/// Portugal's clocks in 2026 (IANA time zone database): forward on 29 March at 01:00 UTC, back on 25 October at 01:00 UTC.
#[test]
fn local_times_and_corrections() {
    let place = Place::new(&[
        (
            "study.toml",
            "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n[wearers.ana]\ntimezone = \"Asia/Tokyo\"\n\
             [[corrections]]\nsensor = \"b\"\nclock_minutes = -60\n[[corrections]]\nsensor = \"c\"\nleave_out = true\n\
             [[corrections]]\nsensor = \"d\"\nunit = \"mmol/L\"\n",
        ),
        (
            "readings/r.csv",
            "sensor,time,glucose,wearer\na,2026-07-01T12:00,100,\na,2026-07-01 12:05:00,101,\na,2026-07-01T12:15+05:30,102,\n\
             a,2026-03-29T01:30,103,\na,2026-10-25T00:30,104,\na,2026-10-25T01:30,105,\na,2026-10-25T01:00,106,\n\
             b,2026-07-01T12:00,100,\nc,2026-07-01T12:00,100,\nd,2026-07-01T12:00,10,\nj,2026-07-01T12:00,100,ana\n",
        ),
        (
            "wear-events/e.csv",
            "sensor,time,event,site,wearer\na,2026-01-01T08:00,insert,calf,\nb,2026-01-01T08:00,insert,calf,\n\
             d,2026-01-01T08:00,insert,calf,\nj,2026-01-01T08:00,insert,calf,ana\n",
        ),
    ]);
    let (store, _) = place.load();
    let rows: Vec<String> = readings(&store)
        .into_iter()
        .map(|(sensor, time, glucose, _)| format!("{sensor} {time} {glucose}"))
        .collect();
    assert_eq!(
        rows,
        [
            "j 2026-07-01T03:00:00Z 100",
            "a 2026-07-01T06:45:00Z 102",
            "a 2026-07-01T11:00:00Z 100",
            "a 2026-07-01T11:05:00Z 101",
            "a 2026-10-24T23:30:00Z 104",
            "a 2026-10-25T00:30:00Z 105",
            "a 2026-10-25T01:00:00Z 106",
            "b 2026-07-01T10:00:00Z 100",
            "d 2026-07-01T11:00:00Z 180.156",
        ]
    );
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    rejected(&settled, &[("readings/r.csv:5:time", "does not exist")]);
    let all = counts(&settled, Table::Readings);
    assert_eq!(
        (all.read, all.left_out, all.rejected, all.accepted),
        (11, 1, 1, 9)
    );
}

#[test]
fn an_export_is_read_by_its_mapping() {
    let settings = "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n[exports.old]\ntable = \"readings\"\nfiles = \"exports/*.csv\"\n\
         columns = { date = \"Tag\", time = \"Uhrzeit\", glucose = \"Wert\", status = \"Art\" }\n\
         constants = { sensor = \"s9\" }\nvalues = { status = { \"zu tief\" = \"low\" } }\n\
         time_format = \"%d/%m/%Y %H:%M\"\noffset = \"+02:00\"\nunit = \"mmol/L\"\nskip_lines = 2\n";
    let text = "Made; by hand\n\nTag;Uhrzeit;Wert;Art;Extra\n02/07/2026;14:05;5,5;;x\n2026-07-02;14:10;5,5;;x\n\
         02/07/2026;14:20;10,0;zu tief;x\n";
    let place = Place::new(&[
        ("study.toml", settings),
        ("exports/one.csv", text),
        ("exports/notes.txt", "x"),
        ("exports/.two.csv", text),
    ]);
    let (store, _) = place.load();
    assert_eq!(
        readings(&store),
        [
            (
                "s9".to_owned(),
                "2026-07-02T12:05:00Z".to_owned(),
                99.0858,
                Status::Ok
            ),
            (
                "s9".to_owned(),
                "2026-07-02T12:20:00Z".to_owned(),
                180.156,
                Status::Low
            ),
        ]
    );
    let settled = store.settle(&place.study(), Micros::MAX).unwrap();
    rejected(
        &settled,
        &[
            ("exports/one.csv:4:sensor", "2 readings of sensor `s9`"),
            ("exports/one.csv:5:time", "does not fit time_format"),
        ],
    );
    for (from, to, words) in [
        (
            "\"Wert\"",
            "\"Value\"",
            "there is no column `Value`, to which study.toml maps `glucose`",
        ),
        (
            "glucose =",
            "glukose =",
            "`glukose` is no column of readings",
        ),
        ("exports/*.csv", "export/*.csv", "export/*.csv"),
    ] {
        place.write("study.toml", &settings.replacen(from, to, 1));
        let error = place.fails();
        assert!(error.contains(words), "{error}");
    }
}

#[test]
fn what_cannot_be_read_is_named() {
    for (name, text, words) in [
        (
            "readings/r.csv",
            "sensor,time\na,2026-03-01T09:00Z\n",
            "glucose",
        ),
        ("readings/r.csv", "sensor,time,glucose,glucose\n", "glucose"),
        ("readings/r.csv", "", "empty"),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\na,2026",
            "truncated",
        ),
        ("readings/r.csv.gz", "no gzip", "r.csv.gz"),
    ] {
        let place = Place::new(&[
            ("study.toml", UTC),
            ("wear-events/e.csv", INSERT),
            (name, text),
        ]);
        let error = place.fails();
        assert!(
            error.contains(words) && error.contains(name),
            "{name}: {error}"
        );
        assert!(!place.path().join(".whereworn").exists(), "{error}");
    }
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        ("readings/old.txt", "x"),
        ("readings/2025/r.csv", "x"),
        ("readings/.hidden.csv", "x"),
    ]);
    let warned = place.study().warnings.join("\n");
    assert!(
        warned.contains("readings/old.txt") && warned.contains("readings/2025"),
        "{warned}"
    );
    assert!(warned.contains("readings/.hidden.csv"), "{warned}");
    assert_eq!(place.study().inputs.len(), 1);
    place.write(
        "readings/r.csv",
        "sensor,time,glucose,colour\na,2026-03-01T09:00:00Z,100,red\n",
    );
    let settled = place.settled();
    let warned = settled.warnings.join("\n");
    assert!(
        warned.contains("readings/r.csv") && warned.contains("`colour`"),
        "{warned}"
    );
    assert_eq!(counts(&settled, Table::Readings).accepted, 1);
    let none = Place::new(&[("study.toml", UTC)]);
    assert!(none.fails().contains("no input"));
    let units = Place::new(&[
        ("study.toml", "[study]\ntimezone = \"UTC\"\n"),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n",
        ),
    ]);
    assert!(units.fails().contains("unit"), "{}", units.fails());
}

#[test]
fn a_store_that_was_damaged_is_built_again() {
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        (
            "readings/r.csv",
            "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n",
        ),
    ]);
    let rows = readings(&place.load().0);
    let folder = place.path().join(".whereworn");
    let names = || -> Vec<String> {
        let entries = fs::read_dir(&folder).unwrap();
        entries
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect()
    };
    let stored = names()
        .into_iter()
        .filter(|name| name.ends_with(".parquet") || name == "manifest.json");
    for name in stored.collect::<Vec<_>>() {
        let path = folder.join(&name);
        if !path.exists() {
            continue;
        }
        let mut bytes = fs::read(&path).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0x55;
        fs::write(&path, bytes).unwrap();
        let (store, loaded) = place.load();
        assert_eq!(loaded.notes.len(), 1, "{name}: {:?}", loaded.notes);
        assert_eq!(loaded.parsed, 2, "{name}");
        assert_eq!(readings(&store), rows);
        assert_eq!(place.load().1.notes, Vec::<String>::new());
    }
    let is_readings = |name: &String| name.starts_with("readings-");
    let gone = names().into_iter().find(is_readings).unwrap();
    fs::remove_file(folder.join(&gone)).unwrap();
    let (store, loaded) = place.load();
    let words = format!("{gone} is missing");
    assert!(loaded.notes[0].contains(&words), "{:?}", loaded.notes);
    assert_eq!(readings(&store), rows);
}

#[test]
fn what_was_said_is_kept_line_by_line() {
    let place = Place::new(&[("study.toml", UTC), ("wear-events/e.csv", INSERT)]);
    let study = place.study();
    let said = |look: &str, site: &str, evidence: f64| Said {
        look: at(look),
        measure: "stays-on".to_owned(),
        site: site.to_owned(),
        against: "chest, \"left\"".to_owned(),
        evidence,
        verdict: "open".to_owned(),
        version: "0.1.0".to_owned(),
        plan_hash: String::new(),
    };
    let (march, april) = ("2026-03-31T22:00:00Z", "2026-04-30T22:00:00Z");
    let holder = Holder::default();
    let rows = [said(march, "calf", 1.5), said(march, "abdomen", 0.0)];
    Evidence::append(&study, &holder, &rows).unwrap();
    Evidence::append(&study, &holder, &rows).unwrap();
    Evidence::append(&study, &holder, &[said(april, "calf", 3.25)]).unwrap();
    let read = Evidence::read(&study).unwrap();
    assert_eq!(
        read.said,
        [rows[0].clone(), rows[1].clone(), said(april, "calf", 3.25)]
    );
    assert!(read.warnings.is_empty());
    // A line with another number, one that is cut, and one from elsewhere are named and not used; the others stay.
    let path = place.path().join("evidence.csv");
    let text = fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().count(), 4);
    fs::write(&path, text.replace(",1.5,", ",9.5,")).unwrap();
    let read = Evidence::read(&study).unwrap();
    assert_eq!(read.said.len(), 2);
    assert_eq!(read.warnings.len(), 1);
    assert!(read.warnings[0].contains("line 2"), "{:?}", read.warnings);
    // Less than nothing is no capital of a bet, whatever its checksum.
    Evidence::append(&study, &holder, &[said(april, "chest", -1.0)]).unwrap();
    assert_eq!(Evidence::read(&study).unwrap().said.len(), 2);
    fs::write(&path, "").unwrap();
    assert!(Evidence::read(&study).is_err());
}

/// A file of which nothing is known: semicolons, decimal commas, days first as no month is the 25th, mmol/L by its range.
#[test]
fn a_mapping_is_told_from_the_rows() {
    let mut text = "made by hand\nGeraet;Datum;Uhrzeit;Wert\n".to_owned();
    for minute in 0..60 {
        let value = 5.0 + f64::from(minute % 9) / 2.0;
        text += &format!(
            "S7;25.03.2026;{:02}:{:02};{}\n",
            8 + minute / 12,
            5 * (minute % 12),
            value.to_string().replace('.', ",")
        );
    }
    let place = Place::new(&[("study.toml", UTC), ("log.csv", &text)]);
    let path = place.path().join("log.csv");
    let mapping = map(&path, &Known::default()).unwrap();
    let export = &mapping.export;
    assert_eq!(
        (&*export.table, &*export.files, export.skip_lines),
        ("readings", "log.csv", 1)
    );
    assert_eq!(export.columns["time"].names(), ["Datum", "Uhrzeit"]);
    assert_eq!(export.columns["glucose"].names(), ["Wert"]);
    assert_eq!(export.columns["sensor"].names(), ["Geraet"]);
    assert_eq!(export.time_format.as_deref(), Some("%d.%m.%Y %H:%M"));
    assert_eq!(export.unit, Some(Unit::MmolL));
    assert_eq!(mapping.open, Vec::<String>::new());
    let told = mapping.told.join("\n");
    assert!(
        told.contains("60 rows of 4 columns, separated by semicolons, their names on line 2"),
        "{told}"
    );
    let rows = preview(&path, &mapping, 3).unwrap();
    assert_eq!(rows.len(), 3);
    assert_eq!(
        (rows[1].line, &*rows[1].raw),
        (4, "S7;25.03.2026;08:05;5,5")
    );
    assert_eq!(
        rows[1].understood,
        "sensor S7, 2026-03-25 08:05:00, 99.1 mg/dL, ok"
    );
    // A row that is not read is shown with its reason.
    fs::write(&path, text.replacen("08:00;5", "08:00;much", 1)).unwrap();
    let rows = preview(&path, &mapping, 1).unwrap();
    assert!(
        rows[0].understood.starts_with("not read: "),
        "{}",
        rows[0].understood
    );
}
