//! Dots with intervals: a row for each group, a panel for each measure.

use whereworn_model::header::Chart as Wish;

use super::axis::{Scale, across, covering};
use super::canvas::{Canvas, Drawn, PLAIN, QUIET, STRONG, Stroke, TEXT, paint};
use super::estimates::{Estimate, scale_of};
use super::lettering::{heading, wrap};
use super::shared::{Chart, listing, with_rest};
use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{INK, MUTED, RULE};
use crate::view::{Group, View};

/// Height of a row: with few of them, and with many that have names of one line or of two, so that a page holds thirty.
const ROW: f64 = 34.0;
const DENSE: f64 = 18.0;
const DENSE_NAMED: f64 = 30.0;

/// Most rows that are few.
const FEW_ROWS: usize = 12;

/// Most rows drawn.
const MOST_ROWS: usize = 60;

/// One measure of every group.
struct Panel {
    title: String,
    scale: Scale,
    estimates: Vec<Option<Estimate>>,
}

/// Dots with intervals.
pub(crate) struct Intervals {
    rows: Vec<Row>,
    panels: Vec<Panel>,
    finding: String,
    caption: String,
}

/// The name of a row and its mark.
struct Row {
    label: String,
    mark: usize,
}

impl Intervals {
    /// The chart of a table: a row for each value of `y`, a panel for each value of `series`, one scale.
    /// `None` where no row has a value.
    pub fn of(view: &View, wish: &Wish) -> Option<Self> {
        let series = view.series(wish.series.as_deref(), &wish.y);
        let mut rows = view.groups(Some(&wish.y));
        let left_out = rows.len().saturating_sub(MOST_ROWS);
        rows.truncate(MOST_ROWS);
        let heading = view.heading(&wish.x);
        let mut panels: Vec<Panel> = view
            .groups(series)
            .into_iter()
            .map(|part| Panel {
                title: if part.label.is_empty() {
                    heading.clone()
                } else {
                    format!("{heading}, {}", part.label)
                },
                scale: covering(std::iter::empty()),
                estimates: rows
                    .iter()
                    .map(|row| {
                        row.rows
                            .iter()
                            .find(|r| part.rows.contains(r))
                            .and_then(|&r| estimate(view, r, &wish.x))
                    })
                    .collect(),
            })
            .filter(|panel| panel.estimates.iter().any(Option::is_some))
            .collect();
        let common = scale_of(
            panels
                .iter()
                .flat_map(|panel| panel.estimates.iter().flatten()),
        );
        panels.iter_mut().for_each(|panel| panel.scale = common);
        let names = vec![wish.x.as_str(); panels.len()];
        let mut chart = Self::new(view, named(view, &wish.y, rows), panels, &names)?;
        chart.caption = with_rest(view, &chart.caption, left_out);
        Some(chart)
    }

    fn new(view: &View, rows: Vec<Row>, panels: Vec<Panel>, names: &[&str]) -> Option<Self> {
        if panels.is_empty() {
            return None;
        }
        let text = &view.context.text.chart.intervals;
        let findings: Vec<String> = panels
            .iter()
            .zip(names)
            .map(|(panel, name)| finding(view, &rows, panel, name))
            .collect();
        let zero = panels
            .iter()
            .any(|p| p.scale.low < 0.0 && p.scale.high > 0.0);
        let beyond = panels.iter().any(|panel| {
            let mut estimates = panel.estimates.iter().flatten();
            estimates.any(|estimate| estimate.goes_beyond(&panel.scale))
        });
        let mut caption = vec![text.caption.as_str()];
        if zero {
            caption.push(&text.caption_zero);
        }
        if beyond {
            caption.push(&view.context.text.chart.side_by_side.caption_beyond);
        }
        Some(Self {
            rows,
            panels,
            finding: findings.join(" "),
            caption: caption.join(" "),
        })
    }

    /// Height of a row where labels have so much room.
    fn row(&self, labels: f64) -> f64 {
        let one_line = |row: &Row| wrap(&row.label, TEXT, labels, 2).len() == 1;
        match self.rows.iter().all(one_line) {
            _ if self.rows.len() <= FEW_ROWS => ROW,
            true => DENSE,
            false => DENSE_NAMED,
        }
    }

    fn panel(
        &self,
        canvas: &Canvas,
        panel: &Panel,
        (left, right): (f64, f64),
        (top, height): (f64, f64),
    ) -> Drawn {
        let x = panel.scale.at(left + 6.0, right - 6.0);
        let bottom = top + self.rows.len() as f64 * height;
        let title = heading(&panel.title, right - left);
        for (index, line) in title.iter().enumerate() {
            let y = top - 12.0 - (title.len() - 1 - index) as f64 * 14.0;
            canvas.text((left, y), line, STRONG)?;
        }
        across(canvas, &x, bottom, Some(top))?;
        canvas.line(&[(left, bottom), (right, bottom)], Stroke::new(INK, 1.0))?;
        if x.low < 0.0 && x.high > 0.0 {
            canvas.line(
                &[(x.map(0.0), top), (x.map(0.0), bottom)],
                Stroke::dashed(MUTED, 1.25),
            )?;
        }
        for (index, (row, estimate)) in self.rows.iter().zip(&panel.estimates).enumerate() {
            let y = top + (index as f64 + 0.5) * height;
            match estimate {
                None => canvas.text(
                    ((left + right) / 2.0, y),
                    whereworn_model::format::NO_VALUE,
                    QUIET.middle(),
                )?,
                Some(estimate) => estimate.draw(canvas, &x, y, row.mark)?,
            }
        }
        Ok(())
    }

    fn labels(
        &self,
        canvas: &Canvas,
        (width, right): (f64, f64),
        (top, height): (f64, f64),
    ) -> Drawn {
        for (index, row) in self.rows.iter().enumerate() {
            let y = top + (index as f64 + 0.5) * height;
            let lines = wrap(&row.label, TEXT, width, 2);
            for (n, line) in lines.iter().enumerate() {
                let shift = (n as f64 - (lines.len() - 1) as f64 / 2.0) * 14.0;
                canvas.text((8.0, y + shift), line, PLAIN)?;
            }
            if index > 0 {
                let y = top + index as f64 * height;
                canvas.line(&[(8.0, y), (right, y)], Stroke::new(RULE, 0.75))?;
            }
        }
        Ok(())
    }
}

/// The values of a panel from lowest to highest.
fn finding(view: &View, rows: &[Row], panel: &Panel, name: &str) -> String {
    let text = &view.context.text.chart.intervals;
    let values = panel.estimates.iter().zip(rows);
    let mut order: Vec<(f64, &str)> = values
        .filter_map(|(e, row)| Some((e.as_ref()?.value, &*row.label)))
        .collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let items: Vec<String> = order
        .iter()
        .map(|(value, label)| {
            fill(
                &text.item,
                &[("label", label), ("value", &view.write(name, *value))],
            )
        })
        .collect();
    fill(
        &text.finding,
        &[("measure", &panel.title), ("list", &listing(&items))],
    )
}

fn named(view: &View, column: &str, groups: Vec<Group>) -> Vec<Row> {
    let row = |(place, group): (usize, Group)| Row {
        mark: view.mark(Some(column), &group.key, place),
        label: group.label,
    };
    groups.into_iter().enumerate().map(row).collect()
}

fn estimate(view: &View, row: usize, name: &str) -> Option<Estimate> {
    Some(Estimate {
        value: view.value(row, name)?,
        interval: view.interval(row, name),
    })
}

impl Chart for Intervals {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let narrow = width < 500.0;
        let label_width = if narrow { 96.0 } else { 128.0 };
        let gap = 16.0;
        let most = if narrow { 2 } else { 6 };
        let columns = self.panels.len().clamp(1, most);
        let panel_width = (width - label_width - 18.0 - gap * columns as f64) / columns as f64;
        let lines = |panel: &Panel| heading(&panel.title, panel_width).len();
        let head = self.panels.iter().map(lines).max().unwrap_or(1) as f64 * 14.0 + 14.0;
        let row = self.row(label_width);
        let block = head + self.rows.len() as f64 * row + 24.0;
        let blocks = self.panels.len().div_ceil(columns);
        paint(decimal, width, block * blocks as f64 + 6.0, |canvas| {
            for (part, panels) in self.panels.chunks(columns).enumerate() {
                let top = part as f64 * block + head;
                self.labels(canvas, (label_width, width - 10.0), (top, row))?;
                for (index, panel) in panels.iter().enumerate() {
                    let left = 8.0 + label_width + gap + index as f64 * (panel_width + gap);
                    self.panel(canvas, panel, (left, left + panel_width), (top, row))?;
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
