//! The bottom line: what can be said of all sites, how sure it is, and the table behind it.

use whereworn_model::units::Unit;

use super::{summary, tables};
use crate::ReportError;
use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Item};
use crate::edition::Place;
use crate::sentences::{Measure, best, worn};
use crate::view::View;

/// The section's blocks.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let mut out = Vec::new();
    match context.view("site_comparison") {
        Some(view) => comparison(&view, &mut out),
        None => {
            let missing = context
                .text
                .sections
                .get("bottom-line")
                .map(|text| text.missing.clone());
            out.extend(missing.map(Block::Paragraph));
        }
    }
    for table in tables::of_section(context, "bottom-line", Place::Body) {
        tables::table(context, table, &mut out)?;
    }
    Ok(out)
}

fn comparison(view: &View, out: &mut Vec<Block>) {
    let text = &view.context.text.bottom;
    out.push(Block::Paragraph(scope(view)));
    if view.rows.len() > 1 {
        let item = |lead: &str, measure| Item {
            lead: lead.to_owned(),
            text: best(view, measure),
        };
        out.push(Block::List(vec![
            item(&text.stay, Measure::Stay),
            item(&text.r#true, Measure::True),
            item(&text.quiet, Measure::Quiet),
        ]));
    }
    out.push(Block::Table(summary::table(view)));
    let explain = match view.context.unit {
        Unit::MgDl => &text.explain,
        Unit::MmolL => &text.explain_mmol,
    };
    out.push(Block::Paragraph(explain.clone()));
}

/// How many sensors and wearers the figures rest on.
fn scope(view: &View) -> String {
    let text = &view.context.text.bottom;
    let wearers = view.context.wearers().len();
    let sensors: f64 = view.rows.iter().map(|&row| worn(view, row)).sum();
    let values = [
        ("wearers", &*wearers.to_string()),
        ("sensors", &*view.context.text.sensors(sensors)),
        (
            "sites",
            &*view.context.text.sites_counted(view.rows.len() as f64),
        ),
    ];
    let template = if wearers > 1 {
        &text.scope_many
    } else {
        &text.scope_one
    };
    let scope = fill(template, &values);
    if view.rows.len() == 1 {
        format!("{scope} {}", text.scope_one_site)
    } else {
        scope
    }
}
