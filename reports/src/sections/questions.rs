//! Questions to talk over, each from a figure of the report: at most one of a kind, so that they are read.
//!
//! - Coming off: the site that comes off more often than others, if there is one (the rule of the sentences).
//! - Reading high or low: the site whose bias leaves out zero by the most.
//! - Skin: the site on which most sensors ended for skin trouble.

use super::parts::{item, skin, unchecked};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::sentences::{Against, against, enough, rated, size_of_bias};
use crate::view::View;
use crate::words::{Point, SectionText};

/// The section's blocks.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let mut items = Vec::new();
    if let Some(view) = View::named(context, "site_comparison") {
        items.extend(label(&view));
        items.extend(comes_off(&view));
        items.extend(reads_off(&view));
    }
    items.extend(unchecked(context, &context.text.questions.unchecked));
    items.extend(skin(context, &context.text.questions.skin));
    match items.is_empty() {
        true => vec![Block::Paragraph(text.missing.clone())],
        false => vec![Block::List(items)],
    }
}

fn label(view: &View) -> Vec<Item> {
    let text = &view.context.text.questions;
    let of = |code: &str, point: &Point| {
        let sites: Vec<String> = view
            .rows
            .iter()
            .filter(|&&row| view.table.text(row, "on_label") == code)
            .map(|&row| view.text(row, "site"))
            .collect();
        (!sites.is_empty()).then(|| item(point, &[("sites", &sites.join(", "))]))
    };
    let found = [of("no", &text.off_label), of("", &text.label_unknown)];
    found.into_iter().flatten().collect()
}

fn comes_off(view: &View) -> Option<Item> {
    let worst = view
        .rows
        .iter()
        .filter(|&&row| enough(view, row, "came_off"))
        .filter(|&&row| against(view, row, "came_off") == Some(Against::More))
        .max_by(|&&a, &&b| {
            let value = |row| view.value(row, "came_off").unwrap_or(0.0);
            value(a).total_cmp(&value(b))
        })?;
    let values = [
        ("site", &*view.text(*worst, "site")),
        ("value", &*view.in_words(*worst, "came_off")),
        ("rated", &*rated(view.context)),
    ];
    Some(item(&view.context.text.questions.comes_off, &values))
}

fn reads_off(view: &View) -> Option<Item> {
    let text = &view.context.text.questions;
    let (row, bias, (lower, upper)) = view
        .rows
        .iter()
        .filter(|&&row| enough(view, row, "bias"))
        .filter_map(|&row| Some((row, view.value(row, "bias")?, view.interval(row, "bias")?)))
        .filter(|(_, _, (lower, upper))| *lower > 0.0 || *upper < 0.0)
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let point = match bias > 0.0 {
        true => &text.reads_high,
        false => &text.reads_low,
    };
    let values = [
        ("site", &*view.text(row, "site")),
        ("value", &*size_of_bias(view, bias, lower, upper)),
    ];
    Some(item(point, &values))
}
