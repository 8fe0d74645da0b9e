//! The sections of the report, in order.

use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Part, finish};
use crate::edition::Place;
use crate::error::ReportError;

mod bottom_line;
mod changes;
mod method;
mod parts;
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
    let page = &context.text.page;
    let mut out = opening(context);
    for key in &plan.body {
        section(context, key, Place::Body, &mut out)?;
    }
    let mut annex = Vec::new();
    for key in &plan.annex {
        section(context, key, Place::Annex, &mut annex)?;
    }
    if !annex.is_empty() {
        out.push(Block::in_part(2, &page.annex, Part::Annex));
        out.push(Block::Paragraph(page.annex_intro.clone()));
        out.push(Block::contents(&page.contents_annex, 3));
        out.extend(annex.into_iter().map(lower));
    }
    let version = [("version", context.input.version)];
    out.push(Block::Paragraph(fill(&page.made_by, &version)));
    finish(&mut out);
    Ok(out)
}

/// The same block, a heading one level lower.
fn lower(block: Block) -> Block {
    match block {
        Block::Title(title) => Block::title(title.level + 1, &title.text),
        other => other,
    }
}

/// The page of sheets, where the edition has one and there is a sensor for it.
pub(crate) fn sheet_blocks(context: &Context) -> Result<Option<Vec<Block>>, ReportError> {
    let text = context.text.sections.get("sheets");
    let Some(text) = text.filter(|_| context.plan().sheets) else {
        return Ok(None);
    };
    let mut out = vec![Block::title(1, &text.title)];
    out.extend(sheets::blocks(context, &text.intro)?);
    finish(&mut out);
    Ok((out.len() > 1).then_some(out))
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
        Block::title(1, &settings.study.title),
        Block::Paragraph(fill(&page.opening, &values)),
    ];
    if let Some(shared) = context.shared.filter(|shared| shared.withheld > 0) {
        let sites = context.text.sites_counted(shared.withheld as f64);
        out.push(Block::Paragraph(fill(&page.withheld, &[("sites", &sites)])));
    }
    out.push(Block::Callout(page.cautions.clone()));
    out.push(Block::contents(&page.contents, 2));
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
        ("tips", _) => tips::blocks(context, text),
        ("method", _) => method::blocks(context),
        ("cautions", _) => vec![parts::points(&context.text.cautions, &[])],
        _ => tables::section(context, key, text, place)?,
    };
    if !inner.is_empty() {
        out.push(Block::title(2, &text.title));
        out.extend(inner);
    }
    Ok(())
}
