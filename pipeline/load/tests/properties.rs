//! What holds for any input: no panic, every row accounted for, and the same rows whatever their order.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::Path;

use arrow::array::{AsArray, RecordBatch};
use arrow::datatypes::{Float64Type, TimestampMicrosecondType};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use proptest::prelude::*;
use tempfile::TempDir;
use whereworn_load::{Evidence, LoadOptions, Settled, Study, load};
use whereworn_model::header::Header;
use whereworn_model::settings::Settings;

const SETTINGS: &str = "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n\
    [exports.old]\ntable = \"readings\"\nfiles = \"exports/*.csv\"\nskip_lines = 1\n\
    columns = { time = \"When\", glucose = \"Value\", sensor = \"Serial\" }\n";

const EXPORT: &str =
    "made by hand\nSerial;When;Value\na;2026-03-01 09:00;5,5\na;2026-03-01 09:05;101\n";

const READINGS: &str = "sensor,time,glucose,unit,status,wearer\n\
    a,2026-03-01T09:00:00Z,100,mg/dL,ok,w\n\
    a,2026-03-01T09:05:00Z,LO,,,\n\
    a,2026-03-29T01:30,5.5,mmol/L,,\n\
    \"b, \"\"two\"\"\",2026-03-01T09:10:00+01:00,102,,high,v\n";

const CHECKS: &str =
    "time,glucose,purpose\n2026-03-01T09:00:00Z,99,routine\n2026-03-01T09:05:00Z,88,control\n";

const EVENTS: &str = "sensor,time,event,site,cause,grade,note\n\
    a,2026-03-01T08:00:00Z,insert,calf,,,\"two\nlines\"\n\
    a,2026-03-09T08:00:00Z,end,,fell-off,,\n\
    ,2026-03-02T22:00:00Z,bed,,,,\n\
    a,2026-03-03T08:00:00Z,skin,,,1,\n";

const VERDICTS: &str = "sensor,start,verdict\na,2026-03-01T09:00:00Z,artefact\n";

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
    let study = match Study::open(folder) {
        Ok(study) => study,
        Err(error) => {
            assert!(!error.to_string().contains('\n'), "{error}");
            return None;
        }
    };
    let loaded = load(&study, &LoadOptions::default(), &|_| {});
    let Ok((store, _)) = loaded else {
        assert!(
            !folder.join(".whereworn").exists(),
            "a run that stops leaves nothing"
        );
        return None;
    };
    Some(store.settle(&study, as_of).expect("rows add up"))
}

/// The readings that count, in the order of the store.
fn readings(settled: &Settled) -> Vec<(String, i64, f64)> {
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
                rows.push((sensor, time.value(row), glucose.value(row)));
            }
        }
    }
    rows
}

/// Pieces that break parsers.
const PIECES: [&str; 28] = [
    "\"",
    "\"\"",
    ",",
    ";",
    "\t",
    "\n",
    "\r",
    "\r\n",
    "\0",
    "\u{feff}",
    "NaN",
    "inf",
    "-",
    "1e999",
    "9999999999999999999",
    "0000-00-00",
    "2026-02-30",
    "2026-03-29T01:30",
    "24:00",
    "+25:00",
    "Z",
    "mmol/L",
    "=1+2",
    "\u{202e}",
    "\u{1b}[2J",
    "é",
    "LO",
    " ",
];

/// A text with some of its bytes changed, cut out, doubled, or replaced by a piece that breaks parsers.
fn mutated(text: &'static str) -> impl Strategy<Value = Vec<u8>> {
    let edit = (
        0..text.len(),
        0..6_usize,
        0..PIECES.len(),
        any::<u8>(),
        0..20_usize,
    );
    proptest::collection::vec(edit, 0..6).prop_map(move |edits| {
        let mut bytes = text.as_bytes().to_vec();
        for (at, kind, piece, byte, length) in edits {
            let at = at.min(bytes.len());
            let end = (at + length).min(bytes.len());
            match kind {
                0 => bytes.insert(at, byte),
                1 => drop(bytes.splice(at..end, PIECES[piece].bytes())),
                2 => drop(bytes.drain(at..end)),
                3 => {
                    let again = bytes[at..end].to_vec();
                    bytes.splice(at..at, again);
                }
                4 => bytes.truncate(at),
                _ => drop(bytes.splice(at..at, PIECES[piece].bytes())),
            }
        }
        bytes
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_files_are_read_or_refused_and_rows_add_up(
        settings in prop_oneof![9 => Just(SETTINGS.as_bytes().to_vec()), 1 => mutated(SETTINGS)],
        readings in mutated(READINGS),
        checks in mutated(CHECKS),
        events in mutated(EVENTS),
        verdicts in mutated(VERDICTS),
        export in mutated(EXPORT),
        as_of in prop_oneof![Just(i64::MAX), 1_772_000_000_000_000..1_774_000_000_000_000_i64],
    ) {
        let folder = study(&[
            ("study.toml", &settings),
            ("readings/r.csv", &readings),
            ("fingersticks/f.csv", &checks),
            ("wear-events/e.csv", &events),
            ("judgements.csv", &verdicts),
            ("exports/x.csv", &export),
        ]);
        if let Some(first) = settle(folder.path(), as_of) {
            // Again from the store: the same rows, counts and rejects.
            let again = settle(folder.path(), as_of).expect("loaded once, it loads again");
            prop_assert_eq!(first.rejects, again.rejects);
            prop_assert_eq!(first.counts, again.counts);
            prop_assert_eq!(first.wear_events, again.wear_events);
        }
    }

    /// Rows of one instant once each, in any order and cut into any files, also one after the other: the same store.
    #[test]
    fn order_and_files_do_not_matter(
        rows in proptest::collection::btree_map((0..3_u8, 0..500_u32), 40..400_u32, 1..60),
        seed in any::<u64>(),
        files in 1..4_usize,
    ) {
        let line = |((sensor, minute), glucose): (&(u8, u32), &u32)| {
            let at = jiff::Timestamp::from_second(1_772_000_000 + 60 * i64::from(*minute)).unwrap();
            format!("s{sensor},{at},{glucose}\n")
        };
        let lines: Vec<String> = rows.iter().map(line).collect();
        let head = "sensor,time,glucose\n";
        let events = "sensor,time,event,site\ns0,2026-01-01T00:00:00Z,insert,calf\n";
        let sorted = head.to_owned() + &lines.concat();
        let whole = study(&[
            ("study.toml", SETTINGS.split("[exports").next().unwrap().as_bytes()),
            ("wear-events/e.csv", events.as_bytes()),
            ("readings/r.csv", sorted.as_bytes()),
        ]);
        let mut shuffled: Vec<(u64, &String)> = lines
            .iter()
            .enumerate()
            .map(|(number, line)| ((number as u64 + 1).wrapping_mul(seed | 1).rotate_left(17), line))
            .collect();
        shuffled.sort();
        let parts = study(&[
            ("study.toml", SETTINGS.split("[exports").next().unwrap().as_bytes()),
            ("wear-events/e.csv", events.as_bytes()),
        ]);
        fs::create_dir(parts.path().join("readings")).unwrap();
        for (number, part) in shuffled.chunks(shuffled.len().div_ceil(files)).enumerate() {
            let text: String = part.iter().map(|(_, line)| line.as_str()).collect();
            fs::write(parts.path().join(format!("readings/{number}.csv")), head.to_owned() + &text).unwrap();
            settle(parts.path(), i64::MAX).expect("it loads");
        }
        let (a, b) = (settle(whole.path(), i64::MAX).unwrap(), settle(parts.path(), i64::MAX).unwrap());
        prop_assert_eq!(readings(&a), readings(&b));
        prop_assert_eq!(a.counts, b.counts);
        prop_assert_eq!(a.span, b.span);
    }

    #[test]
    fn settings_headers_and_evidence_never_panic(
        settings in mutated(SETTINGS),
        header in mutated("-- title = \"Bias\"\n-- chart = { kind = \"line\", x = \"a\", y = \"b\" }\n-- [columns]\n-- a = { label = \"A\", digits = 1 }\nSELECT 1\n"),
        evidence in mutated("look,measure,site,against,evidence,verdict,version,plan_hash,checksum\n2026-03-01T00:00:00Z,stays-on,calf,chest,1.5,open,0.1.0,,0123456789abcdef\n"),
    ) {
        let _ = Settings::parse(&String::from_utf8_lossy(&settings));
        let _ = Header::parse(&String::from_utf8_lossy(&header));
        let folder = study(&[("readings/r.csv", READINGS.as_bytes()), ("study.toml", SETTINGS.split("[exports").next().unwrap().as_bytes()), ("evidence.csv", &evidence)]);
        let opened = Study::open(folder.path()).unwrap();
        if let Ok(read) = Evidence::read(&opened) {
            prop_assert!(read.said.is_empty(), "no checksum of these is right");
        }
    }
}
