//! Spans along an axis: a calendar of who wore what, where and how long, the end of each marked by its cause.
//!
//! Time is cut into quarters of a year, one under another, so that many sensors stay legible on a narrow screen.

use whereworn_model::header::Chart as Wish;

use super::axis::{Scale, across};
use super::canvas::{Canvas, Drawn, Lettering, PLAIN, QUIET, SMALL, STRONG, Stroke, TEXT, paint};
use super::legend::Legend;
use super::lettering::{shorten, width as text_width};
use super::shared::{Chart, listing, with_rest};
use super::span::{ENDS, End, Span, collect, rows, stack};
use super::time_axis;
use crate::catalogue::fill;
use crate::chart_words::SpansText;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{GHOST, INK, MUTED, RULE, group};
use crate::view::View;

const LANE: f64 = 22.0;

/// Room above the lanes of a quarter, for the names of its months.
const HEAD: f64 = 18.0;

const TITLE: f64 = 26.0;

/// Room that a span takes in its lane at least, as a share of the axis: signs of short ones lie beside them.
const LEAST: f64 = 0.04;

/// Most lanes drawn.
const MOST_LANES: usize = 120;

/// What the legend explains.
enum Sign {
    End(End),
    Mark(usize),
}

/// A stretch of the axis with the spans in it, in lanes in which none overlap.
struct Block {
    x: Scale,
    lanes: Vec<Vec<Span>>,
}

struct Part {
    title: String,
    blocks: Vec<Block>,
}

/// Spans in rows.
pub(crate) struct Spans<'a> {
    view: &'a View<'a>,
    parts: Vec<Part>,
    of_time: bool,
    /// Whether the table says how each span ended.
    has_ends: bool,
    x_label: String,
    legend: Vec<(Sign, String)>,
    finding: String,
    caption: String,
}

impl<'a> Spans<'a> {
    /// The chart of a table: a heading for each value of `series`, under it a span from `lower` to `upper` for each row,
    /// named and marked by its value of `y`: on a row for each of these, or, where the table says how spans ended, close
    /// together. A span without an upper end goes on for the row's `days` or up to the
    /// cut-off. `None` where no row has a beginning.
    pub fn of(view: &'a View<'a>, wish: &Wish) -> Option<Self> {
        let lower = wish.lower.as_deref()?;
        let text = &view.context.text.chart;
        let cells = &view.table.column(lower)?.cells;
        let of_time = cells.iter().any(|cell| cell.as_time().is_some());
        let upper = wish.upper.as_deref()?;
        let has_ends = view.table.column("cause").is_some();
        let (mut parts, mut items, mut legend) = (Vec::new(), Vec::new(), Vec::new());
        let mut ends = [0usize; ENDS.len()];
        let (mut count, mut lanes, mut left_out) = (0, 0, 0);
        for part in view.groups(view.series(wish.series.as_deref(), &wish.y)) {
            let spans = collect(view, &part, &wish.y, (lower, upper));
            if spans.is_empty() {
                continue;
            }
            count += spans.len();
            let number = spans.len().to_string();
            let item = [("label", &*part.label), ("count", &*number)];
            items.push(fill(&text.spans.item, &item).trim().to_owned());
            for span in &spans {
                ends[span.end as usize] += 1;
                if !legend.iter().any(|(mark, _)| *mark == span.mark) {
                    legend.push((span.mark, span.label.clone()));
                }
            }
            let all = spans.len();
            let blocks = blocks(view, spans, (of_time, !has_ends), MOST_LANES - lanes);
            lanes += blocks.iter().map(|block| block.lanes.len()).sum::<usize>();
            let begun = blocks.iter().flat_map(|block| &block.lanes).flatten();
            left_out += all - begun.filter(|span| !span.goes_on_from).count();
            parts.push(Part {
                title: part.label,
                blocks,
            });
        }
        parts.first()?;
        legend.sort_by_key(|(mark, _)| *mark);
        let finding = [("count", &*count.to_string()), ("list", &*listing(&items))];
        let finding = fill(&text.spans.finding, &finding);
        let legend = signs(&text.spans, legend, has_ends);
        let bars = match has_ends {
            true => &text.spans.caption,
            false => &text.spans.caption_rows,
        };
        let caption = match of_time {
            true => format!("{bars} {}", text.spans.caption_month),
            false => bars.clone(),
        };
        Some(Self {
            finding: match has_ends {
                true => with_ends(&text.spans, &finding, &legend, ends),
                false => finding,
            },
            x_label: if of_time {
                String::new()
            } else {
                view.heading(lower)
            },
            caption: with_rest(view, &caption, left_out),
            has_ends,
            legend,
            parts,
            view,
            of_time,
        })
    }

    fn block(&self, canvas: &Canvas, block: &Block, x: &Scale, top: f64) -> Drawn {
        let lanes = top + HEAD;
        let bottom = lanes + block.lanes.len() as f64 * LANE + 2.0;
        if self.of_time {
            self.month(canvas, x, lanes, bottom)?;
            for (index, tick) in time_axis::months(self.view.context, x).iter().enumerate() {
                let (at, text) = (x.map(tick.at), &tick.text);
                canvas.line(&[(at, lanes), (at, bottom)], Stroke::new(RULE, 1.0))?;
                let style = if index == 0 { PLAIN } else { QUIET };
                canvas.text((at, top + 9.0), text, style)?;
            }
        } else {
            across(canvas, x, bottom, Some(lanes))?;
        }
        let edge = if self.of_time { lanes } else { bottom };
        canvas.line(&[(x.from, edge), (x.to, edge)], Stroke::new(GHOST, 1.0))?;
        for (lane, spans) in block.lanes.iter().enumerate() {
            let middle = lanes + (lane as f64 + 0.5) * LANE + 1.0;
            for span in spans {
                self.span(canvas, span, x, middle)?;
            }
        }
        Ok(())
    }

    fn month(&self, canvas: &Canvas, x: &Scale, top: f64, bottom: f64) -> Drawn {
        let context = self.view.context;
        let month = context.input.month;
        match (month.start(&context.zone), month.end(&context.zone)) {
            (Some(start), Some(end)) if (end as f64) > x.low && (start as f64) < x.high => {
                let (from, to) = (x.map(start as f64), x.map(end as f64));
                canvas.rectangle((from, top), (to, bottom), MUTED, 0.10)
            }
            _ => Ok(()),
        }
    }

    /// A tinted bar on a line of its colour, its mark at the beginning, its name where there is room, its end.
    fn span(&self, canvas: &Canvas, span: &Span, x: &Scale, y: f64) -> Drawn {
        let (from, to) = (x.map(span.from), x.map(span.to).max(x.map(span.from) + 1.0));
        let colour = group(span.mark);
        let signed = self.has_ends && !span.goes_on_to;
        let ended = if signed { 10.0 } else { 0.0 };
        canvas.rectangle((from, y - 8.0), (to, y + 8.0), colour, 0.16)?;
        canvas.rectangle((from, y + 6.0), (to, y + 8.0), colour, 1.0)?;
        let mut left = from + 4.0;
        if to - from > 20.0 {
            canvas.mark((from + 7.0, y - 1.0), span.mark, 4.0, colour)?;
            left = from + 15.0;
        }
        let room = to - left - ended - 2.0;
        if let Some(name) = span
            .names
            .iter()
            .find(|name| text_width(name, SMALL) <= room)
        {
            let small = Lettering {
                size: SMALL,
                ..PLAIN
            };
            canvas.text((left, y - 1.0), name, small)?;
        }
        if !signed {
            Ok(())
        } else {
            let inset = if span.end == End::Planned { 1.0 } else { 5.0 };
            let at = if to - from > 12.0 {
                to - inset
            } else {
                to + inset
            };
            sign(canvas, span.end, (at, y))
        }
    }
}

/// Spans in quarters of a year, latest ones first to find room; a scale without time is one block. In rows, or close together.
fn blocks(
    view: &View,
    spans: Vec<Span>,
    (of_time, in_rows): (bool, bool),
    room: usize,
) -> Vec<Block> {
    let low = spans
        .iter()
        .map(|span| span.from)
        .fold(f64::INFINITY, f64::min);
    let high = spans.iter().map(|span| span.to).fold(low, f64::max);
    let quarters = if of_time {
        time_axis::quarters(view.context, low, high)
    } else {
        Vec::new()
    };
    let quarters = if quarters.is_empty() {
        vec![(low, if high > low { high } else { low + 1.0 })]
    } else {
        quarters
    };
    let mut room = room;
    let mut out = Vec::new();
    for (from, to) in quarters.into_iter().rev() {
        let within = spans
            .iter()
            .filter_map(|span| span.within(from, to, of_time));
        let lanes = match in_rows {
            true => rows(within.collect()),
            false => stack(within.collect(), (to - from) * LEAST),
        };
        if lanes.is_empty() || lanes.len() > room {
            continue;
        }
        room -= lanes.len();
        let x = Scale {
            low: from,
            high: to,
            from: 0.0,
            to: 1.0,
            whole: false,
        };
        out.push(Block { x, lanes });
    }
    out.reverse();
    out
}

/// A finding with how many spans ended in each way.
fn with_ends(
    text: &SpansText,
    finding: &str,
    legend: &[(Sign, String)],
    ends: [usize; ENDS.len()],
) -> String {
    let items: Vec<String> = legend
        .iter()
        .filter_map(|(sign, words)| match sign {
            Sign::End(end) if ends[*end as usize] > 0 => {
                let count = ends[*end as usize].to_string();
                Some(fill(&text.item, &[("label", words), ("count", &count)]))
            }
            _ => None,
        })
        .collect();
    fill(
        &text.ended,
        &[("finding", finding), ("list", &items.join("; "))],
    )
}

fn signs(text: &SpansText, marks: Vec<(usize, String)>, has_ends: bool) -> Vec<(Sign, String)> {
    let ends = ENDS.into_iter().filter(|_| has_ends).map(|end| {
        let words = match end {
            End::Planned => &text.legend_bar,
            End::CameOff => &text.legend_cross,
            End::Fault => &text.legend_ring,
            End::Skin => &text.legend_zigzag,
            End::Open => &text.legend_arrow,
        };
        (Sign::End(end), words.clone())
    });
    let marks = marks
        .into_iter()
        .map(|(mark, label)| (Sign::Mark(mark), label));
    ends.chain(marks).collect()
}

/// The sign of an end, none of which is the mark of a site.
fn sign(canvas: &Canvas, end: End, (x, y): (f64, f64)) -> Drawn {
    let line = |points: &[(f64, f64)], width: f64| {
        let points: Vec<(f64, f64)> = points.iter().map(|(dx, dy)| (x + dx, y + dy)).collect();
        canvas.line(&points, Stroke::new(INK, width))
    };
    match end {
        End::Planned => line(&[(0.0, -8.0), (0.0, 8.0)], 2.0),
        End::CameOff => {
            line(&[(-4.0, -4.0), (4.0, 4.0)], 2.0)?;
            line(&[(-4.0, 4.0), (4.0, -4.0)], 2.0)
        }
        End::Fault => {
            let turn = |n: i32| f64::from(n) * std::f64::consts::TAU / 16.0;
            let ring = (0..=16).map(|n| (4.5 * turn(n).cos(), 4.5 * turn(n).sin()));
            line(&ring.collect::<Vec<_>>(), 1.5)?;
            line(&[(-3.0, 3.0), (3.0, -3.0)], 1.5)
        }
        End::Skin => line(&[(2.0, -6.5), (-3.0, 1.0), (3.0, -1.0), (-2.0, 6.5)], 1.75),
        End::Open => line(&[(-5.0, -5.0), (1.0, 0.0), (-5.0, 5.0)], 1.75),
    }
}

impl Chart for Spans<'_> {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let legend = Legend::new(&self.legend, width);
        let foot = if self.of_time { 0.0 } else { 24.0 };
        let block = |block: &Block| HEAD + block.lanes.len() as f64 * LANE + 8.0 + foot;
        let part = |part: &Part| {
            let title = if part.title.is_empty() { 0.0 } else { TITLE };
            title + part.blocks.iter().map(block).sum::<f64>()
        };
        let bottom = 8.0 + self.parts.iter().map(part).sum::<f64>();
        paint(
            decimal,
            width,
            bottom + foot + legend.height() + 16.0,
            |canvas| {
                let mut y = 8.0;
                for part in self.parts.iter() {
                    if !part.title.is_empty() {
                        let title = shorten(&part.title, TEXT, width - 16.0);
                        canvas.text((8.0, y + 13.0), &title, STRONG)?;
                        y += TITLE;
                    }
                    for next in &part.blocks {
                        let x = next.x.at(10.0, width - 12.0);
                        self.block(canvas, next, &x, y)?;
                        y += block(next);
                    }
                }
                if !self.of_time {
                    let label = shorten(&self.x_label, SMALL, width - 20.0);
                    canvas.text((width - 10.0, bottom + 6.0), &label, QUIET.end())?;
                }
                legend.draw(canvas, bottom + foot + 6.0, |what, at| match what {
                    Sign::End(end) => sign(canvas, *end, at),
                    Sign::Mark(mark) => canvas.mark(at, *mark, 4.5, group(*mark)),
                })
            },
        )
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}
