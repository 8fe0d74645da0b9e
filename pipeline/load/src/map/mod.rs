//! How to read a file of which nothing is known: a mapping of its columns, told from its data.

use std::collections::BTreeMap;
use std::path::Path;

use whereworn_model::settings::{Columns, Export, Settings};
use whereworn_model::units::Unit;

use crate::columns::{allowed_words, quoted};
use crate::error::LoadError;
use crate::input::{InputFile, Table};

mod columns;
mod lines;
mod preview;
mod text;
mod times;
mod words;

use columns::{Look, names_any, unit_in};
use lines::Lines;
use text::read_text;
use times::{Told, tell};

pub use preview::{PreviewRow, preview};
pub use times::DateOrder;

/// What somebody knows of a file beforehand.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// The table that its rows belong to.
    pub table: Option<Table>,
    /// Which of two numbers of a date is the day.
    pub dates: Option<DateOrder>,
    /// The unit of its glucose.
    pub unit: Option<Unit>,
    /// Our columns, and what every row holds.
    pub constants: BTreeMap<String, String>,
}

/// A mapping, with what was seen of the file and what could not be told.
#[derive(Clone, Debug, Default)]
pub struct Mapping {
    /// The mapping; `files` is the file's own name.
    pub export: Export,
    /// What was told, and from what.
    pub told: Vec<String>,
    /// What somebody has to say before the mapping can be used.
    pub open: Vec<String>,
}

/// Tells from a file's data how to read it.
///
/// # Errors
/// A file that cannot be read, is no table, or has no column of times.
pub fn map(path: &Path, known: &Known) -> Result<Mapping, LoadError> {
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let stop = |message: String| LoadError::File {
        file: path.display().to_string(),
        line: 1,
        message,
    };
    let (text, encoding) = read_text(path)?;
    let lines = Lines::find(&text).map_err(stop)?;
    let mut mapping = Mapping::default();
    mapping.export.files = name;
    mapping.export.skip_lines = lines.skip_lines;
    mapping.export.encoding = encoding;
    mapping.export.constants = known.constants.clone();
    if let Some(encoding) = encoding {
        mapping.told.push(format!("encoding: {}", encoding.name()));
    }
    mapping.told.push(format!(
        "{} rows of {} columns, separated by {}, their names on line {}",
        lines.rows.len(),
        lines.titles.len(),
        match lines.delimiter {
            b';' => "semicolons",
            b'\t' => "tabs",
            _ => "commas",
        },
        lines.skip_lines + 1
    ));
    let mut guess = Guess {
        looks: (0..lines.titles.len())
            .map(|index| Look::at(&lines, index))
            .collect(),
        lines: &lines,
        known,
        mapping,
        taken: Vec::new(),
    };
    let spacing = guess.time().map_err(stop)?;
    guess.own_names();
    let table = known.table.unwrap_or_else(|| guess.table(spacing));
    guess.mapping.export.table = table.folder().to_owned();
    match table {
        Table::Readings => {
            guess.glucose();
            guess.sensor();
        }
        Table::Fingersticks => {
            guess.glucose();
            guess.meter();
            guess.column_of_words(table, "purpose");
        }
        Table::WearEvents | Table::Judgements => guess.events(),
    }
    guess.words(table);
    Ok(guess.mapping)
}

/// A mapping in the making.
struct Guess<'l> {
    lines: &'l Lines,
    looks: Vec<Look>,
    known: &'l Known,
    mapping: Mapping,
    /// Columns that have their meaning.
    taken: Vec<usize>,
}

/// Seconds between rows below which they are readings: a person does not check by fingerstick that often.
const DENSE_SECONDS: i64 = 20 * 60;

impl Guess<'_> {
    fn title(&self, index: usize) -> &str {
        self.lines.titles.get(index).map_or("", String::as_str)
    }

    fn take(&mut self, ours: &str, indexes: &[usize]) {
        let names: Vec<String> = indexes
            .iter()
            .map(|index| self.title(*index).to_owned())
            .collect();
        let columns = match names.as_slice() {
            [one] => Columns::One(one.clone()),
            _ => Columns::Several(names),
        };
        self.mapping.export.columns.insert(ours.to_owned(), columns);
        self.taken.extend(indexes);
    }

    /// Finds the column or columns of the time; gives the usual seconds between rows.
    fn time(&mut self) -> Result<i64, String> {
        let named = |look: &&Look| {
            names_any(
                self.title(look.index),
                &["time", "zeit", "date", "datum", "fecha", "hora", "heure"],
            )
        };
        let of = |kind: fn(&Look) -> bool| -> Vec<&Look> {
            let mut found: Vec<&Look> = self.looks.iter().filter(|look| kind(look)).collect();
            found.sort_by_key(|look| (std::cmp::Reverse(look.filled), !named(look), look.index));
            found
        };
        let whole: Vec<usize> = of(|look| look.is_time)
            .iter()
            .map(|look| look.index)
            .collect();
        let (dates, clocks) = (of(|look| look.is_date), of(|look| look.is_clock));
        let indexes = match (whole.first(), dates.first(), clocks.first()) {
            (Some(one), _, _) => vec![*one],
            (None, Some(date), Some(clock)) => vec![date.index, clock.index],
            _ => {
                return Err(format!(
                    "no column holds times that can be read; the columns are {}: write the mapping by hand, with its time_format",
                    quoted(&self.lines.titles)
                ));
            }
        };
        if let [_, other, ..] = whole.as_slice() {
            let (first, other) = (indexes.first().copied().unwrap_or(0), *other);
            let told = format!(
                "time: `{}`; `{}` holds times too",
                self.title(first),
                self.title(other)
            );
            self.mapping.told.push(told);
        }
        let texts: Vec<String> = self
            .lines
            .rows
            .iter()
            .map(|row| {
                let parts: Vec<&str> = indexes
                    .iter()
                    .filter_map(|index| row.get(*index))
                    .map(String::as_str)
                    .collect();
                parts.join(" ")
            })
            .collect();
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        let told = tell(&texts, self.known.dates)
            .ok_or("the dates and times of day do not go together")?;
        self.take("time", &indexes);
        let format = match told {
            Told::Iso => None,
            Told::Format(format) => {
                self.mapping.told.push(format!("times: {format}"));
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
        };
        let mut seconds: Vec<i64> = texts
            .iter()
            .filter_map(|text| times::clock_seconds(format.as_deref(), text))
            .collect();
        self.mapping.export.time_format = format;
        seconds.sort_unstable();
        let mut gaps: Vec<i64> = seconds
            .windows(2)
            .map(|pair| match pair {
                [before, after] => after - before,
                _ => 0,
            })
            .collect();
        gaps.sort_unstable();
        Ok(gaps.get(gaps.len() / 2).copied().unwrap_or(i64::MAX))
    }

    /// Columns that bear our own names need no guess.
    fn own_names(&mut self) {
        for index in 0..self.lines.titles.len() {
            let ours = [
                "wearer", "sensor", "glucose", "unit", "status", "meter", "purpose", "event",
                "site", "side", "cause",
            ];
            if ours.contains(&self.title(index)) {
                self.taken.push(index);
            }
        }
    }

    fn has(&self, ours: &str) -> bool {
        let export = &self.mapping.export;
        export.columns.contains_key(ours)
            || export.constants.contains_key(ours)
            || self.lines.titles.iter().any(|title| title == ours)
    }

    fn free(&self) -> impl Iterator<Item = &Look> {
        self.looks
            .iter()
            .filter(|look| !self.taken.contains(&look.index))
    }

    fn best(&self, score: impl Fn(&Look, &str, usize) -> f64) -> Option<usize> {
        let rows = self.lines.rows.len();
        let scored = self
            .free()
            .map(|look| (score(look, self.title(look.index), rows), look.index));
        let best = scored
            .filter(|(score, _)| *score > 0.0)
            .reduce(|best, next| if next.0 > best.0 { next } else { best });
        best.map(|(_, index)| index)
    }

    fn table(&mut self, spacing: i64) -> Table {
        let glucose = self.has("glucose") || self.best(Look::glucose_score).is_some();
        let (table, why) = match (glucose, spacing) {
            (false, _) => (Table::WearEvents, "no column looks like glucose".to_owned()),
            (true, ..=DENSE_SECONDS) => (Table::Readings, format!("a value every {} s", spacing)),
            (true, _) => (Table::Fingersticks, "values hours apart".to_owned()),
        };
        self.mapping.told.push(format!(
            "table: {} ({why}); --table says otherwise",
            table.folder()
        ));
        table
    }

    fn glucose(&mut self) {
        if !self.has("glucose") {
            match self.best(Look::glucose_score) {
                Some(index) => self.take("glucose", &[index]),
                None => {
                    self.mapping
                        .open
                        .push("no column looks like glucose: name it in `columns`".to_owned());
                    return;
                }
            }
        }
        self.unit();
    }

    fn unit(&mut self) {
        if self.has("unit") {
            return;
        }
        let units = |look: &&Look| {
            !look.words.is_empty() && look.words.keys().all(|word| Unit::parse(word).is_some())
        };
        let column = self.free().find(units).map(|look| look.index);
        if let Some(index) = column {
            self.take("unit", &[index]);
            return;
        }
        let named = self
            .mapping
            .export
            .columns
            .get("glucose")
            .and_then(|columns| columns.names().first().cloned());
        let title = named.unwrap_or_else(|| "glucose".to_owned());
        let index = self.lines.titles.iter().position(|own| *own == title);
        let median = index
            .and_then(|index| self.looks.get(index))
            .map_or(f64::NAN, |look| look.median);
        let (unit, why) = match (self.known.unit, unit_in(&title)) {
            (Some(unit), _) => (unit, "as you say".to_owned()),
            (None, Some(unit)) => (unit, format!("the column is called `{title}`")),
            (None, None) if median < 30.0 => (
                Unit::MmolL,
                format!("half of the values lie below {median}"),
            ),
            (None, None) => (Unit::MgDl, format!("half of the values lie above {median}")),
        };
        self.mapping
            .told
            .push(format!("unit: {} ({why})", unit.code()));
        self.mapping.export.unit = Some(unit);
    }

    fn sensor(&mut self) {
        if self.has("sensor") {
            return;
        }
        match self.best(Look::sensor_score) {
            Some(index) => self.take("sensor", &[index]),
            None => self.mapping.open.push(
                "no column looks like the sensor's name: say --set sensor=NAME where all rows are of one, else name the column in `columns`".to_owned(),
            ),
        }
    }

    /// The column that names the meter, by its title: without it all checks are of one.
    fn meter(&mut self) {
        let titles = ["meter", "device", "messger", "gerät", "lecteur", "medidor"];
        let score = |look: &Look, title: &str, _: usize| {
            let words = !look.words.is_empty() && !look.is_time;
            f64::from(u8::from(words && names_any(title, &titles)))
        };
        if !self.has("meter")
            && let Some(index) = self.best(score)
        {
            self.take("meter", &[index]);
        }
    }

    /// Takes the column whose words are most like those that one of ours may hold; says whether there is one.
    fn column_of_words(&mut self, table: Table, ours: &str) -> bool {
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
            if share < 0.5 {
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
    fn events(&mut self) {
        for ours in ["event", "site", "cause", "side"] {
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
    fn words(&mut self, table: Table) {
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
        let mut open = Vec::new();
        for ours in [
            "status", "purpose", "event", "site", "cause", "side", "tape",
        ] {
            let (allowed, needed) = allowed_words(table, ours);
            let Some(index) = self.column_of(ours).filter(|_| !allowed.is_empty()) else {
                continue;
            };
            let allowed: Vec<&str> = allowed.iter().map(String::as_str).collect();
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

    fn column_of(&self, ours: &str) -> Option<usize> {
        let named = self
            .mapping
            .export
            .columns
            .get(ours)
            .and_then(|columns| columns.names().first());
        let title = named.map_or(ours, String::as_str);
        self.lines.titles.iter().position(|own| own == title)
    }
}

/// The file as an input, and settings under which it is read by a mapping; its times are taken for UTC.
fn alone(path: &Path, mapping: &Mapping) -> Option<(InputFile, Settings)> {
    let name = "map".to_owned();
    let table = Table::ALL
        .into_iter()
        .find(|table| table.folder() == mapping.export.table)?;
    let mut settings = Settings::default();
    settings.study.unit = Some(mapping.export.unit.unwrap_or(Unit::MgDl));
    settings
        .exports
        .insert(name.clone(), mapping.export.clone());
    let input = InputFile {
        path: path.to_owned(),
        name: mapping.export.files.clone(),
        table,
        export: Some(name),
        encoding: mapping.export.encoding,
    };
    Some((input, settings))
}
