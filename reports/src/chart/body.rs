//! The drawn body: each site where it lies, with what is known of it beside the figure.

use whereworn_model::tables::site_comparison;

use super::canvas::{Canvas, Drawn, QUIET, SMALL, STRONG, Stroke, TEXT, paint};
use super::figure::{Figure, HALF_WIDTH, Side, spot};
use super::lettering::{width as text_width, wrap};
use super::shared::{Chart, listing, with_rest};
use crate::catalogue::fill;
use crate::chart_words::BodyText;
use crate::claims::LEAST_SENSORS;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{GHOST, PANEL, group};
use crate::sentences::worn;
use crate::view::View;

/// Most sites drawn.
const MOST_SITES: usize = 24;

const LINE: f64 = 13.5;
const GAP: f64 = 10.0;

/// Height of a figure on a page: with its words it fills a page's width and little of its height.
const FIGURE: f64 = 280.0;

/// One site.
struct Site {
    label: String,
    mark: usize,
    spot: Option<(Side, (f64, f64))>,
    sensors: f64,
    facts: Vec<String>,
}

/// Sites on a figure.
pub(crate) struct Body {
    /// Those on the figure from top to bottom, front first, then those of the study's own.
    sites: Vec<Site>,
    front: String,
    back: String,
    finding: String,
    caption: String,
}

impl Body {
    /// The figure for the table of sites side by side; `None` where none of them has a place on it.
    pub fn of(view: &View) -> Option<Self> {
        let text = &view.context.text.chart.body;
        let mut sites: Vec<Site> = view.rows.iter().map(|&row| site(view, text, row)).collect();
        let left_out = sites.len().saturating_sub(MOST_SITES);
        let items: Vec<String> = sites.iter().map(|site| item(text, site)).collect();
        sites.truncate(MOST_SITES);
        sites.iter().find(|site| site.spot.is_some())?;
        let place = |site: &Site| match site.spot {
            Some((Side::Front, (_, y))) => (0, y),
            Some((Side::Back, (_, y))) => (1, y),
            None => (2, 0.0),
        };
        sites.sort_by(|a, b| {
            let (a, b) = (place(a), place(b));
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
        });
        let elsewhere = sites.iter().any(|site| site.spot.is_none());
        let mut caption = vec![text.caption.clone()];
        if elsewhere {
            caption.push(text.caption_elsewhere.clone());
        }
        if let Some(people) = view.context.everyone {
            let of_all = &view.context.text.page.of_all;
            caption.push(fill(of_all, &[("count", &people.to_string())]));
        }
        Some(Self {
            sites,
            front: text.front.clone(),
            back: text.back.clone(),
            finding: fill(&text.finding, &[("list", &listing(&items))]),
            caption: with_rest(view, &caption.join(" "), left_out),
        })
    }

    fn on(&self, side: Side) -> impl Iterator<Item = (&Site, (f64, f64))> {
        self.sites.iter().filter_map(move |site| {
            let (on, at) = site.spot?;
            (on == side).then_some((site, at))
        })
    }

    fn elsewhere(&self) -> Vec<&Site> {
        self.sites
            .iter()
            .filter(|site| site.spot.is_none())
            .collect()
    }

    fn figure(&self, canvas: &Canvas, figure: &Figure) -> Drawn {
        figure.draw(canvas)?;
        let name = match figure.side {
            Side::Front => &self.front,
            Side::Back => &self.back,
        };
        let foot = (figure.middle, figure.top + figure.height + 12.0);
        canvas.text(foot, name, QUIET.middle())?;
        let most = self
            .sites
            .iter()
            .map(|site| site.sensors)
            .fold(1.0, f64::max);
        for (site, at) in self.on(figure.side) {
            let radius = 14.0 * (site.sensors / most).max(0.0).sqrt();
            canvas.dot(figure.place(at), radius.max(7.0), group(site.mark), 0.22)?;
        }
        self.on(figure.side)
            .try_for_each(|(site, at)| site.sign(canvas, figure.place(at)))
    }

    /// The figures in the middle of a page, the words at both sides.
    fn wide(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        const WORDS: f64 = 216.0;
        let callouts = |side| -> Vec<Callout> {
            self.on(side)
                .map(|(site, at)| Callout::new(site, at, WORDS))
                .collect()
        };
        let (mut front, mut back) = (callouts(Side::Front), callouts(Side::Back));
        let needed = stacked(&front).max(stacked(&back));
        let height = needed.max(FIGURE);
        let unit = FIGURE / 100.0;
        let top = 12.0 + (height - FIGURE) / 2.0;
        let middle = 8.0 + WORDS + 24.0 + HALF_WIDTH * unit;
        let figure = |side, middle| Figure {
            side,
            middle,
            top,
            height: FIGURE,
        };
        let front_figure = figure(Side::Front, middle);
        let back_figure = figure(Side::Back, width - middle);
        settle(&mut front, &front_figure, 12.0 + height);
        settle(&mut back, &back_figure, 12.0 + height);
        let foot = 12.0 + height + 26.0;
        let rest = self.elsewhere();
        let columns = 3;
        let column = (width - 16.0) / columns as f64;
        let blocks: Vec<Callout> = rest
            .iter()
            .map(|site| Callout::new(site, (0.0, 0.0), column - 34.0))
            .collect();
        let rows: Vec<f64> = blocks
            .chunks(columns)
            .map(|row| row.iter().map(Callout::height).fold(0.0, f64::max) + GAP)
            .collect();
        paint(
            decimal,
            width,
            foot + rows.iter().sum::<f64>() + 4.0,
            |canvas| {
                for (callouts, figure, text) in [
                    (&front, &front_figure, 8.0),
                    (&back, &back_figure, width - 8.0 - WORDS),
                ] {
                    for callout in callouts {
                        let edge = match figure.side {
                            Side::Front => text + callout.width() + 6.0,
                            Side::Back => text - 4.0,
                        };
                        let at = (edge, callout.top + LINE / 2.0);
                        let bend = (at.0 + 14.0 * (figure.middle - edge).signum(), at.1);
                        let line = [at, bend, figure.place(callout.at)];
                        canvas.line(&line, Stroke::new(GHOST, 1.0))?;
                    }
                    self.figure(canvas, figure)?;
                    for callout in callouts {
                        callout.draw(canvas, text, callout.top, None)?;
                    }
                }
                let mut top = foot;
                for (row, height) in blocks.chunks(columns).zip(&rows) {
                    for (index, callout) in row.iter().enumerate() {
                        callout.draw(canvas, 8.0 + index as f64 * column, top, None)?;
                    }
                    top += height;
                }
                Ok(())
            },
        )
    }

    /// The figures above, with numbers; the words below.
    fn narrow(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        const HEIGHT: f64 = 300.0;
        let middle = width / 4.0 + 8.0;
        let blocks: Vec<Callout> = self
            .sites
            .iter()
            .map(|site| Callout::new(site, (0.0, 0.0), width - 62.0))
            .collect();
        let foot = 10.0 + HEIGHT + 30.0;
        let words: f64 = blocks.iter().map(|block| block.height() + GAP).sum();
        paint(decimal, width, foot + words, |canvas| {
            for (side, middle) in [(Side::Front, middle), (Side::Back, width - middle)] {
                let figure = Figure {
                    side,
                    middle,
                    top: 10.0,
                    height: HEIGHT,
                };
                self.figure(canvas, &figure)?;
                for (index, site) in self.sites.iter().enumerate() {
                    let Some((_, at)) = site.spot.filter(|(on, _)| *on == side) else {
                        continue;
                    };
                    let (x, y) = figure.place(at);
                    let beside = if side == Side::Front { -17.0 } else { 17.0 };
                    let number = (index + 1).to_string();
                    canvas.text((x + beside, y - 1.0), &number, STRONG.middle())?;
                }
            }
            let mut top = foot;
            for (index, callout) in blocks.iter().enumerate() {
                let number = callout.site.spot.map(|_| (index + 1).to_string());
                callout.draw(canvas, 8.0, top, Some(number.as_deref().unwrap_or("")))?;
                top += callout.height() + GAP;
            }
            Ok(())
        })
    }
}

impl Site {
    fn judged(&self) -> bool {
        self.sensors >= LEAST_SENSORS
    }

    /// The site's mark, with a light core where it cannot be judged yet.
    fn sign(&self, canvas: &Canvas, at: (f64, f64)) -> Drawn {
        canvas.mark(at, self.mark, 7.0, PANEL)?;
        canvas.mark(at, self.mark, 5.2, group(self.mark))?;
        if self.judged() {
            Ok(())
        } else {
            canvas.mark(at, self.mark, 2.8, PANEL)
        }
    }
}

/// The words of a site, in lines.
struct Callout<'s> {
    site: &'s Site,
    /// Its place on the figure.
    at: (f64, f64),
    top: f64,
    title: Vec<String>,
    lines: Vec<String>,
}

impl<'s> Callout<'s> {
    fn new(site: &'s Site, at: (f64, f64), room: f64) -> Self {
        Self {
            site,
            at,
            top: 0.0,
            title: wrap(&site.label, TEXT, room - 20.0, 2),
            lines: site
                .facts
                .iter()
                .flat_map(|fact| wrap(fact, SMALL, room - 4.0, 2))
                .collect(),
        }
    }

    /// Width of the first line with its sign.
    fn width(&self) -> f64 {
        20.0 + self
            .title
            .first()
            .map_or(0.0, |line| text_width(line, TEXT))
    }

    fn height(&self) -> f64 {
        (self.title.len() + self.lines.len()) as f64 * LINE
    }

    /// Draws the words from an upper left corner, with the number of the site where numbers are used.
    fn draw(&self, canvas: &Canvas, left: f64, top: f64, number: Option<&str>) -> Drawn {
        let line = |index: usize| top + (index as f64 + 0.5) * LINE;
        let indent = match number {
            Some(number) => {
                canvas.text((left + 16.0, line(0)), number, STRONG.end())?;
                24.0
            }
            None => 0.0,
        };
        let left = left + indent;
        self.site.sign(canvas, (left + 7.0, line(0)))?;
        for (index, words) in self.title.iter().enumerate() {
            canvas.text((left + 20.0, line(index)), words, STRONG)?;
        }
        for (index, words) in self.lines.iter().enumerate() {
            let at = (left + 2.0, line(self.title.len() + index));
            canvas.text(at, words, QUIET)?;
        }
        Ok(())
    }
}

/// Height of callouts one under another.
fn stacked(callouts: &[Callout]) -> f64 {
    callouts.iter().map(|callout| callout.height() + GAP).sum()
}

/// Puts each callout as near the height of its spot as the others leave room for.
fn settle(callouts: &mut [Callout], figure: &Figure, bottom: f64) {
    let mut least = 8.0;
    for callout in callouts.iter_mut() {
        callout.top = (figure.place(callout.at).1 - LINE * 2.0).max(least);
        least = callout.top + callout.height() + GAP;
    }
    let mut most = bottom;
    for callout in callouts.iter_mut().rev() {
        callout.top = callout.top.min(most - callout.height());
        most = callout.top - GAP;
    }
}

fn site(view: &View, text: &BodyText, row: usize) -> Site {
    let key = view.table.text(row, site_comparison::column::SITE);
    let sensors = worn(view, row);
    let mut count = view.context.text.sensors(sensors);
    if view.context.off_label(key) {
        count = fill(&text.off_label, &[("sensors", &count)]);
    }
    let mut facts = vec![count];
    if sensors < LEAST_SENSORS {
        facts.push(text.few.clone());
    }
    Site {
        label: view.text(row, site_comparison::column::SITE),
        mark: view.context.site_mark(key),
        spot: spot(key),
        sensors,
        facts,
    }
}

fn item(text: &BodyText, site: &Site) -> String {
    let facts = site.facts.join(", ");
    fill(&text.item, &[("label", &site.label), ("facts", &facts)])
}

impl Chart for Body {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        if width < 500.0 {
            self.narrow(width, decimal)
        } else {
            self.wide(width, decimal)
        }
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}
