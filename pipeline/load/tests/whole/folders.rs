//! Which files of a folder are read, what is said of the others, and who may read what is written.

use super::*;

const READINGS: &str = "sensor,time,glucose\na,2026-03-01T09:00:00Z,100\n";

#[test]
#[cfg(unix)]
fn what_lies_in_a_folder_is_read_or_named() {
    use std::os::unix::fs::symlink;
    let place = Place::new(&[
        ("study.toml", UTC),
        ("readings/r.CSV", READINGS),
        ("readings/.DS_Store", "x"),
        ("readings/~r.csv", READINGS),
        ("readings/notes.txt", "x"),
        ("readings/2025/r.csv", READINGS),
        ("fingersticks", "no folder"),
        ("Reading/r.csv", READINGS),
        ("wear_events/e.csv", INSERT),
        ("Judgement.csv", "x"),
        ("notes.csv", "x"),
    ]);
    let nowhere = place.path().join("nowhere");
    symlink(&nowhere, place.path().join("readings/gone.csv")).unwrap();
    symlink(&nowhere, place.path().join("judgements.csv")).unwrap();
    symlink(&nowhere, place.path().join("wear-events")).unwrap();
    symlink(
        place.path().join("readings/r.CSV"),
        place.path().join("readings/link.csv"),
    )
    .unwrap();
    let study = place.study();
    let names: Vec<&str> = study
        .inputs
        .iter()
        .map(|input| input.name.as_str())
        .collect();
    assert_eq!(names, ["readings/link.csv", "readings/r.CSV"]);
    let link = "it is a link to something that is not there";
    let mut wanted = vec![
        "readings/2025 is not read: it is a folder: move its files up, or map them in study.toml under [exports]".to_owned(),
        format!("readings/gone.csv is not read: {link}"),
        "readings/notes.txt is not read: its name does not end in .csv or .csv.gz: rename it, or map it in study.toml under [exports]".to_owned(),
        "readings/~r.csv is not read: it is hidden, as what programs leave behind is: rename it if it is data".to_owned(),
        "fingersticks is not read: it is no folder: its rows are read from files in a folder of that name".to_owned(),
        format!("wear-events is not read: {link}"),
        format!("judgements.csv is not read: {link}"),
        "Judgement.csv is not read: it would be as `judgements.csv`".to_owned(),
        "Reading is not read: it would be as `readings`".to_owned(),
        "wear_events is not read: it would be as `wear-events`".to_owned(),
    ];
    let mut found = study.warnings.clone();
    wanted.sort();
    found.sort();
    assert_eq!(found, wanted);
}

#[test]
fn a_pattern_takes_folders_and_names_part_by_part() {
    let export = |name: &str, files: &str| {
        format!(
            "[exports.{name}]\ntable = \"readings\"\nfiles = \"{files}\"\nconstants = {{ sensor = \"a\" }}\n"
        )
    };
    let one = format!("{UTC}{}", export("one", "in/2?26/*.csv"));
    let text = "time,glucose\n2026-03-01T09:00:00Z,100\n";
    let place = Place::new(&[
        ("study.toml", &one),
        ("in/2026/a.csv", text),
        ("in/2026/.b.csv", text),
        ("in/2025/c.csv", text),
        ("in/2026/deep/d.csv", text),
        ("in/26.csv", text),
        ("in/2926", text),
    ]);
    let names = |place: &Place| -> Vec<String> {
        place
            .study()
            .inputs
            .into_iter()
            .map(|input| input.name)
            .collect()
    };
    assert_eq!(names(&place), ["in/2026/a.csv"]);
    place.write(
        "study.toml",
        &format!("{UTC}{}", export("one", "in/2026/.?.csv")),
    );
    assert_eq!(names(&place), ["in/2026/.b.csv"]);
    place.write(
        "study.toml",
        &format!("{one}{}", export("two", "in/*/a.csv")),
    );
    let error = place.fails();
    assert!(
        error.contains("in/2026/a.csv is matched by two exports"),
        "{error}"
    );
    place.write("study.toml", &format!("{UTC}{}", export("one", "in/*.txt")));
    let error = place.fails();
    assert!(
        error.contains("exports.one: no file matches `in/*.txt`"),
        "{error}"
    );
    // A mapped file of the table's own folder is read once, by its mapping.
    let own = Place::new(&[
        (
            "study.toml",
            &format!("{UTC}{}", export("one", "readings/x.txt")),
        ),
        ("readings/x.txt", text),
        ("readings/y.csv", READINGS),
    ]);
    assert_eq!(names(&own), ["readings/x.txt", "readings/y.csv"]);
    assert_eq!(own.study().warnings, Vec::<String>::new());
}

#[test]
fn a_folder_that_is_no_study_says_what_is_missing() {
    let none = Place::new(&[("readings/r.txt", "x")]);
    let error = none.fails();
    assert!(
        error.contains("no input: put CSV files into readings/")
            && error.ends_with(
                "(readings/r.txt is not read: its name does not end in .csv or .csv.gz: rename it, or map it in study.toml under \
                 [exports])"
            ),
        "{error}"
    );
    let missing = Study::open(&none.path().join("x"))
        .err()
        .unwrap()
        .to_string();
    assert!(
        missing.contains(
            "no such folder: name the study's folder, or begin one with `whereworn start DIR`;"
        ),
        "{missing}"
    );
    let bare = Place::new(&[("readings/r.csv", READINGS)]);
    assert_eq!(
        bare.study().warnings,
        [
            "there is no study.toml: every setting has its default",
            "study.toml names no time zone: local times, nights and months are taken as UTC; set [study] timezone"
        ]
    );
    fs::write(bare.path().join("study.toml"), b"\xff").unwrap();
    assert!(bare.fails().starts_with("study.toml, line 1: not UTF-8"));
    bare.write(
        "study.toml",
        "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\ncolour = 1\n",
    );
    assert!(
        bare.fails().starts_with("study.toml, line 4"),
        "{}",
        bare.fails()
    );
}

#[test]
#[cfg(unix)]
fn the_owner_alone_reads_a_store_that_is_not_shared() {
    use std::os::unix::fs::PermissionsExt;
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o077;
    for (settings, private) in [
        (UTC.to_owned(), true),
        (format!("{UTC}shared = true\n"), false),
    ] {
        let place = Place::new(&[("study.toml", &settings), ("readings/r.csv", READINGS)]);
        let theirs = mode(&place.path().join("readings/r.csv"));
        place.load();
        let folder = place.path().join(".whereworn");
        let names = fs::read_dir(&folder)
            .unwrap()
            .map(|entry| entry.unwrap().path());
        let files: Vec<_> = names.filter(|path| path.is_file()).collect();
        assert!(files.len() > 1);
        for file in files {
            assert_eq!(
                mode(&file),
                if private { 0 } else { theirs },
                "{}",
                file.display()
            );
        }
        assert_eq!(mode(&folder) == 0, private);
    }
}

/// A packed file is read as what it holds; one that unpacks to a thousand times its size is refused.
#[test]
fn packed_files() {
    use std::io::Write;
    let place = Place::new(&[
        ("study.toml", UTC),
        ("wear-events/e.csv", INSERT),
        ("readings/x", ""),
    ]);
    fs::remove_file(place.path().join("readings/x")).unwrap();
    let pack = |text: &[u8]| {
        let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        packed.write_all(text).unwrap();
        packed.finish().unwrap()
    };
    let path = place.path().join("readings/r.csv.gz");
    let packed = pack(READINGS.as_bytes());
    fs::write(
        &path,
        [packed.clone(), pack(b"a,2026-03-01T09:05:00Z,101\n")].concat(),
    )
    .unwrap();
    assert_eq!(readings(&place.load().0).len(), 2);
    fs::write(&path, &packed[..packed.len() - 9]).unwrap();
    let error = place.fails();
    assert!(
        error.contains("readings/r.csv.gz, line") && error.contains("copy it again"),
        "{error}"
    );
    let mut bomb = READINGS.as_bytes().to_vec();
    bomb.resize(65 << 20, b'\n');
    fs::write(&path, pack(&bomb)).unwrap();
    let error = place.fails();
    assert!(
        error.contains("unpacks to more than 100 times its size"),
        "{error}"
    );
}

/// By code page 1252 the byte 0xE9 is an é, by UTF-16 every character of it has two bytes.
#[test]
fn exports_in_other_encodings() {
    let text = "time,glucose,sensor\n2026-03-01T09:00:00Z,100,\u{e9}t\u{e9}\n";
    let settings = |encoding: &str| {
        format!(
            "{UTC}[exports.x]\ntable = \"readings\"\nfiles = \"x.csv\"\nencoding = \"{encoding}\"\n"
        )
    };
    let latin: Vec<u8> = text.chars().map(|c| c as u8).collect();
    let wide: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    for (encoding, bytes) in [("latin-1", latin), ("utf-16", wide)] {
        let place = Place::new(&[("study.toml", &settings(encoding)), ("x.csv", "")]);
        fs::write(place.path().join("x.csv"), bytes).unwrap();
        let rows = readings(&place.load().0);
        assert_eq!(
            (rows.len(), &*rows[0].0),
            (1, "\u{e9}t\u{e9}"),
            "{encoding}"
        );
    }
}
