//! What moved since last month: in the body the differences that are more than chance, or that there are none.

use whereworn_model::tables::since_last_month::{self, column as moved};
use whereworn_model::tables::site_month::{self, column as month};

use super::parts::{item, of_all, total};
use crate::catalogue::{counted, fill};
use crate::context::Context;
use crate::document::Block;
use crate::view::View;
use crate::words::SectionText;

/// What the table finds of a difference that is more than chance.
const MOVED: [&str; 2] = ["up, more than chance", "down, more than chance"];

/// What it finds where it cannot tell.
const UNTOLD: [&str; 2] = ["too few sensors", "other people wore it"];

/// The section's blocks: what was worn and found this month, then what differs from the months before.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let month = View::named(context, site_month::NAME);
    let mut out: Vec<Block> = Vec::new();
    if let Some(view) = &month {
        out.extend(of_all(context, &[view]));
        out.extend(this_month(view).map(Block::Paragraph));
    }
    match View::named(context, since_last_month::NAME) {
        Some(view) => out.push(moved(&view, text)),
        None => out.push(Block::Paragraph(text.missing.clone())),
    }
    out
}

/// What was worn and found this month, in one sentence; none where nothing was.
fn this_month(view: &View) -> Option<String> {
    let context = view.context;
    let text = &context.text.changes;
    let sum = |name| total(view, name);
    let put_on: Vec<String> = view
        .rows
        .iter()
        .filter_map(|&row| Some((row, view.value(row, month::INSERTED).filter(|n| *n > 0.0)?)))
        .map(|(row, count)| {
            let values = [
                ("site", &*view.text(row, month::SITE)),
                ("count", &*context.number(count, 0)),
            ];
            fill(&text.put_on, &values)
        })
        .collect();
    let counts = [
        month::ENDED,
        month::CAME_OFF,
        month::PAIRS,
        month::ARTEFACTS,
    ]
    .map(|name| context.number(sum(name), 0));
    let [ended, came_off, pairs, artefacts] = &counts;
    let values = [
        ("inserted", &*context.text.sensors(sum(month::INSERTED))),
        ("sites", &*put_on.join(", ")),
        ("ended", ended),
        ("came_off", came_off),
        ("pairs", pairs),
        ("nights", &*context.text.nights(sum(month::NIGHTS))),
        ("artefacts", artefacts),
    ];
    let template = match (
        sum(month::INSERTED) + sum(month::ENDED) > 0.0,
        put_on.is_empty(),
    ) {
        (true, false) => &text.this_month,
        (true, true) => &text.none_put_on,
        (false, _) => return None,
    };
    Some(fill(template, &values))
}

fn moved(view: &View, text: &SectionText) -> Block {
    let words = &view.context.text.changes;
    let found = |row: usize| view.table.text(row, moved::FINDING);
    let items: Vec<_> = view
        .rows
        .iter()
        .filter(|&&row| MOVED.contains(&found(row)))
        .map(|&row| {
            let cell = |name| view.text(row, name);
            let values = [
                ("site", &*cell(moved::SITE)),
                ("measure", &*cell(moved::MEASURE)),
                ("finding", &*cell(moved::FINDING)),
                ("now", &*cell(moved::THIS_MONTH)),
                ("before", &*cell(moved::BEFORE)),
                ("unit", &*cell(moved::UNIT)),
                ("difference", &*view.estimate(row, moved::DIFFERENCE)),
            ];
            item(&words.moved, &values)
        })
        .collect();
    if !items.is_empty() {
        return Block::List(items);
    }
    let compared = view
        .rows
        .iter()
        .filter(|&&row| !found(row).is_empty() && !UNTOLD.contains(&found(row)))
        .count();
    let earlier = |&row: &usize| view.value(row, "sensors_before") > Some(0.0);
    match compared {
        0 if view.rows.iter().any(earlier) => return Block::Paragraph(words.too_few.clone()),
        0 => return Block::Paragraph(text.missing.clone()),
        _ => {}
    }
    Block::Paragraph(counted(compared as f64, &words.none_one, &words.none_many))
}
