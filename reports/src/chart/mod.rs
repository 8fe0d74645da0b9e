//! Charts: what a header asks for, drawn for a page and for a narrow screen.

use whereworn_model::header::{Chart as Wish, ChartKind};

use self::compact::ROOT;
use crate::ReportError;
use crate::catalogue::fill;
use crate::document::Picture;
use crate::escape::{clean, file_stem, html as escape};
use crate::view::View;

pub(crate) mod axis;
pub(crate) mod bars;
pub(crate) mod body;
pub(crate) mod canvas;
pub(crate) mod compact;
pub(crate) mod curves;
pub(crate) mod figure;
pub(crate) mod intervals;
pub(crate) mod last_day;
pub(crate) mod legend;
pub(crate) mod lettering;
pub(crate) mod points;
pub(crate) mod span;
pub(crate) mod spans;
pub(crate) mod strip;
pub(crate) mod time_axis;
pub(crate) mod trace;
pub(crate) mod traces;

/// Widths of a figure on a page and on a narrow screen, CSS pixels.
const WIDTHS: (f64, f64) = (840.0, 330.0);

/// Width of a figure that is the same on every screen, CSS pixels.
const SMALL_WIDTH: f64 = 340.0;

/// A finished drawing.
pub(crate) struct Drawing {
    pub width: f64,
    pub height: f64,
    /// Units of the drawing in a CSS pixel.
    pub scale: f64,
    /// The elements within the root element.
    pub body: String,
}

/// A chart ready to be drawn at any width.
pub(crate) trait Chart {
    /// The drawing in a width of CSS pixels, with the mark before decimals.
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError>;
    /// What the chart shows, in numbers.
    fn finding(&self) -> &str;
    /// How to read its marks.
    fn caption(&self) -> &str;
}

/// The chart that a table's header asks for; none where there is nothing to draw.
pub(crate) fn of_table(view: &View) -> Result<Option<Picture>, ReportError> {
    let Some(wish) = &view.table.header.chart else {
        return Ok(None);
    };
    let chart: Option<Box<dyn Chart>> = match wish.kind {
        ChartKind::Line | ChartKind::Steps => boxed(curves::Curves::of(view, wish)),
        ChartKind::Points => boxed(points::Points::of(view, wish)),
        ChartKind::Intervals => boxed(intervals::Intervals::of(view, wish)),
        ChartKind::Bars => boxed(bars::Bars::of(view, wish)),
        ChartKind::Spans => boxed(spans::Spans::of(view, wish)),
        ChartKind::Traces => boxed(traces::Traces::of(view, wish)),
        ChartKind::Strip => boxed(strip::Strip::of(view, wish)),
    };
    chart.map(|chart| picture(view, chart.as_ref())).transpose()
}

fn boxed<'a>(chart: Option<impl Chart + 'a>) -> Option<Box<dyn Chart + 'a>> {
    chart.map(|chart| Box::new(chart) as Box<dyn Chart>)
}

/// A chart of a table as a figure of the report.
pub(crate) fn picture(view: &View, chart: &dyn Chart) -> Result<Picture, ReportError> {
    titled(view, chart, &view.table.name, view.table.title())
}

/// A chart under a name and a title of its own.
pub(crate) fn titled(
    view: &View,
    chart: &dyn Chart,
    name: &str,
    title: String,
) -> Result<Picture, ReportError> {
    at_widths(view, chart, name, title, (WIDTHS.0, Some(WIDTHS.1)))
}

/// A small chart, the same on every screen.
pub(crate) fn small(
    view: &View,
    chart: &dyn Chart,
    name: &str,
    title: String,
) -> Result<Picture, ReportError> {
    at_widths(view, chart, name, title, (SMALL_WIDTH, None))
}

fn at_widths(
    view: &View,
    chart: &dyn Chart,
    name: &str,
    title: String,
    (wide, narrow): (f64, Option<f64>),
) -> Result<Picture, ReportError> {
    let text = &view.context.text;
    let finding = [("title", &*title), ("finding", chart.finding())];
    let draw = |width| chart.draw(width, &text.decimal);
    Ok(Picture {
        name: file_stem(name),
        alt: fill(&text.chart.alt, &finding),
        caption: chart.caption().to_owned(),
        wide: draw(wide)?,
        narrow: narrow.map(draw).transpose()?,
        title,
    })
}

/// The column that splits a chart into panels, and the one that splits a panel into lines: a table of
/// sites has a panel for each site, and in it a line for each cause where it has causes.
pub(crate) fn splits<'a>(view: &View, wish: &'a Wish) -> (Option<&'a str>, Option<&'a str>) {
    let has = |name: &str| view.table.column(name).is_some();
    match wish.series.as_deref().filter(|name| has(name)) {
        Some("site") if has("cause") => (Some("site"), Some("cause")),
        Some(series) if series != "site" && has("site") => (Some("site"), Some(series)),
        series => (series, None),
    }
}

/// Most panels drawn.
const MOST_PANELS: usize = 24;

/// A caption that says how many rows or panels are left out, if any are.
pub(crate) fn with_rest(view: &View, caption: &str, left_out: usize) -> String {
    if left_out == 0 {
        return caption.to_owned();
    }
    let rest = fill(
        &view.context.text.chart.more_rows,
        &[("count", &left_out.to_string())],
    );
    format!("{caption} {rest}")
}

/// Joins the parts of a finding, a long list cut short.
pub(crate) fn listing(items: &[String]) -> String {
    const MOST: usize = 12;
    let shown = items
        .iter()
        .take(MOST)
        .cloned()
        .collect::<Vec<_>>()
        .join("; ");
    if items.len() > MOST {
        format!("{shown}; …")
    } else {
        shown
    }
}

impl Drawing {
    /// The drawing as a file of its own.
    pub fn file(&self, picture: &Picture) -> String {
        let size = format!(
            " xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.0}\" height=\"{:.0}\"",
            self.width, self.height
        );
        self.element(picture, "file", &size)
    }

    /// The drawing as part of a page.
    pub fn inline(&self, picture: &Picture, class: &str) -> String {
        self.element(picture, class, &format!(" class=\"{class}\""))
    }

    fn element(&self, picture: &Picture, suffix: &str, attributes: &str) -> String {
        let id = format!("{}-{suffix}", picture.name);
        format!(
            "<svg role=\"img\" {ROOT} aria-labelledby=\"{id}-title {id}-desc\" viewBox=\"0 0 {:.0} {:.0}\"{attributes}>\n\
             <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n{}\n</svg>\n",
            self.width * self.scale,
            self.height * self.scale,
            escape(&clean(&picture.title)),
            escape(&clean(&picture.alt)),
            self.body,
        )
    }
}
