//! Charts: what a header asks for, drawn for a page and for a narrow screen.

use whereworn_model::header::ChartKind;

use self::shared::Chart;
use crate::catalogue::fill;
use crate::document::Picture;
use crate::error::ReportError;
use crate::escape::file_stem;
use crate::view::View;

pub(crate) mod axis;
pub(crate) mod bars;
pub(crate) mod body;
pub(crate) mod canvas;
pub(crate) mod chances;
pub(crate) mod compact;
pub(crate) mod curves;
pub(crate) mod estimates;
pub(crate) mod figure;
pub(crate) mod intervals;
pub(crate) mod last_day;
pub(crate) mod legend;
pub(crate) mod lettering;
pub(crate) mod points;
pub(crate) mod shared;
pub(crate) mod side_by_side;
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
