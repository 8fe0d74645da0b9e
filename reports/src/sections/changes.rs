//! What moved since last month: in the body the differences that are more than chance, or that there are none.

use super::parts::item;
use super::tables;
use crate::catalogue::fill;
use crate::context::Context;
use crate::document::Block;
use crate::edition::Place;
use crate::error::ReportError;
use crate::view::View;
use crate::words::SectionText;

/// What the table finds of a difference that is more than chance.
const MOVED: [&str; 2] = ["up, more than chance", "down, more than chance"];

/// What it finds where it cannot tell.
const TOO_FEW: &str = "too few sensors";

/// The section's blocks in the body.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Result<Vec<Block>, ReportError> {
    let Some(view) = View::named(context, "since_last_month") else {
        return tables::section(context, "changes", text, Place::Body);
    };
    let mut out = vec![moved(&view, text)];
    for table in tables::of_section(context, "changes", Place::Body) {
        tables::table(context, table, &mut out)?;
    }
    Ok(out)
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
