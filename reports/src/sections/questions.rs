//! Questions to talk over, each from a row of the conclusions or a figure of the report: at most one of a kind, so that
//! they are read.

use super::first::off_label;
use super::parts::{item, skin, unchecked};
use crate::claims::{Claim, Verdict, read};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::sentences::{claim, name, sentence};
use crate::view::View;
use crate::words::{Point, SectionText};
use whereworn_model::settings::Measure;
use whereworn_model::tables::site_comparison;

/// The section's blocks.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let words = &context.text.questions;
    let mut items = Vec::new();
    items.extend(View::named(context, site_comparison::NAME).and_then(|view| label(&view)));
    let claims = read(&context.input.tables);
    items.extend(asked(context, &claims, Measure::StaysOn, &words.comes_off));
    let high: Vec<Claim> = claims
        .into_iter()
        .filter(|claim| is_high(context, claim.site))
        .collect();
    let measure = Measure::ReadsHighOrLow;
    items.extend(asked(context, &high, measure, &words.reads_high));
    items.extend(unchecked(context, &words.unchecked));
    items.extend(skin(context, &words.skin));
    match items.is_empty() {
        true => vec![Block::Paragraph(text.missing.clone())],
        false => vec![Block::List(items)],
    }
}

fn label(view: &View) -> Option<Item> {
    let words = &view.context.text.questions;
    if !view.context.label_is_told() {
        return Some(item(&words.label_unknown, &[]));
    }
    let rows = view.rows.iter().filter(|&&row| off_label(view, row));
    let sites: Vec<String> = rows
        .map(|&row| view.text(row, site_comparison::column::SITE))
        .collect();
    (!sites.is_empty()).then(|| item(&words.off_label, &[("sites", &sites.join(", "))]))
}

/// Whether a site reads higher than fingersticks, and not only higher than another site does.
fn is_high(context: &Context, site: &str) -> bool {
    let Some(view) = View::named(context, site_comparison::NAME) else {
        return false;
    };
    let rows = view.table.rows_where(site_comparison::column::SITE, site);
    let ends = rows
        .first()
        .and_then(|&row| view.interval(row, site_comparison::column::BIAS));
    ends.is_some_and(|(lower, _)| lower > 0.0)
}

/// The first claim of a measure that was told, as a question.
fn asked(context: &Context, claims: &[Claim], measure: Measure, point: &Point) -> Option<Item> {
    let told = |claim: &&Claim| {
        let told = matches!(claim.verdict, Verdict::Differs | Verdict::Leans);
        claim.measure == measure && told && claim.withdrawn.is_empty()
    };
    let first = claims.iter().find(told)?;
    let said = sentence(&claim(context, first)?);
    let values = [
        ("claim", said.trim_end_matches('.')),
        ("site", &*name(context, first.site)),
        ("against", &*name(context, first.against)),
    ];
    Some(item(point, &values))
}
