//! The sections of the report, in order.

use crate::ReportError;
use crate::catalogue::{Point, fill};
use crate::context::Context;
use crate::document::{Block, Item};

mod bottom_line;
mod method;
mod tables;

/// Keys of the sections, in the order in which a reader meets them.
pub(crate) const ORDER: [&str; 11] = [
    "bottom-line",
    "wear",
    "accuracy",
    "nights",
    "delay",
    "spread",
    "skin",
    "annex",
    "quality",
    "method",
    "cautions",
];

/// The whole report.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let mut out = opening(context);
    for key in ORDER {
        section(context, key, &mut out)?;
    }
    let version = [("version", context.input.version)];
    out.push(Block::Paragraph(fill(&context.text.page.made_by, &version)));
    Ok(out)
}

fn opening(context: &Context) -> Vec<Block> {
    let page = &context.text.page;
    let settings = context.input.settings;
    let cutoff = whereworn_model::time::format_local(context.input.cutoff, &context.zone);
    let zone = settings.study.timezone.as_deref().unwrap_or("UTC");
    let values = [
        ("month", &*context.month()),
        ("cutoff", &*cutoff),
        ("zone", zone),
        ("unit", context.unit.code()),
    ];
    let mut out = vec![
        Block::Heading(1, settings.study.title.clone()),
        Block::Paragraph(fill(&page.period, &values)),
    ];
    out.push(Block::Callout(page.cautions.clone()));
    out.push(Block::Contents);
    out
}

fn section(context: &Context, key: &str, out: &mut Vec<Block>) -> Result<(), ReportError> {
    let Some(text) = context.text.sections.get(key) else {
        return Ok(());
    };
    let heading = Block::Heading(2, text.title.clone());
    let inner = match key {
        "bottom-line" => bottom_line::blocks(context)?,
        "method" => vec![method::block(context)],
        "cautions" => vec![points(&context.text.cautions, &[])],
        _ => tables::section(context, key, text)?,
    };
    if !inner.is_empty() {
        out.push(heading);
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
