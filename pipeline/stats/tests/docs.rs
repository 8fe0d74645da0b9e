//! What is written about functions names tests that exist.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::{Path, PathBuf};

fn files(directory: &Path, extension: &str, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(directory).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, extension, found);
        } else if path.extension().is_some_and(|own| own == extension) {
            found.push(path);
        }
    }
}

/// Each `name.rs`, with or without `tests/` before it, in backticks.
fn named_tests(text: &str) -> Vec<String> {
    let quoted = text.split('`').skip(1).step_by(2);
    let names = quoted.filter(|name| name.ends_with(".rs") && !name.contains("src/"));
    names
        .map(|name| name.rsplit('/').next().unwrap().to_owned())
        .collect()
}

#[test]
fn named_tests_exist() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut tests = Vec::new();
    files(&root.join("tests"), "rs", &mut tests);
    files(&root.join("../../tests/integration"), "rs", &mut tests);
    let known: Vec<String> = tests
        .iter()
        .map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
        .collect();
    let mut texts = Vec::new();
    files(&root.join("docs"), "md", &mut texts);
    let mut named = 0;
    for path in &texts {
        for name in named_tests(&std::fs::read_to_string(path).unwrap()) {
            assert!(known.contains(&name), "{name} in {path:?}");
            named += 1;
        }
    }
    let mut sources = Vec::new();
    files(&root.join("src"), "rs", &mut sources);
    for path in &sources {
        let text = std::fs::read_to_string(path).unwrap();
        let comments: Vec<&str> = text
            .lines()
            .filter_map(|line| line.trim_start().strip_prefix("///"))
            .collect();
        // A sentence may go over the end of a line.
        for part in comments.join(" ").split("Checked by").skip(1) {
            let sentence = part.split(". ").next().unwrap();
            let names = named_tests(sentence);
            assert!(!names.is_empty(), "{sentence} in {path:?}");
            for name in names {
                assert!(known.contains(&name), "{name} in {path:?}");
                named += 1;
            }
        }
    }
    assert!(named > 100, "{named}");
}
