//! What a written study holds, against the truth written beside it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use common::{Study, small};
use whereworn_demo::{DemoError, Options, write_study};

#[test]
fn same_seed_gives_same_bytes_and_another_seed_others() {
    let options = Options {
        plain: Some(1),
        ..small()
    };
    let (first, second) = (Study::new(&options), Study::new(&options));
    let other = Study::new(&Options {
        seed: options.seed + 1,
        ..options
    });
    assert_eq!(first.files(), second.files());
    assert_eq!(first.summary, second.summary);
    let (first, other) = (first.files(), other.files());
    assert_eq!(
        first.keys().collect::<Vec<_>>(),
        other.keys().collect::<Vec<_>>()
    );
    for (name, bytes) in first
        .iter()
        .filter(|(name, _)| name.contains('/') && !name.contains("planted"))
    {
        assert_ne!(bytes, &other[name], "{name}");
    }
}

#[test]
fn a_further_wearer_leaves_the_files_of_the_others_alone() {
    let few = Study::new(&Options {
        wearers: 2,
        ..small()
    })
    .files();
    let more = Study::new(&Options {
        wearers: 3,
        ..small()
    })
    .files();
    for folder in ["readings", "fingersticks", "wear-events"] {
        for handle in ["tuff", "kelp"] {
            let name = format!("{folder}/{handle}.csv");
            assert_eq!(few[&name], more[&name], "{name}");
        }
    }
}

#[test]
fn summary_counts_the_rows_of_the_files() {
    let study = Study::new(&Options {
        plain: Some(2),
        ..small()
    });
    let count = |folder: &str| study.rows(folder).len() as u64;
    assert_eq!(count("readings"), study.summary.readings);
    assert_eq!(count("fingersticks"), study.summary.fingersticks);
    assert_eq!(count("wear-events"), study.summary.events);
    assert_eq!(
        study.table("truth/artefacts.csv").len() as u64,
        study.summary.artefacts
    );
    assert_eq!(
        study.table("truth/true_lows.csv").len() as u64,
        study.summary.true_lows
    );
    assert_eq!(
        study.table("truth/planted_faults.csv").len() as u64,
        study.summary.planted_faults
    );
}

/// The words that rows may hold, written out here a second time on purpose.
#[test]
fn events_use_known_words_and_end_after_they_begin() {
    let study = Study::new(&Options {
        faults: Some(false),
        ..small()
    });
    let events: BTreeSet<&str> = "insert end bed rise bump skin rating tape water injection note"
        .split(' ')
        .collect();
    let causes: BTreeSet<&str> =
        "fell-off knocked-off lifted not-started sensor-fault reaction completed chosen"
            .split(' ')
            .collect();
    let (mut inserted, mut ended) = (BTreeMap::new(), BTreeMap::new());
    for row in study.rows("wear-events") {
        let key = (row["wearer"].clone(), row["sensor"].clone());
        let time = study.instant(&row["time"]);
        assert!(events.contains(row["event"].as_str()), "{row:?}");
        match row["event"].as_str() {
            "insert" => assert!(inserted.insert(key, time).is_none(), "{row:?}"),
            "end" => {
                assert!(causes.contains(row["cause"].as_str()), "{row:?}");
                assert!(time > inserted[&key], "{row:?}");
                assert!(ended.insert(key, time).is_none(), "{row:?}");
            }
            "bed" | "rise" => assert!(key.1.is_empty()),
            "injection" => assert!(key.1.is_empty() == row["distance_cm"].is_empty(), "{row:?}"),
            _ => assert!(time >= inserted[&key], "{row:?}"),
        }
    }
    assert_eq!(inserted.len(), study.summary.sensors);
    assert!(ended.len() < inserted.len(), "some are still on");
    for sensor in study.sensors() {
        let key = (sensor.wearer.clone(), sensor.sensor.clone());
        assert_eq!(inserted[&key], sensor.inserted);
        assert_eq!(ended.get(&key).copied(), sensor.ended);
    }
}

#[test]
fn every_wearer_wears_each_site_equally_often() {
    let study = Study::new(&Options {
        sensors: 21,
        minutes: 60,
        ..small()
    });
    let mut counts: BTreeMap<(String, String), usize> = BTreeMap::new();
    for sensor in study.sensors() {
        *counts.entry((sensor.wearer, sensor.site)).or_default() += 1;
    }
    assert_eq!(counts.len(), 3 * 7);
    assert!(counts.values().all(|&count| count == 3));
}

/// The hour that occurs twice on 2025-10-26 is there twice, in file order, and the hour that 2026-03-29 skips is not.
#[test]
fn readings_keep_their_spacing_across_clock_changes() {
    let study = Study::new(&Options {
        sensors: 40,
        faults: Some(false),
        ..small()
    });
    let (mut repeated, mut spring) = (0, 0);
    for (key, readings) in study.readings() {
        let sensor = &study.sensor(&key);
        for pair in readings.windows(2) {
            let minutes = (pair[1].instant - pair[0].instant) / 60;
            assert!(minutes > 0 && minutes % 15 == 0, "{key:?} {pair:?}");
            repeated += usize::from(pair[1].local <= pair[0].local);
        }
        assert!(
            readings
                .iter()
                .all(|r| r.instant >= sensor.inserted && r.instant <= sensor.last_worn),
            "{key:?}"
        );
        assert!(
            readings
                .iter()
                .all(|r| !r.local.starts_with("2026-03-29T00")),
            "{key:?}"
        );
        spring += readings
            .iter()
            .filter(|r| r.local.starts_with("2026-03-29T01"))
            .count();
    }
    assert!(repeated > 0, "nobody wore a sensor in the repeated hour");
    assert!(
        spring > 0,
        "nobody wore a sensor in the night of the spring change"
    );
}

#[test]
fn planted_faults_are_where_the_list_says() {
    let study = Study::new(&small());
    let signs = [
        ("time that cannot be read", "2026-13-41T09:61"),
        ("number that cannot be read", ""),
        ("glucose that no body has", ",1612,"),
        ("time in the far future", ",2062-"),
        ("local time that the clock change skips", "T00:30,"),
        ("exact duplicates of an earlier row", ""),
        ("another glucose for the same sensor and time", ",399,"),
        ("reading after the end of its sensor", ",120,ok"),
        ("sensor that was never inserted", "s9999,"),
        ("unknown unit", ",mg/L,"),
        ("second insertion of a sensor", ",insert,chest,"),
        ("unknown site", ",lower-bcak,"),
        ("unknown event", ",bumb,"),
        ("end of a sensor that was never inserted", "s9997,"),
        ("end before the insertion", ",end,,,chosen,"),
        ("unknown cause", ",slipped,"),
    ];
    let listed = study.table("truth/planted_faults.csv");
    for (fault, sign) in signs {
        let row = listed
            .iter()
            .find(|row| row["fault"] == fault)
            .unwrap_or_else(|| panic!("{fault} is not listed"));
        let text = fs::read_to_string(study.path(&row["file"])).unwrap();
        let line: usize = row["line"].parse().unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert!(
            lines[line - 1].contains(sign),
            "{fault}: {}",
            lines[line - 1]
        );
        if fault.starts_with("exact") {
            assert_eq!(
                lines
                    .iter()
                    .filter(|other| **other == lines[line - 1])
                    .count(),
                3
            );
        }
    }
}

#[test]
fn a_study_without_faults_lists_none() {
    let study = Study::new(&Options {
        faults: Some(false),
        ..small()
    });
    assert!(!study.path("truth/planted_faults.csv").exists());
    assert!(
        fs::read_to_string(study.path("README.md"))
            .unwrap()
            .contains("No faults are planted")
    );
}

#[test]
fn a_folder_with_something_in_it_is_refused_and_left_alone() {
    let parent = tempfile::tempdir().unwrap();
    let dir = parent.path().join("study");
    fs::create_dir(&dir).unwrap();
    write_study(
        &dir,
        &Options {
            wearers: 1,
            sensors: 1,
            minutes: 60,
            ..small()
        },
    )
    .unwrap();
    let before = fs::read_dir(&dir).unwrap().count();
    let error = write_study(&dir, &small()).unwrap_err();
    assert!(matches!(error, DemoError::NotEmpty(_)), "{error}");
    assert!(error.to_string().contains("name a new folder"), "{error}");
    assert_eq!(fs::read_dir(&dir).unwrap().count(), before);
    assert_eq!(
        fs::read_dir(parent.path()).unwrap().count(),
        1,
        "nothing unfinished is left"
    );
}

#[test]
fn what_a_run_cut_off_left_behind_is_named() {
    let parent = tempfile::tempdir().unwrap();
    fs::create_dir(parent.path().join(".study.partial")).unwrap();
    let error = write_study(&parent.path().join("study"), &small()).unwrap_err();
    assert!(matches!(error, DemoError::Leftover(_)), "{error}");
}

#[test]
fn options_out_of_range_are_refused_before_anything_is_written() {
    let parent = tempfile::tempdir().unwrap();
    let dir = parent.path().join("study");
    for (options, name) in [
        (
            Options {
                wearers: 0,
                ..small()
            },
            "wearers",
        ),
        (
            Options {
                sensors: 1001,
                ..small()
            },
            "sensors",
        ),
        (
            Options {
                minutes: 0,
                ..small()
            },
            "minutes",
        ),
    ] {
        let error = write_study(&dir, &options).unwrap_err();
        assert!(error.to_string().starts_with(name), "{error}");
    }
    assert!(fs::read_dir(parent.path()).unwrap().next().is_none());
    let error = write_study(Path::new("/"), &small()).unwrap_err();
    assert!(matches!(error, DemoError::Unnamed(_)), "{error}");
}

#[test]
fn the_demo_study_of_this_repository_is_what_its_options_give() {
    let options = Options {
        wearers: 4,
        sensors: 28,
        minutes: 5,
        seed: 12,
        plain: Some(1),
        faults: None,
    };
    let written = Study::new(&options).files();
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-demo");
    for (name, bytes) in &written {
        let kept = fs::read(kept.join(name)).unwrap();
        assert!(
            plain(name, kept) == plain(name, bytes.clone()),
            "{name} differs"
        );
    }
    assert!(written.values().map(Vec::len).sum::<usize>() <= 6_000_000);
}

/// Contents of a file; what a compressor makes of them differs between its versions.
fn plain(name: &str, bytes: Vec<u8>) -> Vec<u8> {
    if !name.ends_with(".gz") {
        return bytes;
    }
    let mut out = Vec::new();
    std::io::Read::read_to_end(
        &mut flate2::read::GzDecoder::new(bytes.as_slice()),
        &mut out,
    )
    .unwrap();
    out
}
