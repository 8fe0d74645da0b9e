//! Sites side by side: a row a site, a panel a measure, each estimate with its interval and its numbers.

use super::axis::{Scale, across};
use super::canvas::{Canvas, Drawn, Lettering, QUIET, SMALL, STRONG, Stroke, TEXT, paint};
use super::estimates::{Estimate, scale_of};
use super::lettering::{heading, hyphenated, shorten, width as text_width, wrap};
use super::shared::{Chart, listing};
use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{INK, MUTED, PANEL, RULE};
use crate::view::View;

/// Height of a row with its numbers on one line, and of a line of small letters.
const ROW: f64 = 38.0;
const LINE: f64 = 12.0;

/// Height of a line of a site's name, and most lines of it: a study's own name on a phone.
const LABEL: f64 = 12.5;
const LABEL_LINES: usize = 8;

/// How far a heading or a name may go beyond its place: so far from the edge of the drawing the last panel ends.
const EDGE: f64 = 8.0;

/// Height of the line above a group of rows.
const GROUP: f64 = 20.0;

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

    /// The size at which every estimate has room for its interval beside it, unless that is less than the least.
    fn size(&self, words: f64, least: f64) -> Option<f64> {
        let widths = self.shown.iter().flatten();
        let widths = widths.map(|shown| text_width(&shown.numbers, SMALL));
        let size = SMALL * (words / widths.fold(0.0, f64::max)).min(1.0);
        (size >= least).then_some(size)
    }
}

/// How wide and high the parts are.
struct Layout {
    labels: f64,
    gap: f64,
    columns: usize,
    /// Width of a panel, and of the words in it, which may reach into the gap: their widths are guessed on the wide side.
    room: f64,
    words: f64,
    /// Numbers that would be smaller than this take two lines.
    least: f64,
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
        if view.context.everyone.is_some() || view.context.wearers().len() > 1 {
            caption.push(&text.caption_people);
        } else if sites.len() > 1 {
            caption.push(&text.caption_sensors);
        }
        Some(Self {
            finding: findings.join(" "),
            caption: caption.join(" "),
            sites,
            panels,
        })
    }

    fn layout(&self, width: f64) -> Layout {
        let (labels, gap, most, least) = if width < 500.0 {
            (90.0, 20.0, 2, SMALL)
        } else {
            (140.0, 28.0, 6, 9.0)
        };
        let columns = self.panels.len().clamp(1, most);
        let room = (width - labels - 16.0 - gap * columns as f64) / columns as f64;
        let words = room + gap - 4.0;
        let head = |panel: &Panel| {
            let heads = heads(panel, (room + EDGE, words));
            heads.iter().map(|(line, _)| line).sum()
        };
        let lines = |site: &Site| name(site, labels).len();
        let lines = self.sites.iter().map(lines).max().unwrap_or(1);
        let named = if lines > 2 {
            lines as f64 * LABEL + 20.0
        } else {
            0.0
        };
        let broken = self
            .panels
            .iter()
            .any(|panel| panel.size(words, least).is_none());
        Layout {
            labels,
            gap,
            columns,
            room,
            words,
            least,
            head: self.panels.iter().map(head).fold(0.0, f64::max) + 14.0,
            row: named.max(if broken { ROW + LINE } else { ROW }),
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
                let bold = Lettering {
                    bold: true,
                    ..QUIET
                };
                canvas.text((8.0, y - GROUP / 2.0), group, bold)?;
            }
            canvas.line(&[(8.0, y), (right, y)], Stroke::new(RULE, 0.75))?;
            let lines = name(site, layout.labels);
            let count = lines.len() as f64;
            let middle = y + layout.row / 2.0;
            for (n, line) in lines.into_iter().enumerate() {
                canvas.text(
                    (8.0, middle + (n as f64 - count / 2.0) * LABEL),
                    &line,
                    STRONG,
                )?;
            }
            let words = shorten(&site.sensors, SMALL, layout.labels);
            canvas.text((8.0, middle + count * LABEL / 2.0), &words, QUIET)?;
        }
        Ok(())
    }

    fn panel(
        &self,
        canvas: &Canvas,
        panel: &Panel,
        layout: &Layout,
        (left, top): (f64, f64),
    ) -> Drawn {
        let x = panel.scale.at(left, left + layout.room);
        let bottom = top + self.height(layout.row);
        let mut y = top - 2.0;
        let heads = heads(panel, (layout.room + EDGE, layout.words));
        for (height, (words, lettering)) in heads.into_iter().rev() {
            canvas.text((left, y - height / 2.0), &words, lettering)?;
            y -= height;
        }
        across(canvas, &x, bottom, None)?;
        canvas.line(&[(left, bottom), (x.to, bottom)], Stroke::new(INK, 1.0))?;
        let size = panel.size(layout.words, layout.least);
        let most = if size.is_some() { 1 } else { 2 };
        let rows = self.sites.iter().zip(&panel.shown);
        for ((site, shown), y) in rows.zip(self.tops(layout.row, top)) {
            let foot = y + layout.row;
            if x.low < 0.0 && x.high > 0.0 {
                let zero = [(x.map(0.0), foot - 18.0), (x.map(0.0), foot - 3.0)];
                canvas.line(&zero, Stroke::dashed(MUTED, 1.25))?;
            }
            match shown {
                None => {
                    let middle = ((left + x.to) / 2.0, y + layout.row / 2.0);
                    canvas.text(middle, whereworn_model::format::NO_VALUE, QUIET.middle())?;
                }
                Some(shown) => {
                    estimate(canvas, site, &shown.estimate, &x, foot - 12.0)?;
                    let lines: Vec<&str> = shown.numbers.splitn(most, ' ').collect();
                    let size = size.unwrap_or(SMALL);
                    numbers(canvas, &lines, (left, foot - 27.0), (size, layout.words))?;
                }
            }
        }
        Ok(())
    }
}

/// The lines of a site's name, which is shown whole.
fn name(site: &Site, room: f64) -> Vec<String> {
    let room = room + EDGE;
    wrap(
        &hyphenated(&site.label, TEXT, room),
        TEXT,
        room,
        LABEL_LINES,
    )
}

/// The lines above a panel with their heights: its title, and which values are good.
fn heads(panel: &Panel, (room, words): (f64, f64)) -> Vec<(f64, (String, Lettering))> {
    let title = heading(&panel.title, room).into_iter();
    let good = wrap(&panel.good, SMALL, words, 2).into_iter();
    title
        .map(|line| (13.0, (line, STRONG)))
        .chain(good.map(|line| (LINE, (line, QUIET))))
        .collect()
}

/// An estimate's mark and interval, with a light core where the site has few sensors.
fn estimate(canvas: &Canvas, site: &Site, estimate: &Estimate, x: &Scale, y: f64) -> Drawn {
    estimate.draw(canvas, x, y, site.mark)?;
    if site.few {
        canvas.mark((x.map(estimate.value), y), site.mark, 2.6, PANEL)?;
    }
    Ok(())
}

/// An estimate's numbers, the last line at a height. None is cut: what is too long is written smaller.
fn numbers(
    canvas: &Canvas,
    lines: &[&str],
    (left, foot): (f64, f64),
    (size, room): (f64, f64),
) -> Drawn {
    for (above, words) in lines.iter().rev().enumerate() {
        let ink = Lettering {
            colour: INK,
            size: size * (room / text_width(words, size)).min(1.0),
            ..QUIET
        };
        canvas.text((left, foot - above as f64 * LINE), words, ink)?;
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
                    self.panel(canvas, panel, &layout, (left, top))?;
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
