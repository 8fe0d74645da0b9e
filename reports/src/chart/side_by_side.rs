//! Sites side by side: a row a site, a panel a measure, each estimate with its interval and its numbers.

use super::axis::{Scale, across, covering};
use super::canvas::{Canvas, Drawn, Lettering, QUIET, SMALL, STRONG, Stroke, TEXT, paint};
use super::lettering::{heading, shorten, wrap};
use super::shared::{Chart, listing};
use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{INK, MUTED, PANEL, RULE, group};
use crate::view::View;

const ROW: f64 = 38.0;

/// Height of the line above a group of rows.
const GROUP: f64 = 20.0;

/// An interval this many times as wide as the middle one does not set the axis.
const TOO_WIDE: f64 = 3.0;

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
    value: f64,
    interval: Option<(f64, f64)>,
    long: String,
    short: String,
}

struct Panel {
    title: String,
    good: String,
    scale: Scale,
    shown: Vec<Option<Shown>>,
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
            .any(|panel| panel.shown.iter().flatten().any(|s| beyond(panel, s)))
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

    /// Upper edge of every row below `top`.
    fn tops(&self, top: f64) -> Vec<f64> {
        let mut y = top;
        let mut tops = Vec::new();
        for site in &self.sites {
            y += if site.group.is_some() { GROUP } else { 0.0 };
            tops.push(y);
            y += ROW;
        }
        tops
    }

    fn height(&self) -> f64 {
        let groups = self
            .sites
            .iter()
            .filter(|site| site.group.is_some())
            .count();
        self.sites.len() as f64 * ROW + groups as f64 * GROUP
    }

    fn labels(&self, canvas: &Canvas, room: f64, top: f64, right: f64) -> Drawn {
        for (site, y) in self.sites.iter().zip(self.tops(top)) {
            if let Some(group) = &site.group {
                let words = shorten(group, SMALL, right - 8.0);
                let bold = Lettering {
                    bold: true,
                    ..QUIET
                };
                canvas.text((8.0, y - GROUP / 2.0), &words, bold)?;
            }
            canvas.line(&[(8.0, y), (right, y)], Stroke::new(RULE, 0.75))?;
            let mut lines = wrap(&site.label, TEXT, room, 2);
            let count = lines.len() as f64;
            let middle = y + ROW / 2.0;
            for (n, line) in lines.drain(..).enumerate() {
                canvas.text(
                    (8.0, middle + (n as f64 - count / 2.0) * 12.5),
                    &line,
                    STRONG,
                )?;
            }
            let words = shorten(&site.sensors, SMALL, room);
            canvas.text((8.0, middle + count * 6.25), &words, QUIET)?;
        }
        Ok(())
    }

    fn panel(&self, canvas: &Canvas, panel: &Panel, x: &Scale, top: f64, long: bool) -> Drawn {
        let bottom = top + self.height();
        let lines = heading(&panel.title, x.to - x.from);
        for (index, line) in lines.iter().rev().enumerate() {
            canvas.text((x.from, top - 24.0 - index as f64 * 13.0), line, STRONG)?;
        }
        // Widths are guessed on the wide side; the gap to the next panel is free.
        let good = shorten(&panel.good, SMALL, x.to - x.from + 26.0);
        canvas.text((x.from, top - 9.0), &good, QUIET)?;
        across(canvas, x, bottom, None)?;
        canvas.line(&[(x.from, bottom), (x.to, bottom)], Stroke::new(INK, 1.0))?;
        if x.low < 0.0 && x.high > 0.0 {
            for y in self.tops(top) {
                let zero = [(x.map(0.0), y + 18.0), (x.map(0.0), y + ROW - 3.0)];
                canvas.line(&zero, Stroke::dashed(MUTED, 1.25))?;
            }
        }
        for ((site, shown), y) in self.sites.iter().zip(&panel.shown).zip(self.tops(top)) {
            match shown {
                None => {
                    let middle = ((x.from + x.to) / 2.0, y + ROW / 2.0);
                    canvas.text(middle, whereworn_model::format::NO_VALUE, QUIET.middle())?;
                }
                Some(shown) => estimate(canvas, site, shown, x, y, long)?,
            }
        }
        Ok(())
    }
}

fn estimate(canvas: &Canvas, site: &Site, shown: &Shown, x: &Scale, y: f64, long: bool) -> Drawn {
    let at = y + 26.0;
    let colour = group(site.mark);
    if let Some((lower, upper)) = shown.interval {
        let (from, to) = (x.map(lower), x.map(upper));
        canvas.line(&[(from, at), (to, at)], Stroke::new(colour, 2.5))?;
        for (end, tip, turn) in [(lower, from, 1.0), (upper, to, -1.0)] {
            if end < x.low || end > x.high {
                let arrow = [
                    (tip + turn * 5.0, at - 4.0),
                    (tip, at),
                    (tip + turn * 5.0, at + 4.0),
                ];
                canvas.line(&arrow, Stroke::new(colour, 2.0))?;
            }
        }
    }
    canvas.mark((x.map(shown.value), at), site.mark, 5.0, colour)?;
    if site.few {
        canvas.mark((x.map(shown.value), at), site.mark, 2.6, PANEL)?;
    }
    let words = if long { &shown.long } else { &shown.short };
    let ink = Lettering {
        colour: INK,
        ..QUIET
    };
    canvas.text(
        (x.from, y + 11.0),
        &shorten(words, SMALL, x.to - x.from + 10.0),
        ink,
    )
}

/// Whether an interval goes on beyond the axis.
fn beyond(panel: &Panel, shown: &Shown) -> bool {
    let ends = shown.interval;
    ends.is_some_and(|(lower, upper)| lower < panel.scale.low || upper > panel.scale.high)
}

fn panel(view: &View, sites: &[Site], wanted: Wanted) -> Panel {
    let name = wanted.column;
    let shown: Vec<Option<Shown>> = sites
        .iter()
        .map(|site| {
            Some(Shown {
                value: view.value(site.row, name)?,
                interval: view.interval(site.row, name),
                long: view.estimate(site.row, name),
                short: view.text(site.row, name),
            })
        })
        .collect();
    Panel {
        title: view.heading(name),
        good: wanted.good,
        scale: scale_of(&shown),
        shown,
    }
}

/// A scale for all estimates and all intervals but those far wider than most, such as that of two sensors.
fn scale_of(shown: &[Option<Shown>]) -> Scale {
    let intervals = || shown.iter().flatten().filter_map(|shown| shown.interval);
    let mut widths: Vec<f64> = intervals().map(|(lower, upper)| upper - lower).collect();
    widths.sort_by(f64::total_cmp);
    let middle = widths.get(widths.len().saturating_sub(1) / 2).copied();
    let most = middle.unwrap_or(f64::INFINITY) * TOO_WIDE;
    let ends = intervals().filter(|(lower, upper)| upper - lower <= most);
    let values = shown.iter().flatten().map(|shown| shown.value);
    covering(values.chain(ends.flat_map(|(lower, upper)| [lower, upper])))
}

fn finding(view: &View, sites: &[Site], panel: &Panel) -> String {
    let text = &view.context.text.chart.intervals;
    let items: Vec<String> = sites
        .iter()
        .zip(&panel.shown)
        .filter_map(|(site, shown)| {
            let values = [("label", &*site.label), ("value", &*shown.as_ref()?.long)];
            Some(fill(&text.item, &values))
        })
        .collect();
    let values = [("measure", &*panel.title), ("list", &*listing(&items))];
    fill(&view.context.text.chart.side_by_side.finding, &values)
}

impl Chart for SideBySide {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let narrow = width < 500.0;
        let (labels, gap, most) = if narrow {
            (112.0, 14.0, 2)
        } else {
            (150.0, 18.0, 6)
        };
        let columns = self.panels.len().clamp(1, most);
        let room = (width - labels - 16.0 - gap * columns as f64) / columns as f64;
        let lines = |panel: &Panel| heading(&panel.title, room).len();
        let head = self.panels.iter().map(lines).max().unwrap_or(1) as f64 * 13.0 + 26.0;
        let block = head + self.height() + 26.0;
        let blocks = self.panels.len().div_ceil(columns);
        paint(decimal, width, block * blocks as f64 + 4.0, |canvas| {
            for (part, panels) in self.panels.chunks(columns).enumerate() {
                let top = part as f64 * block + head;
                self.labels(canvas, labels, top, width - 8.0)?;
                for (index, panel) in panels.iter().enumerate() {
                    let left = 8.0 + labels + gap + index as f64 * (room + gap);
                    let x = panel.scale.at(left, left + room);
                    self.panel(canvas, panel, &x, top, !narrow)?;
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
