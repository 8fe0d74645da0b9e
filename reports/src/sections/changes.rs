//! What moved since last month: in the body the differences that are more than chance, or that there are none.

use super::parts::{item, total};
use crate::catalogue::fill;
use crate::context::Context;
use crate::document::Block;
use crate::view::View;
use crate::words::SectionText;

/// What the table finds of a difference that is more than chance.
const MOVED: [&str; 2] = ["up, more than chance", "down, more than chance"];

/// What it finds where it cannot tell.
const TOO_FEW: &str = "too few sensors";

/// The section's blocks: what was worn and found this month, then what differs from the months before.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let mut out: Vec<Block> = View::named(context, "site_month")
        .and_then(|view| this_month(&view))
        .map(Block::Paragraph)
        .into_iter()
        .collect();
    match View::named(context, "since_last_month") {
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
        .filter_map(|&row| Some((row, view.value(row, "inserted").filter(|n| *n > 0.0)?)))
        .map(|(row, count)| {
            let values = [
                ("site", &*view.text(row, "site")),
                ("count", &*context.number(count, 0)),
            ];
            fill(&text.put_on, &values)
        })
        .collect();
    let counts =
        ["ended", "came_off", "pairs", "artefacts"].map(|name| context.number(sum(name), 0));
    let [ended, came_off, pairs, artefacts] = &counts;
    let values = [
        ("inserted", &*context.text.sensors(sum("inserted"))),
        ("sites", &*put_on.join(", ")),
        ("ended", ended),
        ("came_off", came_off),
        ("pairs", pairs),
        ("nights", &*context.text.nights(sum("nights"))),
        ("artefacts", artefacts),
    ];
    let template = match (sum("inserted") + sum("ended") > 0.0, put_on.is_empty()) {
        (true, false) => &text.this_month,
        (true, true) => &text.none_put_on,
        (false, _) => return None,
    };
    Some(fill(template, &values))
}

fn moved(view: &View, text: &SectionText) -> Block {
    let words = &view.context.text.changes;
    let found = |row: usize| view.table.text(row, "finding");
    let items: Vec<_> = view
        .rows
        .iter()
        .filter(|&&row| MOVED.contains(&found(row)))
        .map(|&row| {
            let cell = |name| view.text(row, name);
            let values = [
                ("site", &*cell("site")),
                ("measure", &*cell("measure")),
                ("finding", &*cell("finding")),
                ("now", &*cell("this_month")),
                ("before", &*cell("before")),
                ("unit", &*cell("unit")),
                ("difference", &*view.estimate(row, "difference")),
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
        .filter(|&&row| !found(row).is_empty() && found(row) != TOO_FEW)
        .count();
    if compared == 0 {
        return Block::Paragraph(text.missing.clone());
    }
    let count = compared.to_string();
    Block::Paragraph(fill(&words.none, &[("count", &count)]))
}
