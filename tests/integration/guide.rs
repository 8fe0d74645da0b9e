//! The researcher's guide shows each of its questions as it stands in its file, and prints what the program prints.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs;

use crate::fixture::{LATER, Study, repository, whereworn};

const GUIDE: &str = "pipeline/docs/researchers-guide.md";
const QUESTIONS: &str = "pipeline/docs/questions";

/// The text of each block that begins with a fence and a word.
fn blocks(text: &str, fence: &str) -> Vec<String> {
    let mut blocks = Vec::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.starts_with("```") {
            let body: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
            if line == fence {
                blocks.push(body.join("\n"));
            }
        }
    }
    blocks
}

fn names() -> BTreeSet<String> {
    let files = fs::read_dir(repository(QUESTIONS)).unwrap();
    files
        .map(|file| {
            let name = file.unwrap().file_name().into_string().unwrap();
            name.strip_suffix(".sql").unwrap().to_owned()
        })
        .collect()
}

#[test]
fn the_guide_shows_each_question_as_it_stands_in_its_file() {
    let guide = fs::read_to_string(repository(GUIDE)).unwrap();
    let shown: BTreeSet<String> = blocks(&guide, "```sql").into_iter().collect();
    let files = names();
    let files = files.iter().map(|name| {
        let path = repository(QUESTIONS).join(format!("{name}.sql"));
        fs::read_to_string(path).unwrap().trim_end().to_owned()
    });
    assert_eq!(shown, files.collect::<BTreeSet<String>>());
    assert_eq!(shown.len(), 5);
}

#[test]
fn the_guide_prints_what_the_program_prints() {
    let guide = fs::read_to_string(repository(GUIDE)).unwrap();
    let study = Study::copy_of(&repository("data-demo"));
    let mut asked = BTreeSet::new();
    for block in blocks(&guide, "```") {
        let (command, expected) = block.split_once('\n').unwrap();
        let name = command
            .strip_prefix("$ whereworn query data-demo ")
            .and_then(|rest| rest.strip_suffix(&format!(" --queries {QUESTIONS}")));
        let name = name.unwrap_or_else(|| panic!("{command}"));
        let (dir, folder) = (study.dir(), repository(QUESTIONS));
        let run = whereworn(&[
            "query".as_ref(),
            dir.as_os_str(),
            name.as_ref(),
            "--queries".as_ref(),
            folder.as_os_str(),
            "--as-of".as_ref(),
            OsStr::new(LATER),
        ]);
        assert_eq!(run.code, 0, "{}", run.err);
        assert_eq!(run.out.trim_end(), expected, "{name}");
        asked.insert(name.to_owned());
    }
    assert_eq!(asked, names());
}

/// Whoever copies the files has their tables in the report, and pictures of those with a chart.
#[test]
fn the_questions_join_a_report() {
    let study = Study::copy_of(&repository("data-demo"));
    for name in names() {
        let file = repository(QUESTIONS).join(format!("{name}.sql"));
        study.write(&format!("queries/{name}.sql"), fs::read(file).unwrap());
    }
    let output = study.report();
    for name in names() {
        assert!(!output.table(&name).lines.is_empty(), "{name}");
        let has_chart = fs::read_to_string(repository(QUESTIONS).join(format!("{name}.sql")));
        let has_chart = has_chart.unwrap().contains("\n-- chart = ");
        let figure = format!("figures/{name}.svg");
        assert_eq!(output.files.contains_key(&figure), has_chart, "{figure}");
    }
}
