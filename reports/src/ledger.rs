//! Copies of a report that were handed out before its rows changed, and what changed since.

use whereworn_model::settings::Language;

use crate::catalogue::{Catalogue, fill};
use crate::context::Context;
use crate::document::{Block, Files, Item, Link};
use crate::edition::Edition;
use crate::error::ReportError;
use crate::escape::html as escape;
use crate::input::{Change, EarlierCopy};
use crate::words::Lead;

/// What stands at the top of a report that took the place of others: links to them.
pub(crate) fn opening(context: &Context) -> Option<Block> {
    let copies = &context.input.earlier;
    let link = |copy: &EarlierCopy| Link {
        text: copy.file.clone(),
        address: copy.file.clone(),
    };
    (!copies.is_empty()).then(|| {
        Block::Files(Files {
            lead: context.text.ledger.later.clone(),
            links: copies.iter().map(link).collect(),
        })
    })
}

/// What changed after each copy, the latest first.
pub(crate) fn blocks(context: &Context) -> Vec<Block> {
    let text = &context.text.ledger;
    let copies = &context.input.earlier;
    if copies.is_empty() {
        return Vec::new();
    }
    let mut out = vec![Block::title(2, &text.title)];
    for copy in copies.iter().rev() {
        out.push(Block::Paragraph(fill(&text.copy, &[("file", &copy.file)])));
        let points = copy.changes.iter().map(|change| point(context, change));
        out.push(Block::List(points.collect()));
    }
    out
}

fn point(context: &Context, change: &Change) -> Item {
    let text = &context.text.ledger;
    let (words, values): (&Lead, Vec<(&str, String)>) = match change {
        Change::NoLonger { sentence } => (&text.no_longer, vec![("sentence", sentence.clone())]),
        Change::Said { sentence } => (&text.said, vec![("sentence", sentence.clone())]),
        Change::Rows {
            table,
            site,
            added,
            changed,
            gone,
        } => {
            let site = match site.as_str() {
                "" => String::new(),
                key => fill(&text.site, &[("site", &context.site_label(key))]),
            };
            let values = vec![
                ("table", table.clone()),
                ("site", site),
                ("added", added.to_string()),
                ("changed", changed.to_string()),
                ("gone", gone.to_string()),
            ];
            (&text.rows, values)
        }
        Change::Input { file, then, now } => {
            let rows = |rows: &Option<u64>| rows.map_or(String::new(), |rows| rows.to_string());
            let values = vec![
                ("file", file.clone()),
                ("then", rows(then)),
                ("now", rows(now)),
            ];
            let template = match (then, now) {
                (None, _) => Some(&text.input_new),
                (_, None) => Some(&text.input_gone),
                _ => None,
            };
            if let Some(template) = template {
                return made(&text.input.lead, template, &values);
            }
            (&text.input, values)
        }
        Change::Settings { names } => (&text.settings, vec![("names", names.clone())]),
        Change::Version { then, now } => (
            &text.version,
            vec![("then", then.clone()), ("now", now.clone())],
        ),
    };
    made(&words.lead, &words.text, &values)
}

fn made(lead: &str, template: &str, values: &[(&str, String)]) -> Item {
    let values: Vec<(&str, &str)> = values
        .iter()
        .map(|(key, value)| (*key, value.as_str()))
        .collect();
    Item {
        lead: lead.to_owned(),
        text: fill(template, &values),
    }
}

/// A page of ours, marked as the earlier of two: a line on top says so and links the later one, `report.html`.
///
/// # Errors
/// [`ReportError`] where the program's own words cannot be read.
pub fn marked_as_earlier(
    page: &str,
    language: Language,
    edition: Edition,
) -> Result<String, ReportError> {
    let text = Catalogue::read(language, edition)?;
    let line = format!(
        "<div class=\"callout\" role=\"note\">\n<p><a href=\"report.html\">{}</a></p>\n</div>\n",
        escape(&text.ledger.earlier)
    );
    let place = ["<main id=\"report\">\n", "<body>\n"]
        .iter()
        .find_map(|mark| Some(page.find(mark)? + mark.len()));
    let (before, after) = page.split_at(place.unwrap_or(0));
    Ok(format!("{before}{line}{after}"))
}
