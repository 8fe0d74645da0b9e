//! Glucose traces: a small picture for each stretch of readings, sites under each other, times by the clock.

use whereworn_model::header::Chart as Wish;

use super::axis::{Scale, covering, tick_texts};
use super::canvas::{
    Anchor, Canvas, Drawn, Lettering, PLAIN, QUIET, SMALL, STRONG, Stroke, TEXT, paint,
};
use super::legend::Legend;
use super::lettering::{shorten, width as text_width, wrap};
use super::shared::{Chart, listing, with_rest};
use super::time_axis;
use super::trace::{Picture, picture};
use crate::catalogue::fill;
use crate::context::Context;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{ACCENT, GHOST, INK, MUTED, PANEL, RULE, group};
use crate::view::{Group, View};

/// Most pictures drawn.
const MOST_PICTURES: usize = 60;

/// The level at which a low reading begins (mg/dL): level 1 hypoglycaemia, Battelino et al. 2019, Diabetes Care 42:1593.
pub(crate) const LOW_MGDL: f64 = 70.0;

/// Most lines of words above a picture.
const MOST_LINES: usize = 3;

const LEFT: f64 = 36.0;
const GAP: f64 = 12.0;

struct Site {
    title: String,
    mark: usize,
    pictures: Vec<Picture>,
}

/// What the legend explains.
enum Sign {
    Trace,
    Marked,
    Point,
    Low,
}

/// Traces in a grid.
pub(crate) struct Traces<'a> {
    context: &'a Context<'a>,
    sites: Vec<Site>,
    y: Scale,
    /// Time that every picture covers, microseconds.
    span: f64,
    low: Option<f64>,
    y_label: String,
    legend: Vec<(Sign, String)>,
    finding: String,
    caption: String,
}

impl<'a> Traces<'a> {
    /// The chart of a table; `None` where no row has an instant and a reading.
    pub fn of(view: &'a View<'a>, wish: &Wish) -> Option<Self> {
        let context = view.context;
        let text = &context.text.chart.traces;
        let by_site = view.table.column("site").map(|_| "site");
        let all: Vec<(Group, Vec<Picture>)> = view
            .groups(by_site)
            .into_iter()
            .map(|part| {
                let groups = view.groups_of(&part.rows, wish.panel.as_deref());
                let drawn = groups.iter().filter_map(|g| picture(view, wish, g));
                let pictures = drawn.collect();
                (part, pictures)
            })
            .filter(|(_, pictures): &(Group, Vec<Picture>)| !pictures.is_empty())
            .collect();
        let count: usize = all.iter().map(|(_, pictures)| pictures.len()).sum();
        let most = fair_share(&all.iter().map(|(_, p)| p.len()).collect::<Vec<_>>());
        let (mut sites, mut items) = (Vec::new(), Vec::new());
        for (part, mut pictures) in all {
            items.push(item(view, wish, &part.label, &pictures));
            pictures.truncate(most);
            sites.push(Site {
                mark: view.mark(by_site, &part.key, 0),
                title: part.label,
                pictures,
            });
        }
        sites.truncate(MOST_PICTURES);
        sites.first()?;
        let low = (view.table.column(&wish.y)?.header.unit.as_deref() == Some("mg/dL"))
            .then(|| context.unit.from_mgdl(LOW_MGDL));
        let pictures = || sites.iter().flat_map(|site| &site.pictures);
        let values = pictures().flat_map(Picture::all).map(|(_, value)| value);
        // Levels to see a low against, however few readings there are.
        let around_low = low.iter().flat_map(|low| [low * 0.7, low * 2.0]);
        let end = |p: &Picture| p.all().map(|(at, _)| at).fold(p.start, f64::max);
        let span = pictures().map(|p| end(p) - p.start).fold(60e6, f64::max);
        let left_out = count - pictures().count();
        let zone = context.zone_name();
        let caption = fill(&text.caption, &[("zone", zone)]);
        Some(Self {
            y: covering(values.chain(around_low)),
            span,
            low,
            y_label: view.heading(&wish.y),
            legend: legend(view, wish, low, pictures()),
            finding: fill(
                &text.finding,
                &[("count", &count.to_string()), ("list", &listing(&items))],
            ),
            caption: with_rest(view, &caption, left_out),
            context,
            sites,
        })
    }

    fn grid(&self, width: f64) -> Grid {
        let pictures = || self.sites.iter().flat_map(|site| &site.pictures);
        let most = match (width < 500.0, pictures().count()) {
            (true, ..=4) => 1,
            (true, _) => 2,
            (false, ..=18) => 3,
            (false, _) => 4,
        };
        let widest = self.sites.iter().map(|site| site.pictures.len()).max();
        let columns = widest.unwrap_or(1).clamp(1, most);
        let cell = (width - LEFT - 10.0 - GAP * (columns - 1) as f64) / columns as f64;
        let lines = pictures().map(|p| wrap(&p.words, SMALL, cell, MOST_LINES).len());
        Grid {
            columns,
            cell,
            head: lines.max().unwrap_or(0) as f64 * 13.0 + 6.0,
            plot: if cell < 220.0 { 84.0 } else { 104.0 },
        }
    }

    fn site(&self, canvas: &Canvas, site: &Site, grid: &Grid, top: f64, width: f64) -> Drawn {
        canvas.mark((14.0, top + 12.0), site.mark, 5.0, group(site.mark))?;
        let title = shorten(&site.title, TEXT, width - 34.0);
        canvas.text((24.0, top + 12.0), &title, STRONG)?;
        for (index, picture) in site.pictures.iter().enumerate() {
            let left = LEFT + (index % grid.columns) as f64 * (grid.cell + GAP);
            let above = top + SITE_HEAD + (index / grid.columns) as f64 * grid.row();
            for (line, words) in wrap(&picture.words, SMALL, grid.cell, MOST_LINES)
                .iter()
                .enumerate()
            {
                canvas.text((left, above + 8.0 + line as f64 * 13.0), words, QUIET)?;
            }
            let y = self.y.at(above + grid.head + grid.plot, above + grid.head);
            let x = Scale {
                low: picture.start,
                high: picture.start + self.span,
                from: left,
                to: left + grid.cell,
                whole: false,
            };
            self.frame(canvas, &x, &y, index.is_multiple_of(grid.columns))?;
            self.picture(canvas, picture, site.mark, &x, &y)?;
        }
        Ok(())
    }

    /// Grid lines, the line of lows, hours below, and levels at the left of a row's first picture.
    fn frame(&self, canvas: &Canvas, x: &Scale, y: &Scale, first: bool) -> Drawn {
        let apart = |at: f64| self.low.is_none_or(|low| (y.map(low) - at).abs() > 12.0);
        let levels = y.ticks(3);
        for (level, text) in levels.iter().zip(tick_texts(&levels)) {
            let at = y.map(*level);
            canvas.line(&[(x.from, at), (x.to, at)], Stroke::new(RULE, 0.75))?;
            if first && apart(at) {
                canvas.number((x.from - 5.0, at), &text, QUIET.end())?;
            }
        }
        if let Some(low) = self.low {
            let at = y.map(low);
            canvas.line(&[(x.from, at), (x.to, at)], Stroke::dashed(MUTED, 1.25))?;
            if first {
                let text = whereworn_model::format::glucose(LOW_MGDL, self.context.unit, 0);
                let bold = Lettering {
                    size: SMALL,
                    bold: true,
                    anchor: Anchor::End,
                    ..PLAIN
                };
                canvas.number((x.from - 5.0, at), &text, bold)?;
            }
        }
        for tick in time_axis::clock_ticks(self.context, x) {
            canvas.line(
                &[(tick.at, y.from), (tick.at, y.from + 3.0)],
                Stroke::new(GHOST, 1.0),
            )?;
            let half = text_width(&tick.text, SMALL) / 2.0;
            if tick.at - half > x.from - GAP / 2.0 && tick.at + half < x.to + GAP / 2.0 {
                canvas.text((tick.at, y.from + 11.0), &tick.text, QUIET.middle())?;
            }
        }
        canvas.line(&[(x.from, y.from), (x.to, y.from)], Stroke::new(INK, 1.0))
    }

    fn picture(
        &self,
        canvas: &Canvas,
        picture: &Picture,
        mark: usize,
        x: &Scale,
        y: &Scale,
    ) -> Drawn {
        let place = |(at, value): &(f64, f64)| (x.map(*at), y.map(*value));
        for run in &picture.marked {
            let (from, to) = (place(&run[0]).0, place(&run[run.len() - 1]).0);
            let (from, to) = (from - 1.0, to + 1.0);
            canvas.rectangle((from, y.to), (to, y.from), ACCENT, 0.13)?;
        }
        for (runs, stroke) in [
            (&picture.runs, Stroke::new(group(mark), 1.25)),
            (&picture.marked, Stroke::new(group(mark), 3.0)),
        ] {
            for run in runs {
                let line: Vec<(f64, f64)> = run.iter().map(place).collect();
                match line[..] {
                    [only] => canvas.dot(only, stroke.width, stroke.colour, 1.0)?,
                    _ => canvas.line(&line, stroke)?,
                }
            }
        }
        picture
            .points
            .iter()
            .try_for_each(|point| measured(canvas, place(point)))
    }
}

/// Room above the pictures of a site.
const SITE_HEAD: f64 = 24.0;

/// How pictures are laid out at a width.
struct Grid {
    columns: usize,
    cell: f64,
    head: f64,
    plot: f64,
}

impl Grid {
    fn row(&self) -> f64 {
        self.head + self.plot + 26.0
    }

    fn site(&self, site: &Site) -> f64 {
        SITE_HEAD + site.pictures.len().div_ceil(self.columns) as f64 * self.row()
    }
}

/// A single measurement: dark, with a light core, so that it is seen on any line.
pub(crate) fn measured(canvas: &Canvas, at: (f64, f64)) -> Drawn {
    canvas.mark(at, 2, 4.4, INK)?;
    canvas.mark(at, 2, 2.0, PANEL)
}

/// Most pictures of a site, so that all sites together have no more than are drawn.
fn fair_share(counts: &[usize]) -> usize {
    let drawn = |most: usize| counts.iter().map(|count| *count.min(&most)).sum::<usize>();
    let shares = (1..=MOST_PICTURES).rev();
    shares
        .into_iter()
        .find(|&most| drawn(most) <= MOST_PICTURES)
        .unwrap_or(1)
}

fn item(view: &View, wish: &Wish, label: &str, pictures: &[Picture]) -> String {
    let values = pictures.iter().flat_map(|p| &p.runs).flatten();
    let low = values
        .map(|(_, value)| *value)
        .fold(f64::INFINITY, f64::min);
    let marked = pictures.iter().filter(|p| !p.marked.is_empty()).count();
    let points: usize = pictures.iter().map(|p| p.points.len()).sum();
    let values = [
        ("label", label),
        ("count", &*pictures.len().to_string()),
        ("marked", &*marked.to_string()),
        ("points", &*points.to_string()),
        ("low", &*view.quantity(&wish.y, low)),
    ];
    let text = fill(&view.context.text.chart.traces.item, &values);
    text.trim().to_owned()
}

fn legend<'p>(
    view: &View,
    wish: &Wish,
    low: Option<f64>,
    pictures: impl Iterator<Item = &'p Picture> + Clone,
) -> Vec<(Sign, String)> {
    let label = |name: &str| view.table.column(name).map(|column| column.label());
    let mut out = Vec::new();
    let mut add = |sign: Sign, words: Option<String>| out.extend(words.map(|words| (sign, words)));
    add(Sign::Trace, label(&wish.y));
    if pictures.clone().any(|p| !p.marked.is_empty()) {
        add(Sign::Marked, wish.marked.as_deref().and_then(label));
    }
    if pictures.clone().any(|p| !p.points.is_empty()) {
        add(Sign::Point, wish.points.as_deref().and_then(label));
    }
    add(Sign::Low, low.map(|low| view.quantity(&wish.y, low)));
    out
}

fn sign(canvas: &Canvas, sign: &Sign, (x, y): (f64, f64)) -> Drawn {
    let ends = [(x - 8.0, y), (x + 8.0, y)];
    match sign {
        Sign::Trace => canvas.line(&ends, Stroke::new(INK, 1.25)),
        Sign::Low => canvas.line(&ends, Stroke::dashed(MUTED, 1.25)),
        Sign::Point => measured(canvas, (x, y)),
        Sign::Marked => {
            canvas.rectangle((x - 8.0, y - 7.0), (x + 8.0, y + 7.0), ACCENT, 0.13)?;
            canvas.line(&ends, Stroke::new(INK, 3.0))
        }
    }
}

impl Chart for Traces<'_> {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let grid = self.grid(width);
        let legend = Legend::new(&self.legend, width);
        let sites: f64 = self.sites.iter().map(|site| grid.site(site)).sum();
        let height = 24.0 + sites + 4.0 + legend.height() + 6.0;
        paint(decimal, width, height, |canvas| {
            let label = shorten(&self.y_label, SMALL, width - 16.0);
            canvas.text((8.0, 14.0), &label, QUIET)?;
            let mut top = 24.0;
            for site in &self.sites {
                self.site(canvas, site, &grid, top, width)?;
                top += grid.site(site);
            }
            legend.draw(canvas, top + 4.0, |what, at| sign(canvas, what, at))
        })
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}

#[cfg(test)]
mod tests {
    use super::fair_share;

    #[test]
    fn sites_with_few_pictures_keep_them_all() {
        assert_eq!(fair_share(&[3, 4, 5]), 60);
        assert_eq!(fair_share(&[100, 10, 6]), 44);
        assert_eq!(fair_share(&[90, 90]), 30);
        assert_eq!(fair_share(&[5; 80]), 1);
        assert_eq!(fair_share(&[]), 60);
    }
}
