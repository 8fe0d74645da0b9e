//! Results kept between runs: whatever is edited, a report is the same to the last byte as one that is made from nothing.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use crate::fixture::{LATER, Output, Study};
use crate::small_study::study;

/// Numbers that look like chance, the same each time.
struct Draws(u64);

impl Draws {
    /// A number below `end`.
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005);
        self.0 = self.0.wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % end
    }
}

fn kept_files(study: &Study) -> Vec<PathBuf> {
    let entries = fs::read_dir(study.dir().join(".whereworn/computed")).unwrap();
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files
}

/// Changes the glucose in a line of a file whose last column it is.
fn change_glucose(study: &Study, file: &str, draws: &mut Draws) {
    let text = fs::read_to_string(study.dir().join(file)).unwrap();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let line = 1 + draws.below(lines.len() - 1);
    let (rest, _) = lines[line].rsplit_once(',').unwrap();
    lines[line] = format!("{rest},{}", 60 + draws.below(150));
    study.write(file, lines.join("\n") + "\n");
}

/// Edits a study in one of many ways; gives the words that the report is asked with.
fn edit(study: &Study, step: usize, draws: &mut Draws) -> Vec<&'static str> {
    let settings = fs::read_to_string(study.dir().join("study.toml")).unwrap();
    match step {
        0 => change_glucose(study, "readings/all.csv", draws),
        1 => change_glucose(study, "fingersticks/all.csv", draws),
        2 => {
            let rows: String = (1..40)
                .map(|n| {
                    format!(
                        "d,2026-01-1{}T{:02}:07:00Z,{}\n",
                        3 + n / 24,
                        n % 24,
                        90 + n
                    )
                })
                .collect();
            study.write(
                format!("readings/more-{}.csv", draws.below(100)).as_str(),
                format!("sensor,time,glucose\n{rows}"),
            );
        }
        3 => {
            let minutes = 2 + draws.below(12);
            let rest = settings.split("\n[pairing]").next().unwrap();
            study.write(
                "study.toml",
                format!("{rest}\n[pairing]\nminutes = {minutes}\n"),
            );
        }
        4 => {
            let day = 6 + draws.below(4);
            study.write(
                "judgements.csv",
                format!("sensor,start,verdict\na,2026-01-0{day}T02:00:00Z,artefact\n"),
            );
        }
        5 => {
            let events = fs::read_to_string(study.dir().join("wear-events/all.csv")).unwrap();
            study.write(
                "wear-events/all.csv",
                events.replacen("completed", "lifted", 1),
            );
        }
        6 => return vec!["--as-of", "2026-01-15T00:00:00Z"],
        7 => {
            let limit = 100 + draws.below(50);
            study.write(
                "queries/high.sql",
                format!("-- title = \"High\"\nSELECT site, COUNT(*) AS n FROM pairs WHERE reading > {limit} GROUP BY site ORDER BY site\n"),
            );
        }
        8 => {
            // A file is cut short, one has a bit flipped, one is gone.
            let files = kept_files(study);
            let mut of = |_: ()| &files[draws.below(files.len())];
            let (cut, flipped, gone) = (of(()), of(()), of(()));
            fs::write(cut, "short").unwrap();
            let mut bytes = fs::read(flipped).unwrap();
            let last = bytes.len() - 1;
            bytes[last] ^= 4;
            fs::write(flipped, bytes).unwrap();
            fs::remove_file(gone).unwrap();
        }
        _ => {
            let text = settings.replace("title = \"Small\"", "title = \"Smaller\"");
            study.write("study.toml", text);
        }
    }
    vec!["--as-of", LATER]
}

fn assert_equal(kept: &Output, anew: &Output, after: &str) {
    let names = |output: &Output| output.files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(kept), names(anew), "{after}");
    for (name, bytes) in &kept.files {
        assert!(anew.files[name] == *bytes, "{after}: {name} differs");
    }
}

#[test]
fn after_any_edit_a_report_is_as_if_made_from_nothing() {
    let study = study();
    study.report();
    let mut draws = Draws(16);
    for round in 0..18 {
        // Each kind of edit at least once, then any.
        let step = if round < 10 { round } else { draws.below(10) };
        let words = edit(&study, step, &mut draws);
        let fresh = Study::copy_of(&study.dir());
        fs::remove_dir_all(study.beside("out")).unwrap();
        let kept = study.report_with(&words);
        assert_equal(
            &kept,
            &fresh.report_with(&words),
            &format!("round {round}, edit {step}"),
        );
    }
}

/// Files that are written take the place of others as new ones: where none is, nothing was computed.
#[cfg(unix)]
#[test]
fn nothing_is_computed_again_without_a_change() {
    use std::os::unix::fs::MetadataExt;

    let study = study();
    let places = |study: &Study| -> BTreeMap<PathBuf, u64> {
        let files = kept_files(study).into_iter();
        files
            .map(|file| (file.clone(), fs::metadata(file).unwrap().ino()))
            .collect()
    };
    // What an earlier report said is a row of the second.
    study.report();
    study.report();
    let first = places(&study);
    assert!(first.len() > 60, "{} results are kept", first.len());
    study.report();
    assert_eq!(places(&study), first);
    study.run("query", &["--as-of", LATER, "pairs"]);
    assert_eq!(places(&study), first);
}

#[test]
fn a_change_of_a_fingerstick_leaves_what_does_not_rest_on_them() {
    let study = study();
    study.report();
    let before = kept_files(&study);
    change_glucose(&study, "fingersticks/all.csv", &mut Draws(3));
    study.report();
    let after = kept_files(&study);
    let same = after.iter().filter(|file| before.contains(file)).count();
    assert!(same > 10, "{same} of {} are as they were", after.len());
    assert!(
        same < after.len() - 10,
        "{same} of {} are as they were",
        after.len()
    );
}

#[test]
fn what_is_kept_is_the_owners_alone() {
    let study = study();
    study.report();
    #[cfg(unix)]
    for file in kept_files(&study) {
        use std::os::unix::fs::PermissionsExt;
        let mode = fs::metadata(&file).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{}", file.display());
    }
}
