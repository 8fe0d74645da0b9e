//! What every kind of chart has.

use whereworn_model::header::Chart as Wish;

use super::canvas::{Canvas, Drawn, STRONG, TEXT};
use super::lettering::wrap;
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

/// How many panels stand beside one another: one on a phone, else three, or four where that saves a row.
pub(crate) fn columns(panels: usize, width: f64) -> usize {
    let saved = panels.div_ceil(4) < panels.div_ceil(3);
    let most = match saved {
        _ if width < 500.0 => 1,
        true => 4,
        false => 3,
    };
    panels.clamp(1, most)
}

/// Draws a panel's title above a height, in at most two lines.
pub(crate) fn title(canvas: &Canvas, words: &str, (left, foot): (f64, f64), room: f64) -> Drawn {
    let lines = wrap(words, TEXT, room, 2);
    for (above, line) in lines.iter().rev().enumerate() {
        canvas.text((left, foot - above as f64 * TITLE), line, STRONG)?;
    }
    Ok(())
}

/// How much higher the longest title is than one of one line.
pub(crate) fn title_room<'t>(titles: impl Iterator<Item = &'t str>, room: f64) -> f64 {
    let lines = titles.map(|words| wrap(words, TEXT, room, 2).len());
    lines.max().unwrap_or(1).saturating_sub(1) as f64 * TITLE
}

/// Height of a line of a title.
const TITLE: f64 = 14.0;

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

#[cfg(test)]
mod tests {
    use super::*;

    /// Seven panels, the sites of an ordinary study, take two rows of a page instead of three.
    #[test]
    fn a_fourth_panel_stands_beside_three_where_that_saves_a_row() {
        let of = |panels| columns(panels, 840.0);
        assert_eq!([1, 3, 4, 6, 7, 8, 9].map(of), [1, 3, 4, 3, 4, 4, 3]);
        assert_eq!(columns(7, 330.0), 1);
    }
}
