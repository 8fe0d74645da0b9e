//! What every kind of chart has.

use whereworn_model::header::Chart as Wish;

use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::view::View;

/// A chart ready to be drawn at any width.
pub(crate) trait Chart {
    /// The drawing in a width of CSS pixels, with the mark before decimals.
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError>;
    /// What the chart shows, in numbers.
    fn finding(&self) -> &str;
    /// How to read its marks.
    fn caption(&self) -> &str;
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
pub(crate) const MOST_PANELS: usize = 24;

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
