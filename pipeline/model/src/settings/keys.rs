//! Where each key of a settings file stands, and which there may be, so that a mistyped one is named and not
//! ignored.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::words::suggestion;

/// A level of the settings file: its keys, or any key at all.
enum Level {
    Keys(&'static [(&'static str, Level)]),
    AnyKey(&'static Level),
    Value,
}

use Level::{AnyKey, Keys, Value};

const PLAN: Level = Keys(&[
    ("sites", Value),
    ("aim", Value),
    (
        "primary",
        Keys(&[("measure", Value), ("site", Value), ("against", Value)]),
    ),
    ("reference", Value),
    (
        "margins",
        Keys(&[
            ("stays-on", Value),
            ("reads-true", Value),
            ("reads-high-or-low", Value),
            ("quiet-at-night", Value),
            ("delay", Value),
        ]),
    ),
    ("rest_days", Value),
    ("rest_days_after_skin", Value),
]);

const STUDY: Level = Keys(&[
    ("title", Value),
    ("wearer", Value),
    ("timezone", Value),
    ("unit", Value),
    ("language", Value),
    ("date_format", Value),
    ("shared", Value),
    ("keep_doubtful", Value),
]);

const WEARER: Level = Keys(&[
    ("timezone", Value),
    ("rated_days", Value),
    ("warmup_hours", Value),
    ("zones", Keys(&[("from", Value), ("timezone", Value)])),
    ("plan", PLAN),
]);

const EXPORT: Level = Keys(&[
    ("table", Value),
    ("files", Value),
    ("columns", AnyKey(&Value)),
    ("constants", AnyKey(&Value)),
    ("values", AnyKey(&AnyKey(&Value))),
    ("rows", AnyKey(&Value)),
    ("time_format", Value),
    ("timezone", Value),
    ("offset", Value),
    ("unit", Value),
    ("skip_lines", Value),
    ("encoding", Value),
]);

const CORRECTION: Level = Keys(&[
    ("wearer", Value),
    ("sensor", Value),
    ("meter", Value),
    ("file", Value),
    ("from", Value),
    ("to", Value),
    ("clock_minutes", Value),
    ("unit", Value),
    ("leave_out", Value),
]);

const SEEN: Level = Keys(&[
    ("kind", Value),
    ("wearer", Value),
    ("sensor", Value),
    ("meter", Value),
    ("site", Value),
    ("file", Value),
    ("to", Value),
]);

const PRIORITIES: Level = Keys(&[
    ("stays-on", Value),
    ("reads-true", Value),
    ("steady", Value),
    ("quiet-at-night", Value),
    ("skin", Value),
    ("comfort", Value),
    ("out-of-sight", Value),
]);

const FHIR: Level = Keys(&[
    ("readings", Value),
    ("fingersticks", Value),
    ("sensor", Value),
    ("wearers", AnyKey(&Value)),
]);

/// What stands in an array of tables is listed as if it were a table.
const ROOT: Level = Keys(&[
    ("study", STUDY),
    (
        "wear",
        Keys(&[("rated_days", Value), ("warmup_hours", Value)]),
    ),
    ("wearers", AnyKey(&WEARER)),
    ("models", AnyKey(&Keys(&[("rated_days", Value)]))),
    (
        "night",
        Keys(&[("from", Value), ("to", Value), ("coverage", Value)]),
    ),
    ("pairing", Keys(&[("minutes", Value)])),
    (
        "sites",
        AnyKey(&Keys(&[("label", Value), ("on_label", Value)])),
    ),
    ("exports", AnyKey(&EXPORT)),
    ("corrections", CORRECTION),
    ("seen", SEEN),
    ("plan", PLAN),
    ("priorities", PRIORITIES),
    ("fhir", FHIR),
]);

/// The first unknown key of a settings file: its byte offset, and what to say of it.
pub(super) fn first_unknown(table: &DeTable) -> Option<(usize, String)> {
    let mut found = Vec::new();
    walk(table, &ROOT, "", &mut found);
    found.into_iter().min()
}

fn walk(table: &DeTable, level: &Level, path: &str, found: &mut Vec<(usize, String)>) {
    for (key, value) in table {
        let name: &str = key.get_ref();
        let full = join(path, name);
        let next = match level {
            Value => continue,
            AnyKey(next) => *next,
            Keys(known) => match known.iter().find(|(key, _)| *key == name) {
                Some((_, next)) => next,
                None => {
                    let hint = suggestion(name, known.iter().map(|(key, _)| *key));
                    found.push((key.span().start, format!("unknown key `{full}`{hint}")));
                    continue;
                }
            },
        };
        walk_value(value.get_ref(), next, &full, found);
    }
}

fn walk_value(value: &DeValue, level: &Level, path: &str, found: &mut Vec<(usize, String)>) {
    match value {
        DeValue::Table(inner) => walk(inner, level, path, found),
        DeValue::Array(items) => {
            for item in items.iter() {
                walk_value(item.get_ref(), level, path, found);
            }
        }
        _ => {}
    }
}

fn join(path: &str, name: &str) -> String {
    if path.is_empty() {
        name.to_owned()
    } else {
        format!("{path}.{name}")
    }
}

/// Byte offset of the key at a path; of its nearest table that is there where it is not. A number in the path counts
/// the elements of an array from 0.
pub(super) fn offset_of(table: &DeTable, path: &[String]) -> usize {
    let mut place = 0;
    let mut here: Option<&DeTable> = Some(table);
    let mut items: Option<&toml::de::DeArray> = None;
    for name in path {
        if let (Some(array), Ok(index)) = (items, name.parse::<usize>()) {
            let Some(item) = array.get(index) else { break };
            place = item.span().start;
            (here, items) = parts(item.get_ref());
            continue;
        }
        let entry = here.and_then(|table| table.iter().find(|(key, _)| key.get_ref() == name));
        let Some((key, value)) = entry else { break };
        place = key.span().start;
        (here, items) = parts(value.get_ref());
    }
    place
}

fn parts<'v, 'i>(
    value: &'v DeValue<'i>,
) -> (Option<&'v DeTable<'i>>, Option<&'v toml::de::DeArray<'i>>) {
    match value {
        DeValue::Table(table) => (Some(table), None),
        DeValue::Array(items) => (None, Some(items)),
        _ => (None, None),
    }
}

/// The path of the innermost key whose value holds a place in the file; empty where none does.
pub(super) fn path_at(table: &DeTable, place: usize) -> String {
    let mut best: Option<(Range<usize>, String)> = None;
    innermost(table, "", place, &mut best);
    best.map_or(String::new(), |(_, path)| path)
}

fn innermost(table: &DeTable, path: &str, place: usize, best: &mut Option<(Range<usize>, String)>) {
    for (key, value) in table {
        let full = join(path, key.get_ref());
        within(value, &full, place, best);
    }
}

fn within(
    value: &toml::Spanned<DeValue>,
    path: &str,
    place: usize,
    best: &mut Option<(Range<usize>, String)>,
) {
    let span = value.span();
    let narrower = best
        .as_ref()
        .is_none_or(|(other, _)| span.len() <= other.len());
    if span.contains(&place) && narrower {
        *best = Some((span, path.to_owned()));
    }
    match value.get_ref() {
        DeValue::Table(inner) => innermost(inner, path, place, best),
        DeValue::Array(items) => {
            for item in items.iter() {
                within(item, path, place, best);
            }
        }
        _ => {}
    }
}
