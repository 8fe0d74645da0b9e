//! Columns of words, and their words for ours.

use std::collections::BTreeMap;

use crate::columns::allowed_words;
use crate::input::Table;

use super::columns::{Look, names_any};
use super::guess::Guess;
use super::words;

impl Guess<'_> {
    /// Takes the column whose words are most like those that one of ours may hold; says whether there is one.
    pub(super) fn column_of_words(&mut self, table: Table, ours: &str) -> bool {
        if self.has(ours) {
            return true;
        }
        let (allowed, _) = allowed_words(table, ours);
        let allowed: Vec<&str> = allowed.iter().map(String::as_str).collect();
        let score = |look: &Look, title: &str, _: usize| {
            let rows: usize = look.words.values().sum();
            let like = look
                .words
                .iter()
                .filter(|(word, _)| words::meant(word, &allowed).is_some());
            let share = like.map(|(_, rows)| rows).sum::<usize>() as f64 / rows.max(1) as f64;
            let called = ours == "cause"
                && names_any(
                    title,
                    &["why", "reason", "cause", "grund", "warum", "ursache"],
                );
            if share < if called { 0.2 } else { 0.5 } {
                0.0
            } else {
                share + f64::from(u8::from(names_any(title, &[ours])))
            }
        };
        let found = self.best(score);
        if let Some(index) = found {
            self.take(ours, &[index]);
        }
        found.is_some()
    }

    /// Columns of words of a log: the one whose words are most like those that ours may hold.
    pub(super) fn events(&mut self) {
        let event = self.known.constants.get("event").map(String::as_str);
        let wanted = |ours: &&str| {
            !matches!(
                (event, *ours),
                (Some("insert"), "cause") | (Some("end"), "site" | "side")
            )
        };
        for ours in ["event", "site", "cause", "side"]
            .into_iter()
            .filter(wanted)
        {
            let found = self.column_of_words(Table::WearEvents, ours);
            if !found && ours == "event" {
                self.mapping.open.push(
                    "no column looks like events: name it in `columns`, or say --set event=insert"
                        .to_owned(),
                );
            }
        }
        if !self.has("sensor") {
            match self.best(Look::sensor_score) {
                Some(index) => self.take("sensor", &[index]),
                None => self.mapping.open.push(
                    "no column looks like the sensor's name: name it in `columns`".to_owned(),
                ),
            }
        }
    }

    /// Their words for ours, in the columns of words.
    pub(super) fn words(&mut self, table: Table) {
        if table == Table::Readings && !self.has("status") {
            let (allowed, _) = allowed_words(table, "status");
            let allowed: Vec<&str> = allowed.iter().map(String::as_str).collect();
            let score = |look: &Look, title: &str, _: usize| {
                let few = (2..=8).contains(&look.words.len()) && look.numeric < 0.1;
                let like = look
                    .words
                    .keys()
                    .filter(|word| words::meant(word, &allowed).is_some())
                    .count();
                f64::from(u8::from(
                    few && (like == look.words.len()
                        || like > 0 && names_any(title, &["status", "state", "flag"])),
                ))
            };
            if let Some(index) = self.best(score) {
                self.take("status", &[index]);
            }
        }
        self.side_in_site(table);
        let mut open = Vec::new();
        for ours in [
            "status", "purpose", "event", "site", "cause", "side", "tape",
        ] {
            let (allowed, needed) = allowed_words(table, ours);
            let Some(index) = self.column_of(ours).filter(|_| !allowed.is_empty()) else {
                continue;
            };
            let allowed: Vec<&str> = allowed.iter().map(String::as_str).collect();
            if ours == "side" && self.mapping.export.values.contains_key(ours) {
                continue;
            }
            let theirs = self
                .looks
                .get(index)
                .map(|look| look.words.clone())
                .unwrap_or_default();
            for word in theirs
                .keys()
                .filter(|word| !allowed.contains(&word.as_str()))
            {
                match words::meant(word, &allowed) {
                    Some(meant) => {
                        self.mapping
                            .told
                            .push(format!("{ours}: `{word}` is taken for `{meant}`"));
                        let values = self
                            .mapping
                            .export
                            .values
                            .entry(ours.to_owned())
                            .or_default();
                        values.insert(word.clone(), meant.to_owned());
                    }
                    None if needed => open.push(format!(
                        "{ours}: what is `{word}`? Give it in `values`: one of {}",
                        allowed.join(", ")
                    )),
                    None => {}
                }
            }
        }
        self.mapping.open.extend(open);
    }

    /// The side, where words of the site name it and no column of its own does.
    fn side_in_site(&mut self, table: Table) {
        let site = self.mapping.export.columns.get("site").cloned();
        let Some(site) = site.filter(|_| table == Table::WearEvents && !self.has("side")) else {
            return;
        };
        let look = self
            .column_of("site")
            .and_then(|index| self.looks.get(index));
        let theirs = look.map(|look| look.words.clone()).unwrap_or_default();
        if !theirs.keys().any(|word| words::side_in(word).is_some()) {
            return;
        }
        let mut values = BTreeMap::new();
        for word in theirs.keys() {
            let side = words::side_in(word).unwrap_or_default();
            if !side.is_empty() {
                self.mapping
                    .told
                    .push(format!("side: `{word}` names the {side}"));
            }
            values.insert(word.clone(), side.to_owned());
        }
        let export = &mut self.mapping.export;
        export.columns.insert("side".to_owned(), site);
        export.values.insert("side".to_owned(), values);
    }
}
