//! Site by site: the figure, its numbers, and what can be said of each.

use super::tables;
use crate::chart::body::Body;
use crate::chart::intervals::Intervals;
use crate::chart::{picture, titled};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::edition::Place;
use crate::error::ReportError;
use crate::sentences::site;
use crate::view::View;

/// Measures of the figure, a panel each.
const MEASURES: [&str; 6] = [
    "usable_days",
    "came_off",
    "bias",
    "within_20_20",
    "night_rate",
    "delay_minutes",
];

/// The section's blocks; none without a site. The figure of all measures and its numbers stand in the part that the
/// edition's plan has for their table, all else in the body.
pub(crate) fn blocks(context: &Context, place: Place) -> Result<Vec<Block>, ReportError> {
    let Some(view) = View::named(context, "site_comparison") else {
        return Ok(Vec::new());
    };
    let mut out = Vec::new();
    if place == Place::Body {
        if let Some(body) = Body::of(&view) {
            let title = context.text.chart.body.title.clone();
            out.push(Block::Picture(titled(&view, &body, "site_body", title)?));
        }
        let sites = view.rows.iter().map(|&row| Item {
            lead: view.text(row, "site"),
            text: site(&view, row),
        });
        out.push(Block::List(sites.collect()));
    }
    if context.place(view.table) == Some(place) {
        side_by_side(&view, &mut out)?;
    }
    Ok(out)
}

fn side_by_side(view: &View, out: &mut Vec<Block>) -> Result<(), ReportError> {
    out.push(Block::title(3, &view.table.title()));
    let chart = Intervals::of_measures(view, &MEASURES);
    let drawn = chart.is_some();
    if let Some(chart) = chart {
        out.push(Block::Picture(picture(view, &chart)?));
    }
    tables::numbers(view, drawn, out);
    Ok(())
}
