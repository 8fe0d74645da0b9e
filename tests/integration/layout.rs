//! Which crate may know which: read from the dependencies that cargo resolves.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use crate::fixture::repository;

type Graph = BTreeMap<String, BTreeSet<String>>;

/// What each package names to be built and run on this machine; what tests alone need is left out.
fn graph() -> Graph {
    let output = Command::new(env!("CARGO"))
        .args([
            "tree",
            "--workspace",
            "--edges",
            "normal,build",
            "--prefix",
            "depth",
        ])
        .args([
            "--format",
            " {p}",
            "--locked",
            "--offline",
            "--manifest-path",
        ])
        .arg(repository("Cargo.toml"))
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = String::from_utf8(output.stdout).unwrap();
    let mut graph = Graph::new();
    let mut path: Vec<String> = Vec::new();
    for line in text.lines() {
        let mut words = line.split_whitespace();
        let Some(depth) = words.next().and_then(|depth| depth.parse::<usize>().ok()) else {
            continue;
        };
        let name = words.next().unwrap().to_owned();
        path.truncate(depth);
        if let Some(parent) = path.last() {
            graph.get_mut(parent).unwrap().insert(name.clone());
        }
        graph.entry(name.clone()).or_default();
        path.push(name);
    }
    assert!(graph.len() > 50, "{text}");
    graph
}

/// Everything that a package needs, directly or not.
fn reach(graph: &Graph, package: &str) -> BTreeSet<String> {
    let mut seen = BTreeSet::new();
    let mut waiting = vec![package.to_owned()];
    while let Some(next) = waiting.pop() {
        for name in &graph[&next] {
            if seen.insert(name.clone()) {
                waiting.push(name.clone());
            }
        }
    }
    seen
}

#[test]
fn statistics_settings_and_rendering_are_free_of_the_query_engine() {
    let graph = graph();
    assert!(reach(&graph, "whereworn-engine").contains("datafusion"));
    for package in [
        "whereworn-model",
        "whereworn-stats",
        "whereworn-report",
        "whereworn-demo",
        "whereworn-load",
    ] {
        let reached = reach(&graph, package);
        let found = reached
            .iter()
            .find(|name| name.starts_with("datafusion") || *name == "sqlparser");
        assert_eq!(found, None, "reached from {package}");
    }
    for package in [
        "whereworn-model",
        "whereworn-stats",
        "whereworn-plan",
        "whereworn-report",
    ] {
        let reached = reach(&graph, package);
        let found = reached
            .iter()
            .find(|name| ["arrow", "parquet", "tokio"].contains(&name.as_str()));
        assert_eq!(found, None, "reached from {package}");
    }
}

/// Crates of the project that name one of these packages.
fn naming(graph: &Graph, matches: impl Fn(&str) -> bool) -> Vec<&str> {
    graph
        .iter()
        .filter(|(name, needs)| {
            name.starts_with("whereworn") && needs.iter().any(|need| matches(need))
        })
        .map(|(name, _)| name.as_str())
        .collect()
}

#[test]
fn one_crate_names_each_heavy_library() {
    let graph = graph();
    assert_eq!(
        naming(&graph, |name| name.starts_with("datafusion")),
        ["whereworn-engine"]
    );
    assert_eq!(
        naming(&graph, |name| name.starts_with("plotters")),
        ["whereworn-report"]
    );
    assert_eq!(
        naming(&graph, |name| name == "pulldown-cmark"),
        ["whereworn-report"]
    );
    assert_eq!(naming(&graph, |name| name == "clap"), ["whereworn"]);
    assert_eq!(naming(&graph, |name| name == "statrs"), ["whereworn-stats"]);
}

#[test]
fn arrows_between_the_crates() {
    let expected: [(&str, &[&str]); 9] = [
        ("whereworn-model", &[]),
        ("whereworn-stats", &[]),
        ("whereworn-load", &["whereworn-model"]),
        ("whereworn-engine", &["whereworn-model", "whereworn-stats"]),
        ("whereworn-report", &["whereworn-model"]),
        (
            "whereworn-findings",
            &["whereworn-model", "whereworn-stats"],
        ),
        ("whereworn-demo", &["whereworn-model"]),
        ("whereworn-simulate", &["whereworn-stats"]),
        ("whereworn-plan", &["whereworn-model", "whereworn-stats"]),
    ];
    let graph = graph();
    for (package, allowed) in expected {
        let ours: Vec<&String> = graph[package]
            .iter()
            .filter(|name| name.starts_with("whereworn"))
            .collect();
        let extra = ours.iter().find(|name| !allowed.contains(&name.as_str()));
        assert_eq!(extra, None, "{package} may need {allowed:?} alone");
    }
    assert!(graph["xtask"].contains("whereworn-simulate"));
    assert!(
        naming(&graph, |name| name == "whereworn-simulate").is_empty(),
        "invented studies reach what is shipped"
    );
    let engine = &graph["whereworn-engine"];
    assert!(engine.contains("whereworn-stats") && engine.contains("whereworn-model"));
}
