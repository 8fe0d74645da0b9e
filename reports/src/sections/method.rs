//! How the figures came about, with the settings of the study.

use super::parts::points;
use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Heading, Kind, Table};

/// The method point by point, then figure by figure.
pub(crate) fn blocks(context: &Context) -> Vec<Block> {
    let settings = &context.input.settings;
    let plain = |value: f64| context.number(value, if value.fract() == 0.0 { 0 } else { 1 });
    let values = [
        ("zone", context.zone_name()),
        ("unit", context.unit.code()),
        ("rated", &*plain(settings.wear.rated_days)),
        ("pairing", &*plain(settings.pairing.minutes)),
        ("warmup", &*plain(settings.wear.warmup_hours)),
        ("from", &*settings.night.from),
        ("to", &*settings.night.to),
        ("coverage", &*plain(settings.night.coverage * 100.0)),
    ];
    let mut out = vec![points(&context.text.method, &values)];
    if !context.text.figures.is_empty() {
        out.push(Block::Table(figures(context, &values)));
    }
    out
}

fn figures(context: &Context, values: &[(&str, &str)]) -> Table {
    let head = &context.text.figure_table;
    let headings = [
        &head.name,
        &head.plain,
        &head.formula,
        &head.unit,
        &head.few,
        &head.source,
    ];
    let rows = context.text.figures.iter().map(|figure| {
        let cells = [
            &figure.name,
            &figure.plain,
            &figure.formula,
            &figure.unit,
            &figure.few,
            &figure.source,
        ];
        cells.map(|cell| fill(cell, values)).to_vec()
    });
    Table {
        caption: head.caption.clone(),
        headings: headings
            .map(|text| Heading {
                text: text.clone(),
                kind: Kind::Text,
            })
            .into(),
        rows: rows.collect(),
    }
}
