//! Site by site: the figure, its numbers, and what can be said of each.

use super::tables;
use crate::ReportError;
use crate::chart::body::Body;
use crate::chart::intervals::Intervals;
use crate::chart::{picture, titled};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::edition::Place;
use crate::sentences::site;

/// Measures of the figure, a panel each.
const MEASURES: [&str; 6] = [
    "usable_days",
    "came_off",
    "bias",
    "within_20_20",
    "night_rate",
    "delay_minutes",
];

/// The section's blocks; none without a site. The numbers of the figure stand below it where the edition's plan has their
/// table in the body, else in the annex.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let Some(view) = context.view("site_comparison") else {
        return Ok(Vec::new());
    };
    let mut out = Vec::new();
    if let Some(body) = Body::of(&view) {
        let title = context.text.chart.body.title.clone();
        out.push(Block::Picture(titled(&view, &body, "site_body", title)?));
    }
    let sites = view.rows.iter().map(|&row| Item {
        lead: view.text(row, "site"),
        text: site(&view, row),
    });
    out.push(Block::List(sites.collect()));
    out.push(Block::Heading(3, view.table.title()));
    let chart = Intervals::of_measures(&view, &MEASURES);
    let drawn = chart.is_some();
    if let Some(chart) = chart {
        out.push(Block::Picture(picture(&view, &chart)?));
    }
    match context.place(view.table) {
        Some(Place::Annex) => out.push(Block::Paragraph(context.text.page.in_annex.clone())),
        _ => tables::numbers(&view, drawn, &mut out),
    }
    Ok(out)
}
