//! Files of the crate name each other without a circle.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Modules of the shipped code by their path, and the modules that each names.
type Graph = BTreeMap<String, BTreeSet<String>>;

fn sources(folder: &Path, path: &str, out: &mut Vec<(String, String)>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let file = entry.unwrap().path();
        let stem = file.file_stem().unwrap().to_string_lossy().into_owned();
        if file.is_dir() {
            if !["tests", "fixture"].contains(&&*stem) {
                sources(&file, &format!("{path}{stem}::"), out);
            }
        } else if file.extension().is_some_and(|kind| kind == "rs") {
            let text = std::fs::read_to_string(&file).unwrap();
            let shipped = text
                .split("#[cfg(test)]\nmod tests")
                .next()
                .unwrap()
                .to_owned();
            let name = match stem.as_str() {
                "mod" => path.trim_end_matches(':').to_owned(),
                stem => format!("{path}{stem}"),
            };
            out.push((name, shipped));
        }
    }
}

/// The paths that a source names after `crate::` or `super::`, those in braces one by one.
fn named(module: &str, source: &str) -> Vec<String> {
    let parent = module.rsplit_once("::").map_or("", |(parent, _)| parent);
    let mut out = Vec::new();
    for (word, base) in [("crate::", ""), ("super::", parent)] {
        for (at, _) in source.match_indices(word) {
            let rest = &source[at + word.len()..];
            let prefix = if base.is_empty() {
                String::new()
            } else {
                format!("{base}::")
            };
            let path: String = rest
                .chars()
                .take_while(|c| c.is_alphanumeric() || "_:".contains(*c))
                .collect();
            if let Some(list) = rest[path.len()..].strip_prefix('{') {
                let list = list.split('}').next().unwrap();
                out.extend(
                    list.split(',')
                        .map(|item| format!("{prefix}{path}{}", item.trim())),
                );
            } else {
                out.push(format!("{prefix}{path}"));
            }
        }
    }
    out
}

fn graph() -> Graph {
    let mut files = Vec::new();
    sources(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        "",
        &mut files,
    );
    let known: BTreeSet<&String> = files.iter().map(|(name, _)| name).collect();
    let longest = |path: &str| {
        let ends = path
            .match_indices("::")
            .map(|(at, _)| at)
            .chain([path.len()]);
        ends.map(|end| path[..end].to_owned())
            .find(|start| known.contains(start))
    };
    let of = |(module, source): &(String, String)| {
        let names = named(module, source)
            .into_iter()
            .filter_map(|path| longest(&path));
        (
            module.clone(),
            names.filter(|name| name != module).collect(),
        )
    };
    files.iter().map(of).collect()
}

/// A way from a module back to itself.
fn circle(graph: &Graph) -> Option<Vec<String>> {
    fn walk(graph: &Graph, way: &mut Vec<String>, done: &mut BTreeSet<String>) -> bool {
        let here = way.last().unwrap().clone();
        for next in graph.get(&here).into_iter().flatten() {
            if way.contains(next) {
                way.push(next.clone());
                return true;
            }
            if !done.contains(next) {
                way.push(next.clone());
                if walk(graph, way, done) {
                    return true;
                }
                way.pop();
            }
        }
        done.insert(here);
        false
    }
    let mut done = BTreeSet::new();
    graph.keys().find_map(|start| {
        let mut way = vec![start.clone()];
        walk(graph, &mut way, &mut done).then_some(way)
    })
}

#[test]
fn no_file_names_itself_through_others() {
    let graph = graph();
    let arrows: usize = graph.values().map(BTreeSet::len).sum();
    assert!(
        graph.len() > 40 && arrows > 100,
        "{} files, {arrows} arrows",
        graph.len()
    );
    assert_eq!(circle(&graph), None);
}

/// By hand: a names b and c, c names a.
#[test]
fn a_circle_is_found() {
    let of = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    let graph = Graph::from([
        ("a".to_owned(), of(&["b", "c"])),
        ("b".to_owned(), of(&[])),
        ("c".to_owned(), of(&["a"])),
    ]);
    assert_eq!(circle(&graph).unwrap(), ["a", "c", "a"]);
    assert_eq!(
        named("x::y", "use super::{p, q::R};\nuse crate::s::t;"),
        ["s::t", "x::p", "x::q::R"]
    );
}
