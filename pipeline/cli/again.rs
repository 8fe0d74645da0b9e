//! `report --from RUN.JSON`: a report made again, and what differs from the one that it was made from.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde_json::Value;
use whereworn_model::time::{Month, parse_instant};
use whereworn_report::Edition;

use crate::args::ReportArguments;
use crate::failure::Failure;

/// Differing files that are named one by one.
const NAMED: usize = 5;

/// What an earlier report was made from.
pub struct Earlier(Value);

impl Earlier {
    /// Reads a `run.json`.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let bytes = std::fs::read(path).map_err(Failure::io(path, "reading"))?;
        let run: Option<Value> = serde_json::from_slice(&bytes).ok();
        let ours =
            run.filter(|run| run.get("program").and_then(Value::as_str) == Some("whereworn"));
        let run = ours.ok_or_else(|| {
            let path = path.display();
            Failure::Request(format!(
                "{path}: no run.json of whereworn: name the one in a report's folder"
            ))
        })?;
        if run.get("month").is_none() {
            let path = path.display();
            return Err(Failure::Request(format!(
                "{path}: of a public report, which does not say from which files it was made: name that of another edition"
            )));
        }
        Ok(Self(run))
    }

    /// The same month, edition and instant.
    pub fn apply(&self, arguments: &mut ReportArguments) {
        let text = |key: &str| self.0.get(key).and_then(Value::as_str);
        arguments.scope.month = text("month").and_then(Month::parse);
        if let Some(edition) = text("edition").and_then(Edition::parse) {
            arguments.edition = edition;
        }
        let at = text("as_of").and_then(parse_instant);
        arguments.scope.as_of = arguments.scope.as_of.or(at);
    }

    /// In words, what differs between the report that was made again and the earlier one: what it was made from
    /// first, then its files.
    pub fn differences(&self, now: &Value) -> Vec<String> {
        let mut lines = Vec::new();
        for key in ["version", "cutoff", "as_of", "plan_hash"] {
            let (then, now) = (self.0.get(key), now.get(key));
            if then != now {
                let word =
                    |value: Option<&Value>| value.map_or("none".to_owned(), Value::to_string);
                lines.push(format!("{key}: {} then, {} now", word(then), word(now)));
            }
        }
        lines.extend(listed(
            "setting",
            &members(self.0.get("settings")),
            &members(now.get("settings")),
        ));
        lines.extend(listed(
            "study",
            &members(self.0.get("studies")),
            &members(now.get("studies")),
        ));
        lines.extend(listed(
            "input",
            &inputs(&self.0, "sha256"),
            &inputs(now, "sha256"),
        ));
        let files = listed(
            "file",
            &members(self.0.get("files")),
            &members(now.get("files")),
        );
        if lines.is_empty() && files.is_empty() {
            return vec!["the same report as before, byte for byte".to_owned()];
        }
        let more = files.len().saturating_sub(NAMED);
        lines.extend(files.into_iter().take(NAMED));
        if more > 0 {
            lines.push(format!("{more} more files differ"));
        }
        lines
    }
}

type Named = BTreeMap<String, Value>;

/// The members of an object; none where it is none.
pub fn members(value: Option<&Value>) -> Named {
    let object = value.and_then(Value::as_object);
    object
        .into_iter()
        .flatten()
        .map(|(key, value)| (key.clone(), value.clone()))
        .collect()
}

/// A member of each raw file that a run lists, by the file's name.
pub fn inputs(run: &Value, member: &str) -> Named {
    let list = run.get("inputs").and_then(Value::as_array);
    let named = |input: &Value| {
        let file = input.get("file")?.as_str()?.to_owned();
        Some((file, input.get(member)?.clone()))
    };
    list.into_iter().flatten().filter_map(named).collect()
}

/// The names under which two sets differ, in order.
pub fn differing<'a>(then: &'a Named, now: &'a Named) -> impl Iterator<Item = &'a String> {
    let names: BTreeSet<&String> = then.keys().chain(now.keys()).collect();
    names
        .into_iter()
        .filter(|name| then.get(*name) != now.get(*name))
}

fn listed(what: &str, then: &Named, now: &Named) -> Vec<String> {
    let say = |name: &String| {
        let how = match (then.contains_key(name), now.contains_key(name)) {
            (true, false) => "is gone",
            (false, _) => "is new",
            (true, true) => "differs",
        };
        format!("{what} {name} {how}")
    };
    differing(then, now).map(say).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn differences_in_words() {
        let run = |version: &str, hash: &str, file: &str| {
            json!({
                "program": "whereworn", "version": version, "month": "2026-03", "settings": { "wear": 14 },
                "inputs": [{ "file": "readings/r.csv", "sha256": hash }], "files": { file: "x" },
            })
        };
        let earlier = Earlier(run("1", "a", "report.md"));
        assert_eq!(
            earlier.differences(&run("1", "a", "report.md")),
            ["the same report as before, byte for byte"]
        );
        assert_eq!(
            earlier.differences(&run("2", "b", "report.html")),
            [
                "version: \"1\" then, \"2\" now",
                "input readings/r.csv differs",
                "file report.html is new",
                "file report.md is gone"
            ]
        );
    }
}
