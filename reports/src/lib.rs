//! The report: Markdown, the HTML made from it, and its charts.
//!
//! Result tables become a document of plain texts, the document becomes Markdown, and the Markdown
//! becomes HTML. Nothing but this crate knows any of the three formats. Data are untrusted: they are
//! escaped where they are written, and no HTML of theirs survives.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

use whereworn_model::settings::{Settings, SiteSettings};
use whereworn_model::table::ResultTable;

use catalogue::Catalogue;
use context::Context;
use edition::Plans;

pub use edition::Edition;
pub use error::ReportError;
pub use input::{Change, EarlierCopy, Input};
pub use ledger::marked_as_earlier;
pub use one_page::page_of_markdown;

mod anchors;
mod catalogue;
mod chart;
mod chart_words;
mod claims;
mod context;
mod document;
mod drawing;
mod edition;
mod error;
mod escape;
mod html;
mod input;
mod languages;
mod ledger;
mod levels;
mod markdown;
mod one_page;
mod own;
mod palette;
mod privacy;
mod sections;
mod sentences;
mod serialise;
mod view;
mod words;

#[cfg(test)]
mod fixture;
#[cfg(test)]
mod tests;

/// A report, ready to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// GitHub-flavoured Markdown; figures are linked as `figures/NAME.svg`.
    pub markdown: String,
    /// One page that asks nothing of any other file.
    pub html: String,
    /// Sheets of sensors that ended early, a printed page each; none where there is no such sensor, or no one to hand them to.
    pub sheets: Option<String>,
    /// The first point of the first section, on one line; empty where it has none, since nothing can be compared.
    pub summary: String,
    /// The figures that the Markdown links.
    pub figures: Vec<Figure>,
    /// The results that may be written beside the report: in the public edition, those that identify no one.
    pub tables: Vec<ResultTable>,
}

/// A figure beside the Markdown.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// File name, `NAME.svg`, of ASCII letters, digits, `-` and `_`.
    pub file_name: String,
    /// The drawing, with title and description.
    pub svg: String,
}

/// The same settings with every site under the name that a report gives it in the study's language, and so the title where
/// the study has none of its own.
///
/// # Errors
/// [`ReportError::Catalogue`], a fault of the program.
pub fn in_language(settings: &Settings) -> Result<Settings, ReportError> {
    let text = Catalogue::read(settings.study.language, Edition::Clinician)?;
    let mut named = settings.clone();
    for site in context::sites(settings, &text) {
        named.sites.insert(
            site.key,
            SiteSettings {
                label: Some(site.label),
                on_label: site.on_label,
            },
        );
    }
    if named.study.title == Settings::default().study.title {
        named.study.title = text.page.title;
    }
    Ok(named)
}

/// Makes the report of a month. Tables that are missing or empty become sentences that say so.
///
/// # Errors
/// [`ReportError`]; no content of a table causes one.
pub fn render(input: Input) -> Result<Report, ReportError> {
    let text = Catalogue::read(input.settings.study.language, input.edition)?;
    let plans = Plans::read()?;
    let (mut input, shared) = match input.edition {
        Edition::Public => {
            let (input, shared) = privacy::strip(input, &text, &plans);
            (input, Some(shared))
        }
        _ => (input, None),
    };
    let everyone = own::keep(&mut input);
    text.localise(&mut input.tables, input.settings.unit());
    let context = Context::new(&input, text, &plans, shared).for_one_of(everyone);
    let blocks = sections::blocks(&context)?;
    let title = format!(
        "{}, {}",
        context.input.settings.study.title,
        context.period()
    );
    let sheets = sections::sheet_blocks(&context)?;
    let sheets = sheets.map(|blocks| html::page(&context, &context.text.sheets.page, &blocks));
    let markdown = markdown::write(&blocks);
    let html = html::page(&context, &title, &blocks);
    let figures = blocks
        .iter()
        .filter_map(|block| match block {
            document::Block::Picture(picture) => Some(Figure {
                file_name: format!("{}.svg", picture.name),
                svg: picture.file(),
            }),
            _ => None,
        })
        .collect();
    let begins = |block: &document::Block| match block {
        document::Block::Title(title) => title.level == 2,
        _ => false,
    };
    let first = blocks.split(begins).nth(1).unwrap_or_default();
    let points = first.iter().find_map(|block| match block {
        document::Block::List(points) => points.first(),
        _ => None,
    });
    let summary = points.map_or(String::new(), |point| {
        format!("{}: {}", point.lead, point.text)
    });
    Ok(Report {
        markdown,
        summary,
        html,
        sheets,
        figures,
        tables: input.tables,
    })
}
