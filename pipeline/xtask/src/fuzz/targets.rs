//! What is mutated, and what has to hold of it.

use std::fs;
use std::path::Path;
use std::process::Command;

use tempfile::TempDir;
use whereworn_load::map::{Known, map, preview};
use whereworn_load::{Evidence, LoadOptions, Study, load};
use whereworn_model::header::Header;
use whereworn_model::settings::Settings;

use super::Chance;
use super::chance::{CHECKS, EVENTS, EXPORT, READINGS, VERDICTS};
use crate::faults::program as shipped;

const SETTINGS: &str = "[study]\ntitle = \"A *study*\"\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n\
    [wearers.w]\nzones = [{ from = \"2026-04-02\", timezone = \"Asia/Tokyo\" }]\n\
    [sites.calf]\nlabel = \"Calf | <b>\"\non_label = true\n\
    [[corrections]]\nsensor = \"a\"\nfrom = \"2026-03-01\"\nclock_minutes = -60\n\
    [[seen]]\nkind = \"meter\"\nmeter = \"kitchen\"\n\
    [plan]\nsites = [\"calf\", \"chest\"]\nprimary = [\"stays-on\", { measure = \"delay\", site = \"calf\", against = \"chest\" }]\n\
    margins = { stays-on = 0.1 }\n[priorities]\nstays-on = 3\n\
    [exports.old]\ntable = \"readings\"\nfiles = \"exports/*.csv\"\nskip_lines = 1\n\
    columns = { time = [\"When\"], glucose = \"Value\", sensor = \"Serial\" }\nvalues = { status = { ERR = \"error\" } }\n";

const PLAIN: &str =
    "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n[plan]\nsites = [\"calf\", \"chest\"]\n";

const QUERY: &str = "-- title = \"Bias\"\n-- row = \"one site\"\n-- chart = { kind = \"line\", x = \"a\", y = \"b\" }\n\
    -- [columns]\n-- a = { label = \"A\", digits = 1 }\nSELECT 1 AS a, 2 AS b\n";

const BUNDLE: &str = r#"{"resourceType":"Bundle","entry":[
{"resource":{"resourceType":"Device","id":"d","serialNumber":"s9"}},
{"resource":{"resourceType":"Observation","id":"1","status":"final","code":{"coding":[{"system":"http://loinc.org","code":"99504-3"}]},"device":{"reference":"Device/d"},"subject":{"reference":"Patient/7"},"effectiveDateTime":"2026-03-01T09:00:00Z","valueQuantity":{"value":100.5,"code":"mg/dL","system":"http://unitsofmeasure.org"}}},
{"resource":{"resourceType":"Observation","id":"2","status":"amended","code":{"coding":[{"system":"http://loinc.org","code":"41653-7"}]},"effectivePeriod":{"start":"2026-03-01T09:00:00Z"},"valueQuantity":{"value":5.5,"comparator":"<","code":"mmol/L"},"interpretation":[{"coding":[{"code":"L"}]}]}},
{"resource":{"resourceType":"Patient","id":"7"}}]}"#;

const EVIDENCE: &str = "look,measure,site,against,evidence,verdict,version,plan_hash,checksum\n\
    2026-03-01T00:00:00Z,stays-on,calf,chest,1.5,open,0.1.0,,0123456789abcdef\n";

const DRAWS: &str = "drawn_at,wearer,number,site,side,block,model,allowed,probability,seed,version\n\
    2026-03-20T00:00:00Z,w,1,calf,left,1,,chest+calf,0.4,1457746017379204,0.1.0\n";

fn folder(files: &[(&str, Vec<u8>)]) -> Result<TempDir, String> {
    let folder = tempfile::tempdir().map_err(text)?;
    for (name, bytes) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap_or(folder.path())).map_err(text)?;
        fs::write(path, bytes).map_err(text)?;
    }
    Ok(folder)
}

fn text(error: impl ToString) -> String {
    error.to_string()
}

/// What is said is one line, and steers no terminal.
fn said(message: &str) -> Result<(), String> {
    match message.contains('\n') {
        true => Err(format!("more than one line: {message}")),
        false => Ok(()),
    }
}

/// Loads and settles twice: rows add up, and the second time they are what they were.
fn settled(folder: &Path) -> Result<(), String> {
    let study = match Study::open(folder) {
        Ok(study) => study,
        Err(error) => return said(&error.to_string()),
    };
    let mut before = None;
    for _ in 0..2 {
        let store = match load(&study, &LoadOptions::default(), &|_| {}) {
            Ok((store, _)) => store,
            Err(error) => return said(&error.to_string()),
        };
        let rows = store.settle(&study, i64::MAX).map_err(text)?;
        let now = format!("{:?}{:?}{:?}", rows.counts, rows.rejects, rows.wear_events);
        if before
            .replace(now.clone())
            .is_some_and(|before| before != now)
        {
            return Err("read again, the rows are others".to_owned());
        }
    }
    Ok(())
}

fn files(chance: &mut Chance) -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("readings/r.csv", chance.mutated(READINGS)),
        ("fingersticks/f.csv", chance.mutated(CHECKS)),
        ("wear-events/e.csv", chance.mutated(EVENTS)),
        ("judgements.csv", chance.mutated(VERDICTS)),
    ]
}

/// All files of a study, exports and settings among them.
pub fn study(chance: &mut Chance) -> Result<(), String> {
    let mut all = files(chance);
    let settings = match chance.below(5) {
        0 => chance.mutated(SETTINGS),
        _ => SETTINGS.as_bytes().to_vec(),
    };
    all.push(("study.toml", settings));
    all.push(("exports/x.csv", chance.mutated(EXPORT)));
    settled(folder(&all)?.path())
}

/// Resources of FHIR, in one file and in two.
pub fn fhir(chance: &mut Chance) -> Result<(), String> {
    let all = [
        ("study.toml", PLAIN.as_bytes().to_vec()),
        ("wear-events/e.csv", EVENTS.as_bytes().to_vec()),
        ("readings/a.json", chance.mutated(BUNDLE)),
        (
            "readings/b.ndjson",
            chance.mutated(&BUNDLE.replace('\n', "")),
        ),
    ];
    settled(folder(&all)?.path())
}

/// An export that nobody has seen before.
pub fn mapping(chance: &mut Chance) -> Result<(), String> {
    let sources = [EXPORT, READINGS, CHECKS, EVENTS];
    let source = sources.get(chance.below(sources.len())).unwrap_or(&EXPORT);
    let files = folder(&[("x.csv", chance.mutated(source))])?;
    let path = files.path().join("x.csv");
    let mapping = match map(&path, &Known::default()) {
        Ok(mapping) => mapping,
        Err(error) => return said(&error.to_string()),
    };
    preview(&path, &mapping, 10).map_or_else(|error| said(&error.to_string()), |_| Ok(()))?;
    let block = mapping.export.block("x");
    match Settings::parse(&block) {
        Ok(_) => Ok(()),
        // What could not be told has to be filled in first.
        Err(_) if !mapping.open.is_empty() => Ok(()),
        Err(error) => Err(format!("its own block is refused: {error}: {block}")),
    }
}

pub fn settings(chance: &mut Chance) -> Result<(), String> {
    let mutated = chance.mutated(SETTINGS);
    Settings::parse(&String::from_utf8_lossy(&mutated))
        .map_or_else(|error| said(&error.to_string()), |_| Ok(()))
}

pub fn header(chance: &mut Chance) -> Result<(), String> {
    let mutated = chance.mutated(QUERY);
    Header::parse(&String::from_utf8_lossy(&mutated))
        .map_or_else(|error| said(&error.to_string()), |_| Ok(()))
}

/// The files that are only added to.
pub fn kept(chance: &mut Chance) -> Result<(), String> {
    let draws = chance.mutated(DRAWS);
    if let Err(error) = whereworn_plan::log::parse(&String::from_utf8_lossy(&draws)) {
        said(&error.to_string())?;
    }
    let files = folder(&[
        ("study.toml", PLAIN.as_bytes().to_vec()),
        ("readings/r.csv", READINGS.as_bytes().to_vec()),
        ("evidence.csv", chance.mutated(EVIDENCE)),
    ])?;
    let study = Study::open(files.path()).map_err(text)?;
    match Evidence::read(&study) {
        Ok(read) if !read.said.is_empty() => Err("a line without its checksum is used".to_owned()),
        Ok(_) => Ok(()),
        Err(error) => said(&error.to_string()),
    }
}

/// No tag, link or attribute that does anything when the page is opened.
fn inert(page: &str) -> Result<(), String> {
    let page = page.to_ascii_lowercase();
    [
        "<script",
        "<img src=x",
        "href=\"javascript:",
        "src=\"javascript:",
        "<iframe",
    ]
    .into_iter()
    .find(|live| page.contains(live))
    .map_or(Ok(()), |live| Err(format!("`{live}` stands in the page")))
}

/// The program itself on a mutated study: `report`, `plan` and `check`.
pub fn program(chance: &mut Chance) -> Result<(), String> {
    let mut all = files(chance);
    all.push(("study.toml", PLAIN.as_bytes().to_vec()));
    all.push(("queries/q.sql", chance.mutated(QUERY)));
    if chance.below(4) == 0 {
        all.push(("plan-log.csv", chance.mutated(DRAWS)));
    }
    let study = folder(&all)?;
    for command in ["report", "plan", "check"] {
        let run = Command::new(shipped()?)
            .arg(command)
            .arg(study.path())
            .args(["--as-of", "2026-06-01T00:00:00Z"])
            .output()
            .map_err(text)?;
        let err = String::from_utf8_lossy(&run.stderr);
        let code = run.status.code();
        if !code.is_some_and(|code| [0, 1, 4, 5, 6].contains(&code))
            || err.contains("fault in whereworn")
        {
            return Err(format!("{command}: {}: {err}", run.status));
        }
        let shown = [run.stdout.as_slice(), run.stderr.as_slice()].concat();
        if shown.contains(&0x1b) || String::from_utf8_lossy(&shown).contains('\u{202e}') {
            return Err(format!("{command}: a character steers the terminal"));
        }
    }
    for page in [
        "reports/2026-03-clinician/report.html",
        "reports/2026-03-clinician/sheets.html",
        "reports/plan/plan.html",
    ] {
        if let Ok(page) = fs::read_to_string(study.path().join(page)) {
            inert(&page)?;
        }
    }
    Ok(())
}
