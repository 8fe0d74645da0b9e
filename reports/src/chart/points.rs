//! Points: a panel for each group, with its bias and limits of agreement where there are such.

use std::collections::BTreeSet;

use whereworn_model::header::Chart as Wish;
use whereworn_model::tables::pairs;
use whereworn_model::tables::site_accuracy::{self, column as accuracy_of};

use super::axis::{Plot, Scale, covering};
use super::canvas::{Canvas, Drawn, QUIET, SMALL, Stroke, paint};
use super::lettering::shorten;
use super::shared::{Chart, MOST_PANELS, columns, listing, splits, title, title_room, with_rest};
use super::time_axis;
use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{INK, MUTED, group};
use crate::view::{Group, View};

/// Most points drawn in a panel: more of them only make the file larger.
const MOST_POINTS: usize = 200;

const BIAS: Stroke = Stroke::new(INK, 2.0);
const LIMIT: Stroke = Stroke::dashed(INK, 1.25);

/// Bias and limits of agreement, in the unit shown and in words.
struct Agreement {
    bias: f64,
    limits: Option<(f64, f64)>,
    words: Vec<String>,
}

/// A point with its interval along the vertical axis.
#[derive(Clone, Copy)]
struct Point {
    x: f64,
    y: f64,
    interval: Option<(f64, f64)>,
}

struct Panel {
    label: String,
    mark: usize,
    /// Number of points before they were thinned.
    count: usize,
    points: Vec<Point>,
    agreement: Option<Agreement>,
}

/// Points over a common pair of axes.
pub(crate) struct Points<'a> {
    view: &'a View<'a>,
    /// Whether the horizontal axis is one of dates.
    of_time: bool,
    panels: Vec<Panel>,
    x: Scale,
    y: Scale,
    x_label: String,
    y_label: String,
    /// The name of each panel with its number of points.
    titles: Vec<String>,
    finding: String,
    caption: String,
}

impl<'a> Points<'a> {
    /// The chart of a table; `None` where no row has both coordinates.
    pub fn of(view: &'a View<'a>, wish: &Wish) -> Option<Self> {
        let text = &view.context.text.chart.points;
        let (panel_by, _) = splits(view, wish);
        let groups = view.groups(panel_by).into_iter().enumerate();
        let mut panels: Vec<Panel> = groups
            .map(|(place, group)| panel(view, wish, view.mark(panel_by, &group.key, place), &group))
            .filter(|panel| !panel.points.is_empty())
            .collect();
        panels.first()?;
        let count: usize = panels.iter().map(|panel| panel.count).sum();
        let items: Vec<String> = panels.iter().map(|panel| item(view, panel)).collect();
        let finding = [("count", &*count.to_string()), ("list", &*listing(&items))];
        let left_out = panels.len().saturating_sub(MOST_PANELS);
        panels.truncate(MOST_PANELS);
        let points = || panels.iter().flat_map(|panel| &panel.points);
        let limits = || {
            panels
                .iter()
                .filter_map(|p| p.agreement.as_ref()?.limits)
                .flat_map(|(l, u)| [l, u])
        };
        Some(Self {
            view,
            of_time: view.is_of_time(&wish.x),
            x: covering(points().map(|p| p.x)),
            y: covering(points().flat_map(ends).chain(limits())),
            x_label: view.heading(&wish.x),
            y_label: view.heading(&wish.y),
            titles: panels.iter().map(|panel| named(view, panel)).collect(),
            finding: fill(&text.finding, &finding),
            caption: with_rest(view, &caption(view, &panels), left_out),
            panels,
        })
    }

    /// Most lines of words above a panel.
    fn words(&self) -> usize {
        self.panels
            .iter()
            .filter_map(|panel| Some(panel.agreement.as_ref()?.words.len()))
            .max()
            .unwrap_or(0)
    }

    fn panel(&self, canvas: &Canvas, index: usize, plot: &Plot) -> Drawn {
        let panel = &self.panels[index];
        let dates = self
            .of_time
            .then(|| time_axis::ticks(self.view.context, &plot.x));
        plot.frame(canvas, dates.as_deref())?;
        let room = plot.x.to - plot.x.from;
        let above = plot.y.to - 16.0 - self.words() as f64 * 14.0;
        title(canvas, &self.titles[index], (plot.x.from, above), room)?;
        if plot.y.low < 0.0 && plot.y.high > 0.0 {
            plot.level(canvas, 0.0, Stroke::new(MUTED, 0.75))?;
        }
        let mut taken = BTreeSet::new();
        for point in &panel.points {
            let at = (plot.x.map(point.x), plot.y.map(point.y));
            if let Some((lower, upper)) = point.interval {
                let ends = [(at.0, plot.y.map(lower)), (at.0, plot.y.map(upper))];
                canvas.line(&ends, Stroke::new(group(panel.mark), 1.75))?;
                canvas.dot(at, 3.5, group(panel.mark), 1.0)?;
            } else if taken.insert(((at.0 * 2.0) as i32, (at.1 * 2.0) as i32)) {
                canvas.dot(at, 2.4, group(panel.mark), 0.55)?;
            }
        }
        let Some(agreement) = &panel.agreement else {
            return Ok(());
        };
        for (line, words) in agreement.words.iter().enumerate() {
            let y = above + 15.0 + line as f64 * 14.0;
            let stroke = if line == 0 { BIAS } else { LIMIT };
            canvas.line(&[(plot.x.from, y), (plot.x.from + 18.0, y)], stroke)?;
            let words = shorten(words, SMALL, room - 24.0);
            canvas.text((plot.x.from + 24.0, y), &words, QUIET)?;
        }
        plot.level(canvas, agreement.bias, BIAS)?;
        if let Some((lower, upper)) = agreement.limits {
            plot.level(canvas, lower, LIMIT)?;
            plot.level(canvas, upper, LIMIT)?;
        }
        Ok(())
    }
}

fn named(view: &View, panel: &Panel) -> String {
    let count = panel.count.to_string();
    let values = [("label", &*panel.label), ("count", &*count)];
    fill(&view.context.text.chart.panel_count, &values)
        .trim()
        .to_owned()
}

fn point(view: &View, wish: &Wish, row: usize) -> Option<Point> {
    let wanted = wish.lower.is_some() && wish.upper.is_some();
    let interval = view.interval(row, &wish.y).filter(|_| wanted);
    Some(Point {
        x: view.along(row, &wish.x)?,
        y: view.value(row, &wish.y)?,
        interval,
    })
}

fn ends(point: &Point) -> [f64; 3] {
    let (lower, upper) = point.interval.unwrap_or((point.y, point.y));
    [lower, point.y, upper]
}

/// Every k-th point, so that no more than the most are left.
fn thin(points: Vec<Point>) -> Vec<Point> {
    let step = points.len().div_ceil(MOST_POINTS).max(1);
    points.into_iter().step_by(step).collect()
}

fn panel(view: &View, wish: &Wish, mark: usize, group: &Group) -> Panel {
    let points: Vec<Point> = group
        .rows
        .iter()
        .filter_map(|&row| point(view, wish, row))
        .collect();
    let agreement = if view.table.name == pairs::NAME {
        agreement(view, &group.key)
    } else {
        None
    };
    Panel {
        label: group.label.clone(),
        mark,
        count: points.len(),
        points: thin(points),
        agreement,
    }
}

fn caption(view: &View, panels: &[Panel]) -> String {
    let text = &view.context.text.chart;
    let mut out = vec![text.points.caption.clone()];
    if panels.iter().any(|panel| panel.agreement.is_some()) {
        out.push(text.points.caption_limits.clone());
    }
    if panels
        .iter()
        .flat_map(|panel| &panel.points)
        .any(|point| point.interval.is_some())
    {
        out.push(text.points.caption_interval.clone());
    }
    let count: usize = panels.iter().map(|panel| panel.count).sum();
    let drawn: usize = panels.iter().map(|panel| panel.points.len()).sum();
    if drawn < count {
        out.push(fill(
            &text.thinned,
            &[("drawn", &drawn.to_string()), ("count", &count.to_string())],
        ));
    }
    out.join(" ")
}

fn item(view: &View, panel: &Panel) -> String {
    let text = &view.context.text.chart.points;
    let count = panel.count.to_string();
    let written = match (
        &panel.agreement,
        View::named(view.context, site_accuracy::NAME),
    ) {
        (Some(agreement), Some(accuracy)) => {
            let bias = accuracy.write(accuracy_of::BIAS, agreement.bias);
            fill(
                &text.item_bias,
                &[("label", &panel.label), ("count", &count), ("value", &bias)],
            )
        }
        _ => fill(&text.item, &[("label", &panel.label), ("count", &count)]),
    };
    written.trim().to_owned()
}

fn agreement(view: &View, site: &str) -> Option<Agreement> {
    let text = &view.context.text.chart.points;
    let accuracy = View::named(view.context, site_accuracy::NAME)?;
    let &row = accuracy.table.rows_where(accuracy_of::SITE, site).first()?;
    let bias = accuracy.value(row, accuracy_of::BIAS)?;
    let limits = accuracy
        .value(row, accuracy_of::LOA_LOWER)
        .zip(accuracy.value(row, accuracy_of::LOA_UPPER));
    let mut words = vec![fill(
        &text.bias,
        &[("value", &accuracy.write(accuracy_of::BIAS, bias))],
    )];
    if let Some((lower, upper)) = limits {
        let ends = [
            ("lower", &*accuracy.write(accuracy_of::LOA_LOWER, lower)),
            ("upper", &*accuracy.write(accuracy_of::LOA_UPPER, upper)),
        ];
        words.push(fill(&text.limits, &ends));
    }
    Some(Agreement {
        bias,
        limits,
        words,
    })
}

impl Chart for Points<'_> {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        const LEFT: f64 = 44.0;
        const GAP: f64 = 16.0;
        let columns = columns(self.panels.len(), width);
        let plot_width = (width - 14.0) / columns as f64 - LEFT - GAP + GAP / columns as f64;
        let plot_height = if columns == 1 { 190.0 } else { 150.0 };
        let titles = self.titles.iter().map(String::as_str);
        let head = 30.0 + self.words() as f64 * 14.0 + title_room(titles, plot_width);
        let row_height = head + plot_height + 30.0;
        let rows = self.panels.len().div_ceil(columns);
        let height = 22.0 + rows as f64 * row_height + 18.0;
        paint(decimal, width, height, |canvas| {
            canvas.text(
                (8.0, 14.0),
                &shorten(&self.y_label, SMALL, width - 16.0),
                QUIET,
            )?;
            for index in 0..self.panels.len() {
                let left = LEFT + (index % columns) as f64 * (plot_width + LEFT + GAP);
                let top = 22.0 + (index / columns) as f64 * row_height + head;
                let plot = Plot {
                    x: self.x.at(left, left + plot_width),
                    y: self.y.at(top + plot_height, top),
                };
                self.panel(canvas, index, &plot)?;
            }
            canvas.text(
                (width - 10.0, height - 11.0),
                &shorten(&self.x_label, SMALL, width - 20.0),
                QUIET.end(),
            )
        })
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}
