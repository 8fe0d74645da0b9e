//! What is not known yet, and what would settle it.

use super::parts::{item, unchecked};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::sentences::{LEAST_SENSORS, Measure, ranked, worn};
use crate::view::View;
use crate::words::SectionText;

/// The section's blocks.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let words = &context.text.unknown;
    let mut items = Vec::new();
    if let Some(view) = View::named(context, "site_comparison") {
        items.extend(few(&view));
        for (measure, point) in [
            (Measure::Stay, &words.stay),
            (Measure::True, &words.r#true),
            (Measure::Quiet, &words.quiet),
        ] {
            let open = ranked(&view, measure).filter(|best| !best.overlapping.is_empty());
            items.extend(open.map(|best| {
                let values = [
                    ("site", &*view.text(best.row, "site")),
                    ("others", &*best.overlapping.join(", ")),
                ];
                item(point, &values)
            }));
        }
    }
    items.extend(unchecked(context, &words.unchecked));
    if let Some(view) = View::named(context, "lost_sensors") {
        let sensors = context.text.sensors(view.rows.len() as f64);
        items.push(item(&words.lost, &[("sensors", &sensors)]));
    }
    match items.is_empty() {
        true => vec![Block::Paragraph(text.missing.clone())],
        false => vec![Block::List(items)],
    }
}

/// Sites with too few sensors for a verdict.
fn few(view: &View) -> Vec<Item> {
    let context = view.context;
    let text = &context.text;
    let rows = view.rows.iter();
    rows.filter(|&&row| worn(view, row) < LEAST_SENSORS)
        .map(|&row| {
            let sensors = worn(view, row);
            let values = [
                ("site", &*view.text(row, "site")),
                ("sensors", &*text.sensors(sensors)),
                ("more", &*context.number(LEAST_SENSORS - sensors, 0)),
            ];
            item(&text.unknown.few, &values)
        })
        .collect()
}
