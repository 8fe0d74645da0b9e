//! Which keys a settings file may have, so that a mistyped one is named and not ignored.

use toml::de::{DeTable, DeValue};

/// A level of the settings file: its keys, or any key at all.
enum Level {
    Keys(&'static [(&'static str, Level)]),
    AnyKey(&'static Level),
    Value,
}

use Level::{AnyKey, Keys, Value};

const ROOT: Level = Keys(&[
    (
        "study",
        Keys(&[
            ("title", Value),
            ("wearer", Value),
            ("timezone", Value),
            ("unit", Value),
            ("language", Value),
            ("date_format", Value),
        ]),
    ),
    (
        "wear",
        Keys(&[("rated_days", Value), ("warmup_hours", Value)]),
    ),
    (
        "wearers",
        AnyKey(&Keys(&[
            ("timezone", Value),
            ("rated_days", Value),
            ("warmup_hours", Value),
        ])),
    ),
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
    (
        "exports",
        AnyKey(&Keys(&[
            ("table", Value),
            ("files", Value),
            ("columns", AnyKey(&Value)),
            ("time_format", Value),
            ("unit", Value),
            ("skip_lines", Value),
        ])),
    ),
]);

/// An unknown key: where it stands, and the nearest known one.
pub struct UnknownKey {
    /// Byte offset in the file.
    pub offset: usize,
    /// The key with the tables that it stands in.
    pub path: String,
    /// The known key of that table that looks most like it.
    pub nearest: &'static str,
}

/// The first unknown key of a settings file.
pub fn first_unknown(table: &DeTable) -> Option<UnknownKey> {
    walk(table, &ROOT, "")
}

fn walk(table: &DeTable, level: &Level, path: &str) -> Option<UnknownKey> {
    let mut found: Option<UnknownKey> = None;
    for (key, value) in table.iter() {
        let name: &str = key.get_ref();
        let full = if path.is_empty() {
            name.to_owned()
        } else {
            format!("{path}.{name}")
        };
        let next = match level {
            Value => None,
            AnyKey(next) => Some(*next),
            Keys(known) => known.iter().find(|(k, _)| *k == name).map(|(_, l)| l),
        };
        let unknown = match (next, level, value.get_ref()) {
            (None, Keys(known), _) => Some(UnknownKey {
                offset: key.span().start,
                path: full,
                nearest: nearest(name, known),
            }),
            (Some(next), _, DeValue::Table(inner)) => walk(inner, next, &full),
            _ => None,
        };
        if let Some(unknown) = unknown
            && found.as_ref().is_none_or(|f| unknown.offset < f.offset)
        {
            found = Some(unknown);
        }
    }
    found
}

fn nearest(name: &str, known: &'static [(&'static str, Level)]) -> &'static str {
    known
        .iter()
        .map(|(key, _)| *key)
        .min_by_key(|key| edit_distance(name, key))
        .unwrap_or("")
}

/// The known word that looks most like a mistyped one, where one is near enough to be meant: one that begins with
/// it, else the one with the fewest edits.
pub fn nearest_word<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let known: Vec<&str> = known.collect();
    if let Some(longer) = known
        .iter()
        .find(|word| !name.is_empty() && word.starts_with(name))
    {
        return Some(longer);
    }
    known
        .into_iter()
        .map(|word| (edit_distance(name, word), word))
        .min()
        .filter(|(distance, word)| *distance <= word.chars().count().div_ceil(2))
        .map(|(_, word)| word)
}

/// Levenshtein's distance between two words.
fn edit_distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let substitute = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = substitute.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Kitten to sitting takes three edits: common practice, no source.
    #[test]
    fn distances() {
        assert_eq!(edit_distance("kitten", "sitting"), 3);
        assert_eq!(edit_distance("", "abc"), 3);
        assert_eq!(
            nearest_word("lowerback", ["chest", "lower-back"].into_iter()),
            Some("lower-back")
        );
        assert_eq!(nearest_word("xyz", ["chest"].into_iter()), None);
    }
}
