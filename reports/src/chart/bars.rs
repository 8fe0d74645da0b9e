//! Bars from zero, lying, with their numbers at the end.

use whereworn_model::header::Chart as Wish;

use super::axis::covering;
use super::canvas::{PLAIN, QUIET, SMALL, STRONG, Stroke, TEXT, paint};
use super::lettering::{shorten, width as text_width};
use super::shared::{Chart, listing, with_rest};
use crate::catalogue::fill;
use crate::chart_words::BarsText;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{INK, group};
use crate::view::{Group, View};

const ROW: f64 = 17.0;

/// Most bars drawn.
const MOST_BARS: usize = 80;

struct Bar {
    label: String,
    mark: usize,
    value: f64,
    text: String,
}

struct Part {
    title: String,
    bars: Vec<Bar>,
}

/// Bars in groups.
pub(crate) struct Bars {
    parts: Vec<Part>,
    label: String,
    finding: String,
    caption: String,
}

impl Bars {
    /// The chart of a table: a group for each value of `x`, a bar for each row of it. `None` where no row has a value.
    pub fn of(view: &View, wish: &Wish) -> Option<Self> {
        let text = &view.context.text.chart.bars;
        let series = view.series(wish.series.as_deref(), &wish.x);
        let (mut parts, mut items, mut left_out) = (Vec::new(), Vec::new(), 0);
        for category in view.groups(Some(&wish.x)) {
            let found = category
                .rows
                .iter()
                .filter_map(|&row| bar(view, wish, series, &category, row));
            let mut bars: Vec<Bar> = found.collect();
            items.extend(bars.iter().map(|bar| item(text, &category.label, bar)));
            let room = MOST_BARS.saturating_sub(items.len() - bars.len());
            left_out += bars.len().saturating_sub(room);
            bars.truncate(room);
            if !bars.is_empty() {
                parts.push(Part {
                    title: category.label,
                    bars,
                });
            }
        }
        parts.first()?;
        let label = view.heading(&wish.y);
        Some(Self {
            finding: fill(
                &text.finding,
                &[("measure", &label), ("list", &listing(&items))],
            ),
            caption: with_rest(view, &text.caption, left_out),
            parts,
            label,
        })
    }

    fn nested(&self) -> bool {
        self.parts
            .iter()
            .flat_map(|part| &part.bars)
            .any(|bar| !bar.label.is_empty())
    }
}

fn bar(
    view: &View,
    wish: &Wish,
    series: Option<&str>,
    category: &Group,
    row: usize,
) -> Option<Bar> {
    let (column, key) = match series {
        Some(series) => (series, view.table.text(row, series)),
        None => (&*wish.x, &*category.key),
    };
    Some(Bar {
        label: series.map_or_else(String::new, |series| view.text(row, series)),
        mark: view.mark(Some(column), key, 0),
        value: view.value(row, &wish.y)?,
        text: view.text(row, &wish.y),
    })
}

fn item(text: &BarsText, category: &str, bar: &Bar) -> String {
    let template = if bar.label.is_empty() {
        &text.item
    } else {
        &text.item_series
    };
    fill(
        template,
        &[
            ("label", category),
            ("series", &bar.label),
            ("value", &bar.text),
        ],
    )
}

impl Chart for Bars {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let nested = self.nested();
        let label_width = if width < 500.0 { 148.0 } else { 200.0 };
        let bars = || self.parts.iter().flat_map(|part| &part.bars);
        let value_width = bars()
            .map(|bar| text_width(&bar.text, SMALL))
            .fold(0.0, f64::max);
        let lines = bars().count() + if nested { self.parts.len() } else { 0 };
        let height = 28.0
            + lines as f64 * ROW
            + if nested {
                self.parts.len() as f64 * 8.0
            } else {
                0.0
            }
            + 8.0;
        let left = 8.0 + label_width + 10.0;
        let x =
            covering(bars().map(|bar| bar.value).chain([0.0])).at(left, width - value_width - 22.0);
        paint(decimal, width, height, |canvas| {
            canvas.text(
                (8.0, 14.0),
                &shorten(&self.label, SMALL, width - 16.0),
                QUIET,
            )?;
            let mut y = 28.0;
            for part in &self.parts {
                if nested {
                    canvas.text(
                        (8.0, y + ROW / 2.0),
                        &shorten(&part.title, TEXT, width - 16.0),
                        STRONG,
                    )?;
                    y += ROW;
                }
                let top = y;
                for bar in &part.bars {
                    let label = if nested { &bar.label } else { &part.title };
                    canvas.text(
                        (left - 10.0, y + ROW / 2.0),
                        &shorten(label, TEXT, label_width),
                        PLAIN.end(),
                    )?;
                    let end = x.map(bar.value);
                    canvas.rectangle(
                        (x.map(0.0).min(end), y + 3.0),
                        (x.map(0.0).max(end), y + ROW - 3.0),
                        group(bar.mark),
                        1.0,
                    )?;
                    canvas.text((end.max(x.map(0.0)) + 5.0, y + ROW / 2.0), &bar.text, QUIET)?;
                    y += ROW;
                }
                canvas.line(&[(x.map(0.0), top), (x.map(0.0), y)], Stroke::new(INK, 1.0))?;
                if nested {
                    y += 8.0;
                }
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
