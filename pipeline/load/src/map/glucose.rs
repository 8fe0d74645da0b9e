//! The column of the glucose and its unit, and whose it is.

use whereworn_model::units::Unit;

use super::columns::{Look, names_any, unit_in};
use super::guess::Guess;
use super::words;

impl Guess<'_> {
    /// A column that is called glucose, whatever it holds.
    pub(super) fn called_glucose(&self) -> Option<&Look> {
        self.free().find(|look| {
            look.filled > 0 && names_any(self.title(look.index), &["gluc", "gluk", "glyk"])
        })
    }

    pub(super) fn glucose(&mut self) {
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

    pub(super) fn sensor(&mut self) {
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
    pub(super) fn meter(&mut self) {
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
}
