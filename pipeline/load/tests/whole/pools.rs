//! The store in the hands of a run: what stands for its content, what is left in its folder, and several studies as one.

use whereworn_load::files::Access;

use super::*;

fn study(start: &str, glucose: &str) -> Place {
    Place::new(&[
        ("study.toml", UTC),
        (
            "wear-events/e.csv",
            &format!(
                "sensor,time,event,site,wearer\na,{start}-01T08:00:00Z,insert,calf,ana\nb,{start}-01T08:00:00Z,insert,chest,ana\n\
                 b,{start}-03T08:00:00Z,insert,chest,ana\nb,{start}-02T08:00:00Z,insert,chest,ana\n,{start}-04T08:00:00Z,rise,,\n"
            ),
        ),
        (
            "readings/r.csv",
            &format!(
                "sensor,time,glucose,wearer,colour\na,{start}-01T09:00:00Z,{glucose},ana,x\nb,{start}-01T09:00:00Z,90,ana,x\n\
                 b,{start}-02T08:00:00Z,91,ana,x\nb,{start}-04T09:00:00Z,92,ana,x\nb,{start}-05T09:00:00Z,93,ana,x\nc,{start}-05T09:00:00Z,94,ana,x\n"
            ),
        ),
        (
            "fingersticks/f.csv",
            &format!(
                "time,glucose,meter,wearer\n{start}-01T09:00:00Z,100,k,ana\n{start}-01T09:10:00Z,100,,\n"
            ),
        ),
        (
            "judgements.csv",
            &format!("sensor,start,verdict,wearer\na,{start}-01T09:00:00Z,unsure,ana\n"),
        ),
    ])
}

/// By hand: `b` is inserted three times, so its readings count up to the earliest later one, on the second.
#[test]
fn a_sensor_inserted_again_keeps_what_came_before() {
    let place = study("2026-03", "100");
    let settled = place.settled();
    rejected(
        &settled,
        &[
            (
                "readings/r.csv:4:sensor",
                "3 readings of sensor `b` of `ana` set aside: from 2026-03-02T08:00:00Z on, when it was inserted a second time \
                 (wear-events/e.csv, line 5); give each sensor a name of its own",
            ),
            (
                "readings/r.csv:7:sensor",
                "1 reading of sensor `c` of `ana` set aside: no valid `insert` in wear-events says where it was worn",
            ),
            (
                "wear-events/e.csv:4:event",
                "second `insert` of this sensor: the first is in wear-events/e.csv, line 3",
            ),
            ("wear-events/e.csv:5:event", "second `insert`"),
        ],
    );
    assert_eq!(settled.used_until, [(1, at("2026-03-02T08:00:00Z"))]);
    let all = counts(&settled, Table::Readings);
    assert_eq!(
        (
            all.read,
            all.rejected,
            all.without_insert,
            all.after_second_insert,
            all.accepted
        ),
        (6, 0, 1, 3, 2)
    );
    // Up to an instant the one reading that is later than the second insertion is one.
    let (store, _) = place.load();
    let until = store
        .settle(&place.study(), at("2026-03-02T08:00:00Z"))
        .unwrap();
    let all = counts(&until, Table::Readings);
    assert_eq!(
        (all.rejected, all.after_second_insert, all.accepted),
        (3, 1, 2)
    );
    let words = "1 reading of sensor `b` of `ana` set aside: from 2026-03-02T08:00:00Z on";
    assert!(
        until
            .rejects
            .iter()
            .any(|reject| reject.reason.starts_with(words)),
        "{:?}",
        until.rejects
    );
}

#[test]
fn several_studies_are_one_under_their_names() {
    let (north, south) = (study("2026-03", "100"), study("2026-05", "200"));
    let settled =
        |place: &Place, as_of: &str| place.load().0.settle(&place.study(), at(as_of)).unwrap();
    let mut first = settled(&north, "2027-01-01T00:00:00Z")
        .named("north", 0)
        .unwrap();
    let second = settled(&south, "2026-05-04T12:00:00Z")
        .named("south", 3)
        .unwrap();
    let (own, other) = (first.clone(), second.clone());
    // Whatever is neither a name nor the number of a sensor is as it was at home.
    let home = settled(&south, "2026-05-04T12:00:00Z");
    for (batch, named) in [
        (&home.sensors, &second.sensors),
        (&home.fingersticks, &second.fingersticks),
        (&home.wear_events, &second.wear_events),
        (&home.judgements, &second.judgements),
    ] {
        let fields = batch.schema();
        let kept = fields.fields().iter().map(|field| field.name());
        let kept: Vec<&String> = kept
            .filter(|name| {
                !["sensor_no", "wearer", "sensor", "meter", "file"].contains(&name.as_str())
            })
            .collect();
        for name in kept {
            assert_eq!(
                batch.column_by_name(name),
                named.column_by_name(name),
                "{name}"
            );
        }
    }
    let whole = first.take_tables();
    assert_eq!(
        (first.sensors.num_rows(), first.wear_events.num_rows()),
        (0, 0)
    );
    assert_eq!(
        (first.fingersticks.num_rows(), first.judgements.num_rows()),
        (0, 0)
    );
    assert_eq!(first.rejects.len(), own.rejects.len());
    assert_eq!(whole.sensors.num_rows(), 3);
    let joined = Settled::joined(vec![whole, second]).unwrap().unwrap();
    let text = |batch: &arrow::array::RecordBatch, name: &str| -> Vec<String> {
        let column = batch.column_by_name(name).unwrap();
        (0..batch.num_rows())
            .map(|row| arrow::util::display::array_value_to_string(column, row).unwrap())
            .collect()
    };
    assert_eq!(
        text(&joined.sensors, "sensor_no"),
        ["0", "1", "2", "3", "4", "5"]
    );
    let sensors = ["a", "b", "c"];
    let named: Vec<String> = ["north", "south"]
        .iter()
        .flat_map(|study| sensors.map(|sensor| format!("{study}/{sensor}")))
        .collect();
    assert_eq!(text(&joined.sensors, "sensor"), named);
    assert!(
        text(&joined.sensors, "wearer")
            .iter()
            .all(|wearer| wearer.ends_with("h/ana"))
    );
    assert_eq!(
        text(&joined.fingersticks, "meter")
            .iter()
            .filter(|meter| meter.is_empty())
            .count(),
        2
    );
    assert!(text(&joined.fingersticks, "meter").contains(&"south/k".to_owned()));
    assert_eq!(text(&joined.judgements, "sensor"), ["north/a", "south/a"]);
    let events = own.wear_events.num_rows() + other.wear_events.num_rows();
    assert_eq!(joined.wear_events.num_rows(), events);
    assert!(
        text(&joined.wear_events, "site").contains(&"calf".to_owned()),
        "a site is no name of one study"
    );
    assert_eq!(
        joined.used_until,
        [
            (1, at("2026-03-02T08:00:00Z")),
            (4, at("2026-05-02T08:00:00Z"))
        ]
    );
    assert_eq!(
        joined.readings.len(),
        own.readings.len() + other.readings.len()
    );
    assert_eq!(
        joined.rejects.len(),
        own.rejects.len() + other.rejects.len()
    );
    assert!(
        joined
            .rejects
            .iter()
            .any(|reject| reject.file == "south/readings/r.csv")
    );
    assert!(joined.late && !own.late);
    assert_eq!(
        joined.span,
        Some((at("2026-03-01T08:00:00Z"), at("2026-05-04T09:00:00Z")))
    );
    assert_eq!(joined.months.len(), 2);
    let (a, b) = (
        counts(&own, Table::Readings),
        counts(&other, Table::Readings),
    );
    let sum = counts(&joined, Table::Readings);
    assert_eq!(
        (
            sum.read,
            sum.rejected,
            sum.without_insert,
            sum.after_second_insert,
            sum.accepted
        ),
        (
            12,
            a.rejected + b.rejected,
            a.without_insert + b.without_insert,
            a.after_second_insert + b.after_second_insert,
            4
        )
    );
    let inputs: Vec<&str> = joined
        .inputs
        .iter()
        .map(|input| input.name.as_str())
        .collect();
    assert_eq!(inputs.len(), 8);
    assert!(inputs.contains(&"north/readings/r.csv") && inputs.contains(&"south/judgements.csv"));
    assert!(
        joined
            .warnings
            .iter()
            .any(|w| w.starts_with("south/readings/r.csv: unknown columns ignored: `colour`"))
    );
    assert!(Settled::joined(Vec::new()).unwrap().is_none());
}

/// Digits that stand for the store change with any row, those for its readings with a reading.
#[test]
fn a_store_is_known_by_its_digits() {
    let place = study("2026-03", "100");
    let digits = |place: &Place| {
        let (store, _) = place.load();
        (store.hash(), store.hash_of_readings())
    };
    let first = digits(&place);
    assert_eq!(digits(&place), first);
    assert_eq!((first.0.len(), first.1.len()), (64, 64));
    place.write(
        "fingersticks/f.csv",
        "time,glucose\n2026-03-01T09:00:00Z,101\n",
    );
    let second = digits(&place);
    assert!(second.0 != first.0 && second.1 == first.1);
    place.write(
        "readings/r.csv",
        "sensor,time,glucose\na,2026-03-01T09:00:00Z,101\n",
    );
    let third = digits(&place);
    assert!(third.0 != second.0 && third.1 != second.1);
}

/// Rows leave memory and come again from the files; what a query left in the folder goes with the next load, once nobody reads.
#[test]
fn what_is_in_the_folder_and_in_memory() {
    let place = study("2026-03", "100");
    let (store, _) = place.load();
    let checks = store.checks(Micros::MAX).unwrap();
    assert_eq!(checks.len(), 2);
    let store = store.without_rows();
    assert!(store.checks(Micros::MAX).unwrap().is_empty());
    assert_eq!(
        readings(&store).len(),
        6,
        "readings are read from files in any case"
    );
    let again = store.rows_again().unwrap();
    assert_eq!(again.checks(Micros::MAX).unwrap().len(), 2);
    let folder = again.spill_folder(7, Access::Owner).unwrap();
    assert!(folder.ends_with("spill-7") && folder.is_dir());
    fs::write(folder.join("x"), "rows").unwrap();
    let mine = [
        "notes.txt",
        "my-notes.parquet",
        "2026.parquet",
        "manifest.json",
    ];
    let left = ["readings-000099.parquet", ".manifest.json.new", "spill-8"];
    for name in mine[..3].iter().chain(&left) {
        place.write(&format!(".whereworn/{name}"), "x");
    }
    drop(place.load());
    assert!(folder.is_dir(), "as long as another reads");
    drop((again, store));
    drop(place.load());
    let is_there = |name: &&str| place.path().join(".whereworn").join(name).exists();
    assert!(!folder.exists());
    assert!(mine.iter().all(is_there) && !left.iter().any(is_there));
    // A store beside another study's folder.
    let elsewhere = tempfile::tempdir().unwrap();
    let options = LoadOptions {
        store: Some(elsewhere.path().join("pool")),
        ..LoadOptions::default()
    };
    fs::remove_dir_all(place.path().join(".whereworn")).unwrap();
    load(&place.study(), &options, &|_| {}).unwrap();
    assert!(
        elsewhere.path().join("pool/manifest.json").exists()
            && !place.path().join(".whereworn").exists()
    );
}

/// Words before each file that is read, and none where nothing is new.
#[test]
fn progress_names_each_file_that_is_parsed() {
    let place = study("2026-03", "100");
    let seen = std::cell::RefCell::new(Vec::new());
    let see = |words: &str| seen.borrow_mut().push(words.to_owned());
    load(&place.study(), &LoadOptions::default(), &see).unwrap();
    let mut names = seen.take();
    names.sort();
    assert_eq!(
        names,
        [
            "fingersticks/f.csv",
            "judgements.csv",
            "readings/r.csv",
            "wear-events/e.csv"
        ]
    );
    load(&place.study(), &LoadOptions::default(), &see).unwrap();
    assert!(seen.take().is_empty());
}
