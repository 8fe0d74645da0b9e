//! Tips from the study's own log: how sensors ended, and where.

use whereworn_model::tables::{sensor_accuracy, site_endings};

use super::parts::{item, most, skin};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::view::View;
use crate::words::{Point, SectionText};

/// Pairs of a sensor below which its own level is hardly known: common practice, no source.
const FEW_PAIRS: f64 = 5.0;

/// The section's blocks.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let words = &context.text.tips;
    let mut items = Vec::new();
    if let Some(view) = View::named(context, site_endings::NAME) {
        items.extend(ended(&view, &["knocked-off"], &words.knocked));
        items.extend(ended(&view, &["fell-off", "lifted"], &words.loose));
    }
    items.extend(skin(context, &words.skin));
    items.extend(checks(context));
    match items.is_empty() {
        true => vec![Block::Paragraph(text.missing.clone())],
        false => vec![Block::List(items)],
    }
}

/// Sensors that ended by some causes, of all that ended, and the sites with most of them.
fn ended(view: &View, causes: &[&str], point: &Point) -> Option<Item> {
    let context = view.context;
    let count = |rows: &[usize]| -> f64 {
        let values = rows
            .iter()
            .filter_map(|&row| view.value(row, site_endings::column::SESSIONS));
        values.sum()
    };
    let of_causes: Vec<usize> = view
        .rows
        .iter()
        .copied()
        .filter(|&row| causes.contains(&view.table.text(row, site_endings::column::CAUSE)))
        .collect();
    let sites = view.groups_of(&of_causes, Some(site_endings::column::SITE));
    let (top, _) = most(
        sites
            .iter()
            .map(|site| (site.label.clone(), count(&site.rows))),
    )?;
    let values = [
        ("count", &*context.number(count(&of_causes), 0)),
        ("sensors", &*context.text.sensors(count(&view.rows))),
        ("site", &*top),
    ];
    Some(item(point, &values))
}

/// Sensors with few fingersticks beside them.
fn checks(context: &Context) -> Option<Item> {
    let view = View::named(context, sensor_accuracy::NAME)?;
    let paired = view.rows.iter().any(|&row| {
        view.value(row, sensor_accuracy::column::PAIRS)
            .is_some_and(|n| n > 0.0)
    });
    let few = view
        .rows
        .iter()
        .filter(|&&row| {
            view.value(row, sensor_accuracy::column::PAIRS)
                .is_some_and(|n| n < FEW_PAIRS)
        })
        .count();
    let values = [
        ("count", &*few.to_string()),
        ("sensors", &*context.text.sensors(view.rows.len() as f64)),
    ];
    (few > 0 && paired).then(|| item(&context.text.tips.checks, &values))
}
