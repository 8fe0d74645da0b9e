//! A result table as a reader sees it: units of the report, names of sites, rows in order.

use whereworn_model::format;
use whereworn_model::header::{CellKind, Class, ColumnHeader};
use whereworn_model::settings::Measure;
use whereworn_model::table::{Cell, Column, ResultTable};
use whereworn_model::tables::site_comparison::column as comparison;
use whereworn_model::time::{Micros, start_of_day};
use whereworn_model::units::Unit;

use crate::catalogue::fill;
use crate::claims::LEAST_SENSORS;
use crate::context::Context;
use crate::document::Kind;
use crate::edition::Edition;
use crate::palette::NO_SITE;

/// Decimals of a number whose header names none.
const DEFAULT_DIGITS: usize = 2;

/// Columns that hold p values.
const P_VALUES: [&str; 3] = ["p", "p_value", "p_permutation"];

/// A table with what is needed to show it.
pub(crate) struct View<'a> {
    pub context: &'a Context<'a>,
    pub table: &'a ResultTable,
    /// Rows in the order shown.
    pub rows: Vec<usize>,
}

/// A column that is shown, with the ends of its interval.
pub(crate) struct Shown<'a> {
    pub column: &'a Column,
    pub bounds: Option<(&'a Column, &'a Column)>,
}

impl<'a> View<'a> {
    /// Rows keep their order, save that a table of sites lists them as every other part of the report. A query of the study's own
    /// has the order that it asks for.
    pub fn new(context: &'a Context<'a>, table: &'a ResultTable) -> Self {
        let mut rows: Vec<usize> = (0..table.rows()).collect();
        let of_sites = table.columns.first().is_some_and(|c| c.name == "site");
        if of_sites && !table.own_query {
            rows.sort_by_key(|&row| context.site_rank(table.text(row, "site")));
        }
        Self {
            context,
            table,
            rows,
        }
    }

    /// A result by its name, where it has rows.
    pub fn named(context: &'a Context<'a>, name: &str) -> Option<Self> {
        let tables = &context.input.tables;
        let table = tables.iter().find(|table| table.name == name)?;
        (table.rows() > 0).then(|| Self::new(context, table))
    }

    /// The columns shown, those of an interval joined to their estimate.
    pub fn shown(&self) -> Vec<Shown<'a>> {
        let visible = |c: &&Column| !c.header.hidden;
        let joined: Vec<(&Column, Option<(&Column, &Column)>)> = self
            .table
            .columns
            .iter()
            .filter(visible)
            .map(|column| (column, self.bounds(&column.name)))
            .collect();
        let is_bound = |name: &str| {
            joined
                .iter()
                .any(|(_, bounds)| bounds.is_some_and(|(l, u)| l.name == name || u.name == name))
        };
        joined
            .iter()
            .filter(|(column, _)| !is_bound(&column.name))
            .map(|&(column, bounds)| Shown { column, bounds })
            .collect()
    }

    /// The columns that hold the interval of a column: `NAME_lower` and `NAME_upper`, or those that the
    /// chart names for its value.
    pub fn bounds(&self, name: &str) -> Option<(&'a Column, &'a Column)> {
        let lower = self.table.column(&format!("{name}_lower"));
        let upper = self.table.column(&format!("{name}_upper"));
        if let (Some(lower), Some(upper)) = (lower, upper) {
            return Some((lower, upper));
        }
        let Some(chart) = self.table.header.chart.as_ref() else {
            return self.bare_bounds(name);
        };
        use whereworn_model::header::ChartKind::{Intervals, Spans};
        let value = match chart.kind {
            Spans => return None,
            Intervals => &chart.x,
            _ => &chart.y,
        };
        if value != name {
            return None;
        }
        Some((
            self.table.column(chart.lower.as_deref()?)?,
            self.table.column(chart.upper.as_deref()?)?,
        ))
    }

    /// Columns called `lower` and `upper` hold the interval of the first estimate of a table.
    fn bare_bounds(&self, name: &str) -> Option<(&'a Column, &'a Column)> {
        let estimate =
            |column: &&Column| matches!(column.header.class, Some(Class::Estimate | Class::Share));
        let first = self.table.columns.iter().find(estimate)?;
        let ends = self.table.column("lower").zip(self.table.column("upper"))?;
        (first.name == name).then_some(ends)
    }

    /// Heading of a column with its unit.
    pub fn heading(&self, name: &str) -> String {
        let Some(column) = self.table.column(name) else {
            return name.replace('_', " ");
        };
        match self.unit(&column.header) {
            Some(unit) => format!("{} ({unit})", column.label()),
            None => column.label(),
        }
    }

    /// The unit in which a column is shown.
    pub fn unit(&self, header: &ColumnHeader) -> Option<String> {
        let code = self.context.unit.code();
        match header.unit.as_deref()? {
            "mg/dL" => Some(code.to_owned()),
            "mg/dL/min" => Some(format!("{code}/min")),
            "share" => Some("%".to_owned()),
            other => Some(match self.context.text.units.get(other) {
                Some(word) => word.clone(),
                None => other.to_owned(),
            }),
        }
    }

    /// A number of a column in the unit shown.
    pub fn value(&self, row: usize, name: &str) -> Option<f64> {
        let column = self.table.column(name)?;
        self.scaled(row, column, &column.header)
    }

    /// Where a row stands along an axis: a number in the unit shown, or an instant in microseconds.
    pub fn along(&self, row: usize, name: &str) -> Option<f64> {
        match self.table.cell(row, name) {
            Cell::Time(at) => Some(*at as f64),
            Cell::Date(date) => Some(start_of_day(*date, &self.context.zone)? as f64),
            _ => self.value(row, name),
        }
    }

    /// Whether a column is drawn along an axis of dates.
    pub fn is_of_time(&self, name: &str) -> bool {
        let column = self.table.column(name);
        column.is_some_and(|column| matches!(column.kind, CellKind::Time | CellKind::Date))
    }

    /// A place along an axis in words.
    pub fn place_words(&self, name: &str, at: f64) -> String {
        match self.is_of_time(name) {
            true => self.context.instant(at as Micros),
            false => self.write(name, at),
        }
    }

    /// A number of a column in the unit in which another is shown.
    pub fn value_like(&self, row: usize, name: &str, like: &str) -> Option<f64> {
        let header = &self.table.column(like)?.header;
        self.scaled(row, self.table.column(name)?, header)
    }

    /// The interval of a column in the unit shown, where both ends exist; to the wearer none is shown of too few sensors.
    pub fn interval(&self, row: usize, name: &str) -> Option<(f64, f64)> {
        if self.context.input.edition == Edition::Wearer && self.sensors(row, name) < LEAST_SENSORS
        {
            return None;
        }
        let column = self.table.column(name)?;
        let (lower, upper) = self.bounds(name)?;
        Some((
            self.scaled(row, lower, &column.header)?,
            self.scaled(row, upper, &column.header)?,
        ))
    }

    /// The sensors that a figure rests on, where the table says so: all that were worn for how long they lasted, else those
    /// with something to count.
    fn sensors(&self, row: usize, name: &str) -> f64 {
        let of_wear = [comparison::CAME_OFF, comparison::USABLE_DAYS].contains(&name);
        let worn = of_wear.then(|| self.table.number(row, comparison::SESSIONS));
        let sensors = worn.unwrap_or_else(|| self.table.number(row, comparison::SENSORS));
        sensors.unwrap_or(f64::INFINITY)
    }

    fn scaled(&self, row: usize, column: &Column, header: &ColumnHeader) -> Option<f64> {
        let value = column.cells.get(row)?.as_number()?;
        let value = match header.unit.as_deref() {
            Some("mg/dL" | "mg/dL/min") => self.context.unit.from_mgdl(value),
            Some("share") => value * 100.0,
            None if self.is_glucose(row, header) => self.context.unit.from_mgdl(value),
            _ => value,
        };
        value.is_finite().then_some(value)
    }

    /// Whether a number without a unit of its own is in that of its row's measure, and that is glucose.
    fn is_glucose(&self, row: usize, header: &ColumnHeader) -> bool {
        let measured = matches!(
            header.class,
            Some(Class::Estimate | Class::Lower | Class::Upper)
        );
        let measure = self.table.text(row, "measure");
        measured && !self.table.own_query && measure == Measure::ReadsHighOrLow.name()
    }

    /// A number in the unit shown, written as the cells of a column are.
    pub fn write(&self, name: &str, value: f64) -> String {
        if P_VALUES.contains(&name) {
            return self.context.local(&format::p_value(value));
        }
        let digits = self
            .table
            .column(name)
            .map_or(DEFAULT_DIGITS, |c| self.digits(c));
        self.context.number(value, digits)
    }

    fn digits(&self, column: &Column) -> usize {
        let unit = column.header.unit.as_deref();
        let given = column.header.digits.map(usize::from);
        let whole = column
            .cells
            .iter()
            .all(|c| matches!(c, Cell::Integer(_) | Cell::Empty));
        match unit {
            Some("mg/dL" | "mg/dL/min") => {
                let extra =
                    format::glucose_digits(self.context.unit) - format::glucose_digits(Unit::MgDl);
                given.unwrap_or(usize::from(!whole)) + extra
            }
            Some("share") => given.unwrap_or(0),
            _ if whole => 0,
            _ => given.unwrap_or(DEFAULT_DIGITS),
        }
    }

    /// The name of a column, where the table has it and it is not the other one.
    pub fn series<'b>(&self, name: Option<&'b str>, other: &str) -> Option<&'b str> {
        name.filter(|name| *name != other && self.table.column(name).is_some())
    }

    /// Keys of sites with a slash between them, by their names.
    fn pair_of_sites(&self, keys: &str) -> String {
        let names = keys.split(" / ").map(|key| self.context.site_label(key));
        names.collect::<Vec<_>>().join(" – ")
    }

    /// A cell in words, without its interval.
    pub fn text(&self, row: usize, name: &str) -> String {
        if let Some(value) = self.value(row, name) {
            return self.write(name, value);
        }
        match self.table.cell(row, name) {
            Cell::Text(text) if text.is_empty() => format::NO_VALUE.to_owned(),
            Cell::Text(text) if self.holds_sites(name) => self.context.site_label(text),
            Cell::Text(_) if name == comparison::ON_LABEL && !self.context.label_is_told() => {
                format::NO_VALUE.to_owned()
            }
            Cell::Text(_) if name == "reasons" && !self.table.own_query => self.reasons(row),
            Cell::Text(text) if name == "sites" => self.pair_of_sites(text),
            Cell::Text(text) => match self.context.text.value(name, text) {
                Some(word) => word.to_owned(),
                None => self.context.name(text),
            },
            Cell::Integer(_) | Cell::Number(_) => format::NO_VALUE.to_owned(),
            Cell::Time(at) => self.context.instant(*at),
            Cell::Date(date) => self.context.date(*date),
            Cell::Empty => format::NO_VALUE.to_owned(),
        }
    }

    /// Whether a column holds keys of sites: by its class, in a query of the study's own without one by its name.
    fn holds_sites(&self, name: &str) -> bool {
        let class = self
            .table
            .column(name)
            .and_then(|column| column.header.class);
        class == Some(Class::Site) || (class.is_none() && name == "site")
    }

    /// What makes a run of readings a night artefact, from the columns of its row.
    fn reasons(&self, row: usize) -> String {
        let text = &self.context.text.reasons;
        let minutes = |name| match self.value(row, name) {
            Some(minutes) => self.context.number(minutes, 0),
            None => format::NO_VALUE.to_owned(),
        };
        let check = text.checks.get(self.table.text(row, "evidence"));
        let values = [
            ("drop", &*self.short(row, "drop")),
            ("fall", &*minutes("fall_minutes")),
            ("recovery", &*minutes("recovery_minutes")),
            ("check", check.map_or("", String::as_str)),
        ];
        let words = fill(&text.text, &values);
        match self.value(row, "sparse_minutes") {
            Some(apart) => {
                words + &fill(&text.sparse, &[("apart", &*self.context.number(apart, 0))])
            }
            None => words,
        }
    }

    /// An estimate with its interval, `12.3 (10.1 to 14.5)`; without brackets where it has none.
    pub fn estimate(&self, row: usize, name: &str) -> String {
        let text = self.text(row, name);
        match self.interval(row, name) {
            Some((lower, upper)) if self.value(row, name).is_some() => fill(
                &self.context.text.table.interval,
                &[
                    ("value", &text),
                    ("lower", &self.write(name, lower)),
                    ("upper", &self.write(name, upper)),
                ],
            ),
            _ => text,
        }
    }

    /// An estimate with its unit and without its interval.
    pub fn short(&self, row: usize, name: &str) -> String {
        match self.value(row, name) {
            Some(value) => self.quantity(name, value),
            None => format::NO_VALUE.to_owned(),
        }
    }

    /// A value of a column with its unit.
    pub fn quantity(&self, name: &str, value: f64) -> String {
        let column = self.table.column(name);
        let written = self.write(name, value);
        match column.and_then(|column| self.unit(&column.header)) {
            Some(unit) => fill(
                &self.context.text.table.value_unit,
                &[("value", &*written), ("unit", &*unit)],
            ),
            None => written,
        }
    }

    /// What the cells of a column are; one without any value is taken for numbers where it has a unit or decimals.
    pub fn kind(&self, column: &Column) -> Kind {
        let all = |test: fn(&Cell) -> bool| {
            column
                .cells
                .iter()
                .all(|cell| *cell == Cell::Empty || test(cell))
        };
        let empty = all(|_| false);
        if empty && column.header.unit.is_none() && column.header.digits.is_none() {
            Kind::Text
        } else if all(|cell| cell.as_number().is_some()) {
            Kind::Number
        } else if all(|cell| matches!(cell, Cell::Time(_) | Cell::Date(_))) {
            Kind::Time
        } else {
            Kind::Text
        }
    }

    /// Which mark and colour a group has: a site the same in every figure, anything else by its place and in no site's
    /// colour.
    pub fn mark(&self, column: Option<&str>, key: &str, place: usize) -> usize {
        match column {
            Some("site") => self.context.site_mark(key),
            _ => NO_SITE + place,
        }
    }

    /// Rows by the value of a column: its name for readers and its rows. Sites stand in their order, all
    /// else in the order in which it comes. Without a column, all rows are one group without a name.
    pub fn groups(&self, name: Option<&str>) -> Vec<Group> {
        self.groups_of(&self.rows, name)
    }

    /// The same for some of the rows.
    pub fn groups_of(&self, rows: &[usize], name: Option<&str>) -> Vec<Group> {
        let mut groups: Vec<Group> = Vec::new();
        for &row in rows {
            let key = name.map_or_else(String::new, |name| self.table.cell(row, name).to_text());
            match groups.iter_mut().find(|group| group.key == key) {
                Some(group) => group.rows.push(row),
                None => groups.push(Group {
                    label: name.map_or_else(String::new, |name| self.text(row, name)),
                    key,
                    rows: vec![row],
                }),
            }
        }
        if name == Some("site") {
            groups.sort_by_key(|group| self.context.site_rank(&group.key));
        }
        groups
    }
}

/// Rows that share a value.
pub(crate) struct Group {
    pub key: String,
    pub label: String,
    pub rows: Vec<usize>,
}
