//! The sections of the report, in order.

use crate::ReportError;
use crate::catalogue::{Point, fill};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::edition::Place;

mod bottom_line;
mod changes;
mod method;
mod questions;
mod sheets;
mod sites;
mod summary;
mod tables;
mod tips;
mod unknown;

/// The whole report: the body, then the annex, its headings a level below.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let plan = context.plan();
    let mut out = opening(context);
    for key in &plan.body {
        section(context, key, Place::Body, &mut out)?;
    }
    let mut annex = Vec::new();
    for key in &plan.annex {
        section(context, key, Place::Annex, &mut annex)?;
    }
    if !annex.is_empty() {
        out.push(Block::Heading(2, context.text.page.annex.clone()));
        out.push(Block::Paragraph(context.text.page.annex_intro.clone()));
        out.push(Block::Contents(3));
        out.extend(annex.into_iter().map(Block::lower));
    }
    let version = [("version", context.input.version)];
    out.push(Block::Paragraph(fill(&context.text.page.made_by, &version)));
    for key in &plan.sheets {
        section(context, key, Place::Annex, &mut out)?;
    }
    Ok(out)
}

fn opening(context: &Context) -> Vec<Block> {
    let page = &context.text.page;
    let settings = &context.input.settings;
    let values = [
        ("period", &*context.period()),
        ("cutoff", &*context.instant(context.input.cutoff)),
        ("zone", context.zone_name()),
        ("unit", context.unit.code()),
    ];
    let mut out = vec![
        Block::Heading(1, settings.study.title.clone()),
        Block::Paragraph(fill(&page.opening, &values)),
    ];
    if let Some(shared) = context.shared.filter(|shared| shared.withheld > 0) {
        let sites = context.text.sites_counted(shared.withheld as f64);
        out.push(Block::Paragraph(fill(&page.withheld, &[("sites", &sites)])));
    }
    out.push(Block::Callout(page.cautions.clone()));
    out.push(Block::Contents(2));
    out
}

fn section(
    context: &Context,
    key: &str,
    place: Place,
    out: &mut Vec<Block>,
) -> Result<(), ReportError> {
    let Some(text) = context.text.sections.get(key) else {
        return Ok(());
    };
    let inner = match (key, place) {
        ("bottom-line", Place::Body) => bottom_line::blocks(context)?,
        ("changes", Place::Body) => changes::blocks(context, text)?,
        ("sites", _) => sites::blocks(context, place)?,
        ("questions", _) => questions::blocks(context, text),
        ("unknown", _) => unknown::blocks(context, text),
        ("sheets", _) => sheets::blocks(context, &text.intro)?,
        ("tips", _) => tips::blocks(context, text),
        ("method", _) => method::blocks(context),
        ("cautions", _) => vec![points(&context.text.cautions, &[])],
        _ => tables::section(context, key, text, place)?,
    };
    if !inner.is_empty() {
        out.push(Block::Heading(2, text.title.clone()));
        out.extend(inner);
    }
    Ok(())
}

/// Points of the catalogue as a list.
fn points(points: &[Point], values: &[(&str, &str)]) -> Block {
    Block::List(
        points
            .iter()
            .map(|point| Item {
                lead: point.lead.clone(),
                text: fill(&point.text, values),
            })
            .collect(),
    )
}
