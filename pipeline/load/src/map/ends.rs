//! Logs with a row for each sensor, which has the times of both ends of its life.

use crate::input::Table;

use super::columns::{Look, names_any};
use super::kinds::{Kinds, Part, Split};
use super::{DateOrder, times, words};
use std::collections::BTreeMap;

/// The clock of each row, s.
type Clocks = Vec<Option<i64>>;

const DAY_SECONDS: i64 = 24 * 3600;

impl Kinds<'_> {
    /// A log with a row for each sensor: one column of times says when it was inserted, another when it ended. Who says that
    /// all rows are of one of these events gets that one alone.
    pub(super) fn two_ends(&self) -> Option<Split> {
        let log = self.known.table.unwrap_or(Table::WearEvents) == Table::WearEvents;
        let event = self.known.constants.get("event").map(String::as_str);
        let of_two = matches!(event, None | Some("insert" | "end"));
        if !log || !of_two || self.lines.titles.iter().any(|title| title == "event") {
            return None;
        }
        let times: Vec<&Look> = self.looks.iter().filter(|look| look.is_time).collect();
        let ends = self.ends_by_title(&times);
        let Some((from, until)) = ends.or_else(|| self.ends_by_order(&times)) else {
            return self.either_end(event?, &times);
        };
        let part = |(event, time, suffix): (&str, usize, &str)| Part {
            table: Some(Table::WearEvents),
            constants: [("event".to_owned(), event.to_owned())].into(),
            time: Some(time),
            dates: self.order(&[from, until]),
            suffix: suffix.to_owned(),
            ..Part::default()
        };
        let both = [("insert", from, ""), ("end", until, "end")];
        let wanted = |(own, _, _): &(&str, usize, &str)| event.is_none_or(|event| event == *own);
        Some(Split {
            parts: both.into_iter().filter(wanted).map(part).collect(),
            told: vec![format!(
                "each row is a sensor: `{}` is taken for the time of its insert, `{}` for that of its end",
                self.title(from),
                self.title(until)
            )],
            ..Split::default()
        })
    }

    /// The columns of begin and end, by what their titles say.
    fn ends_by_title(&self, times: &[&Look]) -> Option<(usize, usize)> {
        let named = |words: &[&str]| {
            let named = |look: &&&Look| names_any(self.title(look.index), words);
            let mut named = times.iter().filter(named);
            let one = named.next().filter(|_| named.next().is_none());
            one.map(|look| look.index)
        };
        // As a word of its own: a calendar holds it too.
        let end = times.iter().find(|look| {
            let title = self.title(look.index).to_lowercase();
            title
                .split(|c: char| !c.is_alphanumeric())
                .any(|word| word == "end")
        });
        let until = end.map(|look| look.index).or_else(|| named(words::ENDED));
        let ends = (named(words::BEGUN)?, until?);
        (ends.0 != ends.1).then_some(ends)
    }

    /// The same of two columns of which one is the later in nearly all rows that have both, and by a day or more in the middle
    /// of them: when a row was written is later too, and within minutes.
    fn ends_by_order(&self, times: &[&Look]) -> Option<(usize, usize)> {
        let [one, other] = times else {
            return None;
        };
        let (first, second) = self.clocks_of(one.index, other.index)?;
        let both = first.into_iter().zip(second);
        let mut days: Vec<i64> = both.filter_map(|(a, b)| Some(b? - a?)).collect();
        days.sort_unstable();
        let middle = *days.get(days.len() / 2)?;
        let same = days
            .iter()
            .filter(|apart| apart.signum() == middle.signum());
        let nearly = same.count() * 20 >= days.len() * 19;
        match nearly && middle.abs() >= DAY_SECONDS {
            true if middle > 0 => Some((one.index, other.index)),
            true => Some((other.index, one.index)),
            false => None,
        }
    }

    /// The clocks of two columns in each row.
    fn clocks_of(&self, one: usize, other: usize) -> Option<(Clocks, Clocks)> {
        let order = self.order(&[one, other]);
        let clocks = |index: usize| {
            let texts: Vec<&str> = self.lines.column(index).collect();
            let told = times::tell(&texts, order)?;
            let format = told.format();
            let at = |text: &&str| times::clock_seconds(format, text);
            Some(texts.iter().map(at).collect())
        };
        Some((clocks(one)?, clocks(other)?))
    }

    /// The order of day and month in columns of one hand: what somebody says, else what any of them tells.
    fn order(&self, columns: &[usize]) -> Option<DateOrder> {
        let told = |index: &usize| {
            let texts: Vec<&str> = self.lines.column(*index).collect();
            times::tell(&texts, None)?.order()
        };
        self.known.dates.or_else(|| columns.iter().find_map(told))
    }

    /// What is asked where all rows are of one end and nothing tells which of two columns has its time.
    fn either_end(&self, event: &str, times: &[&Look]) -> Option<Split> {
        let [one, other] = times else {
            return None;
        };
        let mut split = Split::of(&BTreeMap::new());
        split.open.push(format!(
            "`{}` and `{}` both hold times, and neither is always a day or more the later: put the block below into study.toml with the one of the {event} as `time` in `columns`",
            self.title(one.index),
            self.title(other.index)
        ));
        Some(split)
    }
}
