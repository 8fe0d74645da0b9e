//! Spans along a time axis: who wore what when, the end of each marked by its cause.

use whereworn_model::header::Chart as Wish;
use whereworn_model::table::Cell;

use super::axis::{Scale, across};
use super::canvas::{Canvas, Drawn, PLAIN, QUIET, SMALL, STRONG, Stroke, TEXT, paint};
use super::lettering::{shorten, width as text_width};
use super::{Chart, Drawing, listing, time_axis, with_rest};
use crate::ReportError;
use crate::catalogue::fill;
use crate::palette::{INK, MUTED, RULE, group};
use crate::view::View;

const LANE: f64 = 17.0;

/// Most lanes drawn.
const MOST_LANES: usize = 90;

/// How a span ends.
#[derive(Clone, Copy, PartialEq)]
enum End {
    Planned,
    CameOff,
    Fault,
    Skin,
    Open,
}

const ENDS: [End; 5] = [End::CameOff, End::Fault, End::Skin, End::Planned, End::Open];

struct Span {
    from: f64,
    to: f64,
    end: End,
    colour: usize,
}

/// A name and its spans, in lanes in which none overlap.
struct Row {
    label: String,
    lanes: Vec<Vec<Span>>,
}

struct Part {
    title: String,
    rows: Vec<Row>,
}

/// Spans in rows.
pub(crate) struct Spans<'a> {
    view: &'a View<'a>,
    parts: Vec<Part>,
    x: Scale,
    of_time: bool,
    x_label: String,
    finding: String,
    caption: String,
}

impl<'a> Spans<'a> {
    /// The chart of a table: a heading for each value of `series`, a row for each value of `y`, a span from `lower` to
    /// `upper` for each row. A span without an upper end goes on for the row's `days` or up to the cut-off. `None` where no
    /// row has a beginning.
    pub fn of(view: &'a View<'a>, wish: &Wish) -> Option<Self> {
        let lower = wish.lower.as_deref()?;
        let text = &view.context.text.chart;
        let of_time = view
            .table
            .column(lower)?
            .cells
            .iter()
            .any(|cell| cell.as_time().is_some());
        let all = collect(view, wish, lower, wish.upper.as_deref()?);
        let spans = || {
            all.parts
                .iter()
                .flat_map(|p| &p.rows)
                .flat_map(|r| &r.lanes)
                .flatten()
        };
        spans().next()?;
        let low = spans().map(|span| span.from).fold(f64::INFINITY, f64::min);
        let high = spans().map(|span| span.to).fold(low, f64::max);
        let least = low + if of_time { 86_400e6 } else { 1.0 };
        let high = if high > low { high } else { least };
        let x = Scale {
            low,
            high,
            from: 0.0,
            to: 1.0,
        };
        let count = [
            ("count", &*all.count.to_string()),
            ("list", &*listing(&all.items)),
        ];
        Some(Self {
            finding: fill(&text.spans.finding, &count),
            x_label: if of_time {
                time_axis::label(view.context, &x)
            } else {
                view.heading(lower)
            },
            caption: with_rest(view, &text.spans.caption, all.undrawn),
            parts: all.parts,
            view,
            x,
            of_time,
        })
    }

    fn axis(&self, canvas: &Canvas, x: &Scale, top: f64, bottom: f64) -> Drawn {
        if self.of_time {
            self.month(canvas, x, top, bottom)?;
            for tick in time_axis::ticks(self.view.context, x) {
                canvas.line(
                    &[(tick.at, top), (tick.at, bottom)],
                    Stroke::new(RULE, 0.75),
                )?;
                canvas.text((tick.at, bottom + 11.0), &tick.text, QUIET.middle())?;
            }
        } else {
            across(canvas, x, bottom, Some(top))?;
        }
        canvas.line(&[(x.from, bottom), (x.to, bottom)], Stroke::new(INK, 1.0))
    }

    fn month(&self, canvas: &Canvas, x: &Scale, top: f64, bottom: f64) -> Drawn {
        let context = self.view.context;
        let month = context.input.month;
        match (month.start(&context.zone), month.end(&context.zone)) {
            (Some(start), Some(end)) if (end as f64) > x.low && (start as f64) < x.high => canvas
                .rectangle(
                    (x.map(start as f64), top),
                    (x.map(end as f64), bottom),
                    MUTED,
                    0.10,
                ),
            _ => Ok(()),
        }
    }

    fn lanes(&self) -> usize {
        self.parts
            .iter()
            .flat_map(|part| &part.rows)
            .map(|row| row.lanes.len())
            .sum()
    }

    /// Signs of the ends, in as many lines as the width asks for.
    fn legend(&self, width: f64) -> Vec<(f64, f64, End, &str)> {
        let text = &self.view.context.text.chart.spans;
        let (mut x, mut y) = (8.0, 0.0);
        let mut out = Vec::new();
        for end in ENDS {
            let words = match end {
                End::Planned => &text.legend_bar,
                End::CameOff => &text.legend_cross,
                End::Fault => &text.legend_diamond,
                End::Skin => &text.legend_triangle,
                End::Open => &text.legend_arrow,
            };
            let room = text_width(words, SMALL) + 34.0;
            if x + room > width && x > 8.0 {
                (x, y) = (8.0, y + 17.0);
            }
            out.push((x, y, end, words.as_str()));
            x += room;
        }
        out
    }
}

/// Spans in their rows, as many rows as have room.
#[derive(Default)]
struct Collected {
    parts: Vec<Part>,
    items: Vec<String>,
    count: usize,
    lanes: usize,
    undrawn: usize,
}

fn collect(view: &View, wish: &Wish, lower: &str, upper: &str) -> Collected {
    let mut all = Collected::default();
    for part in view.groups(view.series(wish.series.as_deref(), &wish.y)) {
        let mut rows = Vec::new();
        for group in view.groups_of(&part.rows, Some(&wish.y)) {
            let colour = view
                .context
                .site_mark(view.table.text(group.rows[0], "site"));
            let spans: Vec<Span> = group
                .rows
                .iter()
                .filter_map(|&row| span(view, row, lower, upper, colour))
                .collect();
            if spans.is_empty() {
                continue;
            }
            let name = format!("{} {}", part.label, group.label);
            let number = spans.len().to_string();
            let item = [("label", name.trim()), ("count", &*number)];
            all.items
                .push(fill(&view.context.text.chart.spans.item, &item));
            all.count += spans.len();
            let lanes = stack(spans);
            if all.lanes + lanes.len() > MOST_LANES {
                all.undrawn += 1;
            } else {
                all.lanes += lanes.len();
                rows.push(Row {
                    label: group.label,
                    lanes,
                });
            }
        }
        if !rows.is_empty() {
            all.parts.push(Part {
                title: part.label,
                rows,
            });
        }
    }
    all
}

fn span(view: &View, row: usize, lower: &str, upper: &str, colour: usize) -> Option<Span> {
    let at = |name: &str| match view.table.cell(row, name) {
        Cell::Time(at) => Some(*at as f64),
        other => other.as_number(),
    };
    let from = at(lower)?;
    let last = || {
        view.table
            .number(row, "days")
            .map(|days| from + days * 86_400e6)
    };
    let to = at(upper)
        .or_else(last)
        .unwrap_or(view.context.input.cutoff as f64);
    let end = match view.table.text(row, "cause") {
        "" if view.table.column("cause").is_some() => End::Open,
        "fell-off" | "knocked-off" | "lifted" => End::CameOff,
        "sensor-fault" | "not-started" => End::Fault,
        "reaction" => End::Skin,
        _ => End::Planned,
    };
    Some(Span {
        from,
        to: to.max(from),
        end,
        colour,
    })
}

/// Spreads spans over as few lanes as keep them apart.
fn stack(mut spans: Vec<Span>) -> Vec<Vec<Span>> {
    spans.sort_by(|a, b| a.from.total_cmp(&b.from).then(a.to.total_cmp(&b.to)));
    let mut lanes: Vec<Vec<Span>> = Vec::new();
    for span in spans {
        let free = lanes
            .iter_mut()
            .find(|lane| lane.last().is_none_or(|last| last.to <= span.from));
        match free {
            Some(lane) => lane.push(span),
            None => lanes.push(vec![span]),
        }
    }
    lanes
}

fn sign(canvas: &Canvas, end: End, (x, y): (f64, f64)) -> Drawn {
    match end {
        End::Planned => canvas.line(&[(x, y - 5.0), (x, y + 5.0)], Stroke::new(INK, 2.0)),
        End::CameOff => {
            canvas.line(
                &[(x - 4.0, y - 4.0), (x + 4.0, y + 4.0)],
                Stroke::new(INK, 2.0),
            )?;
            canvas.line(
                &[(x - 4.0, y + 4.0), (x + 4.0, y - 4.0)],
                Stroke::new(INK, 2.0),
            )
        }
        End::Fault => canvas.mark((x, y), 2, 4.0, INK),
        End::Skin => canvas.mark((x, y), 3, 4.5, INK),
        End::Open => canvas.line(
            &[(x - 4.0, y - 4.5), (x + 1.0, y), (x - 4.0, y + 4.5)],
            Stroke::new(INK, 1.5),
        ),
    }
}

fn draw_row(canvas: &Canvas, row: &Row, x: &Scale, y: f64, label_width: f64) -> Drawn {
    canvas.text(
        (8.0, y + LANE / 2.0),
        &shorten(&row.label, TEXT, label_width),
        PLAIN,
    )?;
    for (lane, spans) in row.lanes.iter().enumerate() {
        let middle = y + (lane as f64 + 0.5) * LANE;
        for span in spans {
            let (from, to) = (x.map(span.from), x.map(span.to).max(x.map(span.from) + 1.0));
            canvas.rectangle(
                (from, middle - 2.5),
                (to, middle + 2.5),
                group(span.colour),
                1.0,
            )?;
            sign(canvas, span.end, (to, middle))?;
        }
    }
    Ok(())
}

impl Chart for Spans<'_> {
    fn draw(&self, width: f64) -> Result<Drawing, ReportError> {
        let label_width = if width < 500.0 { 88.0 } else { 160.0 };
        let titled = self
            .parts
            .iter()
            .filter(|part| !part.title.is_empty())
            .count() as f64;
        let bottom = 10.0 + titled * 26.0 + self.lanes() as f64 * LANE + 6.0;
        let legend = self.legend(width);
        let height = bottom + 52.0 + legend.last().map_or(0.0, |entry| entry.1) + 14.0;
        let x = self.x.at(8.0 + label_width + 12.0, width - 22.0);
        paint(width, height, |canvas| {
            self.axis(canvas, &x, 8.0, bottom)?;
            let mut y = 10.0;
            for part in &self.parts {
                if !part.title.is_empty() {
                    canvas.text(
                        (8.0, y + 15.0),
                        &shorten(&part.title, TEXT, width - 16.0),
                        STRONG,
                    )?;
                    y += 26.0;
                }
                for row in &part.rows {
                    draw_row(canvas, row, &x, y, label_width)?;
                    y += row.lanes.len() as f64 * LANE;
                }
            }
            canvas.text(
                (width - 10.0, bottom + 27.0),
                &shorten(&self.x_label, SMALL, width - 20.0),
                QUIET.end(),
            )?;
            for (left, down, end, words) in &legend {
                let y = bottom + 50.0 + down;
                sign(canvas, *end, (left + 6.0, y))?;
                canvas.text((left + 17.0, y), words, QUIET)?;
            }
            Ok(())
        })
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}
