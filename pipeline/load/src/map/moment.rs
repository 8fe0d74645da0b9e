//! The time of a row: its columns, its form and its clock.

use crate::columns::quoted;
use crate::times::{MILLISECONDS, SECONDS};

use super::columns::{Look, names_any};
use super::guess::{Guess, usual_spacing};
use super::times::{self, Told, tell};

impl Guess<'_> {
    /// Finds the column or columns of the time; gives the usual seconds between rows.
    pub(super) fn time(&mut self) -> Result<Option<i64>, String> {
        let indexes = self.time_columns()?;
        let (told, indexes, texts) = self
            .told_with_offset(&indexes)
            .or_else(|| self.told_of(indexes))
            .ok_or("the dates and times of day do not go together")?;
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        self.take("time", &indexes);
        let format = self.format(told, &texts);
        self.zone(&indexes, format.as_deref(), &texts);
        let seconds = texts.iter();
        self.seconds = seconds
            .map(|text| times::clock_seconds(format.as_deref(), text))
            .collect();
        self.mapping.export.time_format = format;
        Ok(usual_spacing(
            self.seconds.iter().flatten().copied().collect(),
        ))
    }

    /// The form of the times in some columns, joined with a blank, and their texts.
    fn told_of(&self, indexes: Vec<usize>) -> Option<(Told, Vec<usize>, Vec<String>)> {
        let row = |row: &Vec<String>| {
            let parts = indexes.iter().filter_map(|index| row.get(*index));
            parts.map(String::as_str).collect::<Vec<_>>().join(" ")
        };
        let texts: Vec<String> = self.lines.rows.iter().map(row).collect();
        let all: Vec<&str> = texts.iter().map(String::as_str).collect();
        let told = tell(&all, self.known.dates)?;
        Some((told, indexes, texts))
    }

    /// The same with a column of offsets from UTC behind them, where there is one and the times name no clock.
    fn told_with_offset(&self, indexes: &[usize]) -> Option<(Told, Vec<usize>, Vec<String>)> {
        let offset = self.looks.iter().find(|look| look.is_offset)?;
        let mut titles = indexes.iter().map(|index| self.title(*index));
        if titles.any(|title| times::zone_in(title).is_some()) {
            return None;
        }
        self.told_of([indexes, &[offset.index]].concat())
    }

    /// The columns of date and time of day. One of UTC is preferred: it has no hour twice.
    fn time_columns(&mut self) -> Result<Vec<usize>, String> {
        if let Some(time) = self.part.time {
            return Ok(vec![time]);
        }
        let named = |look: &&Look| {
            names_any(
                self.title(look.index),
                &[
                    "time", "zeit", "date", "datum", "fecha", "hora", "heure", "uhr",
                ],
            )
        };
        let of = |kind: fn(&Look) -> bool| -> Vec<&Look> {
            let mut found: Vec<&Look> = self.looks.iter().filter(|look| kind(look)).collect();
            found.sort_by_key(|look| (std::cmp::Reverse(look.filled), !named(look), look.index));
            found
        };
        let whole = of(|look| look.is_time);
        let (dates, mut clocks) = (of(|look| look.is_date), of(|look| look.is_clock));
        clocks.extend(of(|look| look.may_be_clock).into_iter().filter(named));
        let since_1970 = of(|look| look.is_since_1970);
        let utc = self.preferred(&whole, |_| true);
        let indexes = match (
            utc.or(whole.first().copied()),
            dates.first(),
            clocks.first(),
        ) {
            (Some(one), _, _) => vec![one.index],
            (None, Some(date), Some(clock)) => vec![date.index, clock.index],
            _ => match since_1970.first() {
                Some(_) => {
                    let (one, told) = self.instant(&since_1970);
                    self.mapping.told.extend(told);
                    vec![one]
                }
                None => {
                    return Err(format!(
                        "no column holds times that can be read; the columns are {}: write the mapping by hand, with its time_format",
                        quoted(&self.lines.titles)
                    ));
                }
            },
        };
        let first = indexes.first().copied().unwrap_or(0);
        if let Some(other) = whole
            .iter()
            .find(|look| look.index != first && indexes.len() == 1)
        {
            let why = match utc {
                Some(_) => " (UTC has no hour twice and lacks none)",
                None => "",
            };
            let told = format!(
                "time: `{}`{why}; `{}` holds times too",
                self.title(first),
                self.title(other.index)
            );
            self.mapping.told.push(told);
        }
        Ok(indexes)
    }

    /// The column whose title names its clock, one that is wanted, if it has values in nearly as many rows as the fullest.
    fn preferred<'a>(
        &self,
        fullest_first: &[&'a Look],
        wanted: fn(&str) -> bool,
    ) -> Option<&'a Look> {
        let most = fullest_first.first()?.filled;
        let is_it = |look: &&&Look| {
            let zone = times::zone_in(self.title(look.index));
            look.filled * 10 >= most * 9 && zone.is_some_and(|zone| wanted(&zone))
        };
        fullest_first.iter().find(is_it).copied()
    }

    /// Of columns of seconds since 1970 the one called UTC, else the first, and what is told of another: such seconds of a
    /// local clock are off by its offset.
    fn instant(&self, since_1970: &[&Look]) -> (usize, Option<String>) {
        let called = self.preferred(since_1970, |zone| zone == "UTC");
        let one = called
            .or(since_1970.first().copied())
            .map_or(0, |look| look.index);
        let other = since_1970.iter().find(|look| look.index != one);
        let why = match called {
            Some(_) => "is called UTC",
            None => "is read as of UTC",
        };
        let told = other.map(|other| {
            let (title, other) = (self.title(one), self.title(other.index));
            format!("time: `{title}` {why}; `{other}` holds seconds since 1970 too")
        });
        (one, told)
    }

    fn format(&mut self, told: Told, texts: &[&str]) -> Option<String> {
        match told {
            Told::Iso => None,
            Told::Format(format) => {
                let since = match format.as_str() {
                    SECONDS => " (seconds since 1970)",
                    MILLISECONDS => " since 1970",
                    _ => "",
                };
                self.mapping.told.push(format!("times: {format}{since}"));
                Some(format)
            }
            Told::Follows(format, leaps) => {
                self.mapping.told.push(format!(
                    "times: {format} (with day and month the other way round readings would leap by a month {leaps} times); --dates says otherwise"
                ));
                Some(format)
            }
            Told::Either(day, month) => {
                self.mapping.open.push(format!(
                    "day and month can be read either way round ({day} or {month}, first `{}`): say --dates day-first or --dates month-first",
                    texts.first().copied().unwrap_or_default()
                ));
                Some(day)
            }
        }
    }

    /// The clock that a title names, of times that name no offset themselves.
    fn zone(&mut self, indexes: &[usize], format: Option<&str>, texts: &[&str]) {
        let titles = indexes.iter().map(|index| self.title(*index).to_owned());
        let Some((title, zone)) = titles
            .filter_map(|title| times::zone_in(&title).map(|zone| (title, zone)))
            .next()
        else {
            return;
        };
        if times::is_absolute(format, texts) {
            return;
        }
        self.mapping
            .told
            .push(format!("clock: {zone} (the column is called `{title}`)"));
        let export = &mut self.mapping.export;
        match zone.as_str() {
            "UTC" => export.timezone = Some(zone),
            _ => export.offset = Some(zone),
        }
    }
}
