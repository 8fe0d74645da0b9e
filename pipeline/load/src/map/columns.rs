//! What the columns of an unknown file hold, told from their values; names of columns only break ties.

use std::collections::BTreeMap;

use whereworn_model::units::Unit;

use crate::fields::{Comma, Glucose, glucose, number, own_unit};

use super::lines::Lines;
use super::times::{is_clock, is_date, is_offset, tell};
use super::words;

/// What a column looks like.
#[derive(Clone, Debug, Default)]
pub(super) struct Look {
    pub index: usize,
    /// Date and time of day, a date alone, a time of day alone.
    pub is_time: bool,
    pub is_date: bool,
    pub is_clock: bool,
    /// A number that may be a time of day, as 07.30; and an offset from UTC, as +01:00.
    pub may_be_clock: bool,
    pub is_offset: bool,
    /// Seconds or milliseconds since 1970 that change from row to row.
    pub is_since_1970: bool,
    /// Share of its values that are numbers, or say that a value is off the scale.
    pub numeric: f64,
    /// Middle of its numbers.
    pub median: f64,
    /// Whether its numbers only ever rise, as a counter's do.
    pub counts: bool,
    /// Its distinct values and how often each stands; of columns with few.
    pub words: BTreeMap<String, usize>,
    /// Values that are not empty.
    pub filled: usize,
    /// Times that a value differs from the one before.
    pub changes: usize,
    /// Values that name their unit of glucose.
    pub with_unit: usize,
    /// Whether its values are codes: set once all columns are seen.
    pub is_code: bool,
    /// Numbers as in mmol/L, and as in mg/dL: 33 or less, 40 or more.
    low_and_high: (usize, usize),
}

/// Most kinds of rows that a column may tell apart.
pub(super) const MOST_KINDS: usize = 12;

/// Rows for each distinct value from which on whole numbers are codes: glucose is not as steady as that.
const ROWS_A_CODE: usize = 30;

/// Distinct values up to which a column is one of words.
const FEW_WORDS: usize = 200;

impl Look {
    pub fn at(lines: &Lines, index: usize) -> Self {
        let values: Vec<&str> = lines
            .column(index)
            .filter(|value| !value.is_empty())
            .collect();
        let comma = comma(lines);
        let mut numbers: Vec<f64> = Vec::new();
        let mut off_scale = 0;
        let mut words: BTreeMap<String, usize> = BTreeMap::new();
        let mut with_unit = 0;
        for value in &values {
            let (plain, unit) = own_unit(value.as_bytes());
            with_unit += usize::from(unit.is_some());
            match number(plain, comma) {
                Some(number) => numbers.push(number),
                None if words::off_scale(value).is_some() => off_scale += 1,
                None => {
                    let read = glucose(value.as_bytes(), Unit::MgDl, comma);
                    off_scale +=
                        usize::from(matches!(read, Ok(Glucose::Low(_) | Glucose::High(_))));
                }
            }
            if words.len() <= FEW_WORDS {
                *words.entry((*value).to_owned()).or_default() += 1;
            }
        }
        if words.len() > FEW_WORDS {
            words.clear();
        }
        let counts = numbers.len() > 2 && numbers.windows(2).all(|pair| pair.first() < pair.last());
        let numeric = (numbers.len() + off_scale) as f64 / values.len().max(1) as f64;
        let changes = values
            .windows(2)
            .filter(|pair| pair.first() != pair.last())
            .count();
        numbers.sort_by(f64::total_cmp);
        let text = numeric < 0.9;
        let between = |least: f64, most: f64| {
            numbers
                .iter()
                .filter(|n| (least..=most).contains(*n))
                .count()
        };
        let told = tell(&values, None);
        let is_since_1970 = matches!(&told, Some(told) if told.is_since_1970());
        Self {
            index,
            is_time: told.is_some() && !is_since_1970,
            is_since_1970: is_since_1970 && changes * 2 >= values.len(),
            may_be_clock: !text && is_clock(&values),
            is_offset: is_offset(&values),
            is_date: text && is_date(&values),
            is_clock: text && !is_date(&values) && is_clock(&values),
            numeric,
            median: numbers.get(numbers.len() / 2).copied().unwrap_or(f64::NAN),
            counts,
            words,
            filled: values.len(),
            changes,
            with_unit,
            is_code: false,
            low_and_high: (between(1.0, 33.0), between(40.0, 600.0)),
        }
    }

    /// Whether it holds few distinct whole numbers, as a column of codes does.
    pub fn has_few_numbers(&self) -> bool {
        let whole = |word: &String| word.bytes().all(|byte| byte.is_ascii_digit());
        (1..=MOST_KINDS).contains(&self.words.len()) && self.words.keys().all(whole)
    }

    /// Whether its values are numbers of a body.
    pub fn of_a_body(&self) -> bool {
        let range = (1.5..=33.0).contains(&self.median) || (40.0..=450.0).contains(&self.median);
        self.numeric >= 0.9 && !self.is_time && !self.is_code && range
    }

    /// Whether it may be glucose, and how likely: numbers of a body, most of the rows. That they rise or stay the same, as in a
    /// counter, speaks against it unless the title names a unit of glucose.
    pub fn glucose_score(&self, title: &str, rows: usize) -> f64 {
        let named = names_glucose(title);
        let same = self.words.len() == 1 && self.filled > 2;
        let counter = !named && (self.counts || same || self.filled == 1);
        if counter || !self.of_a_body() {
            return 0.0;
        }
        self.filled as f64 / rows.max(1) as f64 + if named { 2.0 } else { 0.0 }
    }

    /// How many of its numbers are as in mmol/L and how many as in mg/dL, where each are more than a tenth.
    pub fn both_units(&self) -> Option<(usize, usize)> {
        let (low, high) = self.low_and_high;
        (low.min(high) * 10 > self.filled).then_some((low, high))
    }

    /// Whether it may name the sensor, and how likely: a few words that stay the same over many rows.
    pub fn sensor_score(&self, title: &str, rows: usize) -> f64 {
        let other = self.is_time || self.is_date || self.is_clock || self.words.is_empty();
        if other || self.filled * 2 < rows {
            return 0.0;
        }
        let names = ["sensor", "serial", "device", "serien", "geber", "capteur"];
        if names_any(title, &names) {
            return 2.0;
        }
        let few = self.words.len() * 4 <= rows.max(8);
        let steady = self.changes < rows.div_ceil(4).max(self.words.len());
        let fraction = self.words.keys().any(|word| word.contains(['.', ',']));
        match few && steady && self.filled == rows && !(self.numeric > 0.5 && fraction) {
            true => 1.0 / (1.0 + self.numeric),
            false => 0.0,
        }
    }
}

/// Marks the columns of codes, which may lie among numbers of a body as 5 or 100 do: few whole numbers, whose title names
/// kinds of rows, or in every row beside a column that is more like glucose, or each in very many rows.
pub(super) fn mark_codes(looks: &mut [Look], titles: &[String], rows: usize) {
    let title = |look: &Look| titles.get(look.index).map_or("", String::as_str);
    let values = |look: &Look| !look.has_few_numbers() && look.glucose_score(title(look), 1) > 0.0;
    let beside = looks.iter().any(values);
    for look in looks {
        let every = look.filled * 20 >= rows * 19 && look.filled >= 3 * look.words.len();
        let values = names_any(title(look), &["value", "wert", "valeur", "valor"]);
        let often = !values && look.filled >= ROWS_A_CODE * look.words.len();
        let plain = !names_glucose(title(look)) && (beside && every || often);
        look.is_code = look.has_few_numbers() && (plain || names_kinds(title(look)));
    }
}

fn names_glucose(title: &str) -> bool {
    names_any(title, &["gluc", "gluk", "glyk", "bg", "mg/dl", "mmol"])
}

/// Whether a word of a title says that the column tells kinds of rows.
pub(super) fn names_kinds(title: &str) -> bool {
    let names = [
        "type",
        "typ",
        "art",
        "kind",
        "tipo",
        "record",
        "category",
        "kategorie",
        "source",
        "quelle",
    ];
    let lower = title.to_lowercase();
    let mut words = lower.split(|c: char| !c.is_alphanumeric());
    words.any(|word| names.contains(&word))
}

/// Whether a title holds one of some words, in any case.
pub(super) fn names_any(title: &str, words: &[&str]) -> bool {
    let title = title.to_lowercase();
    words.iter().any(|word| title.contains(word))
}

/// What a comma in a number may be, by what separates the fields.
pub(super) fn comma(lines: &Lines) -> Comma {
    match lines.delimiter {
        b',' => Comma::Quoted,
        _ => Comma::Decimal,
    }
}

/// The unit that a title names.
pub(super) fn unit_in(title: &str) -> Option<Unit> {
    let title = title.to_lowercase().replace(' ', "");
    match (title.contains("mg/dl"), title.contains("mmol/l")) {
        (true, false) => Some(Unit::MgDl),
        (false, true) => Some(Unit::MmolL),
        _ => None,
    }
}
