//! Sites side by side: a row a site, a panel a measure, each estimate with its interval and its numbers.

use super::axis::{Scale, across};
use super::canvas::{Canvas, Drawn, Lettering, QUIET, SMALL, STRONG, Stroke, TEXT, paint};
use super::estimates::{Estimate, scale_of};
use super::lettering::{heading, shorten, width as text_width, wrap};
use super::shared::{Chart, listing};
use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{INK, MUTED, PANEL, RULE};
use crate::view::View;

/// Height of a row with its numbers on one line, and of a line of small letters.
const ROW: f64 = 38.0;
const LINE: f64 = 12.0;

/// Height of the line above a group of rows.
const GROUP: f64 = 20.0;

/// So far small letters may reach into the gap to the next panel: widths are guessed on the wide side.
const BEYOND: f64 = 14.0;

/// An axis of shares goes up to this at least, percent.
const LEAST_SHARE: f64 = 10.0;

/// A site: its row of the table, and what stands beside it.
pub(crate) struct Site {
    pub row: usize,
    /// What stands above the row, where a group begins.
    pub group: Option<String>,
    pub label: String,
    pub mark: usize,
    pub sensors: String,
    /// Whether it has too few sensors for a word on it.
    pub few: bool,
}

/// A measure: its column, and which values are good.
pub(crate) struct Wanted {
    pub column: &'static str,
    pub good: String,
}

struct Shown {
    estimate: Estimate,
    numbers: String,
}

struct Panel {
    title: String,
    good: String,
    scale: Scale,
    shown: Vec<Option<Shown>>,
}

impl Panel {
    fn estimates(&self) -> impl Iterator<Item = &Estimate> + Clone {
        self.shown.iter().flatten().map(|shown| &shown.estimate)
    }

    /// Whether every estimate has room for its interval beside it.
    fn fits(&self, room: f64) -> bool {
        let mut shown = self.shown.iter().flatten();
        shown.all(|shown| text_width(&shown.numbers, SMALL) <= room + BEYOND)
    }
}

/// How wide and high the parts are.
struct Layout {
    labels: f64,
    gap: f64,
    columns: usize,
    /// Width of a panel.
    room: f64,
    /// Height of what stands above the rows, and of a row.
    head: f64,
    row: f64,
}

/// Sites in rows, measures in panels.
pub(crate) struct SideBySide {
    sites: Vec<Site>,
    panels: Vec<Panel>,
    finding: String,
    caption: String,
}

impl SideBySide {
    /// The figure of some sites in the order given; `None` where no measure has a value.
    pub fn of(view: &View, sites: Vec<Site>, measures: Vec<Wanted>) -> Option<Self> {
        let text = &view.context.text.chart.side_by_side;
        let panels: Vec<Panel> = measures
            .into_iter()
            .map(|wanted| panel(view, &sites, wanted))
            .filter(|panel| panel.shown.iter().any(Option::is_some))
            .collect();
        panels.first()?;
        let findings: Vec<String> = panels
            .iter()
            .map(|panel| finding(view, &sites, panel))
            .collect();
        let mut caption = vec![text.caption.as_str()];
        if panels
            .iter()
            .any(|panel| panel.estimates().any(|e| e.goes_beyond(&panel.scale)))
        {
            caption.push(&text.caption_beyond);
        }
        if sites.iter().any(|site| site.few) {
            caption.push(&text.caption_few);
        }
        Some(Self {
            finding: findings.join(" "),
            caption: caption.join(" "),
            sites,
            panels,
        })
    }

    fn layout(&self, width: f64) -> Layout {
        let (labels, gap, most) = if width < 500.0 {
            (90.0, 20.0, 2)
        } else {
            (140.0, 28.0, 6)
        };
        let columns = self.panels.len().clamp(1, most);
        let room = (width - labels - 16.0 - gap * columns as f64) / columns as f64;
        let head = |panel: &Panel| heads(panel, room).iter().map(|(line, _)| line).sum();
        let broken = self.panels.iter().any(|panel| !panel.fits(room));
        Layout {
            labels,
            gap,
            columns,
            room,
            head: self.panels.iter().map(head).fold(0.0, f64::max) + 14.0,
            row: if broken { ROW + LINE } else { ROW },
        }
    }

    /// Upper edge of every row below `top`.
    fn tops(&self, row: f64, top: f64) -> Vec<f64> {
        let mut y = top;
        let mut tops = Vec::new();
        for site in &self.sites {
            y += if site.group.is_some() { GROUP } else { 0.0 };
            tops.push(y);
            y += row;
        }
        tops
    }

    fn height(&self, row: f64) -> f64 {
        let groups = self
            .sites
            .iter()
            .filter(|site| site.group.is_some())
            .count();
        self.sites.len() as f64 * row + groups as f64 * GROUP
    }

    fn labels(&self, canvas: &Canvas, layout: &Layout, top: f64, right: f64) -> Drawn {
        for (site, y) in self.sites.iter().zip(self.tops(layout.row, top)) {
            if let Some(group) = &site.group {
                let words = shorten(group, SMALL, right - 8.0);
                let bold = Lettering {
                    bold: true,
                    ..QUIET
                };
                canvas.text((8.0, y - GROUP / 2.0), &words, bold)?;
            }
            canvas.line(&[(8.0, y), (right, y)], Stroke::new(RULE, 0.75))?;
            let mut lines = wrap(&site.label, TEXT, layout.labels, 2);
            let count = lines.len() as f64;
            let middle = y + layout.row / 2.0;
            for (n, line) in lines.drain(..).enumerate() {
                canvas.text(
                    (8.0, middle + (n as f64 - count / 2.0) * 12.5),
                    &line,
                    STRONG,
                )?;
            }
            let words = shorten(&site.sensors, SMALL, layout.labels);
            canvas.text((8.0, middle + count * 6.25), &words, QUIET)?;
        }
        Ok(())
    }

    fn panel(&self, canvas: &Canvas, panel: &Panel, x: &Scale, row: f64, top: f64) -> Drawn {
        let bottom = top + self.height(row);
        let room = x.to - x.from;
        let mut y = top - 2.0;
        for (height, (words, lettering)) in heads(panel, room).into_iter().rev() {
            canvas.text((x.from, y - height / 2.0), &words, lettering)?;
            y -= height;
        }
        across(canvas, x, bottom, None)?;
        canvas.line(&[(x.from, bottom), (x.to, bottom)], Stroke::new(INK, 1.0))?;
        let fits = panel.fits(room);
        for ((site, shown), y) in self.sites.iter().zip(&panel.shown).zip(self.tops(row, top)) {
            let foot = y + row;
            if x.low < 0.0 && x.high > 0.0 {
                let zero = [(x.map(0.0), foot - 18.0), (x.map(0.0), foot - 3.0)];
                canvas.line(&zero, Stroke::dashed(MUTED, 1.25))?;
            }
            match shown {
                None => {
                    let middle = ((x.from + x.to) / 2.0, y + row / 2.0);
                    canvas.text(middle, whereworn_model::format::NO_VALUE, QUIET.middle())?;
                }
                Some(shown) => estimate(canvas, site, shown, x, (foot, fits))?,
            }
        }
        Ok(())
    }
}

/// The lines above a panel with their heights: its title, and which values are good.
fn heads(panel: &Panel, room: f64) -> Vec<(f64, (String, Lettering))> {
    let title = heading(&panel.title, room).into_iter();
    let good = wrap(&panel.good, SMALL, room + BEYOND, 2).into_iter();
    title
        .map(|line| (13.0, (line, STRONG)))
        .chain(good.map(|line| (LINE, (line, QUIET))))
        .collect()
}

/// An estimate above the lower edge of its row: its numbers, where they do not fit with the interval on a line of its own,
/// its mark and its interval.
fn estimate(
    canvas: &Canvas,
    site: &Site,
    shown: &Shown,
    x: &Scale,
    (foot, fits): (f64, bool),
) -> Drawn {
    let at = foot - 12.0;
    shown.estimate.draw(canvas, x, at, site.mark)?;
    if site.few {
        let middle = (x.map(shown.estimate.value), at);
        canvas.mark(middle, site.mark, 2.6, PANEL)?;
    }
    let lines: Vec<&str> = shown
        .numbers
        .splitn(if fits { 1 } else { 2 }, ' ')
        .collect();
    for (above, words) in lines.iter().rev().enumerate() {
        // A number is never cut: one that is too long is written smaller.
        let shrunk = (x.to - x.from + BEYOND) / text_width(words, SMALL);
        let ink = Lettering {
            colour: INK,
            size: SMALL * shrunk.min(1.0),
            ..QUIET
        };
        let y = foot - 27.0 - above as f64 * LINE;
        canvas.text((x.from, y), words, ink)?;
    }
    Ok(())
}

fn panel(view: &View, sites: &[Site], wanted: Wanted) -> Panel {
    let name = wanted.column;
    let shown: Vec<Option<Shown>> = sites
        .iter()
        .map(|site| {
            Some(Shown {
                estimate: Estimate {
                    value: view.value(site.row, name)?,
                    interval: view.interval(site.row, name),
                },
                numbers: view.estimate(site.row, name),
            })
        })
        .collect();
    let mut scale = scale_of(shown.iter().flatten().map(|shown| &shown.estimate));
    let column = view.table.column(name);
    if column.is_some_and(|column| column.header.unit.as_deref() == Some("share")) {
        scale.high = scale.high.max(LEAST_SHARE);
    }
    Panel {
        title: view.heading(name),
        good: wanted.good,
        scale,
        shown,
    }
}

fn finding(view: &View, sites: &[Site], panel: &Panel) -> String {
    let text = &view.context.text.chart.intervals;
    let items: Vec<String> = sites
        .iter()
        .zip(&panel.shown)
        .filter_map(|(site, shown)| {
            let values = [
                ("label", &*site.label),
                ("value", &*shown.as_ref()?.numbers),
            ];
            Some(fill(&text.item, &values))
        })
        .collect();
    let values = [("measure", &*panel.title), ("list", &*listing(&items))];
    fill(&view.context.text.chart.side_by_side.finding, &values)
}

impl Chart for SideBySide {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let layout = self.layout(width);
        let block = layout.head + self.height(layout.row) + 26.0;
        let blocks = self.panels.len().div_ceil(layout.columns);
        paint(decimal, width, block * blocks as f64 + 4.0, |canvas| {
            for (part, panels) in self.panels.chunks(layout.columns).enumerate() {
                let top = part as f64 * block + layout.head;
                self.labels(canvas, &layout, top, width - 8.0)?;
                for (index, panel) in panels.iter().enumerate() {
                    let step = layout.room + layout.gap;
                    let left = 8.0 + layout.labels + layout.gap + index as f64 * step;
                    let x = panel.scale.at(left, left + layout.room);
                    self.panel(canvas, panel, &x, layout.row, top)?;
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
