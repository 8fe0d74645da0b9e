//! What holds for any input: no panic, every row accounted for, and the same rows whatever their order.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::Path;

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::{Float64Type, TimestampMicrosecondType};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use tempfile::TempDir;
use whereworn_load::{Evidence, LoadOptions, Settled, Study, load};
use whereworn_model::header::Header;
use whereworn_model::settings::Settings;

mod chance;

use chance::{CHECKS, Chance, EVENTS, EXPORT, READINGS, VERDICTS};

const SETTINGS: &str = "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n\
    [exports.old]\ntable = \"readings\"\nfiles = \"exports/*.csv\"\nskip_lines = 1\n\
    columns = { time = \"When\", glucose = \"Value\", sensor = \"Serial\" }\n";

fn study(files: &[(&str, &[u8])]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    folder
}

/// Loads and settles; `None` where a file stops the run, with one line that names it. Settling fails where rows do
/// not add up.
fn settle(folder: &Path, as_of: i64) -> Option<Settled> {
    settle_within(folder, as_of, None)
}

/// The same with so many bytes for readings.
fn settle_within(folder: &Path, as_of: i64, memory: Option<usize>) -> Option<Settled> {
    let study = match Study::open(folder) {
        Ok(study) => study,
        Err(error) => {
            assert!(!error.to_string().contains('\n'), "{error}");
            return None;
        }
    };
    let options = LoadOptions {
        memory,
        ..LoadOptions::default()
    };
    let had_store = folder.join(".whereworn").exists();
    let loaded = load(&study, &options, &|_| {});
    let Ok((store, _)) = loaded else {
        assert_eq!(
            folder.join(".whereworn").exists(),
            had_store,
            "a run that stops leaves nothing"
        );
        return None;
    };
    Some(store.settle(&study, as_of).expect("rows add up"))
}

/// The readings that count, in the order of the store.
fn readings(settled: &Settled) -> Vec<(String, i64, Option<f64>)> {
    let mut rows = Vec::new();
    for path in &settled.readings {
        let file = fs::File::open(path).unwrap();
        let reader = ParquetRecordBatchReaderBuilder::try_new(file)
            .unwrap()
            .build()
            .unwrap();
        for batch in reader {
            let batch: RecordBatch = batch.unwrap();
            let number = batch.column_by_name("sensor_no").unwrap();
            let number = number.as_primitive::<arrow::datatypes::Int32Type>();
            let time = batch
                .column_by_name("time")
                .unwrap()
                .as_primitive::<TimestampMicrosecondType>();
            let glucose = batch
                .column_by_name("glucose")
                .unwrap()
                .as_primitive::<Float64Type>();
            for row in 0..batch.num_rows() {
                let sensor = number.value(row).to_string();
                let glucose = glucose.is_valid(row).then(|| glucose.value(row));
                rows.push((sensor, time.value(row), glucose));
            }
        }
    }
    rows
}

/// Calls a property with chance of so many seeds.
fn seeds(count: u64, property: impl Fn(&mut Chance)) {
    let from = std::env::var("WHEREWORN_SEED")
        .ok()
        .and_then(|seed| seed.parse().ok());
    let (first, count) = from.map_or((0, count), |seed| (seed, 1));
    for seed in first..first + count {
        let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            property(&mut Chance::new(seed));
        }));
        assert!(done.is_ok(), "with WHEREWORN_SEED={seed}");
    }
}

#[test]
fn any_files_are_read_or_refused_and_rows_add_up() {
    seeds(400, |chance| {
        let settings = if chance.below(10) == 0 {
            chance.mutated(SETTINGS)
        } else {
            SETTINGS.as_bytes().to_vec()
        };
        let folder = study(&[
            ("study.toml", &settings),
            ("readings/r.csv", &chance.mutated(READINGS)),
            ("fingersticks/f.csv", &chance.mutated(CHECKS)),
            ("wear-events/e.csv", &chance.mutated(EVENTS)),
            ("judgements.csv", &chance.mutated(VERDICTS)),
            ("exports/x.csv", &chance.mutated(EXPORT)),
        ]);
        let as_of = [
            i64::MAX,
            1_772_000_000_000_000 + chance.below(1 << 41) as i64,
        ][chance.below(2)];
        if let Some(first) = settle(folder.path(), as_of) {
            // Again from the store: the same rows, counts and rejects.
            let again = settle(folder.path(), as_of).expect("loaded once, it loads again");
            assert_eq!(first.rejects, again.rejects);
            assert_eq!(first.counts, again.counts);
            assert_eq!(first.wear_events, again.wear_events);
        }
    });
}

/// With memory for no reading at all, each file is put aside and each sensor merged by itself: the same store, also where
/// one file is changed and another goes.
#[test]
fn memory_does_not_matter() {
    // Without the export: it would stop every study here, since no file of it is there.
    let settings = SETTINGS.split("[exports").next().unwrap();
    let compared = std::sync::atomic::AtomicUsize::new(0);
    seeds(100, |chance| {
        let files = [
            ("study.toml", settings.as_bytes().to_vec()),
            ("readings/a.csv", chance.mutated(READINGS)),
            ("readings/b.csv", chance.mutated(READINGS)),
            ("readings/c.csv", READINGS.into()),
            ("fingersticks/f.csv", CHECKS.into()),
            ("wear-events/e.csv", EVENTS.into()),
        ];
        let files = files.each_ref().map(|(name, bytes)| (*name, &bytes[..]));
        let (much, little) = (study(&files), study(&files));
        let other = chance.mutated(READINGS);
        for changed in [false, true] {
            if changed {
                for folder in [much.path(), little.path()] {
                    fs::write(folder.join("readings/b.csv"), &other).unwrap();
                    fs::remove_file(folder.join("readings/c.csv")).unwrap();
                }
            }
            let as_of = i64::MAX;
            let one = settle_within(much.path(), as_of, None);
            let other = settle_within(little.path(), as_of, Some(1));
            let (Some(one), Some(other)) = (&one, &other) else {
                assert!(one.is_none() && other.is_none());
                return;
            };
            compared.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            assert_eq!(readings(one), readings(other));
            assert_eq!(one.sensors, other.sensors);
            assert_eq!(one.rejects, other.rejects);
            assert_eq!(one.counts, other.counts);
            assert_eq!(one.fingersticks, other.fingersticks);
            let stored = fs::read_dir(little.path().join(".whereworn")).unwrap();
            let stored = stored.map(|entry| entry.unwrap().file_name().into_string().unwrap());
            let runs: Vec<String> = stored.filter(|name| name.starts_with("run-")).collect();
            assert_eq!(runs, Vec::<String>::new(), "what was put aside is gone");
        }
    });
    let compared = compared.into_inner();
    assert!(
        std::env::var("WHEREWORN_SEED").is_ok() || compared >= 20,
        "only {compared} compared"
    );
}

/// Rows of one instant once each, in any order and cut into any files that come one after the other: the same store.
#[test]
fn order_and_files_do_not_matter() {
    let settings = SETTINGS.split("[exports").next().unwrap();
    let head = "sensor,time,glucose\n";
    let events = "sensor,time,event,site\ns0,2026-01-01T00:00:00Z,insert,calf\n";
    let start = |readings: &[u8]| {
        study(&[
            ("study.toml", settings.as_bytes()),
            ("wear-events/e.csv", events.as_bytes()),
            ("readings/0.csv", readings),
        ])
    };
    seeds(60, |chance| {
        let mut lines: Vec<String> = Vec::new();
        for minute in 0..chance.below(60) + 1 {
            let at = jiff::Timestamp::from_second(1_772_000_000 + 60 * minute as i64).unwrap();
            lines.push(format!(
                "s{},{at},{}\n",
                chance.below(3),
                40 + chance.below(300)
            ));
        }
        let whole = start((head.to_owned() + &lines.concat()).as_bytes());
        for last in (1..lines.len()).rev() {
            lines.swap(last, chance.below(last + 1));
        }
        let parts = start(head.as_bytes());
        let files = chance.below(3) + 1;
        for (number, part) in lines.chunks(lines.len().div_ceil(files)).enumerate() {
            let path = parts.path().join(format!("readings/{number}.csv"));
            fs::write(path, head.to_owned() + &part.concat()).unwrap();
            settle(parts.path(), i64::MAX).expect("it loads");
        }
        let (a, b) = (
            settle(whole.path(), i64::MAX).unwrap(),
            settle(parts.path(), i64::MAX).unwrap(),
        );
        assert_eq!(readings(&a), readings(&b));
        assert_eq!(a.counts, b.counts);
        assert_eq!(a.span, b.span);
    });
}

#[test]
fn settings_headers_and_evidence_never_panic() {
    let header = "-- title = \"Bias\"\n-- chart = { kind = \"line\", x = \"a\", y = \"b\" }\n-- [columns]\n\
        -- a = { label = \"A\", digits = 1 }\nSELECT 1\n";
    let evidence = "look,measure,site,against,evidence,verdict,version,plan_hash,checksum\n\
        2026-03-01T00:00:00Z,stays-on,calf,chest,1.5,open,0.1.0,,0123456789abcdef\n";
    let plain = SETTINGS.split("[exports").next().unwrap();
    let folder = study(&[
        ("readings/r.csv", READINGS.as_bytes()),
        ("study.toml", plain.as_bytes()),
    ]);
    let opened = Study::open(folder.path()).unwrap();
    seeds(2000, |chance| {
        let _ = Settings::parse(&String::from_utf8_lossy(&chance.mutated(SETTINGS)));
        let _ = Header::parse(&String::from_utf8_lossy(&chance.mutated(header)));
        fs::write(folder.path().join("evidence.csv"), chance.mutated(evidence)).unwrap();
        if let Ok(read) = Evidence::read(&opened) {
            assert!(read.said.is_empty(), "no checksum of these is right");
        }
    });
}
