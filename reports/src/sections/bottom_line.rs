//! The bottom line: what can be said of every site, how sure it is, and the table behind it.

use whereworn_model::units::Unit;

use super::tables;
use crate::ReportError;
use crate::catalogue::fill;
use crate::chart::body::Body;
use crate::chart::intervals::Intervals;
use crate::chart::{picture, titled};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::sentences::{Measure, best, site, worn};
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

/// The section's blocks.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let mut out = Vec::new();
    match context.view("site_comparison") {
        Some(view) => comparison(&view, &mut out)?,
        None => {
            let missing = context
                .text
                .sections
                .get("bottom-line")
                .map(|text| text.missing.clone());
            out.extend(missing.map(Block::Paragraph));
        }
    }
    for table in tables::of_section(context, "bottom-line") {
        if table.name != "site_comparison" {
            tables::table(context, table, &mut out)?;
        }
    }
    Ok(out)
}

fn comparison(view: &View, out: &mut Vec<Block>) -> Result<(), ReportError> {
    let text = &view.context.text.bottom;
    out.push(Block::Paragraph(scope(view)));
    if let Some(body) = Body::of(view) {
        let title = view.context.text.chart.body.title.clone();
        out.push(Block::Picture(titled(view, &body, "site_body", title)?));
    }
    if view.rows.len() > 1 {
        out.push(Block::List(vec![
            Item {
                lead: text.stay.clone(),
                text: best(view, Measure::Stay),
            },
            Item {
                lead: text.r#true.clone(),
                text: best(view, Measure::True),
            },
            Item {
                lead: text.quiet.clone(),
                text: best(view, Measure::Quiet),
            },
        ]));
    }
    out.push(Block::Heading(3, view.table.title()));
    if let Some(chart) = Intervals::of_measures(view, &MEASURES) {
        out.push(Block::Picture(picture(view, &chart)?));
    }
    let explain = match view.context.unit {
        Unit::MgDl => &text.explain,
        Unit::MmolL => &text.explain_mmol,
    };
    out.push(Block::Paragraph(explain.clone()));
    tables::numbers(view, false, out);
    out.push(Block::Heading(3, text.sites_heading.clone()));
    let sites = view.rows.iter().map(|&row| Item {
        lead: view.text(row, "site"),
        text: site(view, row),
    });
    out.push(Block::List(sites.collect()));
    Ok(())
}

/// How many sensors and wearers the figures rest on.
fn scope(view: &View) -> String {
    let text = &view.context.text.bottom;
    let wearers = view.context.wearers();
    let sensors: f64 = view.rows.iter().map(|&row| worn(view, row)).sum();
    let values = [
        ("wearers", &*wearers.to_string()),
        ("sensors", &*view.context.text.sensors(sensors)),
        ("sites", &*view.context.text.sites(view.rows.len() as f64)),
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
