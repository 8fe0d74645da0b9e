//! One glucose trace: its runs of readings, its marked stretches, the measurements beside it, and its words.

use whereworn_model::format::NO_VALUE;
use whereworn_model::header::Chart as Wish;

use crate::document::Kind;
use crate::view::{Group, View};

/// Most points drawn of a trace.
const MOST_POINTS: usize = 160;

/// A trace is broken where readings are this many times further apart than usual.
const GAP_FACTOR: f64 = 2.5;

pub(crate) type Run = Vec<(f64, f64)>;

/// One trace: instants in microseconds, glucose in the unit shown.
pub(crate) struct Picture {
    pub words: String,
    pub start: f64,
    pub runs: Vec<Run>,
    pub marked: Vec<Run>,
    pub points: Run,
}

impl Picture {
    /// Every reading and measurement.
    pub fn all(&self) -> impl Iterator<Item = (f64, f64)> {
        self.runs.iter().flatten().chain(&self.points).copied()
    }
}

/// The picture of a group of rows; `None` where it has no reading.
pub(crate) fn picture(view: &View, wish: &Wish, group: &Group) -> Option<Picture> {
    let at = |row: usize| view.table.cell(row, &wish.x).as_time().map(|at| at as f64);
    let mut rows: Vec<(f64, usize)> = group
        .rows
        .iter()
        .filter_map(|&row| Some((at(row)?, row)))
        .collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let values = |name: &str| -> Run {
        let value = |&(at, row): &(f64, usize)| Some((at, view.value_like(row, name, &wish.y)?));
        rows.iter().filter_map(value).collect()
    };
    let readings = values(&wish.y);
    readings.first()?;
    Some(Picture {
        words: words(view, wish, group),
        start: rows[0].0,
        runs: broken(&readings).into_iter().map(thin).collect(),
        marked: marked(view, wish, &rows),
        points: wish.points.as_deref().map(values).unwrap_or_default(),
    })
}

/// The stretches of readings that are marked.
fn marked(view: &View, wish: &Wish, rows: &[(f64, usize)]) -> Vec<Run> {
    let Some(column) = wish.marked.as_deref() else {
        return Vec::new();
    };
    let is_marked = |row: usize| view.table.number(row, column).is_some_and(|v| v > 0.0);
    let reading = |&(at, row): &(f64, usize)| Some((at, view.value(row, &wish.y)?, is_marked(row)));
    let readings: Vec<(f64, f64, bool)> = rows.iter().filter_map(reading).collect();
    readings
        .chunk_by(|a, b| a.2 == b.2)
        .filter(|run| run[0].2)
        .map(|run| thin(run.iter().map(|&(at, value, _)| (at, value)).collect()))
        .collect()
}

/// What is the same in all rows of a picture, in words.
fn words(view: &View, wish: &Wish, group: &Group) -> String {
    let named = wish.panel.as_ref().filter(|_| view.table.own_query);
    let drawn: Vec<&String> = wish.columns().filter(|name| Some(*name) != named).collect();
    let first = group.rows[0];
    let same = |name: &str| {
        let cell = view.table.cell(first, name);
        group
            .rows
            .iter()
            .all(|&row| view.table.cell(row, name) == cell)
    };
    let one_wearer = view.context.wearers().len() < 2;
    let parts = view.table.columns.iter().filter(|column| {
        let name = &column.name;
        let known = name == "site" || (name == "wearer" && one_wearer);
        let number = view.kind(column) == Kind::Number && Some(name) != named;
        !(known || column.header.hidden || drawn.contains(&name) || number) && same(name)
    });
    let texts: Vec<String> = parts
        .map(|column| view.text(first, &column.name))
        .filter(|text| text != NO_VALUE)
        .collect();
    texts.join(", ")
}

/// Readings without the gaps between them.
pub(crate) fn broken(readings: &Run) -> Vec<Run> {
    let mut steps: Vec<f64> = readings.windows(2).map(|w| w[1].0 - w[0].0).collect();
    steps.sort_by(f64::total_cmp);
    let usual = steps.get(steps.len() / 2).copied().unwrap_or(0.0);
    readings
        .chunk_by(|a, b| b.0 - a.0 <= usual * GAP_FACTOR)
        .map(<[(f64, f64)]>::to_vec)
        .collect()
}

/// A long trace with the lowest and the highest of every few readings, so that no peak is lost.
pub(crate) fn thin(run: Run) -> Run {
    if run.len() <= MOST_POINTS {
        return run;
    }
    let few = (run.len() * 2).div_ceil(MOST_POINTS);
    let mut out = Run::new();
    for part in run.chunks(few) {
        let by_value = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
        let ends = [part.iter().min_by(by_value), part.iter().max_by(by_value)];
        let mut ends: Run = ends.into_iter().flatten().copied().collect();
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        ends.dedup();
        out.extend(ends);
    }
    out
}
