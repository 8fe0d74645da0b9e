//! The bottom line: what can be said of all sites, how sure it is, and the table behind it.

use super::{summary, tables};
use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Item};
use crate::edition::Place;
use crate::error::ReportError;
use crate::levels::in_unit;
use crate::sentences::{Measure, best, worn};
use crate::view::View;

/// The section's blocks.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let mut out = Vec::new();
    match View::named(context, "site_comparison") {
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
        let mut items = vec![
            item(&text.stay, Measure::Stay),
            item(&text.r#true, Measure::True),
            item(&text.quiet, Measure::Quiet),
        ];
        items.extend(label(view));
        out.push(Block::List(items));
    }
    out.push(Block::Table(summary::table(view)));
    let (unit, decimal) = (view.context.unit, &view.context.text.decimal);
    let explain = in_unit(&text.explain, unit, decimal);
    out.push(Block::Paragraph(explain));
}

/// Which sites are on the device's label and which are not; none where the study says it of no site.
fn label(view: &View) -> Option<Item> {
    let text = &view.context.text.bottom;
    let sites = |code: &str| {
        let rows = view.rows.iter();
        rows.filter(|&&row| view.table.text(row, "on_label") == code)
            .map(|&row| view.text(row, "site"))
            .collect::<Vec<_>>()
    };
    let (on, off) = (sites("yes"), sites("no"));
    let said = |sites: &[String]| match sites {
        [] => text.no_site.clone(),
        sites => sites.join(", "),
    };
    let values = [("on", &*said(&on)), ("off", &*said(&off))];
    (on.len() + off.len() > 0).then(|| Item {
        lead: text.label.clone(),
        text: fill(&text.label_text, &values),
    })
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
