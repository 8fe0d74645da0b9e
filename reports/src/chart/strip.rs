//! Cells by clock hour: a row for each group, evening on the left, morning on the right.

use whereworn_model::header::Chart as Wish;

use super::axis::{covering, tick_texts};
use super::canvas::{Canvas, Drawn, Lettering, PLAIN, QUIET, SMALL, Stroke, TEXT, paint};
use super::legend::Legend;
use super::lettering::{shorten, width as text_width, wrap};
use super::shared::{Chart, listing, with_rest};
use crate::catalogue::fill;
use crate::context::Context;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{ACCENT, GHOST, INK, RULE, group};
use crate::view::{Group, View};

/// Most rows drawn.
const MOST_ROWS: usize = 40;

/// The strongest shade; text on it keeps a contrast of 4.5 to 1.
const DARKEST: f64 = 0.45;

const CELL: f64 = 30.0;

/// Sensor-nights below which a single artefact moves the rate by two or more.
const FEW_NIGHTS: f64 = 50.0;

/// How far the field of a cell that rests on few nights stays below its top and above its foot, as a share of its height.
const INSET: f64 = 0.22;

/// What is known of an hour.
#[derive(Clone, PartialEq)]
enum Cell {
    Unknown,
    Known(Known),
}

/// A value, what is written into the cell, and whether it rests on few nights.
#[derive(Clone, PartialEq)]
struct Known {
    value: f64,
    words: String,
    few: bool,
}

struct Row {
    label: String,
    mark: usize,
    /// A cell for each hour drawn.
    cells: Vec<Cell>,
}

/// What the legend explains.
enum Sign {
    Unknown,
    Few,
    Shade(f64),
}

/// Shaded cells in rows.
pub(crate) struct Strip {
    rows: Vec<Row>,
    /// Clock hours drawn, evening first.
    hours: Vec<usize>,
    /// Values at which the next shade begins.
    steps: Vec<f64>,
    title: String,
    hours_label: String,
    legend: Vec<(Sign, String)>,
    finding: String,
    caption: String,
}

impl Strip {
    /// The chart of a table; `None` where no row has an hour and a value.
    pub fn of(view: &View, wish: &Wish) -> Option<Self> {
        let text = &view.context.text.chart.strip;
        let value = wish.value.as_deref()?;
        let groups = view.groups(Some(&wish.y));
        let days: Vec<(&Group, Vec<Cell>)> = groups
            .iter()
            .map(|group| (group, day(view, wish, value, group)))
            .collect();
        let hours = hours(days.iter().map(|(_, day)| day.as_slice()));
        hours.first()?;
        let items: Vec<String> = days
            .iter()
            .map(|(group, day)| item(view, value, &group.label, day))
            .collect();
        let row = |(place, (group, day)): (usize, &(&Group, Vec<Cell>))| Row {
            label: group.label.clone(),
            mark: view.mark(Some(&wish.y), &group.key, place),
            cells: hours.iter().map(|&hour| day[hour].clone()).collect(),
        };
        let rows: Vec<Row> = days.iter().enumerate().map(row).take(MOST_ROWS).collect();
        let values = rows
            .iter()
            .flat_map(|row| &row.cells)
            .filter_map(|cell| match cell {
                Cell::Known(known) => Some(known.value),
                Cell::Unknown => None,
            });
        let most = values.fold(0.0, f64::max);
        let steps = steps(most);
        let title = view.heading(value);
        let zone = view.context.zone_name();
        let finding = [("measure", &*title), ("list", &*listing(&items))];
        let mut caption = text.caption.clone();
        if hours.iter().skip(1).any(|hour| *hour == 0) {
            caption = format!("{caption} {}", text.caption_midnight);
        }
        Some(Self {
            hours_label: match view.table.own_query {
                true => text.own_hours.clone(),
                false => fill(&text.hours, &[("zone", zone)]),
            },
            legend: legend(view.context, &rows, &steps, most),
            finding: fill(&text.finding, &finding),
            caption: with_rest(view, &caption, days.len() - rows.len()),
            rows,
            hours,
            steps,
            title,
        })
    }

    fn shade(&self, value: f64) -> f64 {
        let above = self.steps.iter().filter(|step| value > **step).count();
        if value > 0.0 {
            level(above, self.steps.len() + 1)
        } else {
            0.0
        }
    }

    fn cell(&self, canvas: &Canvas, cell: &Cell, (x, y): (f64, f64), width: f64) -> Drawn {
        let (from, to) = ((x, y), (x + width, y + CELL));
        match cell {
            Cell::Unknown => hatched(canvas, from, to)?,
            Cell::Known(known) => {
                let shade = self.shade(known.value);
                let (from, to) = match known.few {
                    true => inner(from, to),
                    false => (from, to),
                };
                if known.few {
                    outline(canvas, from, to)?;
                }
                if shade > 0.0 {
                    canvas.rectangle(from, to, ACCENT, shade)?;
                    let middle = (x + width / 2.0, y + CELL / 2.0);
                    let bold = Lettering {
                        bold: true,
                        ..PLAIN
                    };
                    // What does not fit would lie over the numbers beside it: its shade tells.
                    if text_width(&known.words, bold.size) < width {
                        canvas.text(middle, &known.words, bold.middle())?;
                    }
                }
            }
        }
        outline(canvas, from, to)
    }

    fn block(
        &self,
        canvas: &Canvas,
        hours: std::ops::Range<usize>,
        layout: &Layout,
        top: f64,
    ) -> Drawn {
        let left = layout.left;
        let x = |index: usize| left + (index - hours.start) as f64 * layout.cell;
        for index in hours.clone() {
            let text = format!("{:02}", self.hours[index]);
            canvas.text(
                (x(index) + layout.cell / 2.0, top + 8.0),
                &text,
                QUIET.middle(),
            )?;
        }
        for (place, row) in self.rows.iter().enumerate() {
            let y = top + 18.0 + place as f64 * layout.row + layout.label_above;
            let label_at = if layout.label_above > 0.0 {
                y - layout.label_above / 2.0
            } else {
                y + CELL / 2.0
            };
            canvas.mark((14.0, label_at), row.mark, 4.5, group(row.mark))?;
            let lines = wrap(&row.label, TEXT, layout.label, layout.label_lines);
            for (n, line) in lines.iter().enumerate() {
                let shift = (n as f64 - (lines.len() - 1) as f64 / 2.0) * 13.0;
                canvas.text((25.0, label_at + shift), line, PLAIN)?;
            }
            for index in hours.clone() {
                self.cell(canvas, &row.cells[index], (x(index), y), layout.cell)?;
                if self.hours[index] == 0 && index > hours.start {
                    let ends = [(x(index), y - 3.0), (x(index), y + CELL + 3.0)];
                    canvas.line(&ends, Stroke::new(INK, 2.0))?;
                }
            }
        }
        Ok(())
    }

    fn layout(&self, width: f64) -> Layout {
        let narrow = width < 500.0;
        let left = if narrow { 8.0 } else { 182.0 };
        let room = width - left - 8.0;
        let most = ((room / 26.0) as usize).max(1);
        let blocks = self.hours.len().div_ceil(most);
        let per_block = self.hours.len().div_ceil(blocks);
        let label_above = if narrow { 20.0 } else { 0.0 };
        let between = if narrow { 8.0 } else { 5.0 };
        Layout {
            left,
            cell: (room / per_block as f64).min(60.0),
            per_block,
            label: if narrow { width - 35.0 } else { left - 37.0 },
            label_lines: if narrow { 1 } else { 2 },
            label_above,
            row: label_above + CELL + between,
        }
    }
}

/// Measures of a drawing, CSS pixels.
struct Layout {
    left: f64,
    cell: f64,
    per_block: usize,
    label: f64,
    label_lines: usize,
    label_above: f64,
    row: f64,
}

/// Opacity of the n-th of some shades.
fn level(index: usize, count: usize) -> f64 {
    let share = (index + 1) as f64 / count.max(1) as f64;
    DARKEST * share.clamp(0.0, 1.0)
}

/// Round values that split what lies up to the most into a few shades.
fn steps(most: f64) -> Vec<f64> {
    if most <= 0.0 {
        return Vec::new();
    }
    let ticks = covering([0.0, most].into_iter()).ticks(4);
    let inner = ticks.into_iter().filter(|tick| *tick > 0.0 && *tick < most);
    inner.collect()
}

/// The cells of a group by clock hour.
fn day(view: &View, wish: &Wish, value: &str, group: &Group) -> Vec<Cell> {
    let mut day = vec![Cell::Unknown; 24];
    for &row in &group.rows {
        let hour = view.table.number(row, &wish.x).filter(|h| h.fract() == 0.0);
        let cell = hour.and_then(|hour| day.get_mut(hour as usize));
        if let (Some(cell), Some(known)) = (cell, view.value(row, value)) {
            let nights = view.table.number(row, "nights");
            *cell = Cell::Known(Known {
                value: known,
                words: words(view, value, known),
                few: nights.is_some_and(|nights| nights < FEW_NIGHTS),
            });
        }
    }
    day
}

/// A value with the decimals of its header, else with few enough to stand in a cell.
fn words(view: &View, column: &str, value: f64) -> String {
    let digits = view.table.column(column).and_then(|c| c.header.digits);
    match digits {
        Some(_) => view.write(column, value),
        None => {
            let fraction = value.abs() < 10.0 && value.fract() != 0.0;
            view.context.number(value, usize::from(fraction))
        }
    }
}

/// From the first hour with a value, counted from noon, to the last.
fn hours<'d>(days: impl Iterator<Item = &'d [Cell]>) -> Vec<usize> {
    let from_noon: Vec<usize> = (12..24).chain(0..12).collect();
    let days: Vec<&[Cell]> = days.collect();
    let known = |hour: usize| days.iter().any(|day| day[hour] != Cell::Unknown);
    let first = from_noon.iter().position(|&hour| known(hour));
    let last = from_noon.iter().rposition(|&hour| known(hour));
    match (first, last) {
        (Some(first), Some(last)) => from_noon[first..=last].to_vec(),
        _ => Vec::new(),
    }
}

/// The hour with the highest value.
fn item(view: &View, value: &str, label: &str, day: &[Cell]) -> String {
    let text = &view.context.text.chart.strip;
    let mut top: Option<(usize, f64)> = None;
    for (hour, cell) in day.iter().enumerate() {
        if let Cell::Known(known) = cell
            && known.value > top.map_or(0.0, |(_, most)| most)
        {
            top = Some((hour, known.value));
        }
    }
    match top {
        Some((hour, most)) => fill(
            &text.item,
            &[
                ("label", label),
                ("from", &format!("{hour:02}:00")),
                ("to", &format!("{:02}:00", (hour + 1) % 24)),
                ("value", &view.write(value, most)),
            ],
        ),
        None => fill(&text.item_none, &[("label", label)]),
    }
}

fn legend(context: &Context, rows: &[Row], steps: &[f64], most: f64) -> Vec<(Sign, String)> {
    let text = &context.text.chart.strip;
    let mut out = Vec::new();
    let count = steps.len() + 1;
    let cells = || rows.iter().flat_map(|row| &row.cells);
    if cells().any(|cell| *cell == Cell::Unknown) {
        out.push((Sign::Unknown, text.unknown.clone()));
    }
    if cells().any(|cell| matches!(cell, Cell::Known(known) if known.few)) {
        let nights = context.number(FEW_NIGHTS, 0);
        out.push((Sign::Few, fill(&text.few, &[("nights", &nights)])));
    }
    if cells().any(|cell| matches!(cell, Cell::Known(known) if known.value <= 0.0)) {
        out.push((Sign::Shade(0.0), text.none.clone()));
    }
    if most <= 0.0 {
        return out;
    }
    let with_zero: Vec<f64> = std::iter::once(0.0).chain(steps.iter().copied()).collect();
    let ends = tick_texts(&with_zero);
    let ends: Vec<String> = ends.iter().map(|end| context.local(end)).collect();
    for index in 0..count {
        let from = ("from", &*ends[index]);
        let words = match ends.get(index + 1) {
            Some(to) => fill(&text.to, &[from, ("to", to)]),
            None => fill(&text.above, &[from]),
        };
        out.push((Sign::Shade(level(index, count)), words));
    }
    out
}

fn outline(canvas: &Canvas, from: (f64, f64), to: (f64, f64)) -> Drawn {
    let corners = [from, (to.0, from.1), to, (from.0, to.1), from];
    canvas.line(&corners, Stroke::new(GHOST, 1.0))
}

/// The field of a cell that rests on few nights.
fn inner(from: (f64, f64), to: (f64, f64)) -> ((f64, f64), (f64, f64)) {
    let inset = (to.1 - from.1) * INSET;
    ((from.0, from.1 + inset), (to.0, to.1 - inset))
}

/// Slanting lines: nothing is known.
fn hatched(canvas: &Canvas, from: (f64, f64), to: (f64, f64)) -> Drawn {
    let (width, height) = (to.0 - from.0, to.1 - from.1);
    let mut shift = 6.0 - height;
    while shift < width {
        let start = (from.0 + shift.max(0.0), to.1 + shift.min(0.0));
        let over = (shift + height - width).max(0.0);
        let end = (to.0.min(from.0 + shift + height), from.1 + over);
        canvas.line(&[start, end], Stroke::new(RULE, 1.0))?;
        shift += 6.0;
    }
    Ok(())
}

impl Chart for Strip {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let layout = self.layout(width);
        let legend = Legend::new(&self.legend, width);
        let blocks = self.hours.len().div_ceil(layout.per_block);
        let block = 18.0 + self.rows.len() as f64 * layout.row + 8.0;
        let height = 42.0 + blocks as f64 * block + legend.height() + 8.0;
        paint(decimal, width, height, |canvas| {
            let lines = [&self.title, &self.hours_label];
            for (line, words) in lines.into_iter().enumerate() {
                let words = shorten(words, SMALL, width - 16.0);
                canvas.text((8.0, 13.0 + line as f64 * 15.0), &words, QUIET)?;
            }
            for index in 0..blocks {
                let start = index * layout.per_block;
                let hours = start..self.hours.len().min(start + layout.per_block);
                self.block(canvas, hours, &layout, 40.0 + index as f64 * block)?;
            }
            let foot = 42.0 + blocks as f64 * block;
            legend.draw(canvas, foot, |what, (x, y)| {
                let (from, to) = ((x - 8.0, y - 6.0), (x + 8.0, y + 6.0));
                match what {
                    Sign::Unknown => hatched(canvas, from, to)?,
                    Sign::Few => {
                        let (from, to) = inner(from, to);
                        outline(canvas, from, to)?;
                    }
                    Sign::Shade(shade) => canvas.rectangle(from, to, ACCENT, *shade)?,
                }
                outline(canvas, from, to)
            })
        })
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}
