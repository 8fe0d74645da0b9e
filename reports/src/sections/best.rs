//! Which site is best for the wearer, by what matters to them: evidence from their own sensors, and no advice.

use whereworn_model::sites::STANDS_OUT;

use super::parts::item;
use crate::catalogue::fill;
use crate::chart::chances::Chances;
use crate::chart::titled;
use crate::claims::LEAST_SENSORS;
use crate::context::Context;
use crate::document::{Block, Item};
use crate::error::ReportError;
use crate::sentences::site_marked;
use crate::view::View;

/// The section's blocks: by which weights, a picture, which sites none beats, and where one stands out how far a weight must
/// move; less where no site had enough sensors.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let sites = View::named(context, "best_sites");
    let Some((sites, weights)) = sites.zip(View::named(context, "best_priorities")) else {
        return Ok(Vec::new());
    };
    let text = &context.text.best;
    let worn = |row: &usize| sites.table.number(*row, "sensors").unwrap_or(0.0);
    if !sites.rows.iter().any(|row| worn(row) >= LEAST_SENSORS) {
        let least = [("least", &*LEAST_SENSORS.to_string())];
        return Ok(vec![Block::Paragraph(fill(&text.too_few, &least))]);
    }
    let chart = Chances::of(&sites);
    let stands_out = sites.rows.first().is_some_and(|row| {
        let probability = sites.table.number(*row, "probability");
        probability >= Some(STANDS_OUT) && worn(row) >= LEAST_SENSORS
    });
    let unbeaten = unbeaten(&sites).join("; ");
    let mut items = Vec::new();
    if !unbeaten.is_empty() {
        items.push(item(&text.unbeaten, &[("sites", &unbeaten)]));
    }
    items.extend(stands_out.then(|| moves(&weights, &sites)));
    if let Some(off_label) = off_label(&sites) {
        items.push(item(&text.off_label, &[("sites", &off_label)]));
    }
    let meaning = match stands_out {
        true => text.meaning.clone(),
        false => format!("{} {}", text.meaning, text.none_stands_out),
    };
    Ok(vec![
        Block::Paragraph(lead(&weights)),
        Block::Paragraph(meaning),
        Block::Picture(titled(&sites, &chart, "best_sites", text.title.clone())?),
        Block::List(items),
    ])
}

/// What counts, and how much.
fn lead(weights: &View) -> String {
    let context = weights.context;
    let text = &context.text.best;
    let set = context.input.settings.priorities.weights();
    let template = match set.iter().any(|(_, weight)| *weight > 0.0) {
        true => &text.own,
        false => &text.usual,
    };
    let weight = |row: usize| weights.table.number(row, "weight").unwrap_or(0.0);
    let rows = weights.rows.iter().copied();
    let counts: Vec<usize> = rows.filter(|&row| weight(row) > 0.0).collect();
    let weighed = |&row: &usize| {
        let digits = usize::from(weight(row).fract() != 0.0);
        format!(
            "{} {}",
            name(weights, row),
            context.number(weight(row), digits)
        )
    };
    let names: Vec<String> = counts.iter().map(weighed).collect();
    let lead = fill(template, &[("names", &names.join(", "))]);
    let unknown = counts.iter().copied();
    let unknown = unknown.filter(|&row| weights.table.number(row, "known") == Some(0.0));
    let unknown: Vec<String> = unknown.map(|row| name(weights, row)).collect();
    match unknown.is_empty() {
        true => lead,
        false => {
            let unknown = fill(&text.unknown, &[("names", &unknown.join(", "))]);
            format!("{lead} {unknown}")
        }
    }
}

/// What a priority is called.
fn name(weights: &View, row: usize) -> String {
    let key = weights.table.text(row, "priority");
    let name = weights.context.text.best.names.get(key);
    name.map_or_else(|| key.to_owned(), Clone::clone)
}

fn unbeaten(sites: &View) -> Vec<String> {
    let rows = sites.rows.iter();
    rows.filter(|&&row| sites.table.number(row, "unbeaten") == Some(1.0))
        .map(|&row| site_marked(sites.context, sites.table.text(row, "site")))
        .collect()
}

/// Who leads, and with which weights another would that has enough sensors.
fn moves(weights: &View, sites: &View) -> Item {
    let context = weights.context;
    let text = &context.text.best;
    let has_enough = |site: &str| {
        let mut rows = sites.table.rows_where("site", site).into_iter();
        rows.any(|row| sites.table.number(row, "sensors") >= Some(LEAST_SENSORS))
    };
    let moved = |row: &&usize| weights.table.number(**row, "moved_to").is_some();
    let some_move = weights.rows.iter().any(|row| moved(&row));
    let to_told = weights.rows.iter().filter(moved);
    let to_told = to_told.filter(|row| has_enough(weights.table.text(**row, "then")));
    let told = to_told.filter_map(|&row| {
        let (from, to) = (
            weights.table.number(row, "weight")?,
            weights.table.number(row, "moved_to")?,
        );
        let values = [
            ("name", &*name(weights, row)),
            ("from", &*context.number(from, 1)),
            ("to", &*context.number(to, 1)),
            (
                "site",
                &*site_marked(context, weights.table.text(row, "then")),
            ),
        ];
        Some(fill(&text.moved, &values))
    });
    let told = told.collect::<Vec<_>>().join("; ");
    let first = weights.rows.first().copied().unwrap_or(0);
    let leader = site_marked(context, weights.table.text(first, "leader"));
    let point = match (told.is_empty(), some_move) {
        (false, _) => &text.moves,
        (true, true) => &text.leads,
        (true, false) => &text.firm,
    };
    item(point, &[("site", &leader), ("moves", &told)])
}

/// The sites shown that are off the label.
fn off_label(sites: &View) -> Option<String> {
    let context = sites.context;
    let keys = sites.rows.iter().map(|&row| sites.table.text(row, "site"));
    let off = keys.filter(|key| context.off_label(key));
    let names: Vec<String> = off.map(|key| context.site_label(key)).collect();
    (!names.is_empty()).then(|| names.join(", "))
}
