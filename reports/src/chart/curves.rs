//! Lines and steps: a panel for each group, the other groups in grey behind it.

use whereworn_model::header::{Chart as Wish, ChartKind};

use super::axis::{Plot, Scale, covering, fitting_ticks};
use super::canvas::{Canvas, Drawn, Lettering, PLAIN, QUIET, SMALL, Stroke, paint};
use super::lettering::shorten;
use super::shared::{Chart, MOST_PANELS, columns, listing, splits, title, title_room, with_rest};
use super::time_axis;
use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{GHOST, NO_SITE, group};
use crate::view::View;

/// Room for the names of lines at the right of a panel, CSS pixels.
const NAME_WIDTH: f64 = 78.0;

/// Most panels in which the other groups stand behind: more of them would be a tangle.
const MOST_GHOSTS: usize = 9;

/// One point of a line, with its interval.
#[derive(Clone, Copy)]
struct Point {
    x: f64,
    y: f64,
    band: Option<(f64, f64)>,
}

/// A line with the name that it has within its panel.
struct Line {
    name: String,
    points: Vec<Point>,
}

/// Everything about one group.
struct Panel {
    title: String,
    mark: usize,
    lines: Vec<Line>,
    /// Times and how many are followed from just before them on; falls to `left_over` after the last.
    at_risk: Vec<(f64, f64)>,
    left_over: Option<f64>,
}

/// Lines or steps over a common pair of axes.
pub(crate) struct Curves<'a> {
    view: &'a View<'a>,
    /// Whether the horizontal axis is one of dates.
    of_time: bool,
    panels: Vec<Panel>,
    /// Names of lines, in the order in which dashes and colours are given out.
    names: Vec<String>,
    steps: bool,
    x: Scale,
    y: Scale,
    x_label: String,
    y_label: String,
    at_risk_label: Option<String>,
    finding: String,
    caption: String,
}

impl<'a> Curves<'a> {
    /// The chart of a table; `None` where no row has both coordinates.
    pub fn of(view: &'a View<'a>, wish: &Wish) -> Option<Self> {
        let steps = wish.kind == ChartKind::Steps;
        let (panel_by, line_by) = splits(view, wish);
        let share = view.table.column(&wish.y)?.header.unit.as_deref() == Some("share");
        let at_risk = view.table.column("at_risk").is_some();
        let of_time = view.is_of_time(&wish.x);
        let start = (steps && share && !of_time).then_some(if at_risk { 100.0 } else { 0.0 });
        let groups = view.groups(panel_by).into_iter().enumerate();
        let mut panels: Vec<Panel> = groups
            .map(|(place, group)| {
                let mark = view.mark(panel_by, &group.key, place);
                panel(view, wish, (group.label, mark), &group.rows, line_by, start)
            })
            .filter(|panel| !panel.lines.is_empty())
            .collect();
        panels.first()?;
        let finding = finding(view, wish, &panels);
        let left_out = panels.len().saturating_sub(MOST_PANELS);
        panels.truncate(MOST_PANELS);
        let points = || panels.iter().flat_map(|p| &p.lines).flat_map(|l| &l.points);
        let mut y = covering(points().flat_map(ends));
        if start == Some(100.0) {
            (y.low, y.high) = (0.0, 100.0);
        }
        let mut x = covering(points().map(|p| p.x));
        x.high = points().map(|p| p.x).fold(x.low + 1e-9, f64::max);
        if start.is_some() && view.table.column(&wish.x)?.header.unit.as_deref() == Some("days") {
            x.high = x.high.max(view.context.input.settings.wear.rated_days);
        }
        let text = &view.context.text.chart.curves;
        let at_risk = at_risk && line_by.is_none();
        let mut caption = vec![text.caption.as_str()];
        if line_by.is_some() {
            caption.push(&text.caption_lines);
        } else {
            if (2..=MOST_GHOSTS).contains(&panels.len()) {
                caption.push(&text.caption_ghosts);
            }
            if points().any(|point| point.band.is_some()) {
                caption.push(&text.caption_band);
            }
            if at_risk {
                caption.push(&text.caption_at_risk);
            }
        }
        let caption = caption.join(" ");
        Some(Self {
            view,
            of_time,
            names: names(&panels),
            panels,
            steps,
            x,
            y,
            x_label: view.heading(&wish.x),
            y_label: view.heading(&wish.y),
            at_risk_label: at_risk.then(|| text.at_risk.clone()),
            finding,
            caption: with_rest(view, &caption, left_out),
        })
    }

    fn corners(
        &self,
        points: &[Point],
        y: impl Fn(&Point) -> Option<f64>,
        plot: &Plot,
    ) -> Vec<(f64, f64)> {
        let mut out: Vec<(f64, f64)> = Vec::new();
        for (point, value) in points.iter().filter_map(|p| Some((p, y(p)?))) {
            let at = (plot.x.map(point.x), plot.y.map(value));
            if let (true, Some(&(_, before))) = (self.steps, out.last()) {
                out.push((at.0, before));
            }
            out.push(at);
        }
        out
    }

    fn panel(&self, canvas: &Canvas, index: usize, plot: &Plot) -> Drawn {
        let panel = &self.panels[index];
        let dates = self
            .of_time
            .then(|| time_axis::ticks(self.view.context, &plot.x));
        plot.frame(canvas, dates.as_deref())?;
        let left = plot.x.from;
        let room = plot.x.to - left;
        title(canvas, &panel.title, (left, plot.y.to - 13.0), room)?;
        if panel.lines.len() == 1 && panel.lines[0].name.is_empty() {
            for other in self
                .panels
                .iter()
                .enumerate()
                .filter(|(i, _)| *i != index && self.panels.len() <= MOST_GHOSTS)
                .flat_map(|(_, p)| &p.lines)
            {
                canvas.line(
                    &self.corners(&other.points, |p| Some(p.y), plot),
                    Stroke::new(GHOST, 1.0),
                )?;
            }
            self.band(canvas, &panel.lines[0].points, panel.mark, plot)?;
            let line = self.corners(&panel.lines[0].points, |p| Some(p.y), plot);
            canvas.line(&line, Stroke::new(group(panel.mark), 2.25))?;
        } else {
            self.named_lines(canvas, panel, plot)?;
        }
        match &self.at_risk_label {
            Some(label) => self.numbers_at_risk(canvas, panel, label, plot),
            None => Ok(()),
        }
    }

    fn band(&self, canvas: &Canvas, points: &[Point], mark: usize, plot: &Plot) -> Drawn {
        for run in points.chunk_by(|a, b| a.band.is_some() == b.band.is_some()) {
            if run[0].band.is_none() {
                continue;
            }
            let mut run = run.to_vec();
            if let (true, Some(next)) = (
                self.steps,
                points.iter().find(|p| p.x > run[run.len() - 1].x),
            ) {
                run.push(Point {
                    x: next.x,
                    ..run[run.len() - 1]
                });
            }
            let mut outline = self.corners(&run, |p| p.band.map(|b| b.1), plot);
            let lower = self.corners(&run, |p| p.band.map(|b| b.0), plot);
            outline.extend(lower.into_iter().rev());
            if outline.len() > 3 {
                canvas.area(&outline, group(mark), 0.18)?;
            }
        }
        Ok(())
    }

    /// Lines told apart by dash and by the name beside their end.
    fn named_lines(&self, canvas: &Canvas, panel: &Panel, plot: &Plot) -> Drawn {
        const DASHES: [Option<(f64, f64)>; 4] =
            [None, Some((6.0, 3.0)), Some((2.0, 3.0)), Some((10.0, 4.0))];
        let mut ends: Vec<(f64, usize)> = Vec::new();
        for line in &panel.lines {
            let index = self
                .names
                .iter()
                .position(|name| *name == line.name)
                .unwrap_or(0);
            let stroke = Stroke {
                colour: group(NO_SITE + index),
                width: 1.75,
                dash: DASHES[index % DASHES.len()],
            };
            let mut corners = self.corners(&line.points, |p| Some(p.y), plot);
            if let (true, Some(&(_, y))) = (self.steps, corners.last()) {
                corners.push((plot.x.to, y));
            }
            canvas.line(&corners, stroke)?;
            ends.push((corners.last().map_or(plot.y.from, |end| end.1), index));
        }
        ends.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut y = f64::INFINITY;
        for (end, index) in ends {
            y = end.min(y - 13.0);
            let name = shorten(&self.names[index], SMALL, NAME_WIDTH - 6.0);
            canvas.text(
                (plot.x.to + 6.0, y),
                &name,
                Lettering {
                    colour: group(NO_SITE + index),
                    ..QUIET
                },
            )?;
        }
        Ok(())
    }

    fn numbers_at_risk(&self, canvas: &Canvas, panel: &Panel, label: &str, plot: &Plot) -> Drawn {
        let y = plot.y.from + 43.0;
        let room = plot.x.to - plot.x.from;
        canvas.text(
            (plot.x.from - 4.0, y - 15.0),
            &shorten(label, SMALL, room),
            QUIET,
        )?;
        for tick in fitting_ticks(&plot.x) {
            let count = panel
                .at_risk
                .iter()
                .find(|(x, _)| *x >= tick - 1e-9)
                .map(|p| p.1)
                .or(panel.left_over);
            if let Some(count) = count {
                canvas.text(
                    (plot.x.map(tick), y),
                    &whereworn_model::format::number(count, 0),
                    PLAIN.middle(),
                )?;
            }
        }
        Ok(())
    }
}

fn panel(
    view: &View,
    wish: &Wish,
    (title, mark): (String, usize),
    rows: &[usize],
    line_by: Option<&str>,
    start: Option<f64>,
) -> Panel {
    let mut lines: Vec<Line> = Vec::new();
    for &row in rows {
        let name = line_by.map_or_else(String::new, |column| view.text(row, column));
        let (Some(x), Some(y)) = (view.along(row, &wish.x), view.value(row, &wish.y)) else {
            continue;
        };
        let point = Point {
            x,
            y,
            band: view.interval(row, &wish.y),
        };
        match lines.iter_mut().find(|line| line.name == name) {
            Some(line) => line.points.push(point),
            None => lines.push(Line {
                name,
                points: vec![point],
            }),
        }
    }
    for line in &mut lines {
        line.points.sort_by(|a, b| a.x.total_cmp(&b.x));
        if let Some(y) = start.filter(|_| line.points[0].x > 0.0) {
            line.points.insert(
                0,
                Point {
                    x: 0.0,
                    y,
                    band: None,
                },
            );
        }
    }
    let at_risk: Vec<(f64, f64)> = rows
        .iter()
        .filter_map(|&row| Some((view.value(row, &wish.x)?, view.value(row, "at_risk")?)))
        .collect();
    let left_over = rows.last().and_then(|&row| {
        Some(
            view.value(row, "at_risk")?
                - view.value(row, "detached")?
                - view.value(row, "censored")?,
        )
    });
    Panel {
        title,
        mark,
        lines,
        at_risk,
        left_over,
    }
}

fn ends(point: &Point) -> [f64; 3] {
    let (lower, upper) = point.band.unwrap_or((point.y, point.y));
    [lower, point.y, upper]
}

fn names(panels: &[Panel]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for line in panels.iter().flat_map(|panel| &panel.lines) {
        if !names.contains(&line.name) {
            names.push(line.name.clone());
        }
    }
    names
}

fn finding(view: &View, wish: &Wish, panels: &[Panel]) -> String {
    let text = &view.context.text.chart.curves;
    let items: Vec<String> = panels
        .iter()
        .flat_map(|panel| panel.lines.iter().map(move |line| (panel, line)))
        .filter_map(|(panel, line)| {
            let last = line.points.last()?;
            let label = format!("{} {}", panel.title, line.name);
            Some(fill(
                &text.item,
                &[
                    ("label", label.trim()),
                    ("value", &view.write(&wish.y, last.y)),
                    ("x", &view.place_words(&wish.x, last.x)),
                ],
            ))
        })
        .collect();
    fill(&text.finding, &[("list", &listing(&items))])
}

impl Chart for Curves<'_> {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        const LEFT: f64 = 40.0;
        const GAP: f64 = 22.0;
        let columns = columns(self.panels.len(), width);
        let plot_width = (width - 14.0) / columns as f64 - LEFT - GAP + GAP / columns as f64;
        let name_width = if self.names.iter().any(|name| !name.is_empty()) {
            NAME_WIDTH
        } else {
            0.0
        };
        let plot_height = match columns {
            1 if width > 500.0 => 220.0,
            1 => 150.0,
            _ => 130.0,
        };
        let below = if self.at_risk_label.is_some() {
            58.0
        } else {
            26.0
        };
        let titles = self.panels.iter().map(|panel| panel.title.as_str());
        let head = 30.0 + title_room(titles, plot_width);
        let row_height = head + 4.0 + plot_height + below;
        let rows = self.panels.len().div_ceil(columns);
        let height = 26.0 + rows as f64 * row_height + 26.0;
        paint(decimal, width, height, |canvas| {
            canvas.text(
                (8.0, 14.0),
                &shorten(&self.y_label, SMALL, width - 16.0),
                QUIET,
            )?;
            for index in 0..self.panels.len() {
                let left = LEFT + (index % columns) as f64 * (plot_width + LEFT + GAP);
                let top = 26.0 + (index / columns) as f64 * row_height + head;
                let plot = Plot {
                    x: self.x.at(left, left + plot_width - name_width),
                    y: self.y.at(top + plot_height, top),
                };
                self.panel(canvas, index, &plot)?;
            }
            let foot = height - 12.0;
            canvas.text(
                (width - 10.0, foot),
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
