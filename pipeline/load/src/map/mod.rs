//! How to read a file of which nothing is known: a mapping of its columns, told from its data.

use std::collections::BTreeMap;
use std::path::Path;

use whereworn_model::settings::{Columns, Encoding, Export, Settings};
use whereworn_model::units::Unit;

use crate::columns::{allowed_words, names, quoted};
use crate::error::LoadError;
use crate::input::{InputFile, Table};
use crate::times::{MILLISECONDS, SECONDS};

mod already;
mod columns;
mod kinds;
mod lines;
mod preview;
mod text;
mod times;
mod unread;
mod words;

use columns::{Look, names_any, unit_in};
use kinds::{Kinds, Part, Split};
use lines::Lines;
use text::read_text;
use times::{Told, tell};
use unread::{Unread, unread};

pub use already::mapped_already;
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
    /// Their column and the texts of the rows that are mapped; all rows where there are none.
    pub rows: BTreeMap<String, Vec<String>>,
}

/// A mapping, with what was seen of the file and what could not be told.
#[derive(Clone, Debug, Default)]
pub struct Mapping {
    /// The mapping; `files` is the file's own name.
    pub export: Export,
    /// Mappings of the file's other rows, each with what may be added to the name of the first to name it.
    pub more: Vec<(String, Export)>,
    /// What was told, and from what.
    pub told: Vec<String>,
    /// What somebody has to say before the mapping can be used.
    pub open: Vec<String>,
}

/// Tells from a file's data how to read it. A file with rows of several kinds has a mapping for each kind that is of use.
///
/// # Errors
/// A file that cannot be read, is no table, or has no column of times.
pub fn map(path: &Path, known: &Known) -> Result<Mapping, LoadError> {
    let stop = |message: String| LoadError::File {
        file: path.display().to_string(),
        line: 1,
        message,
    };
    let (text, encoding) = read_text(path)?;
    let lines = Lines::find(&text).map_err(stop)?;
    let mut begun = Mapping::default();
    let name = path.file_name().unwrap_or_default();
    begun.export.files = name.to_string_lossy().into_owned();
    begun.export.skip_lines = lines.skip_lines;
    begun.export.encoding = encoding;
    begun.told = first_told(&lines, encoding);
    if !known.rows.is_empty() {
        let rows = lines.only(&known.rows).map_err(stop)?.rows.len();
        begun
            .told
            .push(format!("{rows} of them are mapped, as --rows says"));
    }
    let scratch = Guess::new(&lines, known, Part::default(), begun.clone());
    let split = match known.rows.is_empty() {
        true => scratch.split().map_err(stop)?,
        false => Split::of(&known.rows),
    };
    in_parts(path, &lines, known, begun, split).map_err(stop)
}

/// What is said of a file before anything is told of its columns.
fn first_told(lines: &Lines, encoding: Option<Encoding>) -> Vec<String> {
    let rows = format!(
        "{} rows of {} columns, separated by {}, their names on line {}",
        lines.rows.len(),
        lines.titles.len(),
        match lines.delimiter {
            b';' => "semicolons",
            b'\t' => "tabs",
            _ => "commas",
        },
        lines.skip_lines + 1
    );
    let encoding = encoding.map(|encoding| format!("encoding: {}", encoding.name()));
    encoding.into_iter().chain([rows]).collect()
}

/// The mapping of the first part of a file, with those of the others.
fn in_parts(
    path: &Path,
    lines: &Lines,
    known: &Known,
    begun: Mapping,
    split: Split,
) -> Result<Mapping, String> {
    let export = begun.export.clone();
    let mut whole = begun;
    whole.told.extend(split.told);
    // The order of day and month, once the first part has told it: the others may have too few rows.
    let mut dates = known.dates;
    for (number, part) in split.parts.into_iter().enumerate() {
        let mut known = Known {
            dates: dates.or(part.dates),
            table: known.table.or(part.table),
            rows: part.rows.clone(),
            ..known.clone()
        };
        known.constants.extend(part.constants.clone());
        let own = Mapping {
            export: Export {
                rows: part.rows.clone(),
                constants: known.constants.clone(),
                ..export.clone()
            },
            ..Mapping::default()
        };
        let suffix = part.suffix.clone();
        // All rows of a large file are not copied.
        let some = match part.rows.is_empty() {
            true => None,
            false => Some(lines.only(&part.rows)?),
        };
        let lines = some.as_ref().unwrap_or(lines);
        let own = Guess::new(lines, &known, part, own).finish()?;
        dates = dates.or(own.export.time_format.as_deref().and_then(times::order_of));
        let told = |text: String| match number {
            0 => text,
            _ => format!("(…-{suffix}) {text}"),
        };
        whole.told.extend(own.told.into_iter().map(told));
        whole.open.extend(own.open);
        match number {
            0 => whole.export = own.export,
            _ => whole.more.push((suffix, own.export)),
        }
    }
    whole.open.extend(split.open);
    whole.open.dedup();
    if whole.open.is_empty() {
        let parts = whole.parts();
        let unread: Vec<Unread> = parts.iter().filter_map(|part| unread(path, part)).collect();
        for rows in unread {
            match rows {
                Unread::Few(told) => whole.told.push(told),
                Unread::Many(open) => whole.open.push(open),
            }
        }
    }
    Ok(whole)
}

impl Mapping {
    /// Each mapping of the file as one of its own, beside the others.
    pub fn parts(&self) -> Vec<Self> {
        let first = (String::new(), self.export.clone());
        let all: Vec<(String, Export)> = [first].into_iter().chain(self.more.clone()).collect();
        let part = |number: usize| {
            let mut others = all.clone();
            let (_, export) = others.remove(number);
            Self {
                export,
                more: others,
                ..Self::default()
            }
        };
        (0..all.len()).map(part).collect()
    }
}

/// A mapping in the making.
struct Guess<'l> {
    lines: &'l Lines,
    looks: Vec<Look>,
    known: &'l Known,
    part: Part,
    mapping: Mapping,
    /// Columns that have their meaning.
    taken: Vec<usize>,
    /// The clock of each row.
    seconds: Vec<Option<i64>>,
}

/// Seconds between rows below which they are readings: a person does not check by fingerstick that often.
const DENSE_SECONDS: i64 = 20 * 60;

/// The seconds between rows in the middle of them all; `None` of fewer than two.
fn usual_spacing(mut seconds: Vec<i64>) -> Option<i64> {
    seconds.sort_unstable();
    let next = seconds.iter().skip(1);
    let mut gaps: Vec<i64> = seconds.iter().zip(next).map(|(a, b)| b - a).collect();
    gaps.sort_unstable();
    gaps.get(gaps.len() / 2).copied()
}

impl<'l> Guess<'l> {
    fn new(lines: &'l Lines, known: &'l Known, part: Part, mapping: Mapping) -> Self {
        let columns = 0..lines.titles.len();
        let mut looks: Vec<Look> = columns.map(|index| Look::at(lines, index)).collect();
        columns::mark_codes(&mut looks, &lines.titles, lines.rows.len());
        Self {
            looks,
            lines,
            known,
            part,
            mapping,
            taken: Vec::new(),
            seconds: Vec::new(),
        }
    }

    /// Whether the rows are of several kinds; one part where they are not.
    fn split(mut self) -> Result<Split, String> {
        self.time()?;
        let kinds = Kinds {
            lines: self.lines,
            looks: &self.looks,
            known: self.known,
            seconds: &self.seconds,
        };
        Ok(kinds.split().unwrap_or_else(|| Split::of(&BTreeMap::new())))
    }

    /// Gives every column its meaning.
    fn finish(mut self) -> Result<Mapping, String> {
        let spacing = self.time()?;
        self.own_names();
        let rows = self.part.rows.keys();
        let of_rows =
            rows.filter_map(|title| self.lines.titles.iter().position(|own| own == title));
        self.taken.extend(of_rows);
        let table = self.known.table.unwrap_or_else(|| self.table(spacing));
        self.mapping.export.table = table.folder().to_owned();
        self.leave_out_constants(table);
        match table {
            Table::Readings => {
                self.glucose();
                self.sensor();
            }
            Table::Fingersticks => {
                self.glucose();
                self.meter();
                self.column_of_words(table, "purpose");
            }
            Table::WearEvents | Table::Judgements => self.events(),
        }
        self.words(table);
        Ok(self.mapping)
    }

    /// Constants for columns that the table does not have would be refused.
    fn leave_out_constants(&mut self, table: Table) {
        let (required, optional) = names(table);
        let Mapping { export, told, .. } = &mut self.mapping;
        export.constants.retain(|ours, _| {
            let known = required.contains(&ours.as_str()) || optional.contains(&ours.as_str());
            if !known {
                let table = table.folder();
                told.push(format!("`{ours}` is no column of {table}: it is left out"));
            }
            known
        });
    }

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
    fn time(&mut self) -> Result<Option<i64>, String> {
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
        let most = whole.first().map_or(0, |look| look.filled);
        let utc = whole.iter().find(|look| {
            look.filled * 10 >= most * 9 && times::zone_in(self.title(look.index)).is_some()
        });
        let indexes = match (utc.or(whole.first()), dates.first(), clocks.first()) {
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

    /// Of columns of seconds since 1970 the one called UTC, else the first, and what is told of another: such seconds of a
    /// local clock are off by its offset.
    fn instant(&self, since_1970: &[&Look]) -> (usize, Option<String>) {
        let most = since_1970.first().map_or(0, |look| look.filled);
        let utc = |look: &&&Look| {
            let named = times::zone_in(self.title(look.index)).is_some_and(|zone| zone == "UTC");
            named && look.filled * 10 >= most * 9
        };
        let called = since_1970.iter().find(utc);
        let one = called.or(since_1970.first()).map_or(0, |look| look.index);
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

    fn table(&mut self, spacing: Option<i64>) -> Table {
        let glucose = self.has("glucose")
            || self.best(Look::glucose_score).is_some()
            || self.called_glucose().is_some();
        let (table, why) = match (glucose, spacing) {
            (false, _) => (Table::WearEvents, "no column looks like glucose".to_owned()),
            (true, Some(seconds @ ..=DENSE_SECONDS)) => {
                (Table::Readings, format!("a value every {seconds} s"))
            }
            (true, Some(_)) => (Table::Fingersticks, "values hours apart".to_owned()),
            (true, None) => {
                self.mapping.open.push(
                    "one row does not tell how far apart they are: say --table readings or --table fingersticks"
                        .to_owned(),
                );
                (Table::Readings, "until somebody says".to_owned())
            }
        };
        self.mapping.told.push(format!(
            "table: {} ({why}); --table says otherwise",
            table.folder()
        ));
        table
    }

    /// A column that is called glucose, whatever it holds.
    fn called_glucose(&self) -> Option<&Look> {
        self.free().find(|look| {
            look.filled > 0 && names_any(self.title(look.index), &["gluc", "gluk", "glyk"])
        })
    }

    fn glucose(&mut self) {
        if !self.has("glucose") {
            match self.part.glucose.or_else(|| self.best(Look::glucose_score)) {
                Some(index) => self.take("glucose", &[index]),
                None => {
                    let open = match self.called_glucose() {
                        None => "no column looks like glucose: name it in `columns`".to_owned(),
                        Some(look) => format!(
                            "`{}` is called so, and is not read as glucose: most of its values are no numbers of a body, as `{}`; name the column of the glucose in `columns`",
                            self.title(look.index),
                            self.lines
                                .column(look.index)
                                .find(|value| !value.is_empty())
                                .unwrap_or_default()
                        ),
                    };
                    self.mapping.open.push(open);
                    return;
                }
            }
        }
        self.off_scale();
        self.unit();
    }

    /// Their words for a value off the scale.
    fn off_scale(&mut self) {
        let Some(look) = self
            .column_of("glucose")
            .and_then(|index| self.looks.get(index))
        else {
            return;
        };
        let theirs = look.words.keys();
        let known: Vec<(String, &str)> = theirs
            .filter_map(|word| words::off_scale(word).map(|ours| (word.clone(), ours)))
            .collect();
        for (word, ours) in known {
            self.mapping.told.push(format!(
                "glucose: `{word}` is taken for {ours}, off the scale"
            ));
            let values = self.mapping.export.values.entry("glucose".to_owned());
            values.or_default().insert(word, ours.to_owned());
        }
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
        if let Some(look) = index.and_then(|index| self.looks.get(index)) {
            if look.with_unit * 10 >= look.filled * 9 && look.filled > 0 {
                let told = "unit: each value names its own".to_owned();
                self.mapping.told.push(told);
                return;
            }
            if let (Some((low, high)), None) = (look.both_units(), self.known.unit) {
                self.mapping.open.push(format!(
                    "`{title}` has {low} values as in mmol/L (33 or less) and {high} as in mg/dL (40 or more): say --unit if all are in one unit; else name a column of units in `columns`, or map those of each unit by itself with --rows"
                ));
            }
        }
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
    fn events(&mut self) {
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
    for (number, (_, export)) in mapping.more.iter().enumerate() {
        let beside = format!("{name}-{}", number + 2);
        settings.exports.insert(beside, export.clone());
    }
    let input = InputFile {
        path: path.to_owned(),
        name: mapping.export.files.clone(),
        table,
        export: Some(name),
        encoding: mapping.export.encoding,
    };
    Some((input, settings))
}
